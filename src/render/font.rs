//! Text: the embedded font, its measures, and glyphs as coverage.
//!
//! The font travels inside the program, so that a figure is the same on every machine; nothing asks the system for
//! fonts. A character that the font lacks is drawn as the font's own box.

use ab_glyph::{Font, FontRef, Glyph, ScaleFont, point};
use std::sync::LazyLock;

static REGULAR: LazyLock<FontRef<'static>> =
    LazyLock::new(|| load(include_bytes!("fonts/DejaVuSans-subset.ttf")));
static BOLD: LazyLock<FontRef<'static>> =
    LazyLock::new(|| load(include_bytes!("fonts/DejaVuSans-Bold-subset.ttf")));

/// The families that an SVG asks for: the embedded one, then one of the same widths.
pub(super) const FAMILY: &str = "DejaVu Sans, Verdana, sans-serif";

/// Height of a capital letter of the font, in ems (1493 of 2048 units).
pub(super) const CAP_HEIGHT: f64 = 1493.0 / 2048.0;

/// How far letters reach below the baseline, in ems (483 of 2048 units).
pub(super) const DESCENT: f64 = 483.0 / 2048.0;

fn load(bytes: &'static [u8]) -> FontRef<'static> {
    FontRef::try_from_slice(bytes).expect("the embedded font is whole; a test reads it")
}

/// Weight of the letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

impl Weight {
    fn font(self) -> &'static FontRef<'static> {
        match self {
            Self::Regular => &REGULAR,
            Self::Bold => &BOLD,
        }
    }
}

/// `text` as it can be drawn on one line: blanks for line ends and tabs, nothing that is invisible or turns the
/// direction of writing, the replacement character for what XML does not allow.
pub(super) fn clean(text: &str) -> String {
    let invisible = |c: &char| matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{ad}');
    let drawable = |c: char| match c {
        c if c.is_whitespace() => ' ',
        c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => '\u{fffd}',
        c => c,
    };
    text.chars().filter(|c| !invisible(c)).map(drawable).collect()
}

/// Width of `text` in pixels at `em` pixels to the em.
pub(super) fn width(text: &str, em: f64, weight: Weight) -> f64 {
    let font = weight.font();
    let units: f32 = layout_units(font, text).last().map_or(0.0, |(_, _, end)| end);
    f64::from(units) * em / f64::from(font.units_per_em().unwrap_or(2048.0))
}

/// Glyph, start and end of each character, in font units.
fn layout_units<'a>(
    font: &'a FontRef<'static>,
    text: &'a str,
) -> impl Iterator<Item = (ab_glyph::GlyphId, f32, f32)> + 'a {
    let mut before = None;
    let mut at = 0.0_f32;
    text.chars().map(move |c| {
        let glyph = font.glyph_id(c);
        at += before.map_or(0.0, |last| font.kern_unscaled(last, glyph));
        before = Some(glyph);
        let start = at;
        at += font.h_advance_unscaled(glyph);
        (glyph, start, at)
    })
}

/// Fewer letters than this of a word that was cut say nothing: `fi…` may be anything.
const LEAST_LETTERS: usize = 4;

/// `text`, shortened with an ellipsis until it is no wider than `room` pixels, with no part of a number at its end; `None` if
/// that leaves too little to be understood.
pub(super) fn fit(text: &str, em: f64, weight: Weight, room: f64) -> Option<String> {
    if width(text, em, weight) <= room {
        return Some(text.to_owned());
    }
    let letters: Vec<char> = text.chars().collect();
    let shortened = |keep: usize| {
        let mut short: String = letters[..keep].iter().collect::<String>().trim_end().to_owned();
        short.push('…');
        short
    };
    // Width grows with every letter, so the longest that fits is found by bisection.
    let fitting = partition_point(letters.len(), |keep| width(&shortened(keep), em, weight) <= room);
    let left = shortened(before_number(text, fitting));
    says_something(&left).then_some(left)
}

/// How many letters to keep of `text`, so that a cut after `keep` leaves no part of a number, nor one without its unit: `0.3…`
/// of `0.345 A` would be read as another. A text of one word is a name, whatever is in it.
fn before_number(text: &str, keep: usize) -> usize {
    let mut start = 0;
    let mut number = None;
    for word in text.split(' ').filter(|_| text.contains(' ')) {
        let end = start + word.chars().count();
        let begins = number.filter(|_| is_unit(word)).or_else(|| is_number(word).then_some(start));
        if let Some(begins) = begins.filter(|begins| (begins + 1..end).contains(&keep)) {
            return begins;
        }
        number = is_number(word).then_some(start);
        start = end + 1;
    }
    keep
}

/// Whether a word is a number, be there signs around it.
fn is_number(word: &str) -> bool {
    let figures = word.trim_matches(|c: char| !c.is_ascii_alphanumeric());
    figures.starts_with(|c: char| c.is_ascii_digit()) && figures.parse::<f64>().is_ok()
}

/// Whether a word is a unit, be there signs after it.
fn is_unit(word: &str) -> bool {
    const UNITS: [&str; 12] = ["A", "mA", "µA", "V", "mV", "W", "mW", "s", "min", "h", "Ω", "%"];
    UNITS.contains(&word.trim_end_matches([',', ';', ':', '.', ')']))
}

/// Whether enough letters and figures are left of a text that was cut; signs between them say nothing.
fn says_something(cut: &str) -> bool {
    cut.chars().filter(|c| c.is_alphanumeric()).count() >= LEAST_LETTERS
}

/// The largest `n` in `1..=most` for which `holds` is true, if it is true up to some point; 0 if for none.
fn partition_point(most: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, most);
    while low < high {
        let middle = usize::midpoint(low, high + 1);
        if holds(middle) {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    low
}

/// The words of `text`; a number is one word with its unit.
fn together(text: &str) -> Vec<String> {
    let is_number = |word: &str| word.ends_with(|c: char| c.is_ascii_digit());
    let mut words: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        match words.last_mut() {
            Some(number) if is_unit(word) && is_number(number) => {
                number.push(' ');
                number.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

/// Breaks `text` into at most `lines` lines no wider than `room`, between words where possible.
pub(super) fn wrap(text: &str, em: f64, weight: Weight, room: f64, lines: usize) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let words = together(text);
    let mut words = words.iter().map(String::as_str);
    let mut line = String::new();
    while let Some(word) = words.next() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if line.is_empty() || width(&longer, em, weight) <= room {
            line = longer;
            continue;
        }
        if out.len() + 1 == lines {
            let rest: Vec<&str> = std::iter::once(word).chain(words.by_ref()).collect();
            line = format!("{line} {}", rest.join(" "));
            break;
        }
        out.push(std::mem::replace(&mut line, word.to_owned()));
    }
    if !line.is_empty() && lines > 0 {
        out.push(line);
    }
    let fitted: Vec<Option<String>> = out.iter().map(|line| fit(line, em, weight, room)).collect();
    let goes_on = fitted.last().is_some_and(Option::is_none);
    let mut out: Vec<String> = fitted.into_iter().flatten().collect();
    // A line of which nothing is left is not to pass unnoticed: the one above would be read as the whole.
    if let Some(end) = out.last_mut().filter(|end| goes_on && !end.ends_with('…') && says_something(end)) {
        *end = fit(&format!("{end}…"), em, weight, room).unwrap_or_else(|| end.clone());
    }
    // What was cut before may leave a last line of a letter or two: the one above is then the end.
    let is_scrap = |line: &mut String| line.ends_with('…') && !says_something(line);
    let scrap = if out.len() > 1 { out.pop_if(is_scrap) } else { None };
    if let (Some(scrap), Some(end)) = (scrap, out.last_mut()) {
        *end = fit(&format!("{end} {scrap}"), em, weight, room).unwrap_or_else(|| end.clone());
    }
    out
}

/// Calls `cover` with pixel and coverage (0 to 1) for every pixel that `text` touches; `x` is where it starts,
/// `baseline` on what it stands.
pub(super) fn rasterize(
    text: &str,
    em: f64,
    weight: Weight,
    (x, baseline): (f64, f64),
    mut cover: impl FnMut(i32, i32, f32),
) {
    let font = weight.font();
    let units_per_em = font.units_per_em().unwrap_or(2048.0);
    #[expect(clippy::cast_possible_truncation, reason = "pixels of a figure are far from f32's limits")]
    let (em, x, baseline) = (em as f32, x as f32, baseline as f32);
    let scale = em * font.height_unscaled() / units_per_em;
    let scaled = font.as_scaled(scale);
    for (id, start, _) in layout_units(font, text) {
        let at = point(x + start * em / units_per_em, baseline);
        let glyph: Glyph = id.with_scale_and_position(scaled.scale(), at);
        let Some(outline) = font.outline_glyph(glyph) else { continue };
        let bounds = outline.px_bounds();
        #[expect(clippy::cast_possible_truncation, reason = "whole pixels of a figure")]
        let (left, top) = (bounds.min.x as i32, bounds.min.y as i32);
        outline.draw(|dx, dy, coverage| {
            let offset = |d: u32| i32::try_from(d).unwrap_or(i32::MAX);
            cover(left.saturating_add(offset(dx)), top.saturating_add(offset(dy)), coverage);
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_has_the_signs_and_scripts_that_tickets_use() {
        for weight in [Weight::Regular, Weight::Bold] {
            for c in "AZaz09ΩµμΩ±°≤≥×…–—→▸✓✗⚠éßøčłğőΔλЖяҐЇԱՖაჰ€№²³½".chars()
            {
                assert_ne!(weight.font().glyph_id(c).0, 0, "{c} is missing");
            }
        }
    }

    #[test]
    fn what_the_font_lacks_is_a_box_and_no_crash() {
        let mut covered = 0;
        rasterize("漢🔧", 20.0, Weight::Regular, (5.0, 30.0), |_, _, coverage| {
            covered += usize::from(coverage > 0.5);
        });
        assert!(covered > 20, "{covered} pixels");
        assert!(width("漢", 20.0, Weight::Regular) > 5.0);
    }

    #[test]
    fn shortening_keeps_within_the_room() {
        let name = "A stage name that somebody wrote without thinking of labels";
        let short = fit(name, 14.0, Weight::Regular, 120.0).unwrap();
        assert!(short.ends_with('…') && width(&short, 14.0, Weight::Regular) <= 120.0, "{short}");
        assert!(width(&format!("{short}W"), 14.0, Weight::Regular) > 120.0, "{short} could be longer");
        assert_eq!(fit("rails", 14.0, Weight::Regular, 120.0).as_deref(), Some("rails"));
        for room in 0..60 {
            let cut = fit("firmware", 14.0, Weight::Regular, f64::from(room));
            assert!(cut.is_none_or(|cut| cut.chars().count() > LEAST_LETTERS), "{room}");
        }
    }

    #[test]
    fn no_part_of_a_number_is_left_where_a_text_is_cut() {
        let text = "mean of 0.345 A (12.5 to 18.25 mA)";
        let cut = |room: u32| fit(text, 14.0, Weight::Regular, f64::from(room));
        let mut left: Vec<String> = (0..400).filter_map(cut).collect();
        left.dedup();
        let whole = ["mean…", "mean o…", "mean of…", "mean of 0.345 A…", "mean of 0.345 A (12.5…"];
        assert_eq!(left[..5], whole, "{left:?}");
        assert!(!left.iter().any(|left| left.ends_with("18…") || left.ends_with("18.25…")), "{left:?}");
        // A serial number is a name.
        assert!(fit("00123456789", 14.0, Weight::Regular, 60.0).is_some_and(|cut| cut.starts_with("00123")));
        // Of a last line that goes, the one above tells that there is more.
        let lines = wrap("0.84 A of 1234567890.25 A", 14.0, Weight::Regular, 80.0, 2);
        assert_eq!(lines, ["0.84 A of…"]);
        // Of a letter or two nothing tells that they were cut.
        assert_eq!(wrap("ab 1234567890.25 A", 14.0, Weight::Regular, 80.0, 2), ["ab"]);
    }

    #[test]
    fn a_name_is_not_cut_to_signs_that_say_nothing() {
        let cut = |name: &str, room: f64| fit(name, 14.0, Weight::Regular, room);
        assert_eq!(cut("::::::::::::::::", 60.0), None);
        assert_eq!(cut(": : : firmware and what comes after it", 40.0), None);
        // One that is so by itself is whole.
        assert_eq!(cut(":…", 60.0).as_deref(), Some(":…"));
    }

    #[test]
    fn what_was_cut_before_leaves_no_line_of_a_letter() {
        let lines = wrap("a-very-long-name-of-a-stage :…", 14.0, Weight::Regular, 130.0, 2);
        assert_eq!(lines.len(), 1, "{lines:?}");
        assert!(lines[0].ends_with('…') && lines[0].starts_with("a-very-long"), "{lines:?}");
    }

    #[test]
    fn wrapping_breaks_between_words_and_shortens_the_last_line() {
        let lines = wrap("0.84 A at 0.61 V from 0.2 s after switch-on", 14.0, Weight::Regular, 130.0, 2);
        assert_eq!(lines.len(), 2);
        assert!(lines.iter().all(|line| width(line, 14.0, Weight::Regular) <= 130.0), "{lines:?}");
        assert!(lines[1].ends_with('…'), "{lines:?}");
    }

    #[test]
    fn invisible_and_direction_turning_characters_do_not_reach_a_label() {
        assert_eq!(clean("a\u{202e}b\nc\td\u{0}\u{feff}"), "ab c d\u{fffd}");
    }
}
