//! Phases as named bands along the time axis.

mod nameless;
mod search;
mod tries;

use super::super::axis::TimeAxis;
use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Pen, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::super::words;
use super::attempts;
use super::called::{AT_REST, STANDBY, has_no_standby, shown_name};
use super::ladder::UNSURE;
use super::repeats::{repeated, repeats};
use super::trouble::{Trouble, trouble};
use super::{Areas, Subject};
use crate::verdict::Class;

/// One phase in pixels, or one attempt of many.
#[derive(Debug, Clone)]
struct Band {
    left: i32,
    right: i32,
    name: String,
    /// Whether it is what is wrong.
    trouble: bool,
    /// Whether it is to have its name before others.
    worth: Worth,
    /// Whether it is a rest between tries, of which there may be too many to name each.
    rest: bool,
}

/// How much a name is worth its room, the most first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Worth {
    /// What the head speaks of.
    Told,
    Usual,
    /// Of a sliver whose name stands elsewhere.
    Spare,
}

impl Band {
    const fn span(&self) -> (i32, i32) {
        (self.left, self.right)
    }
}

/// A name that stands above the ribbon because its band is too short for it, or because it names several.
#[derive(Debug, Clone)]
struct Raised {
    text: String,
    left: i32,
    right: i32,
    row: i32,
    /// The stretch that it names.
    span: (i32, i32),
    /// Whether that is wide enough for a bracket on both sides of the words.
    bracket: bool,
    trouble: bool,
}

impl Raised {
    /// The columns that the name takes, with its bracket if it has one.
    fn taken(&self) -> (i32, i32) {
        if self.bracket { self.span } else { (self.left, self.right) }
    }

    /// The column of its leader.
    fn leader(&self) -> i32 {
        i32::midpoint(self.span.0, self.span.1).clamp(self.left, self.right)
    }

    fn is_clear_of(&self, other: &Self, space: i32) -> bool {
        let ((left, right), (from, to)) = (self.taken(), other.taken());
        let passes = |name: &Self, (from, to): (i32, i32)| {
            name.bracket || name.leader() < from - space / 2 || name.leader() > to + space / 2
        };
        match other.row.cmp(&self.row) {
            std::cmp::Ordering::Equal => right + space <= from || to + space <= left,
            // This name's leader passes the rows below it …
            std::cmp::Ordering::Less => passes(self, (from, to)),
            // … and theirs pass this one.
            std::cmp::Ordering::Greater => passes(other, (left, right)),
        }
    }
}

/// The phases within the window, and where their names go.
#[derive(Debug)]
pub(in crate::render) struct Bands {
    all: Vec<Band>,
    inside: Vec<Option<String>>,
    raised: Vec<Raised>,
    style: Style,
    /// The line below the ribbon.
    underline: Color,
    /// Whether what is wrong is no more than the first thing to look for.
    unsure: bool,
}

/// Rows above the ribbon that names may take.
pub(in crate::render) const MOST_ROWS: i32 = 3;

/// The same on a picture of one panel: as narrow as a phone the stages crowd, and there is height for more.
pub(in crate::render) fn most_rows(sheet: &Sheet) -> i32 {
    const OF_UPRIGHT: i32 = 5;
    let (width, height) = (sheet.scene.width, sheet.scene.height);
    if 2 * height > 3 * width && sheet.is_narrow(sheet.inside().width()) { OF_UPRIGHT } else { MOST_ROWS }
}

/// Of more slivers than these no name is looked for: they would take the room of the traces.
const MOST_SPARE: usize = 4;

/// A band narrower than this is a sliver, in units of the layout.
const SLIVER: f64 = 24.0;

/// How names above the ribbon are set: their order, and where a name may stand by its leader.
#[derive(Debug, Clone, Copy)]
struct Way {
    from_right: bool,
    /// Whether what is wrong, or told, chooses its place before the others.
    told_first: bool,
    stands: &'static [Stand],
}

/// Which part of a name stands above its band.
#[derive(Debug, Clone, Copy)]
enum Stand {
    Middle,
    Start,
    End,
    /// All of it, from where its band begins.
    From,
}

/// From the plainest to the one that finds room where stages crowd: names begin at their leaders, each further to the
/// left one row higher, so that none is crossed.
const WAYS: [Way; 9] = [
    Way { from_right: false, told_first: true, stands: &[Stand::Middle] },
    Way { from_right: true, told_first: true, stands: &[Stand::Middle] },
    Way { from_right: true, told_first: true, stands: &[Stand::Middle, Stand::Start, Stand::End] },
    Way { from_right: true, told_first: true, stands: &[Stand::Start, Stand::Middle] },
    Way { from_right: true, told_first: true, stands: &[Stand::Start, Stand::End] },
    Way { from_right: true, told_first: true, stands: &[Stand::Start] },
    Way { from_right: true, told_first: false, stands: &[Stand::Middle] },
    Way { from_right: true, told_first: false, stands: &[Stand::Middle, Stand::Start, Stand::End] },
    Way { from_right: true, told_first: false, stands: &[Stand::Start] },
];

/// Raises the names of the bands in `order` in the way that names most of them, then in the fewest rows, what is wrong
/// before all else; and says which found no room.
fn raise_all(
    raised: &[Raised],
    sheet: &Sheet,
    style: Style,
    (all, order): (&[Band], &[usize]),
    (time, most_rows): (TimeAxis, i32),
) -> (Vec<Raised>, Vec<usize>) {
    let ways = WAYS.map(|way| {
        let mut order = order.to_vec();
        if way.from_right {
            order.reverse();
        }
        if way.told_first {
            order.sort_by_key(|index| all[*index].worth);
        }
        let mut raised = raised.to_vec();
        order.retain(|index| {
            let band = &all[*index];
            let name = Name { text: &band.name, span: band.span(), trouble: band.trouble };
            !raise(&mut raised, sheet, style, (name, way.stands), (time, most_rows))
        });
        (raised, order)
    });
    let rows = |raised: &[Raised]| raised.iter().map(|name| name.row).max();
    let of =
        |unnamed: &[usize], least: Worth| unnamed.iter().filter(|index| all[**index].worth <= least).count();
    let unnamed =
        |unnamed: &[usize]| [Worth::Told, Worth::Usual, Worth::Spare].map(|worth| of(unnamed, worth));
    let best =
        ways.into_iter().min_by_key(|(raised, left)| (unnamed(left), rows(raised))).unwrap_or_default();
    if best.1.is_empty() {
        return best;
    }
    let crowded = search::all_raised(raised, sheet, style, (all, order), (time, most_rows));
    crowded.map_or(best, |raised| (raised, Vec::new()))
}

impl Bands {
    /// The names in so many rows at most.
    pub(in crate::render) fn new(
        sheet: &Sheet,
        subject: &Subject,
        (time, most_rows): (TimeAxis, i32),
    ) -> Self {
        let style = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
        let fits = |band: &Band| style.width(&band.name) <= band.right - band.left - sheet.u(8.0);
        let mut raised = Vec::new();
        let mut all = match attempts::attempts(subject) {
            Some(attempts) => {
                tries::with_attempts(sheet, subject, (time, most_rows), attempts, &mut raised, fits)
            }
            None => tries::still_on(subject, bands(subject, time, (time.from, time.to))),
        };
        all = nameless::joined(sheet, all);
        for band in all.iter_mut().filter(|band| band.trouble || is_told(subject, &band.name)) {
            band.worth = Worth::Told;
        }
        let mut inside: Vec<Option<String>> =
            all.iter().map(|band| fits(band).then(|| band.name.clone())).collect();
        let plain = |band: &Band| (!band.trouble && !band.name.is_empty()).then(|| band.name.clone());
        for group in repeats(&all.iter().map(plain).collect::<Vec<_>>()) {
            let names = inside.get_mut(group.clone()).unwrap_or_default();
            if names.iter().any(Option::is_none) {
                // One name for the whole run says more than a few names that happen to fit.
                names.fill(Some(String::new()));
                let span = (all[group.start].left, all[group.end - 1].right);
                let name = Name {
                    text: &repeated(all[group].iter().map(|band| band.name.as_str())),
                    span,
                    trouble: false,
                };
                raise(&mut raised, sheet, style, (name, WAYS[0].stands), (time, most_rows));
            }
        }
        // A sliver of a stage that is named elsewhere needs no name of its own, but has one where there is room.
        let elsewhere = |band: &Band| inside.iter().flatten().any(|name| *name == band.name);
        let sliver = |band: &Band| band.right - band.left < sheet.u(SLIVER) && elsewhere(band);
        for index in (0..all.len())
            .filter(|index| inside[*index].is_none() && sliver(&all[*index]))
            .collect::<Vec<_>>()
        {
            all[index].worth = Worth::Spare;
        }
        let spare = all.iter().filter(|band| band.worth == Worth::Spare).count();
        // One that is not called anything has none either: its leader would lead to no word.
        let is_wanted =
            |band: &Band| !band.name.is_empty() && (band.worth < Worth::Spare || spare <= MOST_SPARE);
        let order: Vec<usize> =
            (0..all.len()).filter(|index| inside[*index].is_none() && is_wanted(&all[*index])).collect();
        let (raised, unnamed) = raise_all(&raised, sheet, style, (&all, &order), (time, most_rows));
        for index in unnamed {
            let band = &all[index];
            inside[index] = style.fit(&band.name, band.right - band.left - sheet.u(8.0));
        }
        let unsure = words::is_toss_up(&subject.finding.verdict);
        Self { all, inside, raised, style, underline: sheet.palette.ink, unsure }
    }

    /// With the line below the ribbon in the colour of another trace.
    pub(in crate::render) fn underlined(self, color: Color) -> Self {
        Self { underline: color, ..self }
    }

    /// As the stages of others than the run that is looked at: in no colour of a trace, and with fainter names.
    pub(in crate::render) fn of_others(self, sheet: &Sheet) -> Self {
        let style = Style { color: sheet.palette.faint_text, ..self.style };
        Self { underline: sheet.palette.frame, style, ..self }
    }

    /// How many rows of names stand above the ribbon.
    pub(in crate::render) fn rows(&self) -> i32 {
        self.raised.iter().map(|name| name.row + 1).max().unwrap_or(0)
    }

    /// Every other phase, such that rests between tries are not shaded: one look is to have one meaning.
    fn shaded(&self) -> Vec<bool> {
        let rest = self.all.iter().position(|band| band.rest).unwrap_or(0);
        (0..self.all.len()).map(|index| index % 2 != rest % 2).collect()
    }

    /// Every other phase's background, over all panels.
    pub(in crate::render) fn shade(&self, sheet: &mut Sheet, areas: &Areas) {
        let panels = [areas.amps, areas.quiet, areas.volts];
        for band in self.all.iter().zip(self.shaded()).filter_map(|(band, shaded)| shaded.then_some(band)) {
            for panel in panels.into_iter().filter(|panel| !panel.is_empty()) {
                sheet.scene.fill(Rect { left: band.left, right: band.right, ..panel }, sheet.palette.shade);
            }
        }
    }

    pub(in crate::render) fn draw(&self, sheet: &mut Sheet, areas: &Areas) {
        let ribbon = Rect { bottom: areas.ribbon.bottom - sheet.u(3.0), ..areas.ribbon };
        let shaded = self.shaded();
        for (index, (band, name)) in self.all.iter().zip(&self.inside).enumerate() {
            let area = Rect { left: band.left, right: band.right, ..ribbon };
            self.band(sheet, band, name.as_deref(), area, shaded[index]);
        }
        for name in &self.raised {
            self.raised(sheet, name, areas);
        }
    }

    fn band(&self, sheet: &mut Sheet, band: &Band, name: Option<&str>, area: Rect, shaded: bool) {
        let palette = sheet.palette;
        let (ground, color) = if band.trouble && !self.unsure {
            (palette.alarm, palette.on_alarm)
        } else if shaded {
            (palette.shade, self.style.color)
        } else {
            (palette.paper, self.style.color)
        };
        sheet.scene.fill(area, ground);
        let line = sheet.u(1.0);
        // The sides of a very short try would hide it.
        let sides = if band.trouble && area.width() < 5 * line { 0 } else { line };
        sheet.scene.fill(Rect { right: area.left + sides, ..area }.intersection(area), palette.frame);
        sheet.scene.fill(Rect { left: area.right - sides, ..area }.intersection(area), palette.frame);
        sheet.scene.fill(Rect { bottom: area.top + line, ..area }, palette.frame);
        if band.trouble && self.unsure {
            sheet.scene.frame(area, sheet.u(2.0), palette.unsure);
        }
        sheet.scene.fill(Rect { top: area.bottom - sheet.u(3.0), ..area }, self.underline);
        if let Some(name) = name {
            sheet.centered(name, area, Style { color, ..self.style });
        }
    }

    fn raised(&self, sheet: &mut Sheet, name: &Raised, areas: &Areas) {
        let row_height = sheet.u(19.0);
        let bottom = areas.overflow.bottom - name.row * row_height;
        let baseline = bottom - sheet.u(5.0);
        let color = if name.trouble && !self.unsure { sheet.palette.alarm } else { self.style.color };
        let style = Style { color, ..self.style };
        sheet.scene.text(name.text.clone(), (name.left, baseline), Anchor::Start, style);
        let pen = sheet.pen(1.0, 0.0, if name.trouble { color } else { sheet.palette.frame });
        if name.bracket {
            bracket(sheet, name, (baseline, bottom), pen);
        } else if name.row > 0 || !name.trouble || name.span.1 - name.span.0 <= sheet.u(2.0 * SLIVER) {
            // Into the box that it names, which may be far narrower than the name. Words right above many tries stand over them:
            // a stroke to their middle would point at what lies between two.
            let foot = areas.ribbon.top + sheet.u(7.0);
            sheet.scene.down(name.leader(), (bottom, foot), Pen { width: sheet.u(2.0), ..pen });
        }
    }
}

/// A bracket over all that a name stands for, on both sides of its words.
fn bracket(sheet: &mut Sheet, name: &Raised, (baseline, bottom): (i32, i32), pen: Pen) {
    let pen = Pen { width: sheet.u(2.0), ..pen };
    let y = baseline - sheet.u(5.0);
    let space = sheet.u(6.0);
    sheet.scene.across((name.span.0, name.left - space), y, pen);
    sheet.scene.across((name.right + space, name.span.1), y, pen);
    for x in [name.span.0 + pen.width / 2, name.span.1 - pen.width / 2] {
        sheet.scene.down(x, (y, bottom), pen);
    }
}

/// A stretch of time under one name.
#[derive(Debug)]
struct Stretch {
    start: f64,
    end: f64,
    name: String,
    trouble: bool,
}

impl Stretch {
    /// Whether it is too short to be told from its neighbours.
    fn is_speck(&self, time: TimeAxis) -> bool {
        /// Columns of pixels: of a band no wider than these only its edges are seen.
        const SPECK: i32 = 2;
        !self.trouble && time.x(self.end) - time.x(self.start) <= SPECK
    }
}

/// The phases from `from` to `to` that the window shows, those in trouble cut where the trouble begins.
fn bands(subject: &Subject, time: TimeAxis, (from, to): (f64, f64)) -> Vec<Band> {
    let (from, to) = (from.max(time.from), to.min(time.to));
    let stretches = tries::whole(subject, stretches(subject, time, (from, to)));
    let runs = stretches.chunk_by(|a, b| a.is_speck(time) && b.is_speck(time));
    let mut bands: Vec<Band> = runs.flat_map(|run| bands_of(run, time)).collect();
    if let Some(last) = bands.last_mut().filter(|last| last.right + 1 == time.right) {
        last.right = time.right;
    }
    bands
}

/// One band for each, or for all of a long run of specks: side by side they would be a smear, and those that take no
/// column would be missing from what is counted.
fn bands_of(run: &[Stretch], time: TimeAxis) -> Vec<Band> {
    const MANY: usize = 24;
    let each = |of: &Stretch| band(time, (of.start, of.end), of.name.clone(), of.trouble);
    match run {
        [first, .., last] if run.len() >= MANY => {
            let name = repeated(run.iter().map(|stretch| stretch.name.as_str()));
            band(time, (first.start, last.end), name, false).into_iter().collect()
        }
        _ => run.iter().filter_map(each).collect(),
    }
}

fn stretches(subject: &Subject, time: TimeAxis, (from, to): (f64, f64)) -> impl Iterator<Item = Stretch> {
    let unsure = words::is_toss_up(&subject.finding.verdict);
    let phases = subject.finding.phases.iter().flat_map(move |phase| {
        let (start, end) = (phase.start_s.value().max(from), phase.end_s.value().min(to));
        let wrong = |start: f64, end: f64, name: &str| {
            let sign = if unsure { format!("{UNSURE} ") } else { String::new() };
            Stretch { start, end, name: clean(&(sign + words::phase(name))), trouble: true }
        };
        let usual =
            |end: f64| Stretch { start, end, name: clean(&shown_name(subject, phase, time)), trouble: false };
        let trouble = trouble(subject, phase).map(|trouble| match trouble.name.as_str() {
            STANDBY if has_no_standby(subject) => Trouble { name: AT_REST.into(), ..trouble },
            _ => trouble,
        });
        match trouble {
            Some(Trouble { from, name }) if from > start => {
                [Some(usual(from.min(end))), Some(wrong(from, end, &name))]
            }
            Some(Trouble { name, .. }) => [Some(wrong(start, end, &name)), None],
            None => [Some(usual(end)), None],
        }
    });
    phases.flatten().filter(|stretch| stretch.start < stretch.end)
}

/// The band of what the window shows of a stretch; `None` where that is less than a pixel.
fn band(time: TimeAxis, (start, end): (f64, f64), name: String, trouble: bool) -> Option<Band> {
    let (start, end) = (start.max(time.from), end.min(time.to));
    let (left, right) = (time.x_within(start), time.x_within(end));
    (start < end && left < right).then_some(Band {
        left,
        right,
        name,
        trouble,
        worth: Worth::Usual,
        rest: false,
    })
}

/// Whether a stage is what the head speaks of: where the board is at fault, or departs from good boards.
fn is_told(subject: &Subject, name: &str) -> bool {
    let verdict = &subject.finding.verdict;
    let departs = subject.finding.departures.iter().map(|departure| &departure.phase);
    let at_fault = if verdict.class == Class::FullBoot { None } else { verdict.place() };
    departs.chain(&verdict.stalled_in).chain(at_fault).any(|stage| clean(words::phase(stage)) == name)
}

/// What is to stand above the ribbon.
#[derive(Debug, Clone, Copy)]
struct Name<'a> {
    text: &'a str,
    span: (i32, i32),
    trouble: bool,
}

/// Room beside a name above the ribbon, in units of the layout.
const SPACE: f64 = 8.0;

/// Finds room for a name in the rows above the ribbon; no name and no leader crosses another.
fn raise(
    raised: &mut Vec<Raised>,
    sheet: &Sheet,
    style: Style,
    (name, stands): (Name, &[Stand]),
    (time, most_rows): (TimeAxis, i32),
) -> bool {
    let space = sheet.u(SPACE);
    let is_free = |name: &Raised| raised.iter().all(|other| name.is_clear_of(other, space));
    let found = places(sheet, style, (name, stands), (time, most_rows)).into_iter().find(is_free);
    raised.extend(found.clone());
    found.is_some()
}

/// Where a name may stand, from the lowest row up.
fn places(
    sheet: &Sheet,
    style: Style,
    (name, stands): (Name, &[Stand]),
    (time, most_rows): (TimeAxis, i32),
) -> Vec<Raised> {
    let Name { text, span, trouble } = name;
    let (width, space) = (style.width(text), sheet.u(SPACE));
    let middle = i32::midpoint(span.0, span.1);
    if width > time.right - time.left {
        return Vec::new();
    }
    let set = |row: i32, stand: &Stand| {
        let left = match stand {
            Stand::Middle => middle - width / 2,
            Stand::Start => middle - space / 2,
            Stand::End => middle + space / 2 - width,
            Stand::From => span.0,
        };
        let left = left.clamp(time.left, time.right - width);
        let right = left + width;
        let bracket = span.0 + 2 * space <= left && right + 2 * space <= span.1;
        Raised { text: text.to_owned(), left, right, row, span, bracket, trouble }
    };
    let set = &set;
    (0..most_rows).flat_map(|row| stands.iter().map(move |stand| set(row, stand))).collect()
}
