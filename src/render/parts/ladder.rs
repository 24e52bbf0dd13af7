//! The ladder of stages: how far the board got, stage by stage, for the eye alone.

use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::sheet::{Sheet, em};
use crate::reference::Profile;
use crate::verdict::{Class, Finding};

/// What became of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// Reached and passed, or kept to the end.
    Passed,
    /// Where it went wrong.
    Trouble,
    /// Not reached.
    Missing,
}

pub(in crate::render) fn draw(sheet: &mut Sheet, profile: &Profile, finding: &Finding, row: Rect) {
    let steps = steps(profile, finding);
    let count = i32::try_from(steps.len()).unwrap_or(i32::MAX).max(1);
    let gap = sheet.u(4.0);
    for (index, (step, phase)) in (0..count).zip(steps.into_iter().zip(&profile.phases)) {
        let left = row.left + row.width() * index / count;
        let right = row.left + row.width() * (index + 1) / count - if index + 1 < count { gap } else { 0 };
        chip(sheet, step, &phase.name, Rect { left, right, ..row });
    }
}

fn chip(sheet: &mut Sheet, step: Step, name: &str, area: Rect) {
    let palette = sheet.palette;
    let (sign, color) = match step {
        Step::Passed => ("✓ ", palette.on_ink),
        Step::Trouble => ("✗ ", palette.on_alarm),
        Step::Missing => ("", palette.faint_text),
    };
    match step {
        Step::Passed => sheet.scene.fill(area, palette.ink),
        Step::Trouble => sheet.scene.fill(area, palette.alarm),
        Step::Missing => dashed_frame(sheet, area),
    }
    let weight = if step == Step::Missing { Weight::Regular } else { Weight::Bold };
    let style = sheet.style(em::USUAL, weight, color);
    sheet.centered(&format!("{sign}{name}"), area, style);
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
    let place =
        |name: &Option<String>| profile.phases.iter().position(|phase| Some(&phase.name) == name.as_ref());
    let verdict = &finding.verdict;
    let seen = profile.phases.iter().rposition(|phase| finding.phases.iter().any(|of| of.name == phase.name));
    let named = place(&verdict.stalled_in).max(place(&verdict.reached));
    let reached = named.or(seen);
    let trouble = match verdict.class {
        Class::Stalled => place(&verdict.stalled_in).or(reached),
        Class::LatchOff | Class::Cycling | Class::FeedLimited | Class::DroppedOut => named,
        Class::ExcessStandby => reached.or(Some(0)),
        _ => None,
    };
    let step = |index: usize| match (trouble, reached) {
        (Some(bad), _) if index == bad => Step::Trouble,
        (_, Some(last)) if index <= last => Step::Passed,
        _ => Step::Missing,
    };
    (0..profile.phases.len()).map(step).collect()
}
