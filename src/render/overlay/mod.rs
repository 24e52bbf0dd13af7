//! Many logs of one model on one time base: good ones in grey, so that an odd one out is seen.
//!
//! Ten lines in grey are a thicket in which none is followed, and what they have in common is their range: so many good
//! runs are a band with one of them in it, and are counted. Odd ones have lines of their own in front of it; a few of
//! them, as different from each other as there are, are coloured and named at their place, the rest thin and counted.
//! One alone has its stages below those of the good boards; several have letters, which a key above them explains: a number
//! before a verdict would be read as a count.

mod going_on;
mod key;
mod lines;
mod panel;
mod rank;
mod said;
mod table;
mod tags;
#[cfg(test)]
mod tests;
mod usual;

pub(super) use said::{headline, odd_ones};

use super::RenderError;
use super::align::{self, Moment, Zero};
use super::axis::TimeAxis;
use super::geometry::{Rect, px};
use super::log_end;
use super::moments;
use super::options::{Least, Options};
use super::parts::notes::{self, Note};
use super::parts::readings::Readings;
use super::parts::{Subject, foot, gives_up, heading, turning};
use super::scene::Scene;
use super::sheet::Sheet;
use super::theme::{Color, Palette};
use super::words;
use crate::units::counted;
use crate::verdict::{Class, Finding};
use rank::{Rank, ranks};
use said::{model, name};

/// Odd runs that get a colour and a note of their own; the table has them all.
const MOST_NAMED: usize = 4;

/// From so many good runs on their range is drawn, and one of them.
const CROWD: usize = 4;

/// A run on the common time.
#[derive(Debug)]
struct Member<'a> {
    run: Subject<'a>,
    zero: Zero,
    readings: Readings,
    rank: Rank,
}

impl Member<'_> {
    fn is_good(&self) -> bool {
        self.rank == Rank::Good
    }

    /// What is wrong with it, at its place; of a good one nothing.
    fn note(&self) -> Option<Note> {
        let wrong = notes::notes(&self.run, &self.readings, 1).into_iter().next();
        wrong.filter(|_| !self.is_good())
    }

    /// When it left what the good ones do, as the figure of the run by itself has it, on the common time, with its words.
    fn moment(&self) -> Option<(f64, String)> {
        let fault = notes::fault(&self.run, self.note().as_slice())?;
        Some((fault - self.zero.at, moments::in_words(&self.run, self.zero, fault)))
    }

    /// From when on its verdict holds, on the common time, in words: of a run that is marked that moment. Where nobody asked it
    /// to wake it has no mark, and is as it is from its switch-on.
    fn since(&self) -> Option<String> {
        let moment = self.moment().map(|(_, words)| words);
        let words = moment.or_else(|| Some(moments::in_words(&self.run, self.zero, self.note()?.at)))?;
        Some(moments::behind_from(&words).to_owned())
    }

    /// How long it goes on after the picture ends, with its words on the common time.
    fn goes_on(&self, common: TimeAxis) -> Option<String> {
        log_end::goes_on(&self.run, self.zero, common)
    }
}

/// Below this many units the parts would not have room for their words.
const LEAST: Least = (440.0, 700.0);

pub(super) fn draw(runs: &[Subject], options: &Options) -> Result<Scene, RenderError> {
    if runs.is_empty() {
        return Err(RenderError::NoReadings);
    }
    let zeros = align::align(runs);
    let (from, to) = align::window(runs, &zeros, options)?;
    let odd = odd_ones(runs);
    let mut sheet = Sheet::new(options, LEAST);
    sheet.scene.title = format!("{}: {}", model(runs), headline(runs, &odd));
    sheet.scene.description = description(runs, &odd);
    let inside = sheet.inside();
    let left = inside.left + sheet.u(58.0);
    let time = TimeAxis { left, right: inside.right, from, to };
    let members = members(runs, &zeros, &odd, time);
    let below_head = head(&mut sheet, (runs, &members), &odd);
    let foot = foot::draw(&mut sheet, &foot_entries(runs, &members, time));
    let middle = Rect { top: below_head, bottom: foot - sheet.u(4.0), ..inside };
    let table = table::table(&sheet, &members, &odd);
    let (area, rows) =
        share_out(middle, table.as_ref().map_or(0, |table| table.height(&sheet, middle.width())));
    if let Some(table) = table {
        table.draw(&mut sheet, rows);
    }
    panel::draw(&mut sheet, &members, time, Rect { left, ..area });
    Ok(sheet.scene)
}

fn share_out(middle: Rect, table: i32) -> (Rect, Rect) {
    /// The table may take this share of the height.
    const MOST: f64 = 0.3;
    let most = px(f64::from(middle.height()) * MOST);
    middle.split_bottom(table.min(most))
}

fn members<'a>(runs: &[Subject<'a>], zeros: &[Zero], odd: &[bool], axis: TimeAxis) -> Vec<Member<'a>> {
    let own = |zero: &Zero| TimeAxis { from: axis.from + zero.at, to: axis.to + zero.at, ..axis };
    let readings: Vec<Readings> =
        runs.iter().zip(zeros).map(|(run, zero)| Readings::new(run, own(zero))).collect();
    let ranks = ranks(runs, odd, &readings);
    let member = |(((run, zero), readings), rank): (((&Subject<'a>, &Zero), Readings), Rank)| Member {
        run: *run,
        zero: *zero,
        readings,
        rank,
    };
    runs.iter().zip(zeros).zip(readings).zip(ranks).map(member).collect()
}

fn head(sheet: &mut Sheet, (runs, members): (&[Subject], &[Member]), odd: &[bool]) -> i32 {
    let area = sheet.inside();
    let odd_ones = runs.iter().zip(odd).filter(|(_, odd)| **odd).map(|(run, _)| run.finding);
    let badge = heading::gravest(sheet, odd_ones).unwrap_or_else(|| heading::badge(sheet, runs[0].finding));
    let few = lettered(members, odd).filter(|_| sheet.is_narrow(area.width()));
    let below = if let Some(few) = few {
        heading::draw_lines(sheet, area, badge, &few)
    } else {
        let text = heading::that_fits(sheet, area, said::headlines(runs, odd));
        heading::draw(sheet, area, Some(badge), &text, "")
    };
    let others = runs.iter().filter(|run| run.finding.log.board != runs[0].finding.log.board).count();
    let below = if others > 0 {
        let others = counted(others, "log");
        let warning = format!("{}: {others} of another model than {}.", words::CAUTION, model(runs));
        heading::lines(sheet, Rect { top: below, ..area }, &warning, 1)
    } else {
        below
    };
    below + sheet.u(8.0)
}

/// `A: latches off in firmware`, `B: no draw`: what is wrong with each of a few odd runs, which the picture calls by these
/// letters; `None` of one alone, or of more than a heading has lines for.
fn lettered(members: &[Member], odd: &[bool]) -> Option<Vec<String>> {
    const MOST: usize = 3;
    let count = odd.iter().filter(|odd| **odd).count();
    let lines = || {
        LETTERS
            .iter()
            .zip(named(members))
            .map(|(letter, member)| format!("{letter}: {}", said::summary(&member.run)))
    };
    ((2..=MOST).contains(&count) && lines().count() == count).then(|| lines().collect())
}

/// The run whose stages are named above the panel: of the good ones those in which most stages are told apart, for the name of
/// two taken as one would be given to both, and of these that with neither most nor fewest phases.
fn guide<'a, 'b>(members: &'b [Member<'a>]) -> Option<&'b Member<'a>> {
    let any_good = members.iter().any(Member::is_good);
    let mut usual: Vec<&Member> = members.iter().filter(|member| member.is_good() || !any_good).collect();
    let most = usual.iter().map(|member| told_apart(member)).max();
    usual.retain(|member| Some(told_apart(member)) == most);
    usual.sort_by_key(|member| member.run.finding.phases.len());
    usual.get(usual.len().saturating_sub(1) / 2).copied()
}

/// How many stages of the reference a run shows.
fn told_apart(member: &Member) -> usize {
    let stages = member.run.profile.map_or(&[][..], |profile| &profile.phases);
    let is_told = |name: &String| member.run.finding.phases.iter().any(|phase| phase.name == *name);
    stages.iter().filter(|stage| is_told(&stage.name)).count()
}

/// The colours of the named runs, in their order: of one alone whose verdict is a toss-up, or which has none, none that a
/// certainty has.
fn colors(palette: &Palette, members: &[Member]) -> [Color; MOST_NAMED] {
    let (first, second) = (palette.alarm, palette.ink);
    let guessed =
        |member: &Member| words::is_toss_up(&member.run.finding.verdict) || said::is_undecided(&member.run);
    let perhaps = is_alone(members) && named(members).next().is_some_and(guessed);
    let (first, second) = if perhaps { (second, first) } else { (first, second) };
    [first, second, palette.limit, palette.text]
}

/// The named runs in the order of their colours.
fn named<'a, 'b>(members: &'b [Member<'a>]) -> impl Iterator<Item = &'b Member<'a>> {
    (0..MOST_NAMED).map_while(|index| members.iter().find(|member| member.rank == Rank::Named(index)))
}

/// Whether one odd run alone is named, so that there is room for all that is to be said of it.
fn is_alone(members: &[Member]) -> bool {
    named(members).nth(1).is_none()
}

/// What the named runs are called where they are several, in the order of their colours.
const LETTERS: [char; MOST_NAMED] = ['A', 'B', 'C', 'D'];

/// The letter of a named run among several, by which picture, key and table call it.
fn letter(member: &Member, members: &[Member]) -> Option<char> {
    let index = named(members).position(|other| std::ptr::eq(other, member))?;
    LETTERS.get(index).copied().filter(|_| !is_alone(members))
}

/// The first of the named runs that the supply starves: its limit is what stopped it.
fn starved<'a, 'b>(members: &'b [Member<'a>]) -> Option<&'b Member<'a>> {
    named(members).find(|member| member.run.finding.verdict.class == Class::FeedLimited)
}

/// Of a run that the supply starves: that it does, at what limit, and what was read.
fn feed_limited(run: &Subject) -> Option<Vec<String>> {
    let starves = run.finding.verdict.class == Class::FeedLimited;
    starves.then(|| turning::turn(run))?.map(|note| note.lines)
}

/// `0.39 A at 23.1 V for 31.0 s, good boards go on to login at 0.27 to 0.32 A`: what the run's note says was read, and what
/// the good runs do when this one stays.
fn read_there(member: &Member, members: &[Member]) -> Option<String> {
    if let Some(lines) = feed_limited(&member.run) {
        return Some(lines[..lines.len().min(2)].join(": "));
    }
    let verdict = &member.run.finding.verdict;
    let Some(read) = member.note().and_then(|note| read_of(&note, member.run.finding)) else {
        // Of a capture that carries no verdict, why.
        let why = verdict.because.first().filter(|_| verdict.class == Class::Inconclusive);
        return why.cloned();
    };
    let good = going_on::go_on(member, members).map_or_else(String::new, |good| format!(", {good}"));
    // Its moment is that of one try among others, and not of a change that came then.
    let tries = matches!(verdict.class, Class::Cycling | Class::LatchOff);
    let which = gives_up::numbered(&member.run).filter(|_| tries);
    let which = which.map_or_else(String::new, |which| format!("{which}: "));
    Some(which + &read + &good)
}

/// Of a note what was read there; where tries end the verdict beside it has said.
fn read_of(note: &Note, finding: &Finding) -> Option<String> {
    let place = words::where_tries_end(finding);
    let is_said = |line: &String| place.as_ref().is_some_and(|place| line.ends_with(place));
    let mut lines = note.lines.iter().skip(1);
    lines.clone().find(|line| !is_said(line)).or(lines.next()).cloned()
}

/// What the runs have in common.
fn foot_entries(runs: &[Subject], members: &[Member], time: TimeAxis) -> Vec<foot::Entry> {
    let mut entries = vec![("logs", runs.len().to_string())];
    let goes_on = |member: &Member| Some(format!("{} to {}", name(&member.run), member.goes_on(time)?));
    let beyond: Vec<String> = named(members).filter_map(goes_on).collect();
    if !beyond.is_empty() {
        entries.push((log_end::GOES_ON, beyond.join(", ")));
    }
    entries.push(("0 s:", zero_in_words(runs, |index| called(&members[index], members))));
    let of_each: Vec<Vec<foot::Entry>> = runs.iter().map(foot::entries).collect();
    if let Some((first, rest)) = of_each.split_first() {
        let common = |entry: &&foot::Entry| rest.iter().all(|other| other.contains(entry));
        entries.extend(first.iter().filter(common).cloned());
    }
    entries
}

/// What a run is called where there is little room: by its letter, if it has one.
fn called(member: &Member, members: &[Member]) -> String {
    letter(member, members).map_or_else(|| name(&member.run), |letter| letter.to_string())
}

/// `the board wakes; case-003.csv: its press`: what the zero of the common time is in these runs.
fn zero_in_words(runs: &[Subject], called: impl Fn(usize) -> String) -> String {
    /// More than these are counted.
    const MOST: usize = 2;
    let zeros = align::align(runs);
    let wakes = zeros.iter().any(|zero| zero.moment == Moment::Wake);
    let Some(first) = zeros.iter().map(|zero| zero.moment).find(|moment| *moment == Moment::Wake || !wakes)
    else {
        return String::new();
    };
    let mut said = first.words().to_owned();
    for moment in [Moment::SwitchOn, Moment::AsOthersPressed, Moment::AsOthers] {
        let of = (0..zeros.len()).filter(|index| zeros[*index].moment == moment && moment != first);
        let names: Vec<String> = of.map(&called).collect();
        let who = match names.len() {
            0 => continue,
            1..=MOST => names.join(" and "),
            several => counted(several, "log"),
        };
        said = format!("{said}; {who}: {}", moment.of_one());
    }
    said
}

fn description(runs: &[Subject], odd: &[bool]) -> String {
    let line = |run: &Subject| format!("{}: {}.", name(run), words::headline_of(run.finding));
    let lines: Vec<String> = runs.iter().map(line).collect();
    format!("{}. {}", headline(runs, odd), lines.join(" "))
}
