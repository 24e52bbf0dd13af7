//! What the lines of an overlay stand for, and which run is which.

use super::super::axis::TimeAxis;
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::parts::{legend, limit, volts};
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::{Color, Palette};
use super::super::words;
use super::lines::{GOOD, are_few, is_crowd, width_of_named};
use super::rank::Rank;
use super::said::{is_sound, is_undecided, name, summary};
use super::{LETTERS, Member, colors, is_alone, letter, lettered, named, read_there, starved};

/// The good runs, the odd one where there is but one, and how many more there are.
pub(super) fn legend(
    sheet: &Sheet,
    members: &[Member],
    (time, width): (TimeAxis, i32),
) -> Vec<legend::Sample> {
    let palette = sheet.palette;
    let count = |wanted: fn(Rank) -> bool| members.iter().filter(|member| wanted(member.rank)).count();
    let (good, other) = (count(|rank| rank == Rank::Good), count(|rank| rank == Rank::Odd));
    let sound = members.iter().any(|member| member.is_good() && is_sound(&member.run));
    let runs = if good == 1 { "run" } else { "runs" };
    let kind = if sound { format!("good {runs}{}", doubtful(members)) } else { format!("{runs} as most") };
    let mut samples: Vec<legend::Sample> = Vec::new();
    if is_crowd(members) {
        samples.push((legend::Swatch::Crowd, format!("range of {good} {kind}, one drawn").into()));
    } else if good > 0 {
        samples.push((legend::Swatch::Line(GOOD, 0.0, palette.alike), format!("{good} {kind}").into()));
    }
    // Where there is neither width nor height the note below has the colour, and there is no room to say it twice.
    let narrow = sheet.is_narrow(width);
    if is_alone(members) && !(narrow && sheet.is_low()) {
        for (member, color) in named(members).zip(colors(palette, members)) {
            // On a narrow figure the foot says alone how long it goes on.
            let on = member.goes_on(time).filter(|_| !narrow);
            let on = on.map_or_else(String::new, |end| format!(", goes on to {end}"));
            let odd = if is_undecided(&member.run) { "not judged" } else { "odd" };
            let said = format!("{odd}: {}{on}", name(&member.run));
            samples.push((legend::Swatch::Line(width_of_named(sheet), 0.0, color), said.into()));
        }
    }
    samples.extend(limit_of(members, palette));
    samples.extend(starved(members).into_iter().flat_map(|member| signs_of(member, members)));
    // Of several the gaps are not drawn.
    if is_alone(members) && named(members).any(|member| member.readings.has_gaps()) {
        samples.push((legend::Swatch::Gap, format!("{} of the odd run", legend::NO_READINGS).into()));
    }
    if other > 0 {
        samples.push(if are_few(members) {
            (legend::Swatch::Line(1.0, 0.0, palette.mark), format!("{other} more odd").into())
        } else {
            (legend::Swatch::None, format!("{other} more odd, in the table only").into())
        });
    }
    samples
}

/// ` (1 only probably)`: how many of the good runs may as well be none.
fn doubtful(members: &[Member]) -> String {
    let good = members.iter().filter(|member| member.is_good()).map(|member| &member.run.finding.verdict);
    let doubts: Vec<&str> = good.filter(|of| words::is_toss_up(of)).map(words::doubt).collect();
    match doubts.as_slice() {
        [] => String::new(),
        [doubt, rest @ ..] if rest.iter().all(|other| other == doubt) => {
            format!(" ({} only {doubt})", doubts.len())
        }
        several => format!(" ({} only perhaps or probably)", several.len()),
    }
}

/// The limit of a run that the supply starves.
fn limit_of(members: &[Member], palette: &Palette) -> Option<legend::Sample> {
    let member = starved(members)?;
    let limit = member.run.finding.log.limit_a?;
    let whose = letter(member, members).map_or_else(|| name(&member.run), |letter| letter.to_string());
    // Good runs may have been fed with another, and one line would be taken for that of all.
    let mut others: Vec<String> = members
        .iter()
        .filter(|other| other.is_good())
        .filter_map(|other| other.run.finding.log.limit_a)
        .map(|limit| limit.to_string())
        .filter(|other| *other != limit.to_string())
        .collect();
    others.sort();
    others.dedup();
    let others = match others.as_slice() {
        [] => String::new(),
        [one] => format!(" (good runs {one})"),
        _ => " (good runs others)".into(),
    };
    let said = format!("current limit of {whose}, {limit}{others}");
    Some((legend::Swatch::Line(1.5, 9.0, palette.limit), said.into()))
}

/// What is drawn of a run that the supply starves beside its limit.
fn signs_of(member: &Member, members: &[Member]) -> impl Iterator<Item = legend::Sample> {
    let whose = letter(member, members).map_or_else(String::new, |letter| format!(" of {letter}"));
    let limited = !limit::seen(&member.readings).is_empty();
    let limited = limited.then(|| (legend::Swatch::Limited, format!("supply in its current limit{whose}")));
    let dips = volts::has_signs(&member.run, &member.readings);
    let dips = dips.then(|| (legend::Swatch::Dip, format!("volts dip{whose}")));
    [limited, dips].into_iter().flatten().map(|(swatch, words)| (swatch, words.into()))
}

/// One line for each of several named runs: its letter, which the picture and the table have as well, what is wrong with
/// it, and from when on. Boxes with all of that would hide the runs.
#[derive(Debug)]
pub(super) struct Key {
    entries: Vec<Entry>,
}

#[derive(Debug)]
struct Entry {
    letter: char,
    lines: Vec<String>,
    color: Color,
}

/// Units of the layout from one line to the next, and between two runs.
const LINE: f64 = 19.0;
const BETWEEN: f64 = 3.0;

/// Side of the ground of a letter, in units of the layout.
const SIDE: f64 = 18.0;

impl Key {
    /// Of one run alone there is none: its note says it all.
    pub(super) fn new(sheet: &Sheet, members: &[Member], width: i32) -> Self {
        /// Lines that a run may take.
        const MOST: usize = 2;
        /// The same with what was read.
        const MOST_WITH_READ: usize = 5;
        let told_above =
            lettered(members, &members.iter().map(|member| !member.is_good()).collect::<Vec<_>>());
        let told_above = told_above.is_some() && sheet.is_narrow(width);
        let style = style(sheet, sheet.palette.text);
        let entry = |((letter, member), color): ((char, &Member), Color)| {
            let from = member.since().map_or_else(String::new, |at| format!(", from {at}"));
            // What the heading says already leaves room for what was read.
            let said = if told_above {
                let read = read_there(member, members).map_or_else(String::new, |read| format!(": {read}"));
                format!("{}{from}{read}", name(&member.run))
            } else {
                format!("{}: {}{from}", name(&member.run), summary(&member.run))
            };
            let most = if told_above { MOST_WITH_READ } else { MOST };
            let lines = style.wrap(&said, width - sheet.u(SIDE + 8.0), most);
            Entry { letter, lines, color }
        };
        let several = !is_alone(members);
        let entries = LETTERS
            .into_iter()
            .zip(named(members))
            .zip(colors(sheet.palette, members))
            .filter(|_| several)
            .map(entry);
        Self { entries: entries.collect() }
    }

    pub(super) fn height(&self, sheet: &Sheet) -> i32 {
        self.entries.iter().map(|entry| entry.height(sheet)).sum()
    }

    /// Draws as many entries as the area has room for.
    pub(super) fn draw(&self, sheet: &mut Sheet, area: Rect) {
        let mut top = area.top;
        for entry in &self.entries {
            let bottom = top + entry.height(sheet);
            if bottom > area.bottom {
                break;
            }
            entry.draw(sheet, Rect { top, bottom, ..area });
            top = bottom;
        }
    }
}

impl Entry {
    fn height(&self, sheet: &Sheet) -> i32 {
        let lines = i32::try_from(self.lines.len().max(1)).unwrap_or(1);
        lines * sheet.u(LINE) + sheet.u(BETWEEN)
    }

    fn draw(&self, sheet: &mut Sheet, area: Rect) {
        let side = sheet.u(SIDE);
        let square = Rect { right: area.left + side, bottom: area.top + side, ..area };
        sheet.scene.fill(square, self.color);
        let on_ground = style(sheet, sheet.palette.paper);
        let at = (square.center().0, on_ground.baseline_at(square.center().1));
        sheet.scene.text(self.letter, at, Anchor::Middle, on_ground);
        let style = style(sheet, self.color);
        for (row, line) in (0..).zip(&self.lines) {
            let middle = square.center().1 + row * sheet.u(LINE);
            let at = (square.right + sheet.u(8.0), style.baseline_at(middle));
            sheet.scene.text(line.clone(), at, Anchor::Start, style);
        }
    }
}

fn style(sheet: &Sheet, color: Color) -> Style {
    sheet.style(em::USUAL, Weight::Bold, color)
}
