//! Figures; every renderer returns bytes.
//!
//! A figure is laid out once as a list of shapes in whole pixels and then painted as PNG or SVG. The same input gives
//! the same bytes on every machine: the font travels inside the program, and nothing asks for a clock or a locale.
//!
//! # The amps axis
//! Standby draws milliamps and boot draws amps, and both must be read. Two ways were drawn from the same simulated
//! capture (a boot at 0.6 to 2 A after a standby of 102 mA where good boards draw 20 to 29 mA): all on a square-root
//! scale, and a linear scale with a second strip that magnifies the low end. The square root showed the standby well,
//! but its grid lines crowd towards the top, half of the height goes to currents below 0.5 A, and the envelopes of the
//! boot stages come out narrower and closer together, though telling those apart decides most verdicts. On the linear
//! scale "twice as high" still means "twice the current", and the strip shows the standby beside its envelope. So the
//! strip is used, and only where something quiet is there to be magnified.

mod align;
mod axis;
mod card;
mod columns;
mod compare;
mod encode;
#[cfg(test)]
mod fixtures;
mod font;
mod geometry;
mod log_end;
mod moments;
mod options;
mod overlay;
mod paint;
mod parts;
mod scene;
mod sheet;
mod svg;
mod theme;
mod timeline;
pub mod words;

pub use options::{Format, Options, Size, SizeError, UnknownFormat};
pub use theme::Theme;

use crate::reference::Profile;
use crate::trace::Trace;
use crate::verdict::Finding;
use parts::Subject;
use scene::Scene;

/// Why a figure cannot be drawn.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RenderError {
    /// There is nothing to draw.
    #[error("the log has no readings, so there is nothing to draw")]
    NoReadings,
    /// The asked-for stretch of time holds no readings.
    #[error("no readings from {from} s to {to} s; the log runs from {first} s to {last} s")]
    EmptyWindow {
        /// Start of the stretch in seconds.
        from: f64,
        /// End of the stretch in seconds.
        to: f64,
        /// First reading in seconds.
        first: f64,
        /// Last reading in seconds.
        last: f64,
    },
    /// There is no phase of the asked-for name.
    #[error("no phase \"{asked}\" to zoom to; this log has: {}", known.join(", "))]
    NoSuchPhase {
        /// The name that was asked for.
        asked: String,
        /// The names that there are.
        known: Vec<String>,
    },
    /// The picture could not be painted.
    #[error("the picture could not be painted: {0}")]
    Draw(String),
    /// The picture could not be packed as PNG.
    #[error("the picture could not be packed as PNG: {0}")]
    Png(#[from] png::EncodingError),
}

/// The whole run of one board over time: verdict, stages, amps against the envelope of good boards, volts.
///
/// Times on the figure are those of the log. The envelope is shown in amps at the capture's feed volts.
///
/// # Errors
/// [`RenderError::NoReadings`] of an empty trace, [`RenderError::EmptyWindow`] and [`RenderError::NoSuchPhase`] if
/// `options` ask for a stretch that is not there; the others if painting fails.
pub fn timeline(
    trace: &Trace,
    profile: Option<&Profile>,
    finding: &Finding,
    options: &Options,
) -> Result<Vec<u8>, RenderError> {
    pack(&timeline::draw(trace, profile, finding, options)?, options)
}

/// A run as a figure of several runs takes it.
#[derive(Debug, Clone, Copy)]
pub struct Run<'a> {
    /// The log.
    pub trace: &'a Trace,
    /// What the analysis of the log concluded.
    pub finding: &'a Finding,
}

impl<'a> Run<'a> {
    fn with(self, profile: Option<&'a Profile>) -> Subject<'a> {
        Subject { trace: self.trace, profile, finding: self.finding }
    }
}

/// A board before and after, one above the other on one time base: seconds from the wake, or from the press that
/// should have woken it. The differences are named stage by stage.
///
/// `from` and `to` of `options` count from that moment.
///
/// # Errors
/// As [`timeline`].
pub fn before_after(
    before: Run,
    after: Run,
    profile: Option<&Profile>,
    options: &Options,
) -> Result<Vec<u8>, RenderError> {
    pack(&compare::draw([before, after].map(|run| run.with(profile)), options)?, options)
}

/// What [`before_after`] says of the two runs, in one line.
#[must_use]
pub fn before_after_headline(before: Run, after: Run) -> String {
    compare::headline([before, after].map(|run| run.with(None)))
}

/// Any number of runs of one board model on one panel, on the time base of [`before_after`]: good ones in grey, so that
/// an odd one out is seen.
///
/// # Errors
/// As [`timeline`].
pub fn overlay(runs: &[Run], profile: Option<&Profile>, options: &Options) -> Result<Vec<u8>, RenderError> {
    let subjects: Vec<Subject> = runs.iter().map(|run| run.with(profile)).collect();
    pack(&overlay::draw(&subjects, options)?, options)
}

/// What [`overlay`] says of the runs, in one line.
#[must_use]
pub fn overlay_headline(runs: &[Run]) -> String {
    let subjects: Vec<Subject> = runs.iter().map(|run| run.with(None)).collect();
    overlay::headline(&subjects, &overlay::odd_ones(&subjects))
}

/// The reference card of a profile: its stages with their envelopes in amps at the usual feed, how to feed the board,
/// what to mind, and on how many boards all that rests. `from`, `to` and `zoom` of `options` say nothing here.
///
/// # Errors
/// Only if painting fails.
pub fn card(profile: &Profile, options: &Options) -> Result<Vec<u8>, RenderError> {
    pack(&card::draw(profile, options), options)
}

fn pack(scene: &Scene, options: &Options) -> Result<Vec<u8>, RenderError> {
    match options.format {
        Format::Png => encode::png(scene, &paint::pixels(scene)?, options.density()),
        Format::Svg => Ok(svg::svg(scene).into_bytes()),
    }
}
