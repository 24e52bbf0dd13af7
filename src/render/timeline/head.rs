//! The head: verdict, evidence, stages.

use super::super::geometry::Rect;
use super::super::parts::{Subject, heading, ladder};
use super::super::sheet::Sheet;
use super::super::words;

/// Draws the head and returns where it ends.
pub(super) fn draw(sheet: &mut Sheet, subject: &Subject) -> i32 {
    let area = sheet.inside();
    let verdict = &subject.finding.verdict;
    let badge = heading::badge(sheet, subject.finding);
    let text = format!("{}{}", words::headline(verdict), words::departures_clause(subject.finding));
    let below = heading::draw(sheet, area, Some(badge), &text, &words::confidence(verdict));
    let evidence = verdict.because.join(" · ");
    let mut y = heading::lines(sheet, Rect { top: below, ..area }, &evidence, 2);
    if let Some(profile) = subject.profile {
        let (row, _) = Rect { top: y + sheet.u(8.0), ..area }.split_top(sheet.u(32.0));
        ladder::draw(sheet, profile, subject.finding, row);
        y = row.bottom;
    }
    y + sheet.u(12.0)
}
