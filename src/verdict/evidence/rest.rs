//! A board that does not wake.

use super::{TIMES_FROM, to_the_end};
use crate::stats::extent;
use crate::units::{figures, from_words, how_often, range};
use crate::verdict::align::Step;
use crate::verdict::attempts::RISES_S;
use crate::verdict::kind::{Kind, unknown};
use crate::verdict::limits::read_slowly;
use crate::verdict::model::Stage;
use crate::verdict::phases::without_zero;
use crate::verdict::presses::{BY_HAND_S, SHOWS_S, unfed};
use crate::verdict::pulses::Pulses;
use crate::verdict::seen::{Seen, exact};
use crate::verdict::{Class, Gap};

pub(super) fn no_draw(seen: &Seen, last: &Step) -> Vec<String> {
    let mut facts = vec![
        format!(
            "feed present at {} from {} on",
            seen.volts(seen.level(last).volts),
            seen.time(seen.analysis.run.start_s)
        ),
        format!("{}{}", nothing_drawn(seen, last), missing_standby(seen)),
    ];
    facts.extend(at_switch_on(seen, last).or_else(|| no_inrush(seen)));
    facts.push(asked(seen, last));
    facts
}

/// What the supply reads of a board that draws nothing, beside what it reads with its output off.
fn nothing_drawn(seen: &Seen, last: &Step) -> String {
    let (amps, zero_a) = (seen.level(last).amps, seen.readout.zero_a);
    let level = seen.level(last);
    let over = seen.span(level.start_s, level.end_s);
    if seen.reads_a_zero() {
        return format!(
            "the supply reads {} over {over}, and {} with its output off: nothing is drawn that it can tell",
            seen.amps(amps + zero_a),
            seen.amps(zero_a)
        );
    }
    // Nothing is shown as less than the supply could show.
    let shown = seen.amps(amps.max(seen.analysis.step_a / 1e3));
    // What charges capacitors as the feed rises is told by itself, and not in the mean.
    format!("mean current {shown} over {over}: nothing that this supply can tell once the feed is up")
}

/// `; good boards stand by at 27 mA`.
fn missing_standby(seen: &Seen) -> String {
    let standby_w = seen.analysis.model.standby.watts.filter(|_| seen.analysis.model.of_this_board);
    standby_w.map_or_else(String::new, |watts| {
        format!("; good boards stand by at {}", seen.reference_amps(watts / seen.analysis.run.set_v))
    })
}

/// What is drawn as the feed rises only: the charge of the capacitors that it reaches.
fn at_switch_on(seen: &Seen, last: &Step) -> Option<String> {
    /// Times what is certainly nothing.
    const CLEAR: f64 = 3.0;
    let peak = highest_in_the_rise(seen)?;
    (peak > CLEAR * nothing_below(seen, last)).then(|| {
        format!(
            "{} at switch-on only: the feed reaches some capacitors, its own or the board's",
            seen.amps(peak)
        )
    })
}

/// The highest reading as the feed rises, in amps.
fn highest_in_the_rise(seen: &Seen) -> Option<f64> {
    let start_s = seen.analysis.run.start_s;
    let rise = seen.amps_between(start_s - seen.readout.update_s(), start_s + RISES_S);
    rise.iter().copied().max_by(f64::total_cmp)
}

/// A board that is connected charges its capacitors as the feed rises; a readback that is quick enough may still miss it.
fn no_inrush(seen: &Seen) -> Option<String> {
    if rises_in_a_gap(seen) {
        return Some(
            "the volts rise in a gap without readings: whether capacitors were charged is not known".into(),
        );
    }
    let slow = read_slowly(seen).map_or_else(
        || "that points to an open lead or inlet, unless it is too short to be read".into(),
        |every| format!("with a reading every {every} that says little"),
    );
    let charge = match faintly_at_switch_on(seen) {
        Some(peak) => format!("no more than {} is read", seen.amps(peak)),
        None => "no charge of capacitors is read".into(),
    };
    seen.analysis.run.switch_on_seen.then(|| format!("{charge} as the volts rise: {slow}"))
}

/// The highest reading as the feed rises, in amps, where that is not nothing though it may be the supply's own.
fn faintly_at_switch_on(seen: &Seen) -> Option<f64> {
    /// Steps of the readings: one flickers (by judgement).
    const STEPS: f64 = 1.5;
    let peak = highest_in_the_rise(seen)?;
    (seen.readout.step_a > 0.0 && peak > STEPS * seen.readout.step_a).then_some(peak)
}

/// Whether nothing was read just as the feed came on.
fn rises_in_a_gap(seen: &Seen) -> bool {
    let start_s = seen.analysis.run.start_s;
    let over =
        |gap: &Gap| gap.start_s.value() < start_s && gap.end_s.value() >= start_s - seen.readout.update_s();
    seen.readout.gaps.iter().any(over)
}

/// What the current is below for certain, in amps.
fn nothing_below(seen: &Seen, last: &Step) -> f64 {
    last.stretch.amps.max(0.0) + seen.readout.certain_a(last.stretch.duration())
}

pub(super) fn at_standby(seen: &Seen, last: &Step) -> Vec<String> {
    let up = rails_may_be_up(seen).map(|stage| {
        format!("near the level of {stage}: the rails may be up and the processor held in reset")
    });
    let pulses = Pulses::at_the_end(seen).map(|pulses| pulses.words(seen));
    let level = [to_the_end(seen, last), against_usual(seen, last)];
    level.into_iter().chain(up).chain(pulses).chain([asked(seen, last)]).collect()
}

/// The later stage whose level is near that of a board which should have started by itself, and draws too much for one
/// that did not.
pub(in crate::verdict) fn rails_may_be_up<'a>(seen: &'a Seen) -> Option<&'a str> {
    /// Times above or below that count as near: a stage without what it waits for draws somewhat less or more.
    const NEAR: f64 = 1.5;
    let model = &seen.analysis.model;
    let alone = seen.class() == Class::ExcessStandby && model.of_this_board && !model.standby.waits;
    let drawn = seen.analysis.path.last().filter(|_| alone)?.stretch.watts.max(1e-9);
    let off = |stage: &Stage| (drawn / stage.watts).ln().abs();
    let nearest = model.stages.iter().min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(nearest) < NEAR.ln()).then_some(nearest.name.as_str())
}

fn against_usual(seen: &Seen, last: &Step) -> String {
    let standby = &seen.analysis.model.standby;
    let level = seen.level(last);
    let drawn = seen.watts(level.watts, level.volts);
    let first = seen.analysis.model.stages.first().filter(|_| seen.analysis.model.of_this_board);
    let Some(typical) = standby.watts else {
        return match first {
            Some(first) => format!(
                "{drawn}; good boards draw {} in {}, their first stage",
                seen.reference_watts(first.watts),
                first.name
            ),
            None => against_kind(seen, level.watts, &drawn),
        };
    };
    let amps = |watts: f64| seen.reference_amps(watts / level.volts.max(1e-3));
    let low = seen.reference_at(&standby.name).map_or(0.0, |(phase, factor)| phase.mean_power.low * factor);
    let less = if level.watts < low { ": this is less" } else { "" };
    let band = range(&amps(low), &amps(standby.high));
    let usual = format!("good boards stand by at {} ({band}) at these volts{less}", amps(typical));
    let times = level.watts / typical.max(1e-9);
    if times < TIMES_FROM {
        return usual;
    }
    // Of the currents as they are said, so that anybody finds it who divides them.
    let now = from_words(&seen.amps(level.amps));
    let said = now.zip(from_words(&amps(typical))).filter(|(_, usual)| *usual > 0.0);
    let times = said.map_or(times, |(now, usual)| now / usual);
    format!("{usual}: this is {} times the usual", figures(times, 2))
}

/// What a board without a reference draws at rest, beside what boards of its kind do.
fn against_kind(seen: &Seen, watts: f64, drawn: &str) -> String {
    let (kind, boards) = match seen.analysis.kind {
        Some(kind) => (*kind, "boards of this kind"),
        None => (any_kind(seen), "boards fed at such a limit"),
    };
    let most = exact(kind.standby_high_w, "W");
    if watts >= kind.standby_high_w {
        let times = figures(watts / kind.standby_high_w, 2);
        return format!(
            "{drawn} is {times} times {most}, which {boards} seldom exceed asleep: a surplus, or awake and idle"
        );
    }
    let much =
        if much_for_standby(seen) { ", though much for a standby: part of it may be a surplus" } else { "" };
    format!("{drawn}: below {most}, which {boards} seldom exceed asleep{much}")
}

/// What boards are held to whose kind the feed volts do not tell.
fn any_kind(seen: &Seen) -> Kind {
    let run = &seen.analysis.run;
    unknown(run.limit_a.map(|limit| limit * run.set_v))
}

/// Watts that a board of that kind, which has no reference, draws asleep at most; `None` of one that has.
pub(in crate::verdict) fn most_asleep_w(seen: &Seen) -> Option<f64> {
    let kind = seen.analysis.kind.copied().unwrap_or_else(|| any_kind(seen));
    (!seen.analysis.model.of_this_board).then_some(kind.standby_high_w)
}

/// Whether a board that stands by draws so much that a surplus may be what is wrong with it.
pub(in crate::verdict) fn much_for_standby(seen: &Seen) -> bool {
    /// Share of what a kind of board seldom exceeds.
    const NEAR_THE_TOP: f64 = 0.5;
    let standby = &seen.analysis.model.standby;
    let drawn = seen.last_level().map_or(0.0, |level| level.watts);
    let from = match standby.watts {
        Some(typical) => TIMES_FROM * typical,
        None if seen.analysis.model.of_this_board => f64::INFINITY,
        None => NEAR_THE_TOP * most_asleep_w(seen).unwrap_or(f64::INFINITY),
    };
    seen.class() == Class::StandbyOnly && drawn >= from
}

/// Whether the current shows a press: a board that does not even see its button draws what it drew.
fn answer(seen: &Seen) -> String {
    /// Share of what is drawn from which a person sees it move (by judgement).
    const SHOWS: f64 = 0.05;
    let Some(last) = seen.analysis.path.last() else { return String::new() };
    let (at_presses, else_where) = beside_presses(seen, last);
    let off = |(low, high): (f64, f64)| (high - last.stretch.amps).max(last.stretch.amps - low);
    let Some((moved, usual)) = at_presses.zip(else_where).filter(|(at, other)| off(*at) <= off(*other))
    else {
        return String::new();
    };
    if seen.class() == Class::NoDraw || off(moved) <= SHOWS * last.stretch.amps.abs() {
        return ", and the current does not move at a press".into();
    }
    let [moved, usual] = [moved, usual].map(|(low, high)| from_to(seen, low, high));
    format!(
        ", and at a press the current moves no further than at other times: it reads {moved} within {SHOWS_S:.0} s of one, else {usual}"
    )
}

/// `5 to 10 mA`, `0 to 15 mA`.
fn from_to(seen: &Seen, low: f64, high: f64) -> String {
    let high_in_words = seen.amps(high);
    if low == 0.0 && high > 0.0 {
        format!("0 to {high_in_words}")
    } else {
        range(&seen.amps(low), &high_in_words)
    }
}

/// The lowest and the highest of some readings, if there are any.
type Bounds = Option<(f64, f64)>;

/// The lowest and the highest reading of the rest that a run ends in: about its presses, and at other times.
fn beside_presses(seen: &Seen, last: &Step) -> (Bounds, Bounds) {
    let near = |press: &f64, time: f64| (-BY_HAND_S..=SHOWS_S).contains(&(time - press));
    let from = last.stretch.start_s.max(seen.analysis.run.start_s + RISES_S);
    let read = seen.samples_between(from, last.stretch.end_s);
    let asked = |i: &usize| seen.analysis.run.presses.iter().any(|press| near(press, seen.trace.time()[*i]));
    let (at_presses, else_where): (Vec<usize>, Vec<usize>) = read.partition(asked);
    let amps = |i: &usize| without_zero(seen.trace.amps()[*i], seen.readout.zero_a);
    let bounds = |samples: &[usize]| extent(&samples.iter().map(amps).collect::<Vec<f64>>());
    (bounds(&at_presses), bounds(&else_where))
}

/// For how long the board was fed: as long as it is said to stay at `last`, of one that does so from switch-on.
fn fed(seen: &Seen, last: &Step) -> String {
    let (run, level) = (&seen.analysis.run, seen.level(last));
    let whole = level.start_s - run.start_s < RISES_S && run.end_s - level.end_s < RISES_S;
    if whole { seen.span(level.start_s, level.end_s) } else { seen.span(run.start_s, run.end_s) }
}

/// Whether the board was asked to wake, and what came of it.
fn asked(seen: &Seen, last: &Step) -> String {
    let run = &seen.analysis.run;
    let fed = fed(seen, last);
    match run.presses.last() {
        Some(press) => format!(
            "power button marked {}{} at {}; no wake in the {} after it{}",
            how_often(run.presses.len()),
            if run.presses.len() > 1 { ", last" } else { "," },
            seen.mark(*press),
            seen.time(run.end_s - press),
            answer(seen)
        ),
        None if seen.has_button() && unfed(seen).is_some() => {
            format!("no press of the button is marked with the output on, in {fed} of feed")
        }
        None if seen.has_button() => {
            format!("no press of the button is marked in {fed} of feed")
        }
        None if seen.analysis.model.of_this_board && seen.analysis.model.standby.watts.is_none() => {
            format!("it did not start in {fed} of feed")
        }
        None => format!("no wake in {fed} of feed"),
    }
}
