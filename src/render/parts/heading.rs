//! The heading of a figure: what it says, read from across a bench.

use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::super::words;
use crate::verdict::{Class, Finding};

/// From this many units of width on, something small has room beside the heading.
const WIDE: f64 = 900.0;

/// The same of a low figure, where a line of its own would cost the traces their room.
const WIDE_IF_LOW: f64 = 700.0;

/// Sign, colour of the sign's ground and of the sign: the kind of verdict, by shape as well as by colour.
pub(in crate::render) type Badge = (&'static str, Color, Color);

/// The sign of what nobody asked for.
pub(in crate::render) const UNASKED: &str = "–";

pub(in crate::render) fn badge(sheet: &Sheet, finding: &Finding) -> Badge {
    let palette = sheet.palette;
    match finding.verdict.class {
        // What is wrong as often as right is no answer that a sign may give.
        _ if words::is_toss_up(&finding.verdict) => ("?", palette.unsure, palette.on_unsure),
        // A board that departs is not to be taken for a sound one at a glance.
        Class::FullBoot if !finding.departures.is_empty() => ("!", palette.alarm, palette.on_alarm),
        Class::FullBoot => ("✓", palette.good, palette.on_good),
        Class::Inconclusive => ("?", palette.unsure, palette.on_unsure),
        // A board at its standby that nobody asked to wake has not failed, and there is no doubt of that.
        Class::StandbyOnly if finding.verdict.asked == Some(false) => {
            (UNASKED, palette.unsure, palette.on_unsure)
        }
        _ => ("✗", palette.alarm, palette.on_alarm),
    }
}

/// The sign of several findings: of what is known to be wrong with one of them, before any doubt about another.
pub(in crate::render) fn gravest<'a>(
    sheet: &Sheet,
    findings: impl Iterator<Item = &'a Finding>,
) -> Option<Badge> {
    let rank = |(sign, ..): &Badge| {
        ["✗", "!", "?", UNASKED].iter().position(|other| other == sign).unwrap_or(usize::MAX)
    };
    findings.map(|finding| badge(sheet, finding)).min_by_key(rank)
}

/// Whether something small has room beside the heading.
pub(in crate::render) fn has_room_beside(sheet: &Sheet, width: i32) -> bool {
    width > sheet.u(if sheet.is_low() { WIDE_IF_LOW } else { WIDE })
}

/// Draws `text` as large as it fits, `badge` before it and `aside` small at the right; returns where it ends.
pub(in crate::render) fn draw(
    sheet: &mut Sheet,
    area: Rect,
    badge: Option<Badge>,
    text: &str,
    aside: &str,
) -> i32 {
    let side = sheet.u(50.0);
    let square = Rect::new(area.left, area.top, area.left + side, area.top + side);
    let left = badge.map_or(area.left, |badge| sign(sheet, square, badge));
    // How sure it is, and of what else, is part of the verdict.
    let small = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    let wide = has_room_beside(sheet, area.width());
    let aside_width = if wide && !aside.is_empty() { small.width(aside) + sheet.u(20.0) } else { 0 };
    let lines = fitted(sheet, &clean(text), area.right - aside_width - left);
    let below = square.bottom.max(large(sheet, square, left, lines) + sheet.u(8.0));
    if wide || aside.is_empty() {
        let at = (area.right, small.baseline_at(square.center().1));
        sheet.scene.text(aside, at, Anchor::End, small);
        return below;
    }
    // Beside a heading that needs the whole width there is no room.
    let below = below + small.line_height();
    sheet.short_text(aside, (area.left, below - sheet.u(4.0)), Anchor::Start, small, area.width());
    below
}

/// Draws lines that each say something of their own, all as large as the longest fits, or on two where it is too long; returns
/// where they end.
pub(in crate::render) fn draw_lines(sheet: &mut Sheet, area: Rect, badge: Badge, lines: &[String]) -> i32 {
    /// Sizes that still read at arm's length.
    const SIZES: [f64; 4] = [32.0, 28.0, 25.0, 22.0];
    let side = sheet.u(50.0);
    let square = Rect::new(area.left, area.top, area.left + side, area.top + side);
    let left = sign(sheet, square, badge);
    let room = area.right - left;
    let style = |size: f64| sheet.style(size, Weight::Bold, sheet.palette.text);
    let fits = |style: &Style| lines.iter().all(|line| style.width(&clean(line)) <= room);
    let style = SIZES.into_iter().map(style).find(fits).unwrap_or_else(|| style(20.0));
    let wrapped = lines.iter().flat_map(|line| style.wrap(&clean(line), room, 2));
    let lines = wrapped.map(|line| (line, style)).collect();
    square.bottom.max(large(sheet, square, left, lines) + sheet.u(8.0))
}

/// Draws the sign on its ground and returns where the words begin.
fn sign(sheet: &mut Sheet, square: Rect, (sign, ground, on_ground): Badge) -> i32 {
    sheet.scene.fill(square, ground);
    let style = sheet.style(em::HEADLINE, Weight::Bold, on_ground);
    sheet.centered(sign, square, style);
    square.right + sheet.u(16.0)
}

/// Draws the lines of the heading, a single one in the middle of the sign beside it, and returns the baseline of the last.
fn large(sheet: &mut Sheet, square: Rect, left: i32, lines: Vec<(String, Style)>) -> i32 {
    let beside = lines.len() == 1;
    let mut baseline = square.top;
    for (line, style) in lines {
        baseline = if beside { style.baseline_at(square.center().1) } else { baseline + style.line_height() };
        sheet.scene.text(line, (left, baseline), Anchor::Start, style);
    }
    baseline
}

/// The first of several wordings that a heading in `area` has room for, or else the last.
pub(in crate::render) fn that_fits(
    sheet: &Sheet,
    area: Rect,
    wordings: impl Iterator<Item = String>,
) -> String {
    let room = area.width() - sheet.u(66.0);
    let mut last = String::new();
    for text in wordings {
        let lines = fitted(sheet, &clean(&text), room);
        last = text;
        if lines.last().is_none_or(|(line, _)| !line.ends_with('…')) {
            break;
        }
    }
    last
}

/// The text on one line as large as it fits, or on up to three.
fn fitted(sheet: &Sheet, text: &str, room: i32) -> Vec<(String, Style)> {
    /// Sizes that still read from across a bench.
    const SIZES: [f64; 4] = [em::HEADLINE, 32.0, 28.0, 25.0];
    let style = |size: f64| sheet.style(size, Weight::Bold, sheet.palette.text);
    if let Some(fitting) = SIZES.into_iter().map(style).find(|style| style.width(text) <= room) {
        return vec![(text.to_owned(), fitting)];
    }
    let small = style(23.0);
    small.wrap(text, room, 3).into_iter().map(|line| (line, small)).collect()
}

/// Between the parts of what is said under the heading.
pub(in crate::render) const BETWEEN: &str = " · ";

/// Draws what is said under the heading, on `most` lines, or twice as many where they are short; returns where it ends.
/// What is left out are whole parts: half a sentence may say the opposite of the whole.
pub(in crate::render) fn lines(sheet: &mut Sheet, area: Rect, text: &str, most: usize) -> i32 {
    let upright = sheet.scene.height > sheet.scene.width && area.width() <= sheet.u(WIDE);
    let (most, size) = match (upright, sheet.is_low()) {
        (true, _) => (2 * most, em::USUAL),
        (false, true) => (most, em::USUAL),
        (false, false) => (most, em::LARGE),
    };
    let style = sheet.style(size, Weight::Regular, sheet.palette.text);
    let mut baseline = area.top + sheet.u(4.0);
    for line in whole_parts(style, &clean(text), area.width(), most) {
        baseline += style.line_height();
        sheet.scene.text(line, (area.left, baseline - sheet.u(2.0)), Anchor::Start, style);
    }
    baseline
}

/// The parts in their order, on at most so many lines, but for those that would be cut there.
fn whole_parts(style: Style, text: &str, room: i32, most: usize) -> Vec<String> {
    let wrap = |text: &str| style.wrap(text, room, most);
    let is_cut = |lines: &[String]| lines.last().is_some_and(|line| line.ends_with('…'));
    let mut said = String::new();
    for part in text.split(BETWEEN) {
        let longer = if said.is_empty() { part.to_owned() } else { format!("{said}{BETWEEN}{part}") };
        if !is_cut(&wrap(&longer)) {
            said = longer;
        }
    }
    // Of a first part that is longer than all the room its beginning says more than nothing.
    wrap(if said.is_empty() { text } else { &said })
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{finding, phase};
    use super::super::super::options::Options;
    use super::*;

    #[test]
    fn a_sign_is_no_surer_than_its_verdict_and_of_several_the_gravest_counts() {
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let of = |class: Class, confidence: f64| {
            let mut finding = finding(vec![phase("run", 0.0, 60.0)]);
            finding.departures.clear();
            (finding.verdict.class, finding.verdict.confidence) = (class, confidence);
            finding
        };
        let sign = |finding: &Finding| badge(&sheet, finding).0;
        let (stalled, unsure) = (of(Class::Stalled, 0.98), of(Class::Stalled, 0.35));
        assert_eq!((sign(&stalled), sign(&unsure)), ("✗", "?"));
        assert_eq!(sign(&of(Class::FullBoot, 0.4)), "?");
        let open = of(Class::Inconclusive, 0.9);
        let of_all = |all: &[&Finding]| gravest(&sheet, all.iter().copied()).map(|badge| badge.0);
        assert_eq!(of_all(&[&open, &stalled]), Some("✗"));
        assert_eq!(of_all(&[&open, &of(Class::FullBoot, 0.98)]), Some("?"));
        assert_eq!(of_all(&[]), None);
    }

    #[test]
    fn what_has_no_room_is_left_out_as_a_whole() {
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let style = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
        let text = "no wake · 24 mA at 12.8 V for 58.0 s, as on good boards that wait · no press";
        let room = style.width("no wake · 24 mA at 12.8 V for 58.0 s");
        assert_eq!(whole_parts(style, text, room, 1), ["no wake · no press"]);
        assert_eq!(whole_parts(style, text, room, 3).join(" "), text);
        assert!(
            whole_parts(style, "a very long part that says a great deal of it all", room, 1)[0]
                .ends_with('…')
        );
    }
}
