//! Colours, and how far they stand apart.
//!
//! The figure looks like a work sheet: ink on paper. Colour never carries a meaning alone: what is wrong is also dark
//! and labelled, what was not reached is dashed, the current limit is hatched, the envelope has edges. The hues of what matters (ink blue,
//! orange-red, violet) stay apart under the common colour-vision deficiencies because they also differ in lightness
//! and in pattern.

/// An opaque colour in sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Color(pub(super) u8, pub(super) u8, pub(super) u8);

/// On what a figure is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// Ink on white: for tickets and print.
    #[default]
    Light,
    /// Light on dark: for screens.
    Dark,
}

/// The colours of a figure, by what they are for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Palette {
    /// The sheet.
    pub(super) paper: Color,
    /// Every other phase's background.
    pub(super) shade: Color,
    /// Main text.
    pub(super) text: Color,
    /// Text of lesser weight: axes, footer.
    pub(super) faint_text: Color,
    /// Grid lines: they only guide the eye, and the axis values beside them carry the meaning.
    pub(super) grid: Color,
    /// Frames and axes.
    pub(super) frame: Color,
    /// This board's current, and stages that it reached.
    pub(super) ink: Color,
    /// This board's volts.
    pub(super) volts: Color,
    /// Fill of the envelope of good boards.
    pub(super) envelope: Color,
    /// Edges of the envelope.
    pub(super) envelope_edge: Color,
    /// Lines of runs that are alike, behind the one that is not.
    pub(super) alike: Color,
    /// Fill of the range of many runs that are alike.
    pub(super) crowd: Color,
    /// Departures, and the stage where it went wrong.
    pub(super) alarm: Color,
    /// Text on `alarm`.
    pub(super) on_alarm: Color,
    /// Background of a departure's note.
    pub(super) alarm_paper: Color,
    /// Current limit.
    pub(super) limit: Color,
    /// Marks and output events.
    pub(super) mark: Color,
    /// A board that did what it should.
    pub(super) good: Color,
    /// Text on `good`.
    pub(super) on_good: Color,
    /// What can not be said.
    pub(super) unsure: Color,
    /// Text on `unsure`.
    pub(super) on_unsure: Color,
}

const LIGHT: Palette = Palette {
    paper: Color(255, 255, 255),
    shade: Color(244, 243, 238),
    text: Color(28, 30, 36),
    faint_text: Color(84, 86, 92),
    grid: Color(224, 222, 214),
    frame: Color(120, 120, 118),
    ink: Color(8, 38, 96),
    volts: Color(92, 74, 20),
    envelope: Color(203, 226, 214),
    envelope_edge: Color(88, 144, 118),
    alike: Color(139, 139, 137),
    crowd: Color(218, 217, 212),
    alarm: Color(190, 52, 10),
    on_alarm: Color(255, 255, 255),
    alarm_paper: Color(255, 243, 234),
    limit: Color(120, 46, 140),
    mark: Color(90, 90, 90),
    good: Color(20, 104, 84),
    on_good: Color(255, 255, 255),
    unsure: Color(96, 96, 102),
    on_unsure: Color(255, 255, 255),
};

const DARK: Palette = Palette {
    paper: Color(27, 29, 34),
    shade: Color(35, 38, 44),
    text: Color(236, 234, 226),
    faint_text: Color(182, 182, 178),
    grid: Color(58, 61, 68),
    frame: Color(138, 138, 136),
    ink: Color(168, 208, 255),
    volts: Color(226, 200, 120),
    envelope: Color(44, 72, 62),
    envelope_edge: Color(92, 140, 118),
    alike: Color(128, 128, 126),
    crowd: Color(58, 62, 70),
    alarm: Color(255, 146, 92),
    on_alarm: Color(36, 16, 6),
    alarm_paper: Color(58, 38, 28),
    limit: Color(214, 150, 236),
    mark: Color(176, 176, 176),
    good: Color(120, 208, 178),
    on_good: Color(10, 34, 28),
    unsure: Color(170, 170, 176),
    on_unsure: Color(24, 24, 28),
};

impl Theme {
    pub(super) const fn palette(self) -> &'static Palette {
        match self {
            Self::Light => &LIGHT,
            Self::Dark => &DARK,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance after WCAG 2.2, "relative luminance".
    fn luminance(Color(r, g, b): Color) -> f64 {
        let linear = |channel: u8| {
            let c = f64::from(channel) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
    }

    /// Contrast ratio after WCAG 2.2, "contrast ratio".
    fn contrast(a: Color, b: Color) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn the_formula_gives_the_known_ratios() {
        // WCAG 2.2: black on white is 21:1. #767676 on white is the well-known lightest grey that passes 4.5:1.
        assert!((contrast(Color(0, 0, 0), Color(255, 255, 255)) - 21.0).abs() < 1e-9);
        assert!((contrast(Color(0x76, 0x76, 0x76), Color(255, 255, 255)) - 4.54).abs() < 0.01);
    }

    /// The palettes, and what a grey print or copy leaves of them: luma after ITU-R BT.601, as image programs convert.
    fn palettes() -> [Palette; 4] {
        [LIGHT, DARK, grey(&LIGHT), grey(&DARK)]
    }

    fn grey(palette: &Palette) -> Palette {
        let of = |Color(r, g, b): Color| {
            let luma = (299 * u32::from(r) + 587 * u32::from(g) + 114 * u32::from(b) + 500) / 1000;
            let luma = u8::try_from(luma).unwrap();
            Color(luma, luma, luma)
        };
        Palette {
            paper: of(palette.paper),
            shade: of(palette.shade),
            text: of(palette.text),
            faint_text: of(palette.faint_text),
            grid: of(palette.grid),
            frame: of(palette.frame),
            ink: of(palette.ink),
            volts: of(palette.volts),
            envelope: of(palette.envelope),
            envelope_edge: of(palette.envelope_edge),
            alike: of(palette.alike),
            crowd: of(palette.crowd),
            alarm: of(palette.alarm),
            on_alarm: of(palette.on_alarm),
            alarm_paper: of(palette.alarm_paper),
            limit: of(palette.limit),
            mark: of(palette.mark),
            good: of(palette.good),
            on_good: of(palette.on_good),
            unsure: of(palette.unsure),
            on_unsure: of(palette.on_unsure),
        }
    }

    #[test]
    fn text_stands_out_by_4_5_to_1() {
        for palette in palettes() {
            let pairs = [
                (
                    "text",
                    palette.text,
                    vec![palette.paper, palette.shade, palette.alarm_paper, palette.envelope],
                ),
                ("faint text", palette.faint_text, vec![palette.paper, palette.shade]),
                ("text on alarm", palette.on_alarm, vec![palette.alarm]),
                ("text on good", palette.on_good, vec![palette.good]),
                ("text on unsure", palette.on_unsure, vec![palette.unsure]),
                ("alarm text", palette.alarm, vec![palette.paper, palette.alarm_paper]),
                ("limit text", palette.limit, vec![palette.paper, palette.shade]),
                ("sign of a starved feed", palette.paper, vec![palette.limit]),
                ("name of an odd run", palette.ink, vec![palette.paper]),
            ];
            for (what, color, grounds) in pairs {
                for ground in grounds {
                    let ratio = contrast(color, ground);
                    assert!(ratio >= 4.5, "{what} {color:?} on {ground:?}: {ratio:.2}");
                }
            }
        }
    }

    #[test]
    fn lines_stand_out_by_3_to_1() {
        for palette in palettes() {
            let lines = [
                ("current", palette.ink, vec![palette.paper, palette.shade, palette.envelope, palette.crowd]),
                ("volts", palette.volts, vec![palette.paper, palette.shade]),
                ("envelope edge", palette.envelope_edge, vec![palette.paper, palette.shade]),
                (
                    "departure",
                    palette.alarm,
                    vec![palette.paper, palette.shade, palette.envelope, palette.crowd],
                ),
                ("limit", palette.limit, vec![palette.paper, palette.shade, palette.envelope, palette.crowd]),
                ("an odd run among many", palette.mark, vec![palette.paper, palette.shade, palette.crowd]),
                ("mark", palette.mark, vec![palette.paper, palette.shade, palette.envelope]),
                ("frame", palette.frame, vec![palette.paper, palette.shade]),
                ("runs that are alike", palette.alike, vec![palette.paper, palette.shade]),
            ];
            for (what, color, grounds) in lines {
                for ground in grounds {
                    let ratio = contrast(color, ground);
                    assert!(ratio >= 3.0, "{what} {color:?} on {ground:?}: {ratio:.2}");
                }
            }
        }
    }

    #[test]
    fn an_odd_run_stands_out_from_those_that_are_alike() {
        for palette in palettes() {
            assert!(contrast(palette.alike, palette.paper) < contrast(palette.frame, palette.paper));
            for odd in [palette.alarm, palette.ink, palette.limit, palette.text] {
                let ratio = contrast(odd, palette.alike);
                assert!(ratio >= 1.6, "{odd:?} among {:?}: {ratio:.2}", palette.alike);
            }
        }
    }

    #[test]
    fn what_is_wrong_differs_from_what_is_right_in_grey_too() {
        // In grey print only lightness is left; the envelope must not drown the trace.
        for palette in palettes() {
            assert!(contrast(palette.ink, palette.envelope) >= 4.5);
            // Its dashes and the trace that jitters along them are told apart by lightness as well as by weight.
            assert!(contrast(palette.ink, palette.envelope_edge) >= 2.0);
            assert!(contrast(palette.alarm, palette.envelope) >= 3.0);
        }
    }
}
