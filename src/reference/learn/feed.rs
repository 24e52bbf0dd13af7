//! How the board is to be fed, from how the good captures were.

use super::Taken;
use super::evidence::fed_volts;
use crate::reference::envelope::figures_of;
use crate::reference::model::Feed;
use crate::stats::robust;
use crate::units::{Amps, Volts};

/// What a profile has for its feed point where no log said it.
pub const POINT_NOT_STATED: &str = "not stated in the logs";

/// Advised limit over the highest peak seen, where the logs give none: a good board is not starved (common practice, no
/// source).
const LIMIT_OVER_PEAK: f64 = 1.25;
/// Feed range where the logs do not show a wider one: common tolerance of a regulated rail, no source.
const FEED_TOLERANCE: f64 = 0.05;

pub(super) fn feed(taken: &[Taken]) -> Feed {
    let volts = |one: &Taken| {
        one.capture
            .trace
            .header()
            .set_volts
            .or_else(|| fed_volts(&one.capture.trace, &one.run))
            .map(Volts::value)
    };
    let mut all: Vec<f64> = taken.iter().filter_map(volts).collect();
    let lowest_seen = all.iter().copied().fold(f64::INFINITY, f64::min);
    let highest_seen = all.iter().copied().fold(0.0, f64::max);
    let nominal = robust::median(&mut all).unwrap_or(1.0).max(1e-3);
    let to_volts = |value: f64| Volts::new(figures_of(value, 3)).unwrap_or_default();
    let nominal_volts = to_volts(nominal).value();
    Feed {
        nominal: to_volts(nominal),
        lowest: to_volts(lowest_seen.min(nominal * (1.0 - FEED_TOLERANCE)).min(nominal_volts)),
        highest: to_volts(highest_seen.max(nominal * (1.0 + FEED_TOLERANCE)).max(nominal_volts)),
        limit: limit(taken),
        point: feed_point(taken),
        cautions: cautions(nominal),
    }
}

/// The limit under which the good captures ran, else a quarter over their highest peak, rounded up to a tenth.
fn limit(taken: &[Taken]) -> Amps {
    let mut set: Vec<f64> =
        taken.iter().filter_map(|one| one.capture.trace.header().limit.map(Amps::value)).collect();
    let peak = taken
        .iter()
        .flat_map(|one| &one.capture.trace.amps()[one.run.start..one.run.end])
        .copied()
        .fold(0.0, f64::max);
    let from_peak = (peak * LIMIT_OVER_PEAK * 10.0).ceil().max(1.0) / 10.0;
    let limit = robust::median(&mut set).filter(|limit| *limit > 0.0).unwrap_or(from_peak);
    Amps::new(limit).unwrap_or_default()
}

fn feed_point(taken: &[Taken]) -> String {
    let mut points = taken.iter().filter_map(|one| one.capture.trace.header().feed_point.clone());
    points.find(|point| !point.trim().is_empty()).unwrap_or_else(|| POINT_NOT_STATED.to_owned())
}

/// Common practice, no source.
fn cautions(nominal: f64) -> Vec<String> {
    /// What one lithium cell gives between empty and full.
    const ONE_CELL: std::ops::RangeInclusive<f64> = 3.0..=4.5;
    let mut cautions = vec![
        "Set volts and current limit and check polarity before the board is connected; reversed feed destroys it."
            .to_owned(),
        "Capacitors on the board stay charged after the feed is off; let them discharge before touching or soldering."
            .to_owned(),
    ];
    if ONE_CELL.contains(&nominal) {
        cautions.insert(
            0,
            "Take the lithium cell out first: a supply across a cell can set it on fire.".to_owned(),
        );
    }
    cautions
}
