//! Short pulses of a board that stands by: how many, how evenly they come, and how far they go beside those of good boards.

mod dips;

pub(super) use dips::Dips;

use super::attempts::RISES_S;
use super::phases::EDGE_READINGS;
use super::seen::{Seen, exact};
use crate::reference::StageMeasure;
use crate::stats::moments::Moments;
use crate::stats::robust;
use std::ops::Range;

/// Short pulses of a board at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pulses {
    pub count: usize,
    /// Of pulses that come evenly.
    pub rhythm: Option<Rhythm>,
    /// How far the highest goes above the rest, in amps.
    pub above_a: f64,
    /// What stands in the places that they leave.
    places: Places,
    /// Whether some come between two that are a period apart.
    has_strays: bool,
    /// Whether as many that are lower come up to what the readings scatter by.
    hides_smaller: bool,
    /// What is known of good boards beside them.
    good: Good,
}

/// How evenly pulses come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rhythm {
    /// From one to the next, in seconds.
    pub every_s: f64,
}

/// What stands in the places of a rhythm where no pulse was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Places {
    /// A rise that is lower than the pulses, and no chance.
    weak: usize,
    /// Nothing was read there.
    unread: usize,
    /// Readings that show nothing.
    empty: usize,
}

impl Places {
    /// Those that the `rhythm` of pulses that begin at these times leaves, by the amps above the rest.
    fn of(seen: &Seen, rhythm: Rhythm, begun_s: &[f64], above: &[(f64, f64)], weak_a: f64) -> Self {
        let mut places = Self::default();
        let off_s = rhythm.off_s(seen);
        let between = |pair: &[f64]| {
            let (from, periods) = (pair[0], ((pair[1] - pair[0]) / rhythm.every_s).round());
            let space = (pair[1] - pair[0]) / periods.max(1.0);
            (1..)
                .map(f64::from)
                .take_while(move |count| *count < periods)
                .map(move |count| from + count * space)
        };
        for at in begun_s.windows(2).flat_map(between) {
            let near = above.iter().filter(|(time, _)| (time - at).abs() <= off_s);
            let highest = near.map(|(_, above)| *above).fold(f64::NEG_INFINITY, f64::max);
            match highest {
                _ if highest >= weak_a => places.weak += 1,
                _ if seen.unread_s(at - off_s, at + off_s) > 0.0 => places.unread += 1,
                _ => places.empty += 1,
            }
        }
        places
    }

    /// ` with 2 not seen, 1 of them in a gap of the readings`.
    fn words(self) -> String {
        match (self.unread + self.empty, self.unread) {
            (0, _) => String::new(),
            (missed, 0) => format!(" with {missed} not seen"),
            (missed, unread) if missed == unread => {
                format!(" with {missed} not seen, in a gap of the readings")
            }
            (missed, unread) => format!(" with {missed} not seen, {unread} of them in a gap of the readings"),
        }
    }
}

/// How far good boards go above their rest.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Good {
    /// They have no rest, or nobody knows of it, or it was seen for too short a time.
    Unknown,
    /// As these pulses do.
    Alike(Most),
    /// Less as far as they were seen, and as far as these pulses by what a good board that nobody has seen may.
    Within(Most),
    /// Less, and these pulses go well beyond.
    Less(Most),
}

/// The most of good boards.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Most {
    /// How far they were seen to go above their rest, in amps.
    above_a: f64,
    /// Up to where a good board that nobody has seen may go, in amps from nothing: what the picture shows.
    may_peak_a: Option<f64>,
    /// ... and how far above their usual rest that is, in amps.
    room: Option<f64>,
}

impl Most {
    /// `; good boards went up to 17 mA above theirs`: what was seen of them, and nothing of what others may do.
    fn words(self, seen: &Seen) -> String {
        let above = seen.reference_amps(self.above_a);
        let how = if self.may_peak_a.is_some() { "went" } else { "go" };
        format!("; good boards {how} up to {above} above theirs")
    }

    /// `; good boards went up to 10 mA above theirs, and may go up to 27 mA above (a peak of 44 mA)`.
    fn room(self, seen: &Seen) -> String {
        let may = self.room.zip(self.may_peak_a).map_or_else(String::new, |(above_a, peak_a)| {
            let [above, peak] = [seen.reference_amps(above_a), exact(peak_a, "A")];
            format!(", and may go up to {above} above (a peak of {peak})")
        });
        format!("; good boards went up to {} above theirs{may}", seen.reference_amps(self.above_a))
    }
}

impl Pulses {
    /// The pulses of the rest that a run ends in.
    pub(super) fn at_the_end(seen: &Seen) -> Option<Self> {
        let last = &seen.analysis.path.last()?.stretch;
        // What the readings average over as the board falls to its rest is no pulse of it.
        let edge_s = EDGE_READINGS * seen.readout.update_s();
        let from = (last.start_s + edge_s).max(seen.analysis.run.start_s + RISES_S);
        let (before, rest) =
            (seen.samples_between(last.start_s, from), seen.samples_between(from, last.end_s));
        let level = robust::median(&mut seen.trace.amps().get(rest.clone())?.to_vec())?;
        let levels = vec![level; rest.len()];
        Self::of(seen, before, rest, &levels, Limits::of)
    }

    /// Those that ride on a heavy load, however low they are beside it: they come evenly, and are above a level that creeps
    /// as the load warms.
    pub(super) fn on_a_load(seen: &Seen) -> Option<Self> {
        let last = &seen.analysis.path.last()?.stretch;
        let from = last.start_s.max(seen.analysis.run.start_s + RISES_S);
        let read = seen.samples_between(from, last.end_s);
        let levels = local_levels(seen.trace.amps().get(read.clone())?);
        let pulses = Self::of(seen, read.start..read.start, read, &levels, Limits::on_a_load)?;
        pulses.rhythm.is_some().then_some(pulses)
    }

    /// Those among the `samples` of a rest, and the one in the readings `before` them that comes where their rhythm has it:
    /// of these, a charge of capacitors may be what is high.
    /// The `levels` are what each of the samples lies above.
    fn of(
        seen: &Seen,
        before: Range<usize>,
        samples: Range<usize>,
        levels: &[f64],
        limits: fn(&Seen, f64, &[f64]) -> Limits,
    ) -> Option<Self> {
        /// Times the highest of the others beyond which the first one is no pulse (by judgement).
        const ALIKE: f64 = 1.5;
        /// Times as many rises from which on those that are no pulses by themselves are worth a word (by judgement).
        const SMALLER: usize = 2;
        let time = seen.trace.time().get(samples.clone())?;
        let amps = seen.trace.amps().get(samples)?;
        let level = *levels.first()?;
        let above: Vec<f64> = amps.iter().zip(levels).map(|(amps, level)| amps - level).collect();
        let limits = limits(seen, level - seen.readout.zero_a, &above);
        let above_a = above.iter().copied().fold(0.0, f64::max);
        let low = above_a <= limits.alone;
        let height = if low { limits.even } else { limits.alone };
        if above_a <= height {
            return None;
        }
        let is_pulse = |above: f64| above > limits.least.max(Limits::AS_WELL * height);
        let mut begun = begins(time, &above, is_pulse);
        let mut rhythm = Rhythm::of(&begun, seen.readout.update_s());
        // A readback that averages pulses down now more and now less shows every second one as high: the lower ones are then
        // evenly between.
        let with_weak = begins(time, &above, |above| above >= limits.weak - Limits::ROUNDING_A);
        let faster = Rhythm::of(&with_weak, seen.readout.update_s());
        let weak = with_weak.len();
        let filled = faster.filter(|faster| faster.is_filled_by(&with_weak));
        if rhythm.zip(filled).is_some_and(|(one, other)| other.is_faster_than(one)) {
            (begun, rhythm) = (with_weak, faster);
        }
        let pulse_a = level + limits.least.max(Limits::AS_WELL * height);
        let first = rhythm.and_then(|rhythm| {
            let due_s = begun.first()? - rhythm.every_s;
            let rises = rises_among(seen, before, pulse_a, level + ALIKE * above_a);
            rises.into_iter().find(|at| (at - due_s).abs() <= rhythm.off_s(seen))
        });
        begun.splice(0..0, first);
        let good = Good::beside(seen, above_a, rhythm);
        let read: Vec<(f64, f64)> = time.iter().copied().zip(above.iter().copied()).collect();
        let places = rhythm
            .map_or_else(Places::default, |rhythm| Places::of(seen, rhythm, &begun, &read, limits.weak));
        // What is low beside its level stands out by its rhythm alone.
        let count = begun.len() + places.weak;
        let hides_smaller = rhythm.is_none() && weak > SMALLER * begun.len();
        let has_strays = rhythm.is_some_and(|rhythm| rhythm.has_strays(&begun));
        (!low || rhythm.is_some()).then_some(Self {
            count,
            rhythm,
            above_a,
            places,
            has_strays,
            hides_smaller,
            good,
        })
    }

    /// Whether a scope is to tell what they are: they come evenly, and good boards are not known to have them.
    pub(super) fn want_a_scope(&self) -> Option<Rhythm> {
        self.rhythm.filter(|_| !matches!(self.good, Good::Alike(_)))
    }

    /// `18 short pulses, one about every 3.2 s, of up to 31 mA above its rest; good boards' go up to 5 mA: something
    /// retries, or its controller works`.
    pub(super) fn words(&self, seen: &Seen) -> String {
        let pulses = match (self.count, self.rhythm) {
            (1, _) => "1 short pulse of".to_owned(),
            (count, None) if self.hides_smaller => format!("{count} short pulses that stand out, of up to"),
            (count, None) => format!("{count} short pulses of up to"),
            (count, Some(rhythm)) if self.has_strays => {
                let every = seen.time(rhythm.every_s);
                format!("{count} short pulses, most of them about {every} from one to the next, of up to")
            }
            (count, Some(rhythm)) => {
                format!("{count} short pulses, {}{}, of up to", rhythm.words(seen), self.places.words())
            }
        };
        let smaller = if self.hides_smaller { " (smaller ones are near the noise)" } else { "" };
        format!("{pulses} {} above its rest{smaller}{}", seen.amps(self.above_a), self.beside(seen))
    }

    /// `38 short pulses ride on it, one about every 1.3 s, of up to 20 mA, as good boards have at rest: its controller is alive`.
    pub(super) fn on_top(&self, seen: &Seen) -> String {
        let every = self.rhythm.map_or_else(String::new, |rhythm| format!(", {}", rhythm.words(seen)));
        let what = match self.good {
            Good::Alike(_) => ", as good boards have at rest: its controller is alive",
            _ => ": its controller works, or something tries again",
        };
        format!("short pulses ride on it{every}, of up to {}{what}", seen.amps(self.above_a))
    }

    fn beside(&self, seen: &Seen) -> String {
        let good = |most: Most| most.words(seen);
        match (self.good, self.rhythm) {
            (Good::Unknown, None) => String::new(),
            (Good::Unknown, Some(_)) => {
                ": a controller's heartbeat, or a converter that tries again; a scope tells".into()
            }
            (Good::Alike(most) | Good::Less(most), None) => good(most),
            (Good::Within(most), None) => most.room(seen),
            (Good::Within(most), Some(_)) => {
                format!("{}: its controller works, or something tries again", most.room(seen))
            }
            (Good::Alike(most), Some(_)) => format!("{} (a heartbeat: its controller is alive)", good(most)),
            (Good::Less(most), Some(_)) => {
                format!("{}: something tries again, or its controller works", good(most))
            }
        }
    }
}

/// When each pulse begins.
fn begins(time: &[f64], above: &[f64], is_pulse: impl Fn(f64) -> bool) -> Vec<f64> {
    let begins = |i: &usize| is_pulse(above[*i]) && (*i == 0 || !is_pulse(above[i - 1]));
    (0..above.len()).filter(begins).map(|i| time[i]).collect()
}

/// When the amps rise from below `pulse_a` to above it, and no further than `most_a`, among these readings.
fn rises_among(seen: &Seen, samples: Range<usize>, pulse_a: f64, most_a: f64) -> Vec<f64> {
    let (time, amps) = (seen.trace.time(), seen.trace.amps());
    let rises = |i: &usize| amps[*i] <= pulse_a && (pulse_a..most_a).contains(&amps[*i + 1]);
    let last = samples.end.min(amps.len()).saturating_sub(1);
    (samples.start..last).filter(rises).map(|i| time[i + 1]).collect()
}

/// From what height on readings are pulses, in amps above the rest.
struct Limits {
    /// Whatever their rhythm.
    alone: f64,
    /// If they come evenly.
    even: f64,
    /// Readings beside such pulses.
    least: f64,
    /// A reading where a pulse of a rhythm is due.
    weak: f64,
}

impl Limits {
    /// What two decimals differ by as binary numbers, in amps.
    const ROUNDING_A: f64 = 1e-9;

    /// Share of that height from which readings beside such pulses are pulses as well: one that is shorter than a reading
    /// is averaged down, now more and now less (by judgement).
    const AS_WELL: f64 = 0.5;

    /// Of pulses that ride on a heavy load, whose share they are is no measure.
    fn on_a_load(seen: &Seen, _: f64, above: &[f64]) -> Self {
        Self { alone: f64::INFINITY, ..Self::of(seen, 0.0, above) }
    }

    fn of(seen: &Seen, level: f64, above: &[f64]) -> Self {
        /// Standard deviations of the readings, steps of the readback and share of the level from which a reading is a
        /// pulse (by judgement).
        const SDS: f64 = 6.0;
        const STEPS: f64 = 3.0;
        const SHARE: f64 = 0.3;
        /// ... or of this share, if they come evenly (by judgement).
        const LOW_SHARE: f64 = 0.1;
        /// ... but no less than so many standard deviations and steps (by judgement).
        const AT_LEAST: (f64, f64) = (4.0, 2.0);
        /// ... or than these, at a moment that the others point to (by judgement).
        const WHERE_DUE: (f64, f64) = (3.0, 2.0);
        let step_a = seen.analysis.step_a;
        let noise_a = seen.readout.noise_a.min(below(above)).max(step_a / 12_f64.sqrt());
        let noise = (SDS * noise_a).max(STEPS * step_a);
        Self {
            alone: noise.max(SHARE * level),
            even: noise.max(LOW_SHARE * level),
            least: (AT_LEAST.0 * noise_a).max(AT_LEAST.1 * step_a),
            weak: (WHERE_DUE.0 * noise_a).max(WHERE_DUE.1 * step_a),
        }
    }
}

/// The median of the readings about each: what a load that creeps draws there, without short pulses.
fn local_levels(amps: &[f64]) -> Vec<f64> {
    /// Readings on either side: more than pulses last, and fewer than a load takes to creep (by judgement).
    const BESIDE: usize = 15;
    let about = |i: usize| &amps[i.saturating_sub(BESIDE)..(i + BESIDE + 1).min(amps.len())];
    (0..amps.len()).map(|i| robust::median(&mut about(i).to_vec()).unwrap_or(amps[i])).collect()
}

/// Standard deviation of readings about their median by those below it, which hold no pulse; of those that lie on it, half
/// count.
fn below(above: &[f64]) -> f64 {
    let under = above.iter().filter(|above| **above < 0.0);
    let on = above.iter().filter(|above| **above == 0.0).count();
    #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
    let count = under.clone().count() as f64 + on as f64 / 2.0;
    (under.map(|above| above * above).sum::<f64>() / count.max(0.5)).sqrt()
}

impl Rhythm {
    /// Share of the period that a pulse may come early or late, beside a renewal of the readings (by judgement).
    const EVEN: f64 = 0.15;

    /// Whether this is another rhythm, and not the same one of a few pulses more.
    fn is_faster_than(self, other: Self) -> bool {
        /// Share of the period from which on it is the same (by judgement).
        const SAME: f64 = 0.75;
        self.every_s < SAME * other.every_s
    }

    /// Whether these pulses stand in most of its places: what noise adds leaves most of them empty.
    fn is_filled_by(self, begun_s: &[f64]) -> bool {
        /// Share of the places (by judgement).
        const MOST: f64 = 0.7;
        let span_s = begun_s.last().zip(begun_s.first()).map_or(0.0, |(last, first)| last - first);
        #[expect(clippy::cast_precision_loss, reason = "a count of pulses")]
        let spaces = begun_s.len().saturating_sub(1) as f64;
        spaces * self.every_s >= MOST * span_s
    }

    /// How far from its place a pulse may be, in seconds.
    fn off_s(self, seen: &Seen) -> f64 {
        Self::EVEN * self.every_s + seen.readout.update_s()
    }

    /// The rhythm of pulses that begin at these times, if they come evenly.
    fn of(begun_s: &[f64], update_s: f64) -> Option<Self> {
        /// Fewer pulses show no period (by judgement).
        const PULSES: usize = 4;
        let mut spaces: Vec<f64> = begun_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let usual = robust::median(&mut spaces).filter(|_| begun_s.len() >= PULSES)?;
        if let Some(every_s) = with_some_missed(&spaces, Self::EVEN, update_s) {
            return Some(Self { every_s });
        }
        let mut even = spaces.clone();
        even.retain(|space| (space - usual).abs() <= Self::EVEN * usual + update_s);
        // The mean, for each space by itself is no finer than the readings.
        let every_s = even.iter().copied().collect::<Moments>().mean()?;
        // One that was missed, or one more, leaves most of them even.
        (4 * even.len() >= 3 * spaces.len()).then_some(Self { every_s })
    }

    /// Whether some of the pulses that begin at these times come between two that are a period apart.
    fn has_strays(self, begun_s: &[f64]) -> bool {
        /// Share of the period that no pulse of the rhythm comes early by (by judgement).
        const EARLY: f64 = 0.4;
        begun_s.windows(2).any(|pair| pair[1] - pair[0] < (1.0 - EARLY) * self.every_s)
    }

    /// `one about every 2.1 s`.
    pub(super) fn words(self, seen: &Seen) -> String {
        format!("one about every {}", seen.time(self.every_s))
    }
}

/// The period of pulses some of which were not seen, so that the spaces are once to three times as long; `None` where none,
/// or more than half, are missed. A share `even` of the period, and a renewal of the readings, is how exact a space is.
fn with_some_missed(spaces: &[f64], even: f64, update_s: f64) -> Option<f64> {
    /// Periods that a space may have (by judgement).
    const MOST: f64 = 3.0;
    /// Fewer single periods show none (by judgement).
    const SINGLE: usize = 2;
    let shortest = spaces.iter().copied().min_by(f64::total_cmp)?;
    let periods: Vec<f64> = spaces.iter().map(|space| (space / shortest).round()).collect();
    let off = |(space, count): (&f64, &f64)| (space - count * shortest).abs() / count;
    let fit =
        spaces.iter().zip(&periods).all(|pair| *pair.1 <= MOST && off(pair) <= even * shortest + update_s);
    let single = periods.iter().filter(|count| **count < 1.5).count();
    let all = periods.iter().sum::<f64>();
    let missed = single < periods.len() && single >= SINGLE;
    (fit && missed).then(|| spaces.iter().sum::<f64>() / all)
}

impl Good {
    /// What good boards do beside pulses that go `above_a` above their rest.
    fn beside(seen: &Seen, above_a: f64, rhythm: Option<Rhythm>) -> Self {
        /// Times as far is more than another readback, which averages pulses down, shows (by judgement).
        const WELL_BEYOND: f64 = 2.0;
        match most_above(seen, rhythm) {
            None => Self::Unknown,
            Some(most) if above_a <= WELL_BEYOND * most.above_a.max(seen.analysis.step_a) => {
                Self::Alike(most)
            }
            Some(most) if most.room.is_some_and(|may_a| above_a <= may_a) => Self::Within(most),
            Some(most) => Self::Less(most),
        }
    }
}

/// How far the readings of good boards go above the mean of their standby at most; `None` where nobody knows, or
/// they were seen for too short a time to show pulses of that `rhythm`.
fn most_above(seen: &Seen, rhythm: Option<Rhythm>) -> Option<Most> {
    /// Periods for which good boards, taken together, were seen to rest (by judgement).
    const PERIODS: f64 = 3.0;
    let name = seen.analysis.model.standby.name.as_str();
    let (phase, factor) = seen.reference_at(name)?;
    let logs = seen.profile?.learned.logs.iter().flat_map(|log| &log.stages);
    let rests: Vec<&StageMeasure> = logs.filter(|stage| stage.phase == name).collect();
    let seen_s: f64 = rests.iter().filter_map(|rest| rest.seen).sum();
    let measured = rests.iter().map(|rest| rest.peak_power - rest.mean_power).max_by(f64::total_cmp);
    if measured.is_some() && rhythm.is_some_and(|rhythm| seen_s < PERIODS * rhythm.every_s) {
        return None;
    }
    let most_w = measured.unwrap_or(phase.peak_power.high - phase.mean_power.typical);
    let amps = |watts: f64| watts * factor / seen.analysis.run.set_v;
    let may_peak_a = measured.map(|_| amps(phase.peak_power.high));
    let room_w = phase.peak_power.high - phase.mean_power.typical;
    let room = measured.map(|_| amps(room_w.max(0.0)));
    Some(Most { above_a: amps(most_w.max(0.0)), may_peak_a, room })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rhythm_whose_places_are_mostly_empty_is_noise_beside_a_slower_one() {
        // Pulses every 3 s of which one in ten was not seen, and the same with bumps close by.
        let pulses: Vec<f64> =
            (0..20).filter(|turn| turn % 10 != 4).map(|turn| 3.0 * f64::from(turn)).collect();
        assert!(Rhythm { every_s: 3.0 }.is_filled_by(&pulses));
        let mut bumps: Vec<f64> = pulses.iter().flat_map(|at| [*at, at + 0.4]).collect();
        bumps.dedup();
        assert!(!Rhythm { every_s: 0.4 }.is_filled_by(&bumps));
    }

    #[test]
    fn a_pulse_between_two_that_are_a_period_apart_is_a_stray() {
        let rhythm = Rhythm { every_s: 1.4 };
        assert!(rhythm.has_strays(&[0.0, 1.4, 2.8, 3.2, 4.2]));
        assert!(!rhythm.has_strays(&[0.0, 1.2, 2.8, 5.6, 7.1]), "one early, one missed");
    }
}
