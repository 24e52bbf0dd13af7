//! The head: verdict, evidence, stages.

use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::parts::{Subject, ladder};
use super::super::scene::Anchor;
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::super::words;
use crate::verdict::Class;

/// Draws the head and returns where it ends.
pub(super) fn draw(sheet: &mut Sheet, subject: &Subject) -> i32 {
    let area = sheet.inside();
    let verdict = &subject.finding.verdict;
    let below = headline(sheet, subject, area);
    let mut y = evidence(sheet, &verdict.because, Rect { top: below, ..area });
    if let Some(profile) = subject.profile {
        let (row, _) = Rect { top: y + sheet.u(8.0), ..area }.split_top(sheet.u(32.0));
        ladder::draw(sheet, profile, subject.finding, row);
        y = row.bottom;
    }
    y + sheet.u(12.0)
}

/// Sign, colour of the sign and of what stands on it: the kind of verdict, by shape as well as by colour.
fn badge(sheet: &Sheet, class: Class) -> (&'static str, Color, Color) {
    let palette = sheet.palette;
    match class {
        Class::FullBoot => ("✓", palette.good, palette.on_good),
        Class::Inconclusive => ("?", palette.unsure, palette.on_unsure),
        Class::FeedLimited => ("!", palette.limit, palette.paper),
        _ => ("✗", palette.alarm, palette.on_alarm),
    }
}

fn headline(sheet: &mut Sheet, subject: &Subject, area: Rect) -> i32 {
    let verdict = &subject.finding.verdict;
    let side = sheet.u(50.0);
    let (sign, ground, on_ground) = badge(sheet, verdict.class);
    let square = Rect::new(area.left, area.top, area.left + side, area.top + side);
    sheet.scene.fill(square, ground);
    let sign_style = sheet.style(em::HEADLINE, Weight::Bold, on_ground);
    sheet.centered(sign, square, sign_style);

    let small = sheet.style(em::USUAL, Weight::Regular, sheet.palette.faint_text);
    let sure = words::confidence(verdict);
    let left = square.right + sheet.u(16.0);
    let right = area.right - small.width(&sure) - sheet.u(20.0);
    let text = format!("{}{}", words::headline(verdict), words::departures_clause(subject.finding));
    let lines = headline_lines(sheet, &text, right - left);
    let beside = lines.len() == 1;
    let mut baseline = area.top;
    for (line, style) in &lines {
        baseline = if beside { style.baseline_at(square.center().1) } else { baseline + style.line_height() };
        sheet.scene.text(line.clone(), (left, baseline), Anchor::Start, *style);
    }
    let at = (area.right, small.baseline_at(square.center().1));
    sheet.scene.text(sure, at, Anchor::End, small);
    square.bottom.max(baseline + sheet.u(8.0))
}

/// The headline on one line as large as it fits, or on two.
fn headline_lines(sheet: &Sheet, text: &str, room: i32) -> Vec<(String, super::super::scene::Style)> {
    /// Sizes that still read from across a bench.
    const SIZES: [f64; 4] = [em::HEADLINE, 32.0, 28.0, 25.0];
    let style = |size: f64| sheet.style(size, Weight::Bold, sheet.palette.text);
    if let Some(fitting) = SIZES.into_iter().map(style).find(|style| style.width(text) <= room) {
        return vec![(text.to_owned(), fitting)];
    }
    let small = style(23.0);
    small.wrap(text, room, 3).into_iter().map(|line| (line, small)).collect()
}

/// The evidence, on two lines at most.
fn evidence(sheet: &mut Sheet, because: &[String], area: Rect) -> i32 {
    let style = sheet.style(em::LARGE, Weight::Regular, sheet.palette.text);
    let text = because.join(" · ");
    let mut baseline = area.top + sheet.u(4.0);
    for line in style.wrap(&super::super::font::clean(&text), area.width(), 2) {
        baseline += style.line_height();
        sheet.scene.text(line, (area.left, baseline - sheet.u(2.0)), Anchor::Start, style);
    }
    baseline
}
