//! What a capture cannot show, and why.

use super::departures::{MEAN_OF, NO_LEVEL};
use super::engine::Analysis;
use super::evidence::{amps_at_the_end, fall};
use super::model::Stage;
use super::presses;
use super::readout::Readout;
use super::seen::{Seen, exact, seconds};
use super::{Class, Departure, Direction, Phase};
use crate::stats::{extent, robust};
use crate::units::{counted, figures, in_steps, range};

/// Boards from which an envelope rests on evidence: with fewer the tolerance factor is above 6 (ISO 16269-6, 0.95/0.95).
const FEW_BOARDS: usize = 5;

/// Up to here the spread between boards is mostly assumed.
const THIN: usize = 2;

/// A try of fewer readings than this may peak higher than it reads.
const READINGS_FOR_A_PEAK: f64 = 3.0;

/// A board that tries and gives up does so for longer than this, in seconds (common practice, no source).
const LONG_TRY_S: f64 = 0.3;

/// What the capture cannot show.
pub(super) fn limits(seen: &Seen) -> Vec<String> {
    let (analysis, readout) = (seen.analysis, seen.readout);
    let all = [
        reference(seen),
        resolution(seen),
        zero(seen),
        ran_perhaps(seen),
        rate(seen),
        slow(seen),
        peaks(seen),
        button(seen),
        switch_on(analysis),
        limit(analysis),
        gaps(analysis, readout),
    ];
    let all = all.into_iter().flatten().chain(presses::limits(seen)).chain(just_inside(seen));
    all.chain(short_departure(seen)).chain(brief_standby(seen)).collect()
}

/// Of a standby that departs, and was seen for a moment only: it began with the feed, and may not have come to its level.
fn brief_standby(seen: &Seen) -> Option<String> {
    /// What charges and settles at switch-on is over by then, in seconds (common practice, no source).
    const SETTLED_S: f64 = 2.0;
    let name = &seen.analysis.model.standby.name;
    let departure = seen.departures.iter().find(|one| one.phase == *name && one.unit == "A")?;
    let is_it = |phase: &&Phase| phase.name == *name && phase.start_s == departure.starts_s;
    let phase = seen.phases.iter().find(is_it)?;
    let (start_s, end_s) = (phase.start_s.value(), phase.end_s.value());
    (end_s - start_s < SETTLED_S).then(|| {
        format!(
            "whether {} is the level of its {name}: it was seen for {} only, from switch-on on",
            seen.amps(departure.measured),
            seen.span(start_s, end_s)
        )
    })
}

fn reference(seen: &Seen) -> Option<String> {
    let Some(profile) = seen.profile else {
        let guessed = if seen.class() == Class::Inconclusive { "what is said of it" } else { "the verdict" };
        let suggest = seen.analysis.kind.map_or_else(
            || format!("tell no kind of board, and {guessed} is a guess"),
            |kind| format!("suggest {}, and {guessed} is a guess by kind", kind.name),
        );
        return Some(format!("no reference profile: the feed volts {suggest}; stages cannot be told"));
    };
    let boards = profile.learned.boards;
    let rests = format!("the reference rests on {} only", counted(boards, "board"));
    match boards {
        0 => Some("nothing says from how many boards the reference comes".into()),
        1..=THIN => Some(format!("{rests}: how far good boards differ is mostly assumed, and not measured")),
        _ if boards < FEW_BOARDS => Some(format!("{rests}; its envelopes are wide")),
        _ => None,
    }
}

/// A stage of few readings that are on their way up or down has a mean, which hangs on which of them are counted in.
fn short_departure(seen: &Seen) -> Option<String> {
    let drawn = seen.departures.iter().filter(|departure| departure.unit == "A");
    drawn.into_iter().find_map(|departure| {
        let stay = |phase: &&Phase| phase.name == departure.phase && phase.start_s == departure.starts_s;
        let phase = seen.phases.iter().find(stay)?;
        let read = seen.amps_between(phase.start_s.value(), phase.end_s.value());
        let (low, high) = extent(&read).filter(|_| read.len() < MEAN_OF)?;
        (high - low > NO_LEVEL * departure.measured).then(|| {
            format!(
                "{} is {} here, from {}: its mean of {} hangs on where it begins and ends",
                departure.phase,
                counted(read.len(), "reading"),
                range(&seen.amps(low), &seen.amps(high)),
                seen.amps(departure.measured)
            )
        })
    })
}

/// The picture shows the band of each stage; of many stages one is outside its own on most good boards now and then.
fn just_inside(seen: &Seen) -> Option<String> {
    let stages = seen.profile?.phases.len();
    let Near { departure: near, measured, band } = Near::of(seen)?;
    let side = if near.is_below() { "below" } else { "above" };
    let (phase, suspicion) = (&near.phase, suspicion(near));
    if seen.class() == Class::FullBoot {
        // What was measured is among the facts of a board that is called sound.
        return Some(format!("whether {phase} {suspicion}, or is only {side} what most good boards have"));
    }
    Some(format!(
        "whether {phase} {suspicion}: {measured} is {side} its band ({band}), but no further than one of {stages} stages of a good board may be"
    ))
}

/// A mean or a length that is outside the band of its stage and no departure, in the words of a finding.
pub(super) struct Near<'a> {
    pub departure: &'a Departure,
    pub measured: String,
    pub band: String,
}

impl<'a> Near<'a> {
    /// The one to speak of: that of the level that a board ends at, else the first.
    pub(super) fn of(seen: &'a Seen) -> Option<Self> {
        let last = seen.analysis.path.last().and_then(|last| last.state.stage());
        let last = last.map(|stage| &seen.analysis.model.stages[stage].name);
        let in_words = |near: &'a Departure| {
            let (measured, low, high) = said(seen, near);
            (measured != low && measured != high).then(|| Self {
                departure: near,
                measured,
                band: range(&low, &high),
            })
        };
        let mut all: Vec<Self> = seen.just_inside.iter().filter_map(in_words).collect();
        all.sort_by_key(|near| Some(&near.departure.phase) != last);
        all.into_iter().next()
    }

    /// Of a board that boots; not beside departures, which say more.
    pub(super) fn of_a_boot(seen: &'a Seen) -> Option<Self> {
        if seen.class() == Class::FullBoot && seen.departures.is_empty() { Self::of(seen) } else { None }
    }

    /// `settled draws less than good boards'`.
    pub(super) fn how(&self) -> String {
        let how = match self.departure.direction {
            Direction::Above => "draws more",
            Direction::Below => "draws less",
            Direction::Longer => "lasts longer",
            Direction::Shorter => "is shorter",
        };
        format!("{} {how} than good boards'", self.departure.phase)
    }
}

/// What was measured and the bounds of its band, in the words of a finding.
fn said(seen: &Seen, near: &Departure) -> (String, String, String) {
    if near.unit == "s" {
        return (seen.time(near.measured), seconds(near.low), seconds(near.high));
    }
    (seen.amps(near.measured), seen.reference_amps(near.low), seen.reference_amps(near.high))
}

impl Departure {
    fn is_below(&self) -> bool {
        matches!(self.direction, Direction::Below | Direction::Shorter)
    }
}

/// What such a quantity may mean.
fn suspicion(near: &Departure) -> &'static str {
    match near.direction {
        Direction::Above => "draws too much",
        Direction::Below => "draws too little",
        Direction::Longer => "lasts too long",
        Direction::Shorter => "is too short",
    }
}

/// Whether a load is there that leaves no standby and no stages to be seen.
fn is_shorted(seen: &Seen) -> bool {
    matches!(seen.class(), Class::HardShort | Class::PartialShort)
}

fn resolution(seen: &Seen) -> Option<String> {
    if is_shorted(seen) {
        return None;
    }
    let Some(step) = seen.readout.resolution_a else {
        let guessed = seen.readout.step_a > 0.0 && all_on_the_grid(seen, seen.readout.step_a);
        let step = in_steps(seen.readout.step_a, seen.readout.step_a, "A");
        return guessed.then(|| {
            format!(
                "all amps are multiples of {step}, but too few readings differ to tell whether it reads finer"
            )
        });
    };
    let in_words = in_steps(step, step, "A");
    if let Some(standby_a) = standby_in_doubt(seen).filter(|standby| step > standby / 2.0) {
        let standby = seen.reference_amps(standby_a);
        if hides_its_standby(seen).is_some() {
            return Some(format!(
                "amps are read in steps of {in_words}, and good boards stand by at {standby}: this supply may not show it, and \
                 the board may stand by or draw nothing at rest"
            ));
        }
        return Some(format!(
            "amps are read in steps of {in_words}: a standby of {standby} is barely visible{}",
            if seen.class() == Class::FullBoot { ", so that a surplus asleep may pass unseen" } else { "" }
        ));
    }
    let quoted = quoted_low(seen).filter(|amps| (step / 2.0..FEW_STEPS * step).contains(amps))?;
    Some(format!("amps are read in steps of {in_words}: {} is good to half a step", seen.amps(quoted)))
}

/// The step of the readings, in amps, where it is larger than what good boards stand by at and the board reads nothing for most
/// of its rest.
pub(super) fn hides_its_standby(seen: &Seen) -> Option<f64> {
    let step = seen.readout.resolution_a?;
    let standby_a = standby_in_doubt(seen)?;
    (step > standby_a && rests_at_nothing(seen)).then_some(step)
}

/// Whether at least half of what was read of the board at rest is nothing.
fn rests_at_nothing(seen: &Seen) -> bool {
    let rests = seen.analysis.path.iter().filter(|step| step.state.is_rest());
    let read = rests.flat_map(|step| seen.amps_between(step.stretch.start_s, step.stretch.end_s));
    robust::median(&mut read.collect::<Vec<f64>>()).is_some_and(|amps| amps.abs() < seen.readout.step_a / 2.0)
}

/// What good boards stand by at, in amps, where something hangs on whether that is read: a board that rests in the end or
/// between its tries, or one that is to be called sound.
fn standby_in_doubt(seen: &Seen) -> Option<f64> {
    let rests = matches!(
        seen.class(),
        Class::NoDraw
            | Class::StandbyOnly
            | Class::LatchOff
            | Class::DroppedOut
            | Class::Cycling
            | Class::FeedLimited
            | Class::Inconclusive
    );
    let waited = seen.class() == Class::FullBoot && seen.has_button();
    let standby_w = seen.analysis.model.standby.watts.filter(|_| rests || waited)?;
    Some(standby_w / seen.analysis.run.set_v)
}

/// Whether all amps, as they stand in the log, are multiples of `step_a`.
fn all_on_the_grid(seen: &Seen, step_a: f64) -> bool {
    /// Share of a step that a decimal is off by as a binary number.
    const OFF: f64 = 1e-3;
    seen.trace.amps().iter().all(|amps| (amps / step_a - (amps / step_a).round()).abs() < OFF)
}

/// What the supply reads with its output off is taken off amps and watts alike; its display and the picture show it.
fn zero(seen: &Seen) -> Option<String> {
    /// Share of a low current from which it shows.
    const SHOWS: f64 = 0.05;
    /// The mean of many readings is known to this part of a step.
    const PARTS: f64 = 10.0;
    /// Less is no reading of any bench supply.
    const LEAST_A: f64 = 1e-6;
    let zero_a = seen.readout.zero_a;
    let part_a = seen.readout.step_a / PARTS;
    let known = zero_a.abs() >= part_a.max(LEAST_A);
    let in_the_last_digit = quoted(seen).into_iter().any(|amps| seen.amps(amps) != seen.amps(amps + zero_a))
        || seen.last_level().is_some_and(|level| {
            let with_zero_w = level.watts + zero_a * level.volts;
            seen.watts(level.watts, level.volts) != seen.watts(with_zero_w, level.volts)
        });
    let shows = || quoted_low(seen).is_some_and(|amps| zero_a.abs() > SHOWS * amps.abs());
    // Of a board that draws nothing the evidence says it.
    let said = seen.class() == Class::NoDraw;
    (!said && known && (in_the_last_digit || shows())).then(|| {
        format!(
            "the supply reads {} with its output off{}: this is taken off all amps and watts{}",
            if seen.reads_a_zero() { seen.amps(zero_a) } else { in_steps(zero_a, part_a, "A") },
            few_readings(seen),
            zero_known_to(seen)
        )
    })
}

/// The amps that a finding quotes of its own log.
fn quoted(seen: &Seen) -> Vec<f64> {
    let peaks = seen.tries().map(|tries| [tries.peak_a.low, tries.peak_a.high]);
    let fall = fall(seen).filter(|_| seen.class() == Class::DroppedOut);
    let fall = fall.map(|fall| [fall.from_a, fall.after.amps]);
    let outside = seen.departures.iter().filter(|departure| departure.unit == "A");
    let level = seen.last_level().map(|level| level.amps);
    let pairs = peaks.into_iter().chain(fall).flatten();
    pairs.chain(level).chain(outside.map(|departure| departure.measured)).collect()
}

/// ` (3 readings)`, of a zero that one odd reading would shift by a good part of a step.
fn few_readings(seen: &Seen) -> String {
    match seen.readout.zero_readings {
        count @ 1..=FEW_READINGS => format!(" ({count} readings)"),
        _ => String::new(),
    }
}

/// Up to here readings are few (by judgement).
const FEW_READINGS: usize = 4;

/// How well a zero is known that rests on a few coarse readings.
fn zero_known_to(seen: &Seen) -> String {
    /// Standard deviations that the true zero is seldom off by.
    const SELDOM: f64 = 2.0;
    /// Share of a low current from which that matters.
    const MATTERS: f64 = 0.1;
    let off_a = SELDOM * seen.readout.zero_sd_a;
    if quoted_low(seen).is_none_or(|amps| off_a <= MATTERS * amps.abs()) {
        return String::new();
    }
    let fed = seen.analysis.run.samples.end.saturating_sub(seen.analysis.run.risen);
    if fed <= FEW_READINGS {
        // What such readings scatter by is not known, and so is what the zero may be off by.
        return "; so few readings of the board do not tell how well low amps are known".into();
    }
    let rests = if few_readings(seen).is_empty() { "that rests on few readings, so that " } else { "" };
    format!("; {rests}low amps are good to about {} only", in_steps(off_a, off_a, "A"))
}

/// Without a reference a long try is not told from a boot that fell.
fn ran_perhaps(seen: &Seen) -> Option<String> {
    long_try(seen).map(|lasted_s| {
        format!(
            "after {} it may have been up, and have dropped out or been shut down: only a reference can tell",
            seen.time(lasted_s)
        )
    })
}

/// How long a board without a reference was on before it went off, if that is long enough for a boot, in seconds.
pub(super) fn long_try(seen: &Seen) -> Option<f64> {
    /// A supervisor gives up within seconds (common practice, no source).
    const LONG_S: f64 = 10.0;
    let tries = seen.tries().filter(|_| seen.profile.is_none() && seen.class() == Class::LatchOff)?;
    Some(tries.lasts_s.high).filter(|lasted_s| *lasted_s >= LONG_S)
}

/// Fewer steps of the readback than this are no number to build on.
const FEW_STEPS: f64 = 5.0;

/// The low current that the evidence rests on, in amps.
fn quoted_low(seen: &Seen) -> Option<f64> {
    match seen.class() {
        Class::DroppedOut => fall(seen).map(|fall| fall.after.amps),
        Class::StandbyOnly | Class::ExcessStandby | Class::LatchOff => {
            seen.analysis.path.last().map(|last| seen.level(last).amps)
        }
        Class::Inconclusive => amps_at_the_end(seen),
        _ => None,
    }
}

/// `read 4.0 times a second, with a new value 2.9 times`: the rates at the foot of the picture.
fn how_often_read(readout: &Readout) -> Option<String> {
    let rate = |hertz: f64| figures(hertz, 2);
    let (poll, changed) = (readout.poll_hz?, readout.changed_hz?);
    Some(format!("read {} times a second, with a new value {} times", rate(poll), rate(changed)))
}

fn rate(seen: &Seen) -> Option<String> {
    /// In fewer seconds of feed a board shows too little for how often its amps are renewed to be told (by
    /// judgement).
    const TELLS_S: f64 = 3.0;
    let brief = seen.analysis.run.duration() < TELLS_S;
    if brief || is_shorted(seen) || seen.class() == Class::NoDraw {
        return None;
    }
    let read = how_often_read(seen.readout)?;
    if matches!(seen.class(), Class::StandbyOnly | Class::ExcessStandby) {
        return brief_try(seen)
            .map(|seconds| format!("{read}: a try of less than {seconds} s may pass unseen"));
    }
    let (index, stage, how) = barely_read(seen)?;
    // A board that is stuck in it shows its level for long enough.
    let ends_there = seen.analysis.path.last().is_some_and(|last| last.state.stage() == Some(index));
    let stuck = seen.class() == Class::Stalled && ends_there;
    let length = seconds(stage.duration?.typical);
    (!stuck).then(|| format!("{read}: {}, usually {length} long, {how}", stage.name))
}

/// How short a try of a board that sleeps may be to pass between two values, in seconds, where a stage may be as short.
fn brief_try(seen: &Seen) -> Option<String> {
    let shortest = 2.0 * seen.readout.update_s();
    let is_short = |stage: &Stage| stage.duration.is_some_and(|span| span.low < shortest);
    let hides = seen.analysis.model.stages.iter().any(is_short);
    (hides && shortest >= LONG_TRY_S).then(|| figures(shortest, 1))
}

/// The first stage of which a good board shows few values, and what that leaves open of it: whether it was there, or no more
/// than how high and how long it was.
fn barely_read<'a>(seen: &'a Seen) -> Option<(usize, &'a Stage, &'static str)> {
    /// Values that a level and its length are read from (by judgement).
    const FEW: f64 = 5.0;
    let update_s = seen.readout.update_s();
    let stages = &seen.analysis.model.stages;
    let is_brief = |stage: &Stage| stage.duration.is_some_and(|span| span.typical < FEW * update_s);
    let index = stages.iter().position(is_brief)?;
    let mut reached = seen.analysis.path.iter().filter_map(|step| step.state.stage());
    let is_read = reached.clone().any(|stage| stage == index);
    // What lasts for longer than it takes to a new value leaves one.
    if !is_read && shortest_good(seen, &stages[index])? < update_s {
        return Some((index, &stages[index], "may pass unseen"));
    }
    let was_passed = reached.any(|stage| stage >= index) || seen.tries().is_some();
    was_passed.then_some((index, &stages[index], "shows its level and length only roughly"))
}

/// The shortest that any good board was seen to take for a stage, or else the least that one may, in seconds.
fn shortest_good(seen: &Seen, stage: &Stage) -> Option<f64> {
    let measured = seen.profile.iter().flat_map(|profile| &profile.learned.logs).flat_map(|log| &log.stages);
    let lengths = measured.filter(|one| one.phase == stage.name).filter_map(|one| one.duration);
    lengths.min_by(f64::total_cmp).or_else(|| stage.duration.map(|span| span.low))
}

/// From one reading to the next, of a log that is read so slowly that a person sees its times to be coarse.
pub(super) fn read_slowly(seen: &Seen) -> Option<String> {
    /// From here on a person sees it, in seconds; a loop of four readings a second jitters.
    const COARSE_S: f64 = 0.24;
    let every_s = 1.0 / seen.readout.poll_hz?;
    (every_s >= COARSE_S).then(|| format!("{} s", figures(every_s, 2)))
}

/// Times of a slow log are those of its readings.
fn slow(seen: &Seen) -> Option<String> {
    let every = read_slowly(seen).filter(|_| !is_shorted(seen))?;
    Some(format!("read every {every}: no time is better than that"))
}

fn peaks(seen: &Seen) -> Option<String> {
    let tries = seen.tries().filter(|_| matches!(seen.class(), Class::LatchOff | Class::Cycling))?;
    (tries.lasts_s.mean < READINGS_FOR_A_PEAK * seen.readout.update_s())
        .then(|| "a try lasts only a few readings: its true peak may be higher than what was read".to_owned())
}

fn button(seen: &Seen) -> Option<String> {
    let waits = seen.has_button() && seen.analysis.run.presses.is_empty();
    let asleep = matches!(seen.class(), Class::StandbyOnly | Class::ExcessStandby | Class::NoDraw);
    // That no press is marked is among the evidence.
    (waits && asleep).then(|| "whether the board was asked to wake is not known".into())
}

fn switch_on(analysis: &Analysis) -> Option<String> {
    (!analysis.run.switch_on_seen)
        .then(|| "the log begins after switch-on: inrush and first stages are not seen".into())
}

fn limit(analysis: &Analysis) -> Option<String> {
    let (peak, limit) = (analysis.model.peak_w? / analysis.run.set_v, analysis.run.limit_a?);
    let what =
        if analysis.class() == Class::FeedLimited { "how far it gets with enough current: " } else { "" };
    (peak > limit).then(|| {
        format!(
            "{what}the limit of {} is below the {} that a good boot usually peaks at",
            exact(limit, "A"),
            exact(peak, "A")
        )
    })
}

fn gaps(analysis: &Analysis, readout: &Readout) -> Option<String> {
    let run = &analysis.run;
    // One just before the feed hides how it came on.
    let from_s = run.start_s - readout.update_s();
    let inside = |gap: &&super::Gap| gap.end_s.value() >= from_s && gap.start_s.value() < run.end_s;
    let gaps: Vec<_> = readout.gaps.iter().filter(inside).collect();
    let longest = gaps.iter().max_by(|a, b| length(a).total_cmp(&length(b)))?;
    let which = if gaps.len() == 1 { ":" } else { ", the longest" };
    Some(format!(
        "{} without readings{which} {} from {} on: what happened there is not known",
        counted(gaps.len(), "gap"),
        seconds(length(longest)),
        longest.start_s
    ))
}

fn length(gap: &super::Gap) -> f64 {
    gap.end_s.value() - gap.start_s.value()
}
