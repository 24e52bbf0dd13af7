//! The ladder of stages: how far the board got, stage by stage, for the eye alone.

#[cfg(test)]
mod tests;

use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::{Color, Palette};
use super::super::words;
use super::Subject;
use super::envelope::{Expected, in_amps};
use super::heading::UNASKED;
use crate::reference::{PhaseReference, Profile};
use crate::verdict::{Attempt, Class, Departure, Finding, Tries};

/// What became of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// Reached and passed, or kept to the end.
    Passed,
    /// The same, but not as on good boards.
    Departs,
    /// Where it went wrong.
    Trouble,
    /// One of several in which it may have gone wrong.
    Either,
    /// Where it went wrong as far as the times of its tries tell.
    Likely,
    /// Seen in a capture that decides nothing, not told apart from the stage after it, or where it went wrong by a verdict
    /// that is a toss-up.
    Unsure,
    /// Not reached, and not asked for.
    Unasked,
    /// Passed without being seen, or so it seems: later stages were.
    Unseen,
    /// Not reached.
    Missing,
}

/// A box of the ladder: a stage, or what is before one.
#[derive(Debug, Clone, PartialEq)]
struct Rung {
    step: Step,
    name: String,
    /// What else is said of it where there is room.
    aside: Option<String>,
}

/// What fails before all stages, though the feed is there: the board takes nothing, or far more than it should.
const fn before_all(class: Class) -> Option<&'static str> {
    match class {
        Class::NoDraw => Some("no draw"),
        Class::HardShort => Some("hard short"),
        Class::PartialShort => Some("partial short"),
        _ => None,
    }
}

/// What of a stage went wrong, where tries end at the step out of it: the headline has the same words.
fn end_of(stage: &str) -> String {
    format!("end of {stage}")
}

/// The sign of what is not certain.
pub(super) const UNSURE: &str = "?";

/// What comes between standby and the first stage.
const WAKE: &str = "wake";

impl Step {
    const fn sign(self) -> &'static str {
        match self {
            Self::Passed => "✓",
            Self::Departs => "!",
            Self::Trouble => "✗",
            Self::Either | Self::Likely => "✗?",
            Self::Unsure => UNSURE,
            Self::Unasked => UNASKED,
            Self::Unseen => "~",
            Self::Missing => "",
        }
    }

    /// What a verdict that is a toss-up makes of it: no certainty.
    const fn perhaps(self) -> Self {
        match self {
            Self::Trouble | Self::Either | Self::Likely => Self::Unsure,
            other => other,
        }
    }

    /// Ground, frame, and the colour of what stands on it; what was not reached is a dashed outline. Only what went
    /// wrong is dark, so that it is the one that is seen in grey and from afar.
    const fn colors(self, palette: &Palette) -> (Color, Option<Color>, Color) {
        match self {
            Self::Passed => (palette.envelope, Some(palette.ink), palette.text),
            // No shade of what passed: it is the one that is to be looked at.
            Self::Departs => (palette.paper, Some(palette.alarm), palette.text),
            Self::Trouble => (palette.alarm, Some(palette.alarm), palette.on_alarm),
            Self::Either | Self::Likely => (palette.alarm_paper, Some(palette.alarm), palette.alarm),
            Self::Unsure | Self::Unasked => (palette.paper, Some(palette.unsure), palette.text),
            Self::Unseen => (palette.paper, Some(palette.frame), palette.faint_text),
            Self::Missing => (palette.paper, None, palette.faint_text),
        }
    }
}

/// Height of a row of stages, in units of the layout.
const ROW: f64 = 32.0;

impl Rung {
    /// What stands in its box: sign and name.
    fn text(&self) -> String {
        let name = clean(&self.name);
        match self.step.sign() {
            "" => name,
            sign => format!("{sign} {name}"),
        }
    }
}

/// Draws the stages from the top of `area` and returns where they end.
pub(in crate::render) fn draw(sheet: &mut Sheet, profile: &Profile, subject: &Subject, area: Rect) -> i32 {
    let rungs = rungs(profile, subject.finding, &shown_in_tries(subject, profile));
    let (rows, per_row) = rows(sheet, &rungs, area.width());
    let (gap, height) = (sheet.u(4.0), sheet.u(ROW));
    let said: Vec<Step> = rungs.iter().map(|rung| rung.step).collect();
    for (index, rung) in (0..).zip(rungs) {
        let (row, index) = (index / per_row, index % per_row);
        let left = area.left + area.width() * index / per_row;
        let right = area.left + area.width() * (index + 1) / per_row;
        let right = if index + 1 < per_row { right - gap } else { right };
        let top = area.top + row * (height + gap);
        chip(sheet, &rung, Rect { left, right, top, bottom: top + height });
    }
    key(sheet, &said, Rect { top: area.top + rows * (height + gap) - gap, ..area })
}

/// Signs that do not speak for themselves, in words.
const KEY: [(Step, &str); 6] = [
    (Step::Departs, "reached, but not as on good boards"),
    (Step::Either, "went wrong in one of these"),
    (Step::Likely, "went wrong, likely here"),
    (Step::Unsure, "not certain"),
    (Step::Unasked, "not asked for in this log"),
    (Step::Unseen, "not told apart"),
];

/// Says below the stages what the signs on them mean, where there are such, and returns where that ends.
fn key(sheet: &mut Sheet, steps: &[Step], area: Rect) -> i32 {
    let there = KEY.iter().filter(|(step, _)| steps.contains(step));
    let said: Vec<String> = there.map(|(step, words)| format!("{} {words}", step.sign())).collect();
    if said.is_empty() {
        return area.top;
    }
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let below = area.top + style.line_height() + sheet.u(2.0);
    let at = (area.left, below - sheet.u(4.0));
    sheet.short_text(&said.join("    "), at, Anchor::Start, style, area.width());
    below
}

/// How many rows the stages take and how many stand in one: on a narrow figure more than one, if that saves their names,
/// and first of all that of the one that failed.
fn rows(sheet: &Sheet, rungs: &[Rung], width: i32) -> (i32, i32) {
    const MOST_ROWS: i32 = 4;
    let count = i32::try_from(rungs.len()).unwrap_or(i32::MAX).max(1);
    let style = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
    let widest = |wanted: fn(&Rung) -> bool| {
        let widths = rungs.iter().filter(|rung| wanted(rung)).map(|rung| style.width(&rung.text()));
        widths.max().unwrap_or(0) + sheet.u(10.0)
    };
    let per_row = |rows: i32| (count + rows - 1) / rows;
    let fewest = |widest: i32| (1..=MOST_ROWS).find(|rows| widest <= width / per_row(*rows));
    let failed = |rung: &Rung| matches!(rung.step, Step::Trouble | Step::Either | Step::Likely);
    let rows = fewest(widest(|_| true)).or_else(|| fewest(widest(failed))).unwrap_or(1);
    // As many rows as that many in each make: an uneven share may need fewer.
    let per_row = per_row(rows);
    ((count + per_row - 1) / per_row, per_row)
}

fn chip(sheet: &mut Sheet, rung: &Rung, area: Rect) {
    let (ground, frame, color) = rung.step.colors(sheet.palette);
    sheet.scene.fill(area, ground);
    match frame {
        Some(frame) => sheet.scene.frame(area, sheet.u(2.0), frame),
        None => dashed_frame(sheet, area),
    }
    let faint = matches!(rung.step, Step::Missing | Step::Unseen);
    let weight = if faint { Weight::Regular } else { Weight::Bold };
    let style = sheet.style(em::USUAL, weight, color);
    let small = sheet.style(em::SMALL, weight, color);
    let name = clean(&rung.name);
    let longer = rung.aside.as_ref().map(|aside| format!("{}, {aside}", rung.text()));
    let longer = longer.into_iter().flat_map(|longer| [(longer.clone(), style), (longer, small)]);
    let ways = longer.chain([(rung.text(), style), (rung.text(), small)]);
    // Of what was not seen the name says more than that; then the beginning of the words, and the sign alone.
    let ways = ways.chain(faint.then(|| [(name.clone(), style), (name, small)]).into_iter().flatten());
    let room = area.width() - sheet.u(6.0);
    let fits = |(text, style): &(String, Style)| style.width(text) <= room;
    let cut = small.fit(&rung.text(), room).unwrap_or_else(|| rung.step.sign().to_owned());
    let (text, style) = ways.into_iter().find(fits).unwrap_or((cut, small));
    sheet.centered(&text, area, style);
}

fn dashed_frame(sheet: &mut Sheet, area: Rect) {
    let pen = sheet.pen(1.0, 5.0, sheet.palette.frame);
    sheet.scene.across((area.left, area.right), area.top, pen);
    sheet.scene.across((area.left, area.right), area.bottom - 1, pen);
    sheet.scene.down(area.left, (area.top, area.bottom), pen);
    sheet.scene.down(area.right - 1, (area.top, area.bottom), pen);
}

/// The stages of the profile with what became of each, and between them where the board failed short of one.
fn rungs(profile: &Profile, finding: &Finding, in_tries: &[usize]) -> Vec<Rung> {
    let steps = steps(profile, finding, in_tries).into_iter().zip(&profile.phases);
    let rung = |(step, phase): (Step, &PhaseReference)| Rung {
        step,
        name: phase.name.clone(),
        aside: furthest(finding).filter(|(stage, _)| **stage == phase.name).map(|(_, aside)| aside),
    };
    let mut rungs: Vec<Rung> = steps.map(rung).collect();
    if let Some(bad) = went_wrong_in(profile, finding).filter(|_| finding.verdict.step_into.is_some()) {
        let rung = &mut rungs[bad];
        rung.name = end_of(&rung.name);
    }
    if let Some((index, name)) = short_of(profile, finding) {
        // A board that nobody asked did nothing wrong by not waking.
        let step = if finding.verdict.asked == Some(false) { Step::Unasked } else { Step::Trouble };
        let step = if name == WAKE { step } else { Step::Trouble };
        rungs.insert(index, Rung { step, name, aside: None });
    }
    let denied = may_not_stand_by(finding);
    for rung in rungs.iter_mut().filter(|rung| denied && rung.step == Step::Passed) {
        rung.step = Step::Unsure;
    }
    for rung in rungs.iter_mut().filter(|_| words::is_toss_up(&finding.verdict)) {
        rung.step = rung.step.perhaps();
    }
    rungs
}

/// Whether an undecided run may be of a board whose standby draws too much, as the words beside the headline say: then nothing
/// tells that it passed.
fn may_draw_too_much(finding: &Finding) -> bool {
    finding.verdict.runner_up.is_some_and(|second| second.class == Class::ExcessStandby)
}

/// Whether what came second after a standby is that there is none: that it was reached is then not certain.
fn may_not_stand_by(finding: &Finding) -> bool {
    let verdict = &finding.verdict;
    let denied = verdict.runner_up.is_some_and(|second| before_all(second.class).is_some());
    denied && verdict.class == Class::StandbyOnly
}

/// The furthest stage, where most tries end before it, and `in 1 of 8 tries`.
fn furthest(finding: &Finding) -> Option<(&String, String)> {
    let verdict = &finding.verdict;
    let stage = verdict.reached.as_ref().filter(|_| verdict.usually_in.is_some())?;
    let given_up = finding.attempts.iter().filter(|attempt| attempt.given_up);
    let there = given_up.clone().filter(|attempt| attempt.ended_in.as_ref() == Some(stage)).count();
    (there > 0).then(|| (stage, format!("in {there} of {}", words::tries(given_up.count()))))
}

/// Before which stage the board failed, if it failed short of one, and what lies there.
fn short_of(profile: &Profile, finding: &Finding) -> Option<(usize, String)> {
    let class = finding.verdict.class;
    if class == Class::StandbyOnly {
        return Some((reached(profile, finding).map_or(0, |standby| standby + 1), WAKE.into()));
    }
    before_all(class).map(|name| (0, name.into()))
}

/// What became of each stage of the profile; `in_tries` are those whose level some try shows.
fn steps(profile: &Profile, finding: &Finding, in_tries: &[usize]) -> Vec<Step> {
    let course = Course::of(profile, finding);
    let stages = profile.phases.iter().enumerate();
    let step = |(index, stage): (usize, &PhaseReference)| match course.step(finding, index, &stage.name) {
        Step::Unseen if in_tries.contains(&index) => as_it_passed(finding, &stage.name),
        step => step,
    };
    stages.map(step).collect()
}

/// The stages at whose level some try stays for two renewals of the readings and more, before the stage that it ends in:
/// it went through them, though the finding does not tell them apart in a try.
fn shown_in_tries(subject: &Subject, profile: &Profile) -> Vec<usize> {
    // Of a run that came further the finding names the stages itself.
    let of_tries =
        matches!(subject.finding.verdict.class, Class::LatchOff | Class::Cycling | Class::FeedLimited);
    let (Some(volts), Some(update_s), true) =
        (subject.feed_volts(), subject.finding.log.update_s(), of_tries)
    else {
        return Vec::new();
    };
    let bands: Vec<Expected> = profile.phases.iter().map(|stage| in_amps(profile, stage, volts)).collect();
    let tries = subject.finding.attempts.iter().filter(|attempt| attempt.given_up);
    let mut shown: Vec<usize> = tries
        .filter_map(|attempt| {
            let last = place(profile, attempt.likely_in.as_ref())?;
            Some(levels(subject, attempt, &bands[..=last], update_s))
        })
        .flatten()
        .collect();
    shown.sort_unstable();
    shown.dedup();
    shown
}

/// Which of the bands a try stays in for two renewals and more.
fn levels(subject: &Subject, attempt: &Attempt, bands: &[Expected], update_s: f64) -> Vec<usize> {
    /// From the first of two renewals to the last reading of the second; a reading may come early.
    const RENEWALS: f64 = 0.9;
    let (time, amps) = (subject.trace.time(), subject.trace.amps());
    let index = |at: f64| time.partition_point(|time| *time < at);
    let readings: Vec<usize> = (index(attempt.start_s.value())..index(attempt.end_s.value())).collect();
    let level = |reading: &usize| nearest(bands, subject.finding.log.drawn(amps[*reading]));
    let stays = readings.chunk_by(|a, b| level(a) == level(b));
    let lasts = |stay: &&[usize]| time[stay[stay.len() - 1]] - time[stay[0]] >= RENEWALS * update_s;
    stays.filter(lasts).filter_map(|stay| level(&stay[0])).collect()
}

/// The band whose usual mean is nearest to what is drawn, if that lies in it.
fn nearest(bands: &[Expected], amps: f64) -> Option<usize> {
    let off =
        |band: &Expected| (amps.max(f64::MIN_POSITIVE) / band.typical.max(f64::MIN_POSITIVE)).ln().abs();
    let near = (0..bands.len()).min_by(|a, b| off(&bands[*a]).total_cmp(&off(&bands[*b])))?;
    (bands[near].low..=bands[near].high).contains(&amps).then_some(near)
}

/// How far the run got, and where it went wrong, as places in the profile.
#[derive(Debug)]
struct Course {
    /// The furthest stage; `None` if it got to none.
    reached: Option<usize>,
    /// The stage in which it went wrong.
    trouble: Option<usize>,
    /// The first of the stages in which its tries may have ended, if there are several.
    first_open: Option<usize>,
    /// Whether that stage is told by the times of the tries alone.
    likely: bool,
    /// Whether a try is on when the log ends: the board has left its standby, for a stage that nothing tells.
    going_on: bool,
}

impl Course {
    fn of(profile: &Profile, finding: &Finding) -> Self {
        let earliest = Tries::of(&finding.attempts, &finding.log.gaps).and_then(|tries| tries.earliest_in);
        Self {
            reached: reached(profile, finding),
            trouble: went_wrong_in(profile, finding),
            first_open: place(profile, earliest.as_ref()),
            likely: is_likely(finding),
            going_on: finding.attempts.last().is_some_and(|last| !last.given_up),
        }
    }

    /// What became of the stage of that place and name.
    fn step(&self, finding: &Finding, index: usize, name: &str) -> Step {
        let verdict = &finding.verdict;
        match (self.trouble, self.reached) {
            _ if before_all(verdict.class).is_some() => Step::Missing,
            (Some(bad), _) if index > bad => Step::Missing,
            (Some(bad), _) if self.first_open.is_some_and(|first| first < bad && first <= index) => {
                Step::Either
            }
            (Some(bad), _) if index == bad && self.likely => Step::Likely,
            (Some(bad), _) if index == bad => Step::Trouble,
            (Some(_), reached) if reached.is_none_or(|last| index > last) => Step::Unsure,
            (None, Some(0)) if self.going_on && verdict.class == Class::Inconclusive && index < 2 => {
                if index == 0 && !may_draw_too_much(finding) {
                    as_it_passed(finding, name)
                } else {
                    Step::Unsure
                }
            }
            (_, Some(last)) if index <= last => match verdict.class {
                _ if !was_seen(finding, name) => Step::Unseen,
                Class::Inconclusive => Step::Unsure,
                _ => as_it_passed(finding, name),
            },
            _ => Step::Missing,
        }
    }
}

/// Of a stage that was passed, whether it was as on good boards.
fn as_it_passed(finding: &Finding, name: &str) -> Step {
    let told = |departure: &&Departure| !words::is_the_verdict(&finding.verdict, departure);
    let departs = finding.departures.iter().filter(told).any(|departure| departure.phase == name);
    if departs { Step::Departs } else { Step::Passed }
}

/// The stage in which the run went wrong; `None` if in none, or short of one: see [`short_of`].
fn went_wrong_in(profile: &Profile, finding: &Finding) -> Option<usize> {
    let verdict = &finding.verdict;
    let reached = reached(profile, finding);
    let last = profile.phases.len().checked_sub(1);
    // Where the finding names no stage, the first that was not seen is the one that failed.
    let next = reached.map_or(0, |reached| reached + 1).min(last.unwrap_or(0));
    let named = |stage: &Option<String>| place(profile, stage.as_ref());
    match verdict.class {
        Class::Stalled => named(&verdict.stalled_in).or(reached),
        Class::Cycling | Class::LatchOff | Class::FeedLimited => {
            place(profile, verdict.place()).or_else(|| likely_stage(profile, finding)).or(Some(next))
        }
        Class::DroppedOut => named(&verdict.reached).or(last),
        Class::ExcessStandby => named(&verdict.reached).or(Some(0)),
        Class::StandbyOnly
        | Class::NoDraw
        | Class::HardShort
        | Class::PartialShort
        | Class::FullBoot
        | Class::Inconclusive => None,
    }
}

/// Whether a stage was told apart from the others, in the run or in one of its tries.
fn was_seen(finding: &Finding, name: &str) -> bool {
    let of_a_try = finding.attempts.iter().any(|attempt| attempt.ended_in.as_deref() == Some(name));
    of_a_try || finding.phases.iter().any(|phase| phase.name == name)
}

/// The stage in which the tries end, told or by their time and level.
fn likely_stage(profile: &Profile, finding: &Finding) -> Option<usize> {
    place(profile, Tries::of(&finding.attempts, &finding.log.gaps)?.likely_in.as_ref())
}

/// Whether no reading tells that stage, as the headline says: `likely in rails`.
fn is_likely(finding: &Finding) -> bool {
    let by_time = words::where_tries_end(finding) == words::likely_place(finding);
    let tries = Tries::of(&finding.attempts, &finding.log.gaps).filter(|_| by_time);
    tries.is_some_and(|tries| tries.likely_in.is_some() && tries.earliest_in.is_none())
}

fn place(profile: &Profile, name: Option<&String>) -> Option<usize> {
    profile.phases.iter().position(|phase| Some(&phase.name) == name)
}

/// The furthest stage that the board got to, by the verdict or else by the phases.
fn reached(profile: &Profile, finding: &Finding) -> Option<usize> {
    let verdict = &finding.verdict;
    let named = place(profile, verdict.stalled_in.as_ref()).max(place(profile, verdict.reached.as_ref()));
    let seen = |phase: &PhaseReference| finding.phases.iter().any(|of| of.name == phase.name);
    named.or_else(|| profile.phases.iter().rposition(seen))
}
