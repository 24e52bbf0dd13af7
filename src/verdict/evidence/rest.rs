//! A board that does not wake.

use super::answer::answer;
use super::{TIMES_FROM, to_the_end};
use crate::units::{figures, from_words, how_often, range};
use crate::verdict::align::Step;
use crate::verdict::attempts::RISES_S;
use crate::verdict::kind::{Kind, unknown};
use crate::verdict::limits::{hides_its_standby, read_slowly};
use crate::verdict::model::Stage;
use crate::verdict::presses::{good_ones_wake_by_themselves, unfed};
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
    facts.extend(at_single_steps(seen));
    facts.extend(at_switch_on(seen, last).or_else(|| faint_charge(seen)).or_else(|| no_inrush(seen)));
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
            "the supply reads {} over {over}, and {} with its output off: what is drawn is less than it can show",
            seen.amps(amps + zero_a),
            seen.amps(zero_a)
        );
    }
    let step = seen.readout.step_a;
    if step > 0.0 && amps >= step / 2.0 {
        return format!(
            "mean current {} over {over}, of a supply that reads in steps of {} and may be off by as much",
            seen.amps(amps),
            seen.amps(step)
        );
    }
    // Nothing is shown as less than the supply could show.
    let shown = seen.amps(amps.max(seen.analysis.step_a / 1e3));
    // What charges capacitors as the feed rises is told by itself, and not in the mean.
    let less = if step > 0.0 { "one step of the readings" } else { "this supply can show" };
    format!("mean current {shown} over {over}: less than {less} once the feed is up")
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

/// A faint charge: more than at any later time, though less than is certainly no error of the supply.
fn faint_charge(seen: &Seen) -> Option<String> {
    let peak = faintly_at_switch_on(seen).filter(|_| !rises_in_a_gap(seen))?;
    let run = &seen.analysis.run;
    let later = seen.amps_between(run.start_s + RISES_S, run.end_s).into_iter().max_by(f64::total_cmp)?;
    (peak > later + seen.readout.step_a / 2.0).then(|| {
        format!(
            "{} as the volts rise, more than at any time after that: the feed may reach some capacitors, its own or the board's",
            seen.amps(peak)
        )
    })
}

/// `5 mA, one step of this supply, is read in 56 of 358 readings, and in none of 14 with its output off`, where that is all
/// that a standby could show: a hint that the mean alone hides.
fn at_single_steps(seen: &Seen) -> Option<String> {
    /// Share of the set volts below which nothing is fed.
    const UNFED: f64 = 0.05;
    /// Readings of one step that the output off would show, were they as frequent then: e^-4 leaves 2 % for none (Poisson).
    const BY_CHANCE: usize = 4;
    let hidden = hides_its_standby(seen);
    let step = hidden.or_else(|| step_of_nothing(seen))?;
    let run = &seen.analysis.run;
    let steps = |i: usize| seen.trace.amps()[i] / step;
    let unfed = |i: &usize| seen.trace.volts()[*i] < UNFED * run.set_v;
    let off: Vec<f64> = (0..run.samples.start).filter(unfed).map(steps).collect();
    let none_off = !off.is_empty() && off.iter().all(|steps| steps.abs() < 0.5);
    let on = seen.samples_between(run.start_s, run.end_s).start..run.samples.end;
    let shown = on.clone().map(steps).filter(|steps| (0.5..1.5).contains(steps)).count();
    // As many of those with the output off would have shown it by chance.
    let by_chance = shown * off.len() < BY_CHANCE * on.len();
    (shown > 0 && none_off && (hidden.is_some() || !by_chance)).then(|| {
        format!(
            "{shown} of {} readings show {}, one step of this supply, and none of {} with its output off: its noise, or a small draw",
            on.len(),
            seen.amps(step),
            off.len()
        )
    })
}

/// One step of the readings, in amps, of a board that draws nothing which the supply can tell, whatever good ones stand by at.
fn step_of_nothing(seen: &Seen) -> Option<f64> {
    seen.readout.resolution_a.filter(|_| seen.class() == Class::NoDraw)
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
    level
        .into_iter()
        .chain(at_single_steps(seen))
        .chain(up)
        .chain(pulses)
        .chain([asked(seen, last)])
        .collect()
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
    let said = from_words(&seen.amps(level.amps)).zip(from_words(&amps(typical)));
    format!("{usual}: this is {} times the usual", in_times(times, said.map(|(now, usual)| now / usual)))
}

/// `3.4`; `about 3`, where the currents as they are `said` have another ratio, so that who divides them finds it as well.
fn in_times(times: f64, said: Option<f64>) -> String {
    /// Share that a round figure may be off by.
    const CARRIES: f64 = 0.1;
    let two = figures(times, 2);
    if said.is_none_or(|said| figures(said, 2) == two) {
        return two;
    }
    let one = figures(times, 1);
    let off = one.parse::<f64>().map_or(f64::INFINITY, |round| (round / times - 1.0).abs());
    format!("about {}", if off <= CARRIES { one } else { two })
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
            answer(seen, last)
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
        None => match good_ones_wake_by_themselves(seen) {
            Some(after_s) => format!(
                "no wake in {fed} of feed; good boards wake by themselves about {} s after switch-on",
                figures(after_s, 2)
            ),
            None => format!("no wake in {fed} of feed"),
        },
    }
}
