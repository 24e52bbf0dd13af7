//! What the lines and bands of the amps panel stand for.

use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Shape};
use super::super::sheet::{Sheet, em};
use super::super::theme::{Color, Palette};
use super::amps::TRACE;
use super::envelope::off_scale;
use super::volts;
use std::borrow::Cow;

/// How the sample beside a word looks.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) enum Swatch {
    /// A line of that width and dash.
    Line(f64, f64, Color),
    /// A filled band with edges.
    Band,
    /// The range of many runs, with one of them.
    Crowd,
    /// Only the edges of a band, dashed.
    Edges,
    /// Hatched as where the supply sits in its limit.
    Limited,
    /// The edges of a stretch without readings.
    Gap,
    /// What has no name of its own: a piece of the ribbon, shaded or not.
    Blank(bool),
    /// The sign below a dip of the volts.
    Dip,
    /// Words alone.
    None,
}

/// Distance of the lines of [`Swatch::Limited`], in units of the layout.
pub(in crate::render) const LIMITED_PITCH: f64 = 7.0;

/// Length of the dashes of [`Swatch::Edges`], in units of the layout.
pub(in crate::render) const OVERDUE_DASH: f64 = 10.0;

/// Of the usual mean, and of the highest peaks.
pub(in crate::render) const MEAN_DASH: f64 = 6.0;
pub(in crate::render) const PEAK_DASH: f64 = 2.0;

/// A sample and what it stands for.
pub(in crate::render) type Sample = (Swatch, Cow<'static, str>);

/// What a run is drawn with beside its own line.
#[derive(Debug, Clone)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each line of the legend is there or not, whatever the others"
)]
pub(in crate::render) struct Drawn {
    pub(in crate::render) envelope: bool,
    /// What their mean usually is.
    pub(in crate::render) mean: bool,
    /// The highest peak of good boards.
    pub(in crate::render) peak: bool,
    /// Those of the stages that the strip does not hold.
    pub(in crate::render) off_scale: Vec<off_scale::Peak>,
    /// The envelope where good boards have moved on.
    pub(in crate::render) overdue: bool,
    /// Stretches in current limit.
    pub(in crate::render) limited: bool,
    /// Signs below dips of the volts.
    pub(in crate::render) dips: bool,
    /// Stretches without readings.
    pub(in crate::render) gaps: bool,
    /// What a cell of the ribbon without a name is.
    pub(in crate::render) blank: Option<Blank>,
}

impl Drawn {
    /// Without lines that the picture has nowhere: one lies in the edge of its band, another below the inrush.
    pub(in crate::render) fn seen(self, sheet: &Sheet) -> Self {
        let edge = sheet.palette.envelope_edge;
        let has = |dash: f64| {
            let is_it = |shape: &Shape| match shape {
                Shape::Dashed { area, dash: long, upright: false, color } => {
                    (*long, *color) == (sheet.pen(1.0, dash, edge).dash, edge) && area.width() > 2 * long
                }
                _ => false,
            };
            sheet.scene.shapes.iter().any(is_it)
        };
        Self {
            mean: self.mean && has(MEAN_DASH),
            peak: self.peak && has(PEAK_DASH),
            overdue: self.overdue && has(OVERDUE_DASH),
            ..self
        }
    }
}

/// What the cells of the ribbon without a name are.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(in crate::render) struct Blank {
    /// Whether there are rests between tries.
    pub(in crate::render) rest: bool,
    /// The stages too short for their names, in their order.
    pub(in crate::render) short: Vec<String>,
    /// Whether all of these are shaded.
    pub(in crate::render) shaded: bool,
}

impl Blank {
    /// What stands for both.
    pub(in crate::render) fn both(one: Option<Self>, other: Option<Self>) -> Option<Self> {
        let (Some(mut one), Some(other)) = (one.clone(), other.clone()) else { return one.or(other) };
        one.rest |= other.rest;
        one.shaded &= other.shaded;
        let missing = |name: &String| !one.short.contains(name);
        let more: Vec<String> = other.short.into_iter().filter(missing).collect();
        one.short.extend(more);
        Some(one)
    }

    /// With their samples: a cell that has no room for its name has it here.
    pub(in crate::render) fn samples(&self) -> Vec<Sample> {
        /// Of more nobody could tell which is which.
        const MOST: usize = 3;
        let short = match (self.short.as_slice(), self.short.get(MOST..)) {
            ([], _) => None,
            ([one], _) => Some(format!("short stage: {one}")),
            (_, Some(more @ [_, ..])) => {
                Some(format!("short stages: {} and {} more", self.short[..MOST].join(", "), more.len()))
            }
            (several, _) => Some(format!("short stages: {}", several.join(", "))),
        };
        // One sample for cells that look alike: of two nobody could tell which is which.
        let words: Option<Cow<'static, str>> = match (self.rest, short) {
            (true, Some(short)) => Some(format!("rest or {short}").into()),
            (true, None) => Some("rest between tries".into()),
            (false, short) => short.map(Cow::from),
        };
        words.into_iter().map(|words| (Swatch::Blank(self.shaded), words)).collect()
    }
}

/// What a run is drawn with, and nothing that is not on the figure, for a legend of that width.
pub(in crate::render) fn of_run(sheet: &Sheet, width: i32, drawn: &Drawn) -> Vec<Sample> {
    let palette = sheet.palette;
    let mut samples = vec![(Swatch::Line(TRACE, 0.0, palette.ink), "this board".into())];
    if drawn.limited {
        samples.push((Swatch::Limited, "supply in its current limit".into()));
    }
    let [band, mean, peak] = of_envelope(palette);
    let lines = [(drawn.envelope, band), (drawn.mean, mean), (drawn.peak, peak)];
    samples.extend(lines.into_iter().filter_map(|(drawn, sample)| drawn.then_some(sample)));
    let before = samples.len();
    if drawn.overdue {
        samples.push((Swatch::Edges, "good boards have moved on".into()));
    }
    if drawn.dips {
        samples.push((Swatch::Dip, "volts dip".into()));
    }
    if drawn.gaps {
        samples.push((Swatch::Gap, NO_READINGS.into()));
    }
    samples.extend(drawn.blank.iter().flat_map(Blank::samples));
    with_off_scale(
        sheet,
        width,
        (samples, before),
        off_scale::samples(&drawn.off_scale, is_tight(sheet, width)),
    )
}

/// With what is said of peaks off the scale at that place, in as many words as take no row more; on a low figure, whose traces
/// need the room of a row, else without it.
fn with_off_scale(
    sheet: &Sheet,
    width: i32,
    (samples, place): (Vec<Sample>, usize),
    wordings: Vec<Sample>,
) -> Vec<Sample> {
    let told = |words: Sample| {
        let mut samples = samples.clone();
        samples.insert(place, words);
        samples
    };
    let mut ways: Vec<Vec<Sample>> = wordings.into_iter().map(told).collect();
    // Nor is it to drive out what stands for something that is drawn.
    let least = rows(sheet, width, &samples).min(most_rows(sheet, width));
    let free = ways.iter().position(|way| rows(sheet, width, way) <= least);
    let most = if sheet.is_low() { least } else { most_rows(sheet, width) };
    let fewest = ways.iter().rposition(|way| rows(sheet, width, way) <= most);
    free.or(fewest).map_or(samples.clone(), |way| ways.swap_remove(way))
}

/// How many rows these samples take, one beside the other.
fn rows(sheet: &Sheet, width: i32, samples: &[Sample]) -> usize {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let narrow = is_tight(sheet, width);
    let (mut x, mut rows) = (0, 1);
    for (swatch, word) in samples {
        let wide = length(sheet, *swatch, narrow) + sheet.u(ASIDE) + style.width(shown(word, narrow));
        if x > 0 && x + wide > width {
            (x, rows) = (0, rows + 1);
        }
        x += wide + space(sheet, narrow);
    }
    rows
}

/// The line above which no peak of a good board is expected: no peak that was seen.
pub(in crate::render) const PEAK: &str = "peak, at most";

/// What an envelope is drawn with.
pub(in crate::render) fn of_envelope(palette: &Palette) -> [Sample; 3] {
    let edge = palette.envelope_edge;
    [
        (Swatch::Band, "good boards keep their mean in here".into()),
        (Swatch::Line(1.0, MEAN_DASH, edge), "usual mean".into()),
        (Swatch::Line(1.0, PEAK_DASH, edge), PEAK.into()),
    ]
}

/// What a stretch without readings is called.
pub(in crate::render) const NO_READINGS: &str = "no readings";

/// What has fewer words where there is little room.
const SHORT: [(&str, &str); 6] = [
    ("good boards keep their mean in here", "good boards"),
    ("usual mean", "usual"),
    (PEAK, "at most"),
    ("supply in its current limit", "in current limit"),
    ("good boards have moved on", "moved on"),
    ("rest between tries", "rest"),
];

/// Height of a row of the legend, in units of the layout.
const ROW: f64 = 22.0;

/// How many rows a legend may take: two where one is too narrow for what a run is drawn with, and one more where the traces
/// have room enough, for a line that nothing explains is read as something else.
fn most_rows(sheet: &Sheet, width: i32) -> usize {
    /// Below this many units the samples of a run do not stand on one row.
    const WIDE: f64 = 800.0;
    1 + usize::from(width < sheet.u(WIDE)) + usize::from(!sheet.is_low())
}

/// The height that these samples take, at most that of [`most_rows`].
pub(in crate::render) fn height_of(sheet: &Sheet, width: i32, samples: &[Sample]) -> i32 {
    let rows = rows(sheet, width, samples).min(most_rows(sheet, width));
    sheet.u(ROW) * i32::try_from(rows).unwrap_or(1)
}

/// From a sample to its words, in units of the layout.
const ASIDE: f64 = 6.0;

/// From one sample's words to the next sample, in pixels: less where there is little room.
fn space(sheet: &Sheet, narrow: bool) -> i32 {
    /// In units of the layout.
    const SPACE: f64 = 22.0;
    const NARROW: f64 = 14.0;
    sheet.u(if narrow { NARROW } else { SPACE })
}

/// How long a sample is, in pixels: as short as tells its dashes where there is little room.
fn length(sheet: &Sheet, swatch: Swatch, narrow: bool) -> i32 {
    /// In units of the layout.
    const LENGTH: f64 = 28.0;
    const NARROW: f64 = 22.0;
    let length = if narrow { NARROW } else { LENGTH };
    match swatch {
        Swatch::None => 0,
        Swatch::Gap | Swatch::Blank(_) | Swatch::Dip => sheet.u(length / 2.0),
        _ => sheet.u(length),
    }
}

/// Whether fewer words are called for: across, or where a second row would cost the traces their room.
fn is_tight(sheet: &Sheet, width: i32) -> bool {
    sheet.is_narrow(width) || sheet.is_low()
}

/// The words of a sample, fewer where there is little room.
fn shown(word: &str, narrow: bool) -> &str {
    SHORT.iter().find(|(long, _)| narrow && word == *long).map_or(word, |(_, short)| short)
}

/// Draws the samples and their words from the left, row by row, as many as `area` has room for.
pub(in crate::render) fn draw(sheet: &mut Sheet, area: Rect, samples: &[Sample]) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let narrow = is_tight(sheet, area.width());
    let row = sheet.u(ROW);
    let (mut x, mut top) = (area.left, area.top);
    for (swatch, word) in samples {
        let word = shown(word, narrow);
        let length = length(sheet, *swatch, narrow);
        let wide = length + sheet.u(ASIDE) + style.width(word);
        if x > area.left && x + wide > area.right {
            (x, top) = (area.left, top + row);
        }
        // A sample that finds no room leaves its place to a shorter one.
        if x + wide > area.right || top + row > area.bottom {
            continue;
        }
        let y = top + row / 2;
        sample(sheet, *swatch, Rect::new(x, y - sheet.u(6.0), x + length, y + sheet.u(6.0)));
        let at = (x + length + sheet.u(ASIDE), style.baseline_at(y));
        sheet.scene.text(word, at, Anchor::Start, style);
        x += wide + space(sheet, narrow);
    }
}

fn sample(sheet: &mut Sheet, swatch: Swatch, area: Rect) {
    match swatch {
        Swatch::Line(width, dash, color) => {
            let pen = sheet.pen(width, dash, color);
            sheet.scene.across((area.left, area.right), area.center().1, pen);
        }
        Swatch::None => {}
        Swatch::Dip => volts::sign(sheet, area.center()),
        Swatch::Gap => {
            let pen = sheet.pen(1.5, 2.5, sheet.palette.frame);
            for x in [area.left, area.right - 1] {
                sheet.scene.down(x, (area.top, area.bottom), pen);
            }
        }
        Swatch::Blank(shaded) => {
            sheet.scene.fill(area, if shaded { sheet.palette.shade } else { sheet.palette.paper });
            sheet.scene.frame(area, sheet.u(1.0), sheet.palette.frame);
        }
        Swatch::Crowd => {
            let palette = sheet.palette;
            sheet.scene.fill(area, palette.crowd);
            sheet.scene.across((area.left, area.right), area.center().1, sheet.pen(1.3, 0.0, palette.frame));
        }
        Swatch::Edges => {
            let pen = sheet.pen(1.0, OVERDUE_DASH, sheet.palette.envelope_edge);
            sheet.scene.across((area.left, area.right), area.top, pen);
            sheet.scene.across((area.left, area.right), area.bottom - 1, pen);
        }
        Swatch::Limited => {
            sheet.scene.hatch(area, sheet.u(LIMITED_PITCH), true, sheet.palette.limit);
            sheet.scene.frame(area, 1, sheet.palette.limit);
        }
        Swatch::Band => {
            let (edge, palette) = (sheet.u(1.0), sheet.palette);
            sheet.scene.fill(area, palette.envelope);
            sheet.scene.fill(Rect { bottom: area.top + edge, ..area }, palette.envelope_edge);
            sheet.scene.fill(Rect { top: area.bottom - edge, ..area }, palette.envelope_edge);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edges_of_an_envelope_are_called_overdue_on_no_figure() {
        // A board that shorts or has dropped out is late for nothing.
        assert_eq!(shown("good boards have moved on", true), "moved on");
    }

    #[test]
    fn a_line_that_the_picture_has_nowhere_is_none_of_the_legend() {
        let mut sheet = Sheet::new(&super::super::super::options::Options::default(), (440.0, 560.0));
        let all = || Drawn {
            envelope: true,
            mean: true,
            peak: true,
            off_scale: Vec::new(),
            overdue: true,
            limited: false,
            dips: false,
            gaps: false,
            blank: None,
        };
        let seen = |sheet: &Sheet| {
            let Drawn { mean, peak, overdue, .. } = all().seen(sheet);
            [mean, peak, overdue]
        };
        assert_eq!(seen(&sheet), [false; 3]);
        let edge = sheet.palette.envelope_edge;
        sheet.scene.across((0, 300), 50, sheet.pen(1.0, PEAK_DASH, edge));
        assert_eq!(seen(&sheet), [false, true, false]);
        sheet.scene.across((0, 300), 60, sheet.pen(1.0, OVERDUE_DASH, edge));
        assert_eq!(seen(&sheet), [false, true, true]);
    }

    #[test]
    fn all_that_is_drawn_is_explained_beside_peaks_off_the_scale() {
        use super::super::super::options::Size;
        let said = |size: Size, width: f64| {
            let options = super::super::super::options::Options { size, ..Default::default() };
            let mut sheet = Sheet::new(&options, (440.0, 560.0));
            let width = sheet.u(width);
            let [band, mean, peak] = of_envelope(sheet.palette);
            let this = (Swatch::Line(TRACE, 0.0, sheet.palette.ink), "this board".into());
            let moved_on = (Swatch::Edges, "good boards have moved on".into());
            let peaks =
                ["good boards' peaks off the scale, at most: rails 99 mA; network 0.526 A, the limit"];
            let peaks = peaks.map(|words| (Swatch::None, words.into())).to_vec();
            let samples = with_off_scale(&sheet, width, (vec![this, band, mean, peak, moved_on], 4), peaks);
            let row = Rect::new(0, 0, width, height_of(&sheet, width, &samples));
            draw(&mut sheet, row, &samples);
            sheet.scene.labels().any(|label| label.text.ends_with("moved on"))
        };
        assert!(said(Size::new(1600, 900).unwrap(), 1100.0));
        assert!(said(Size::new(1080, 2340).unwrap(), 600.0));
    }

    #[test]
    fn on_a_low_figure_a_peak_off_the_scale_takes_no_row_of_its_own() {
        let size = super::super::super::options::Size::new(480, 360).unwrap();
        let options = super::super::super::options::Options { size, ..Default::default() };
        let sheet = Sheet::new(&options, (440.0, 560.0));
        assert!(sheet.is_low());
        let this = || vec![(Swatch::Line(TRACE, 0.0, sheet.palette.ink), "this board".into())];
        let words = ["a peak in very many words", "a peak"].map(|words| (Swatch::None, words.into()));
        let said = |width: i32| {
            let samples = with_off_scale(&sheet, width, (this(), 1), words.to_vec());
            samples.get(1).map(|(_, words)| words.to_string())
        };
        assert_eq!(said(sheet.u(400.0)).as_deref(), Some("a peak in very many words"));
        assert_eq!(said(sheet.u(180.0)).as_deref(), Some("a peak"));
        assert_eq!(said(sheet.u(110.0)), None);
    }
}
