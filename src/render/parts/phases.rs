//! Phases as named bands along the time axis.

use super::super::axis::TimeAxis;
use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};
use super::turning::is_trouble;
use super::{Areas, Subject};

/// One phase in pixels.
#[derive(Debug, Clone)]
struct Band {
    left: i32,
    right: i32,
    name: String,
    /// Whether it is the phase that is wrong.
    trouble: bool,
}

/// A name that stands above the ribbon because its band is too short for it.
#[derive(Debug, Clone)]
struct Raised {
    text: String,
    left: i32,
    right: i32,
    row: i32,
    /// The stretch that it names.
    span: (i32, i32),
}

/// The phases within the window, and where their names go.
#[derive(Debug)]
pub(in crate::render) struct Bands {
    all: Vec<Band>,
    inside: Vec<Option<String>>,
    raised: Vec<Raised>,
    style: Style,
}

/// Rows above the ribbon that names may take.
const MOST_ROWS: i32 = 3;

impl Bands {
    pub(in crate::render) fn new(sheet: &Sheet, subject: &Subject, time: TimeAxis) -> Self {
        let style = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
        let bands = bands(subject, time);
        let room = |band: &Band| band.right - band.left - sheet.u(8.0);
        let mut inside: Vec<Option<String>> = bands
            .iter()
            .map(|band| (style.width(&band.name) <= room(band)).then(|| band.name.clone()))
            .collect();
        let mut raised = Vec::new();
        for group in repeats(&bands) {
            let names = inside.get_mut(group.clone()).unwrap_or_default();
            if names.iter().any(Option::is_none) {
                // One name for the whole run says more than a few names that happen to fit.
                names.fill(Some(String::new()));
                let span = (bands[group.start].left, bands[group.end - 1].right);
                raise(&mut raised, sheet, style, &group_name(&bands[group]), span, time);
            }
        }
        for (index, band) in bands.iter().enumerate() {
            if inside[index].is_none()
                && !raise(&mut raised, sheet, style, &band.name, (band.left, band.right), time)
            {
                inside[index] = style.fit(&band.name, room(band));
            }
        }
        Self { all: bands, inside, raised, style }
    }

    /// How many rows of names stand above the ribbon.
    pub(in crate::render) fn rows(&self) -> i32 {
        self.raised.iter().map(|name| name.row + 1).max().unwrap_or(0)
    }

    /// Every other phase's background, over all panels.
    pub(in crate::render) fn shade(&self, sheet: &mut Sheet, areas: &Areas) {
        let panels = [areas.amps, areas.quiet, areas.volts];
        for band in self.all.iter().skip(1).step_by(2) {
            for panel in panels.into_iter().filter(|panel| !panel.is_empty()) {
                sheet.scene.fill(Rect { left: band.left, right: band.right, ..panel }, sheet.palette.shade);
            }
        }
    }

    pub(in crate::render) fn draw(&self, sheet: &mut Sheet, areas: &Areas) {
        let ribbon = Rect { bottom: areas.ribbon.bottom - sheet.u(3.0), ..areas.ribbon };
        for (index, (band, name)) in self.all.iter().zip(&self.inside).enumerate() {
            let area = Rect { left: band.left, right: band.right, ..ribbon };
            self.band(sheet, band, name.as_deref(), area, index % 2 == 1);
        }
        for name in &self.raised {
            self.raised(sheet, name, areas);
        }
    }

    fn band(&self, sheet: &mut Sheet, band: &Band, name: Option<&str>, area: Rect, shaded: bool) {
        let palette = sheet.palette;
        let (ground, color) = if band.trouble {
            (palette.alarm, palette.on_alarm)
        } else if shaded {
            (palette.shade, palette.text)
        } else {
            (palette.paper, palette.text)
        };
        sheet.scene.fill(area, ground);
        let line = sheet.u(1.0);
        sheet.scene.fill(Rect { right: area.left + line, ..area }, palette.frame);
        sheet.scene.fill(Rect { left: area.right - line, ..area }, palette.frame);
        sheet.scene.fill(Rect { bottom: area.top + line, ..area }, palette.frame);
        sheet.scene.fill(Rect { top: area.bottom - sheet.u(3.0), ..area }, palette.ink);
        if let Some(name) = name {
            sheet.centered(name, area, Style { color, ..self.style });
        }
    }

    fn raised(&self, sheet: &mut Sheet, name: &Raised, areas: &Areas) {
        let row_height = sheet.u(19.0);
        let bottom = areas.overflow.bottom - name.row * row_height;
        let baseline = bottom - sheet.u(5.0);
        sheet.scene.text(name.text.clone(), (name.left, baseline), Anchor::Start, self.style);
        let middle = i32::midpoint(name.span.0, name.span.1).clamp(name.left, name.right);
        let pen = sheet.pen(1.0, 0.0, sheet.palette.frame);
        sheet.scene.down(middle, (bottom - sheet.u(2.0), areas.ribbon.top), pen);
        if name.span.1 - name.span.0 > name.right - name.left {
            sheet.scene.across(name.span, areas.ribbon.top - sheet.u(1.0), pen);
        }
    }
}

/// The phases that the window shows.
fn bands(subject: &Subject, time: TimeAxis) -> Vec<Band> {
    let visible = subject.finding.phases.iter().filter_map(|phase| {
        let (start, end) = (phase.start_s.value().max(time.from), phase.end_s.value().min(time.to));
        let (left, right) = (time.x_within(start), time.x_within(end));
        (start < end && left < right).then_some((left, right, phase))
    });
    let mut bands: Vec<Band> = visible
        .map(|(left, right, phase)| Band {
            left,
            right,
            name: clean(&phase.name),
            trouble: is_trouble(subject, phase),
        })
        .collect();
    if let Some(last) = bands.last_mut().filter(|last| last.right + 1 == time.right) {
        last.right = time.right;
    }
    bands
}

/// Finds room for a name in the rows above the ribbon; no name and no leader crosses another.
fn raise(
    raised: &mut Vec<Raised>,
    sheet: &Sheet,
    style: Style,
    text: &str,
    span: (i32, i32),
    time: TimeAxis,
) -> bool {
    let (width, space) = (style.width(text), sheet.u(8.0));
    let middle = i32::midpoint(span.0, span.1);
    if width > time.right - time.left {
        return false;
    }
    let left = (middle - width / 2).clamp(time.left, time.right - width);
    let right = left + width;
    let free = |row: i32, raised: &[Raised]| {
        raised.iter().all(|other| {
            let beside = right + space <= other.left || other.right + space <= left;
            let other_middle = i32::midpoint(other.span.0, other.span.1);
            match other.row.cmp(&row) {
                std::cmp::Ordering::Equal => beside,
                // This name's leader passes the rows below it …
                std::cmp::Ordering::Less => {
                    middle < other.left - space / 2 || middle > other.right + space / 2
                }
                // … and theirs pass this one.
                std::cmp::Ordering::Greater => {
                    other_middle < left - space / 2 || other_middle > right + space / 2
                }
            }
        })
    };
    let Some(row) = (0..MOST_ROWS).find(|row| free(*row, raised)) else { return false };
    raised.push(Raised { text: text.to_owned(), left, right, row, span });
    true
}

/// Runs of phases that repeat by name at least three times (attempt, rest, attempt, rest …).
fn repeats(bands: &[Band]) -> Vec<std::ops::Range<usize>> {
    const PERIODS: std::ops::RangeInclusive<usize> = 2..=4;
    const TIMES: usize = 3;
    let mut groups = Vec::new();
    let mut start = 0;
    while start < bands.len() {
        let run = |period: usize| {
            let same = |i: &usize| bands[*i].name == bands[*i + period].name;
            period + (start..bands.len().saturating_sub(period)).take_while(same).count()
        };
        // The shortest period that repeats often enough.
        let found = PERIODS
            .map(|period| (period, run(period)))
            .find(|(period, length)| *length >= TIMES * period - 1);
        match found {
            Some((_, length)) => {
                groups.push(start..start + length);
                start += length;
            }
            None => start += 1,
        }
    }
    groups
}

/// `7 × attempt, rest`: how often the first comes, and what repeats.
fn group_name(bands: &[Band]) -> String {
    let first = &bands[0].name;
    let times = bands.iter().filter(|band| band.name == *first).count();
    let mut names: Vec<&str> = Vec::new();
    for band in bands {
        if !names.contains(&band.name.as_str()) {
            names.push(&band.name);
        }
    }
    format!("{times} × {}", names.join(", "))
}
