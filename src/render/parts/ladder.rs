//! The ladder of stages: how far the board got, stage by stage, for the eye alone.

use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::sheet::{Sheet, em};
use super::super::theme::{Color, Palette};
use super::super::words;
use crate::reference::{PhaseReference, Profile};
use crate::verdict::{Class, Finding, Tries};

/// What became of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// Reached and passed, or kept to the end.
    Passed,
    /// The same, but not as on good boards.
    Departs,
    /// Where it went wrong.
    Trouble,
    /// Seen in a capture that decides nothing, or not told apart from the stage after it.
    Unsure,
    /// Not reached.
    Missing,
}

impl Step {
    const fn sign(self) -> &'static str {
        match self {
            Self::Passed => "✓",
            Self::Departs => "!",
            Self::Trouble => "✗",
            Self::Unsure => "?",
            Self::Missing => "",
        }
    }

    /// Ground, frame, and the colour of what stands on it; what was not reached is a dashed outline. Only what went
    /// wrong is dark, so that it is the one that is seen in grey and from afar.
    const fn colors(self, palette: &Palette) -> (Color, Option<Color>, Color) {
        match self {
            Self::Passed | Self::Departs => (palette.envelope, Some(palette.ink), palette.text),
            Self::Trouble => (palette.alarm, Some(palette.alarm), palette.on_alarm),
            Self::Unsure => (palette.paper, Some(palette.unsure), palette.text),
            Self::Missing => (palette.paper, None, palette.faint_text),
        }
    }
}

/// Height of a row of stages, in units of the layout.
const ROW: f64 = 32.0;

/// Draws the stages from the top of `area` and returns where they end.
pub(in crate::render) fn draw(sheet: &mut Sheet, profile: &Profile, finding: &Finding, area: Rect) -> i32 {
    let steps = steps(profile, finding);
    let (rows, per_row) = rows(sheet, profile, area.width());
    let (gap, height) = (sheet.u(4.0), sheet.u(ROW));
    for (index, (step, phase)) in (0..).zip(steps.into_iter().zip(&profile.phases)) {
        let (row, index) = (index / per_row, index % per_row);
        let left = area.left + area.width() * index / per_row;
        let right = area.left + area.width() * (index + 1) / per_row;
        let right = if index + 1 < per_row { right - gap } else { right };
        let top = area.top + row * (height + gap);
        chip(sheet, step, &phase.name, Rect { left, right, top, bottom: top + height });
    }
    area.top + rows * (height + gap) - gap
}

/// How many rows the stages take and how many stand in one: on a narrow figure more than one, if that saves their names.
fn rows(sheet: &Sheet, profile: &Profile, width: i32) -> (i32, i32) {
    const MOST_ROWS: i32 = 3;
    let count = i32::try_from(profile.phases.len()).unwrap_or(i32::MAX).max(1);
    let style = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
    let widest = profile.phases.iter().map(|phase| style.width(&format!("✓ {}", clean(&phase.name)))).max();
    let per_row = |rows: i32| (count + rows - 1) / rows;
    let fits = |rows: &i32| widest.unwrap_or(0) + sheet.u(10.0) <= width / per_row(*rows);
    let rows = (1..=MOST_ROWS).find(fits).unwrap_or(1);
    (rows, per_row(rows))
}

fn chip(sheet: &mut Sheet, step: Step, name: &str, area: Rect) {
    let (ground, frame, color) = step.colors(sheet.palette);
    sheet.scene.fill(area, ground);
    match frame {
        Some(frame) => sheet.scene.frame(area, sheet.u(2.0), frame),
        None => dashed_frame(sheet, area),
    }
    let weight = if step == Step::Missing { Weight::Regular } else { Weight::Bold };
    let style = sheet.style(em::USUAL, weight, color);
    let (sign, name) = (step.sign(), clean(name));
    let both = if sign.is_empty() { name } else { format!("{sign} {name}") };
    // The sign says the most: it stays where the name has no room.
    let fits = style.fit(&both, area.width() - sheet.u(6.0)).is_some();
    sheet.centered(if fits { &both } else { sign }, area, style);
}

fn dashed_frame(sheet: &mut Sheet, area: Rect) {
    let pen = sheet.pen(1.0, 5.0, sheet.palette.frame);
    sheet.scene.across((area.left, area.right), area.top, pen);
    sheet.scene.across((area.left, area.right), area.bottom - 1, pen);
    sheet.scene.down(area.left, (area.top, area.bottom), pen);
    sheet.scene.down(area.right - 1, (area.top, area.bottom), pen);
}

/// What became of each stage of the profile.
fn steps(profile: &Profile, finding: &Finding) -> Vec<Step> {
    let verdict = &finding.verdict;
    let reached = reached(profile, finding);
    let last = profile.phases.len().checked_sub(1);
    // Where the finding names no stage, the first that was not seen is the one that failed.
    let next = reached.map_or(0, |reached| reached + 1).min(last.unwrap_or(0));
    let named = |stage: &Option<String>| place(profile, stage.as_ref());
    let trouble = match verdict.class {
        Class::Stalled => named(&verdict.stalled_in).or(reached),
        Class::Cycling | Class::LatchOff | Class::FeedLimited => {
            named(&verdict.reached).or_else(|| likely_stage(profile, finding)).or(Some(next))
        }
        Class::DroppedOut => named(&verdict.reached).or(last),
        Class::ExcessStandby => named(&verdict.reached).or(Some(0)),
        Class::StandbyOnly => Some(next),
        Class::NoDraw | Class::HardShort | Class::PartialShort => Some(0),
        Class::FullBoot | Class::Inconclusive => None,
    };
    let first_open = named(&Tries::of(&finding.attempts).and_then(|tries| tries.earliest_in));
    let open = |index: usize| {
        first_open.is_some_and(|first| trouble.is_some_and(|bad| (first..bad).contains(&index)))
    };
    let departures = finding.departures.iter().filter(|d| !words::is_the_verdict(verdict, d));
    let departing: Vec<&String> = departures.map(|departure| &departure.phase).collect();
    let departs = |index: usize| departing.contains(&&profile.phases[index].name);
    let step = |index: usize| match (trouble, reached) {
        (Some(bad), _) if index == bad => Step::Trouble,
        (Some(bad), _) if index > bad => Step::Missing,
        _ if open(index) => Step::Unsure,
        (Some(_), reached) if reached.is_none_or(|last| index > last) => Step::Unsure,
        (_, Some(last)) if index <= last => match verdict.class {
            Class::Inconclusive => Step::Unsure,
            _ if departs(index) => Step::Departs,
            _ => Step::Passed,
        },
        _ => Step::Missing,
    };
    (0..profile.phases.len()).map(step).collect()
}

/// The stage in which the tries end, told or by their time and level.
fn likely_stage(profile: &Profile, finding: &Finding) -> Option<usize> {
    place(profile, Tries::of(&finding.attempts)?.likely_in.as_ref())
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

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{cycling, finding, phase, profile};
    use super::*;

    /// The signs of the stages of a run of that class, for a board that got to `reached`.
    fn signs(class: Class, seen: &[&str], reached: Option<&str>) -> String {
        let phases = seen.iter().map(|name| phase(name, 1.0, 2.0)).collect();
        let mut finding = finding(phases);
        finding.departures.clear();
        finding.verdict.class = class;
        finding.verdict.reached = reached.map(String::from);
        finding.verdict.stalled_in = reached.filter(|_| class == Class::Stalled).map(String::from);
        let signs = steps(&profile(), &finding).into_iter().map(|step| match step.sign() {
            "" => "·",
            sign => sign,
        });
        signs.collect()
    }

    #[test]
    fn tries_that_may_have_ended_in_either_of_two_stages_leave_the_first_open() {
        let steps_of = |earliest: Option<&str>| {
            let mut finding = cycling(4);
            for attempt in &mut finding.attempts {
                (attempt.ended_in, attempt.likely_in) = (None, Some("firmware".into()));
                attempt.earliest_in = earliest.map(Into::into);
            }
            finding.verdict.reached = None;
            finding.departures.clear();
            steps(&profile(), &finding).into_iter().map(Step::sign).collect::<Vec<_>>()[..3].to_vec()
        };
        assert_eq!(steps_of(Some("rails")), ["✓", "?", "✗"]);
        assert_eq!(steps_of(None), ["✓", "✓", "✗"]);
    }

    #[test]
    fn tries_that_show_no_stage_end_where_the_finding_takes_them_to() {
        let mut finding = cycling(4);
        for attempt in &mut finding.attempts {
            (attempt.ended_in, attempt.likely_in) = (None, Some("firmware".into()));
        }
        finding.verdict.reached = None;
        for phase in &mut finding.phases {
            if phase.name == "rails" || phase.name == "firmware" {
                phase.name = "attempt".into();
            }
        }
        let steps = steps(&profile(), &finding);
        assert_eq!(steps, [Step::Passed, Step::Unsure, Step::Trouble, Step::Missing, Step::Missing]);
    }

    #[test]
    fn a_stage_is_crossed_out_for_every_class_that_fails() {
        // The stages are standby, rails, firmware, loading, picture.
        let cases = [
            (Class::NoDraw, &["no draw"][..], None),
            (Class::HardShort, &["short"], None),
            (Class::PartialShort, &["heavy load"], None),
            (Class::ExcessStandby, &["standby"], Some("standby")),
            (Class::StandbyOnly, &["standby"], Some("standby")),
            (Class::LatchOff, &["standby", "attempt", "standby"], None),
            (Class::Cycling, &["standby", "attempt", "rest"], None),
            (Class::Cycling, &["standby", "rails", "firmware", "rest"], Some("firmware")),
            (Class::Stalled, &["standby", "rails", "firmware"], Some("firmware")),
            (Class::FullBoot, &["standby", "rails", "firmware", "loading", "picture"], Some("picture")),
            (Class::DroppedOut, &["standby", "picture", "standby"], Some("picture")),
            (Class::FeedLimited, &["standby", "rails", "rest"], Some("rails")),
            (Class::Inconclusive, &["standby"], None),
        ];
        let lines = cases.map(|(class, seen, reached)| format!("{class}: {}", signs(class, seen, reached)));
        insta::assert_snapshot!(lines.join("\n"), @"
        no-draw: ✗····
        hard-short: ✗····
        partial-short: ✗····
        excess-standby: ✗····
        standby-only: ✓✗···
        latch-off: ✓✗···
        cycling: ✓✗···
        cycling: ✓✓✗··
        stalled: ✓✓✗··
        full-boot: ✓✓✓✓✓
        dropped-out: ✓✓✓✓✗
        feed-limited: ✓✗···
        inconclusive: ?····
        ");
    }
}
