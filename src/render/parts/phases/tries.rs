//! The bands of a run that tries again and again.

use super::super::super::axis::TimeAxis;
use super::super::super::font::{Weight, clean};
use super::super::super::sheet::{Sheet, em};
use super::super::super::words;
use super::super::Subject;
use super::super::attempts::{self, span};
use super::super::called::{AT_REST, STANDBY, has_no_standby};
use super::{Band, Name, Raised, SLIVER, Stand, Stretch, band, bands, raise};
use crate::verdict::Attempt;

/// The bands of a run that tries again and again, with a bracket over the tries. Where their stages have no room for
/// their names, a try is one numbered band: a row of slivers says nothing.
pub(super) fn with_attempts(
    sheet: &Sheet,
    subject: &Subject,
    (time, most_rows): (TimeAxis, i32),
    attempts: &[Attempt],
    raised: &mut Vec<Raised>,
    fits: impl Fn(&Band) -> bool,
) -> Vec<Band> {
    let shown: Vec<usize> = (0..attempts.len())
        .filter(|index| band(time, span(&attempts[*index]), String::new(), true).is_some())
        .collect();
    let (Some(&first), Some(&last)) = (shown.first(), shown.last()) else {
        return bands(subject, time, (time.from, time.to));
    };
    let all = (span(&attempts[first]).0, span(&attempts[last]).1);
    // One that is still on is none of those that are counted.
    let counted = shown.iter().rev().find(|index| attempts[**index].given_up);
    let bracketed = (all.0, counted.map_or(all.1, |last| span(&attempts[*last]).1));
    let words = attempts::words(subject.finding, &(first..last + 1));
    if let Some(over) = band(time, bracketed, words, true) {
        let style = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
        let name = Name { text: &over.name, span: over.span(), trouble: true };
        // Words that are longer than all tries leave what was before these its room.
        let stand = if style.width(name.text) > over.right - over.left { Stand::From } else { Stand::Middle };
        raise(raised, sheet, style, (name, &[stand]), (time, most_rows));
    }
    let mut during = bands(subject, time, all);
    if !during.iter().all(&fits) {
        during = one_band_each(time, &attempts[first..=last], first + 1, fits);
    }
    let mut found = uncounted(bands(subject, time, (time.from, all.0)));
    // An inrush that meets the limit is no stage of its own.
    let is_inrush =
        |band: &&mut Band| band.name == words::phase("starved") && band.right - band.left < sheet.u(SLIVER);
    found.iter_mut().filter(is_inrush).for_each(|band| band.name.clear());
    // Before the first it is no rest between two, whatever stirred as the feed came.
    for band in found.iter_mut().filter(|band| band.name == words::phase("rest")) {
        band.name = (if has_no_standby(subject) { AT_REST } else { STANDBY }).into();
    }
    found.extend(during);
    found.extend(left(sheet, uncounted(bands(subject, time, (all.1, time.to)))));
    found
}

/// With those of one name within one try as one: two blocks that are called a try would be counted as two.
pub(super) fn whole(subject: &Subject, stretches: impl Iterator<Item = Stretch>) -> Vec<Stretch> {
    let is_within = |at: f64| {
        let holds = |(start, end): (f64, f64)| start < at && at < end;
        subject.finding.attempts.iter().map(span).any(holds)
    };
    let mut whole: Vec<Stretch> = Vec::new();
    for stretch in stretches {
        let same = |last: &&mut Stretch| last.trouble && stretch.trouble && last.name == stretch.name;
        match whole.last_mut().filter(same) {
            Some(last) if last.end >= stretch.start && is_within(stretch.start) => last.end = stretch.end,
            _ => whole.push(stretch),
        }
    }
    whole
}

/// With what a log ends in said to go on where that is a try: the end of the log is none of the try.
pub(super) fn still_on(subject: &Subject, mut bands: Vec<Band>) -> Vec<Band> {
    let is_on = subject.finding.attempts.last().is_some_and(|last| !last.given_up);
    let last = bands.last_mut().filter(|band| is_on && !band.trouble && band.name == words::phase("attempt"));
    if let Some(last) = last {
        last.name = STILL_ON.into();
    }
    bands
}

/// What is left of the log behind the last try: a sliver of it is no more than the beginning of another rest.
fn left(sheet: &Sheet, mut bands: Vec<Band>) -> Vec<Band> {
    if let [only] = bands.as_mut_slice()
        && only.right - only.left < sheet.u(SLIVER)
        && only.name == STANDBY
    {
        (only.rest, only.name) = (true, String::new());
    }
    bands
}

/// What lies before the first try and after the last is none that is counted, whatever a phase that reaches into it is
/// called: the rise of the feed, and the edges of the tries.
fn uncounted(mut bands: Vec<Band>) -> Vec<Band> {
    let is_try = |band: &&mut Band| band.trouble || band.name == words::phase("attempt");
    for band in bands.iter_mut().filter(is_try) {
        band.trouble = false;
        band.name.clear();
    }
    bands
}

/// One that is still on.
const NEXT: &str = "next try";

/// The same of the only one.
const STILL_ON: &str = "try still on";

/// What lies between two tries.
const REST: &str = "rest";

/// Rests that are named each.
const MOST_RESTS: usize = 4;

/// Tries as bands with numbers from `number` on, and unnamed what lies between them.
fn one_band_each(
    time: TimeAxis,
    attempts: &[Attempt],
    number: usize,
    fits: impl Fn(&Band) -> bool,
) -> Vec<Band> {
    let bands = |name: fn(usize, &Attempt) -> String| -> Vec<Option<Band>> {
        let of_try = |(number, attempt): (usize, &Attempt)| {
            band(time, span(attempt), name(number, attempt), attempt.given_up)
        };
        (number..).zip(attempts).map(of_try).collect()
    };
    // With where each ended, if that is told of all of them; in as many words as have room in all.
    let is_told = attempts.iter().all(|attempt| !attempt.given_up || attempt.ended_in.is_some());
    let wordings: [fn(usize, &Attempt) -> String; 4] = [called_and_ended, ended, called, numbered];
    let have_room = |tries: &Vec<Option<Band>>| tries.iter().flatten().filter(|band| band.trouble).all(&fits);
    let ways = wordings.into_iter().skip(if is_told { 0 } else { 2 }).map(bands);
    let mut tries = { ways }.find(have_room).unwrap_or_else(|| bands(numbered));
    // Some numbers among none would look like a choice.
    let counted = tries.iter().flatten().filter(|band| band.trouble).all(&fits);
    for band in tries.iter_mut().flatten().filter(|band| !counted && band.trouble) {
        band.name.clear();
    }
    let between = |pair: &[Attempt]| {
        let rest = band(time, (span(&pair[0]).1, span(&pair[1]).0), REST.into(), false)?;
        Some(Band { rest: true, ..rest })
    };
    let mut rests: Vec<Option<Band>> = attempts.windows(2).map(between).collect();
    // All, or none of them: the legend names them then. Before them the tries have their names, and the same word over and
    // over would drown these.
    let have_room = counted && rests.len() <= MOST_RESTS && rests.iter().flatten().all(&fits);
    for rest in rests.iter_mut().flatten().filter(|_| !have_room) {
        rest.name.clear();
    }
    let mut rests = rests.into_iter();
    let with_rest = tries.into_iter().flat_map(|attempt| [attempt, rests.next().flatten()]);
    with_rest.flatten().collect()
}

/// Where a try ended, with its number.
fn ended(number: usize, attempt: &Attempt) -> String {
    let stage = attempt.ended_in.as_ref().filter(|_| attempt.given_up);
    let told = |stage: &String| format!("{number} ends in {}", clean(words::phase(stage)));
    stage.map_or_else(|| numbered(number, attempt), told)
}

/// The same with what it is.
fn called_and_ended(number: usize, attempt: &Attempt) -> String {
    if attempt.given_up { format!("try {}", ended(number, attempt)) } else { NEXT.into() }
}

/// What it is, with its number: a block with a number alone is taken for a stage.
fn called(number: usize, attempt: &Attempt) -> String {
    if attempt.given_up { format!("try {number}") } else { NEXT.into() }
}

/// The number of a try; one that is still on has none, for it is not among those that are counted.
fn numbered(number: usize, attempt: &Attempt) -> String {
    if attempt.given_up { number.to_string() } else { NEXT.into() }
}

#[cfg(test)]
mod tests {
    use super::super::super::super::fixtures::{cycling, phase, trace};
    use super::super::super::super::options::Options;
    use super::super::{Bands, MOST_ROWS};
    use super::*;
    use crate::units::Seconds;
    use crate::verdict::{Class, Finding};

    #[test]
    fn two_levels_of_one_try_are_one_block() {
        let mut finding = cycling(2);
        finding.attempts.truncate(1);
        finding.verdict.class = Class::LatchOff;
        finding.phases.truncate(2);
        finding.phases.extend([phase("attempt", 6.0, 7.5), phase("attempt", 7.5, 8.0)]);
        finding.phases.push(phase("standby", 8.0, 60.0));
        let trace = trace(601, 60.0, |_| 0.5);
        let tries = |finding: &Finding| {
            let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
            let subject = Subject { trace: &trace, profile: None, finding };
            let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
            let bands = Bands::new(&sheet, &subject, (time, MOST_ROWS));
            let of_tries = bands.all.iter().filter(|band| band.trouble).map(Band::span);
            of_tries.collect::<Vec<_>>()
        };
        assert_eq!(tries(&finding), [(60, 80)]);
        // Two tries that follow one another at once are two.
        let mut next = finding.attempts[0].clone();
        next.start_s = Seconds::constant(7.5);
        finding.attempts[0].end_s = Seconds::constant(7.5);
        finding.attempts.push(next);
        assert_eq!(tries(&finding), [(60, 75), (75, 80)]);
    }
}
