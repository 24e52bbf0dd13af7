//! What a run says of each section of the profile's power path, and on what ground.
//!
//! A section is proved where the board could not have gone on without it, or where it draws what it draws on good
//! boards. It is suspect where the run came to its end, even if it had shown part of its work before: what trips is
//! not proved. What only an eye can see (an image), or what amps do not tell (whether storage was read), is never proved
//! by amps.

use crate::reference::{PathSection, Profile};
use crate::trace::EventKind;
use crate::verdict::evidence::{FellTo, fall, woke_before};
use crate::verdict::limits::Near;
use crate::verdict::seen::Seen;
use crate::verdict::{Class, Departure, Direction, SectionProof, SectionState};

/// Words for sections whose work is to be seen or heard.
const SEEN_NOT_MEASURED: [&str; 7] = ["display", "screen", "image", "picture", "backlight", "panel", "audio"];

/// Words for sections that draw their share whether they do their work or not.
const DRAWN_NOT_DONE: [&str; 5] = ["storage", "disk", "drive", "flash card", "memory card"];

/// What the run says of each section.
pub(in crate::verdict) fn power_path(seen: &Seen) -> Vec<SectionProof> {
    let Some(profile) = seen.profile else { return Vec::new() };
    let ground = Ground::of(seen, profile);
    let (alone, mut suspect_named) = (!ground.next_is_suspect(), false);
    let proof = |path: &PathSection| {
        let (state, why) = match ground.fixed(path) {
            Some((SectionState::Suspect, _)) if ground.only_lets_through(path) => ground.carries(),
            Some(known) => known,
            None if !suspect_named && ground.only_lets_through(path) => ground.carries(),
            // What only an eye can judge is not what keeps a board from getting there.
            None if ground.ends_in.is_some() && is_for_the_eye(&path.section) => {
                (SectionState::Unknown, None)
            }
            None if ground.hangs_behind(path) => known(SectionState::Suspect, ground.why_behind()),
            None => ground.unproved(&mut suspect_named),
        };
        suspect_named |= alone && state == SectionState::Suspect;
        SectionProof { section: path.section.clone(), state, why }
    };
    profile.power_path.iter().map(proof).collect()
}

type Known = (SectionState, Option<String>);

fn known(state: SectionState, why: impl Into<String>) -> Known {
    (state, Some(why.into()))
}

/// How far the run came, in indices of the profile's stages.
struct Ground<'a> {
    seen: &'a Seen<'a>,
    profile: &'a Profile,
    /// The furthest stage that was reached.
    reached: Option<usize>,
    /// The last stage in which the tries may have ended, or in which the board is stuck.
    ends_in: Option<usize>,
    /// The first one.
    from: usize,
    /// The same in words: `in firmware`.
    place: String,
    /// The stage at the step into which the tries may have ended.
    into: Option<usize>,
}

impl<'a> Ground<'a> {
    fn of(seen: &'a Seen<'a>, profile: &'a Profile) -> Self {
        let model = &seen.analysis.model;
        let index = |name: &str| profile.phases.iter().position(|phase| phase.name == name);
        let stage = super::reached(seen).and_then(|stage| index(&model.stages[stage].name));
        let stands = matches!(seen.class(), Class::StandbyOnly | Class::ExcessStandby);
        let stood_by = has_standby(profile) && (woke_before(seen) || !seen.attempts.is_empty() || stands);
        let ends = seen.ends;
        let at = |stage: usize| index(&model.stages[stage].name);
        let reached = stage.or(stood_by.then_some(0));
        // A limit stops a board at the furthest stage that it got to.
        let furthest = |end: usize| match seen.class() {
            Class::FeedLimited => end.max(stage.unwrap_or(end)),
            _ => end,
        };
        let stuck = stage.filter(|_| seen.class() == Class::Stalled);
        let ends_in = stuck.or(ends.and_then(|ends| at(ends.last)).map(furthest));
        let first = ends.filter(|ends| !ends.told()).and_then(|ends| at(ends.first));
        let from = first.or(ends_in).unwrap_or_default();
        let name = |stage: usize| format!("in {}", profile.phases[stage].name);
        let place = ends.map_or_else(|| ends_in.map(name).unwrap_or_default(), |ends| seen.place(ends));
        let into = ends.and_then(|ends| at(ends.into?));
        Self { seen, profile, reached, ends_in, from, place, into }
    }

    fn stages<'b>(&'b self, path: &'b PathSection) -> impl Iterator<Item = usize> + 'b {
        path.proved_by
            .iter()
            .filter_map(|name| self.profile.phases.iter().position(|phase| phase.name == *name))
    }

    fn name(&self, stage: usize) -> &str {
        &self.profile.phases[stage].name
    }

    /// What is known of the section without regard to the ones before it.
    fn fixed(&self, path: &PathSection) -> Option<Known> {
        if self.is_skipped(path) {
            return Some((SectionState::NotExercised, None));
        }
        if self.seen.class() == Class::Inconclusive || path.proved_by.is_empty() {
            return Some((SectionState::Unknown, None));
        }
        if self.ends_in.is_some_and(|end| self.may_end_in(path, end)) {
            return Some(self.at_the_end(path));
        }
        if self.begins_at_the_step(path) && !is_for_the_eye(&path.section) {
            return Some(self.at_the_end(path));
        }
        if let Some(end) = self.ends_in.filter(|end| self.is_read_from(path, *end)) {
            return Some(known(
                SectionState::Suspect,
                format!("stuck in {}, which may wait for it", self.name(end)),
            ));
        }
        match self.seen.class() {
            Class::DroppedOut => self.after_a_fall(path),
            Class::ExcessStandby => self.draws_too_much(path),
            _ => self.proved(path),
        }
    }

    /// Whether the section is the first that the current passes, and a later one shares what could prove it: a board
    /// that drew something went through it, and what failed is rather the other.
    fn only_lets_through(&self, path: &PathSection) -> bool {
        let drew = matches!(
            self.seen.class(),
            Class::StandbyOnly | Class::LatchOff | Class::Cycling | Class::Stalled | Class::DroppedOut
        );
        let mut passed = self.fed();
        let first = passed.next().is_some_and(|first| first == path);
        let covers = |later: &PathSection| {
            self.stages(path).all(|stage| self.stages(later).any(|other| other == stage))
        };
        let shared = passed.any(covers);
        drew && first && shared && !self.lost_standby()
    }

    fn lost_standby(&self) -> bool {
        fall(self.seen).is_some_and(|fall| matches!(fall.to, FellTo::Nothing | FellTo::BelowStandby))
    }

    fn carries(&self) -> Known {
        let last = self.seen.last_level().map_or(0.0, |level| level.amps);
        let most = self.seen.tries().map_or(last, |tries| tries.peak_a.high);
        known(SectionState::Unknown, format!("carries {}; more is not known", self.seen.amps(last.max(most))))
    }

    fn is_skipped(&self, path: &PathSection) -> bool {
        let point = self.seen.feed_point.as_deref().unwrap_or_default();
        path.skipped_from.iter().any(|skipped| skipped.eq_ignore_ascii_case(point))
    }

    /// Whether the tries may end in the section. Where the stage was not seen, they may have got stuck on the way to
    /// the one that the time since the wake suggests.
    fn may_end_in(&self, path: &PathSection, end: usize) -> bool {
        self.stages(path).any(|stage| (self.from..=end).contains(&stage))
    }

    /// Whether the section's part begins with the stage at the step into which the tries may have ended.
    fn begins_at_the_step(&self, path: &PathSection) -> bool {
        self.into.is_some() && self.stages(path).min() == self.into
    }

    fn told(&self) -> bool {
        self.ends_in == Some(self.from)
    }

    /// `the tries end in firmware`, `stuck in loading`; `None` where the run has no end of that kind.
    fn where_it_ends(&self) -> Option<String> {
        self.ends_in?;
        let tries = match self.seen.tries().map_or(0, |tries| tries.count) {
            _ if self.seen.class() == Class::Stalled => "stuck",
            1 => "the try ends",
            _ => "the tries end",
        };
        Some(match self.into {
            Some(into) => {
                format!("{tries} with {}, at the step into {}", self.name(into - 1), self.name(into))
            }
            None => format!("{tries} {}", self.place),
        })
    }

    /// Whether a board that is stuck in the stage before the section proves itself may wait for what it holds.
    fn is_read_from(&self, path: &PathSection, end: usize) -> bool {
        let next = self.stages(path).min() == Some(end + 1);
        self.seen.class() == Class::Stalled && next && is_any(&path.section, &DRAWN_NOT_DONE)
    }

    fn at_the_end(&self, path: &PathSection) -> Known {
        if self.seen.class() == Class::FeedLimited {
            return known(SectionState::Unknown, "the limit stops the board here, whatever state it is in");
        }
        let ends = self.where_it_ends().unwrap_or_default();
        // What trips is not proved by what it did before.
        let worked = self.stages(path).any(|stage| stage < self.from && self.went_on_from(stage));
        known(SectionState::Suspect, if worked { format!("worked up to here: {ends}") } else { ends })
    }

    fn proved(&self, path: &PathSection) -> Option<Known> {
        self.by_what_was_passed(path)
            .or_else(|| self.by_what_departs(path))
            .or_else(|| self.by_the_last_level(path))
    }

    /// Proved by a stage that the board got past as good boards do.
    fn by_what_was_passed(&self, path: &PathSection) -> Option<Known> {
        let passed = self.stages(path).filter(|stage| self.went_on_from(*stage)).max()?;
        // Of a board that gives up, nothing is known of what comes after.
        let gives_up = matches!(self.seen.class(), Class::LatchOff | Class::Cycling);
        let only_standby = has_standby(self.profile) && passed == 0;
        let up_to = if gives_up && !only_standby { "worked up to here: " } else { "" };
        Some(known(SectionState::Proved, format!("{up_to}the board got past {}", self.name(passed))))
    }

    /// Suspect for a stage that the board got past unlike good boards.
    fn by_what_departs(&self, path: &PathSection) -> Option<Known> {
        let why =
            self.stages(path).filter(|stage| self.got_past(*stage)).find_map(|stage| self.departs(stage))?;
        let starved = self.seen.class() == Class::FeedLimited;
        Some(known(if starved { SectionState::Unknown } else { SectionState::Suspect }, why))
    }

    /// By the level that the board stays at.
    fn by_the_last_level(&self, path: &PathSection) -> Option<Known> {
        let stays = matches!(self.seen.class(), Class::FullBoot | Class::StandbyOnly);
        let standing = self.stages(path).find(|stage| stays && Some(*stage) == self.reached)?;
        if let Some(why) = self.departs(standing) {
            // What only lets the standby through is not what draws too little.
            let lets_through =
                self.seen.class() == Class::StandbyOnly && self.stages(path).all(|stage| stage == 0);
            return Some(known(
                if lets_through { SectionState::Unknown } else { SectionState::Suspect },
                why,
            ));
        }
        if let Some(near) = self.draws_otherwise(standing) {
            return Some(known(SectionState::Unknown, near));
        }
        Some(self.draws_as_usual(path, standing))
    }

    /// How the draw of `stage` differs from that of most good boards, of a board that boots, where that is no departure.
    fn draws_otherwise(&self, stage: usize) -> Option<String> {
        let near = Near::of_a_boot(self.seen)?;
        (near.departure.phase == *self.name(stage) && near.departure.unit == "A").then(|| near.how())
    }

    /// What a current as on good boards tells of the section in that stage.
    fn draws_as_usual(&self, path: &PathSection, standing: usize) -> Known {
        let level = format!("current as on good boards in {}", self.name(standing));
        if is_for_the_eye(&path.section) {
            return self.by_eye(&level);
        }
        if is_any(&path.section, &DRAWN_NOT_DONE) {
            return known(SectionState::Unknown, format!("{level}; amps do not tell whether it was read"));
        }
        if self.seen.class() == Class::StandbyOnly {
            return self.stands_by(path, standing);
        }
        known(SectionState::Proved, level)
    }

    /// A standby as on good boards went through what lies first in its way; what else draws it does so as on good boards.
    fn stands_by(&self, path: &PathSection, stage: usize) -> Known {
        let name = self.name(stage);
        if self.is_first(path) {
            return known(SectionState::Proved, format!("carries what good boards draw in {name}"));
        }
        known(SectionState::Unknown, format!("draws as on good boards in {name}"))
    }

    /// Whether the section is the first that the current passes.
    fn is_first(&self, path: &PathSection) -> bool {
        self.fed().next().is_some_and(|first| first == path)
    }

    /// The sections that the current passes and that some stage proves, in its order.
    fn fed(&self) -> impl Iterator<Item = &'a PathSection> + '_ {
        let of_profile = self.profile.power_path.iter();
        of_profile.filter(|path| !self.is_skipped(path) && !path.proved_by.is_empty())
    }

    /// Whether a load that is there from switch-on may be of this section, though it is not the first: what the first
    /// one feeds hangs on it from the beginning.
    fn hangs_behind(&self, path: &PathSection) -> bool {
        let always_on =
            |path: &PathSection| has_standby(self.profile) && self.stages(path).any(|stage| stage == 0);
        let at_once = match self.seen.class() {
            Class::HardShort | Class::PartialShort => !woke_before(self.seen),
            Class::ExcessStandby => true,
            _ => false,
        };
        // Those that are always on, and the first behind them, whose switches lie open at its input.
        let first_behind = self.fed().skip(1).find(|path| !always_on(path));
        at_once && !self.is_first(path) && (always_on(path) || first_behind == Some(path))
    }

    fn why_behind(&self) -> String {
        match self.seen.class() {
            Class::ExcessStandby => "its input hangs on what is always on".into(),
            _ => "its input hangs on the loaded rail".into(),
        }
    }

    /// Whether the board went through `stage` as good boards do.
    fn went_on_from(&self, stage: usize) -> bool {
        self.got_past(stage) && self.departs(stage).is_none()
    }

    fn got_past(&self, stage: usize) -> bool {
        let woke = stage == 0 && has_standby(self.profile) && !self.seen.attempts.is_empty();
        let carries = stage == 0 && woke_before(self.seen);
        self.reached.is_some_and(|reached| stage < reached) || woke || carries
    }

    /// How the draw of `stage` differs from good boards, if it does.
    fn departs(&self, stage: usize) -> Option<String> {
        let name = self.name(stage);
        let draw = |departure: &&Departure| departure.phase == *name && departure.quantity.ends_with("power");
        if let Some(departure) = self.seen.departures.iter().find(draw) {
            let more = if departure.direction == Direction::Below { "less" } else { "more" };
            return Some(format!("draws {more} than good boards in {name}"));
        }
        // A standby far from the usual proves nothing, even where the envelope is too wide to call it a departure.
        let standing = self.seen.class() == Class::StandbyOnly && stage == 0;
        let watts = self.seen.last_level()?.watts;
        let low = self.profile.phases[stage].mean_power.low;
        (standing && watts < low).then(|| format!("draws less than good boards in {name}"))
    }

    fn by_eye(&self, level: &str) -> Known {
        match marked(self.seen) {
            Some((true, mark)) => known(SectionState::Proved, format!("{level}, and marked: {mark}")),
            Some((false, mark)) => known(SectionState::Suspect, format!("marked: {mark}")),
            None => {
                known(SectionState::Unknown, format!("{level}; whether an image shows, amps do not tell"))
            }
        }
    }

    fn after_a_fall(&self, path: &PathSection) -> Option<Known> {
        let fall = fall(self.seen)?;
        // What carries the standby alone; a section that has more to do when the board is awake was drawing as well.
        let of_standby = has_standby(self.profile) && self.stages(path).all(|stage| stage == 0);
        let at = self.seen.time(fall.at_s);
        Some(match (of_standby, fall.to) {
            (true, FellTo::Little) => (SectionState::Unknown, None),
            (true, FellTo::Standby | FellTo::More) => {
                known(SectionState::Proved, "still carries the standby after the fall")
            }
            (true, _) => known(SectionState::Suspect, format!("lost at {at}, with the standby")),
            (false, FellTo::Standby | FellTo::Little | FellTo::More) => {
                known(SectionState::Suspect, format!("was drawing when it fell at {at}"))
            }
            (false, _) => {
                known(SectionState::Unknown, format!("ran until {at}, when the standby was lost as well"))
            }
        })
    }

    fn draws_too_much(&self, path: &PathSection) -> Option<Known> {
        let standing = self.stages(path).any(|stage| stage == 0);
        standing.then(|| known(SectionState::Suspect, "it, or what hangs on it, draws the surplus"))
    }

    /// Whether the first section that is not proved is suspect as well, beside those at whose stage the tries end: only
    /// if these had shown part of their work, for what comes next may trip them.
    fn next_is_suspect(&self) -> bool {
        let Some(end) = self.ends_in else { return false };
        if self.into.is_some() {
            return !self.profile.power_path.iter().any(|path| self.begins_at_the_step(path));
        }
        let mut at_the_end = self.profile.power_path.iter().filter(|path| self.may_end_in(path, end));
        let Some(path) = at_the_end.next() else { return true };
        if !self.told() {
            // By the time since the wake, the first stages of the last one lie behind it.
            return self.stages(at_the_end.next_back().unwrap_or(path)).any(|stage| stage < end);
        }
        self.stages(path).any(|stage| self.went_on_from(stage))
    }

    /// The first section that is not proved should have done its part; what comes after it had no chance to.
    fn unproved(&self, suspect_named: &mut bool) -> Known {
        if std::mem::replace(suspect_named, true) {
            return (SectionState::Unknown, None);
        }
        let class = self.seen.class();
        if matches!(class, Class::FeedLimited | Class::ExcessStandby) {
            return (SectionState::Unknown, None);
        }
        if class == Class::StandbyOnly && self.seen.has_button() && self.seen.analysis.run.presses.is_empty()
        {
            return known(
                SectionState::Unknown,
                "no press is marked: the board may not have been asked to wake",
            );
        }
        known(SectionState::Suspect, self.why_suspect())
    }

    fn why_suspect(&self) -> String {
        match self.seen.class() {
            Class::NoDraw => "no current passes it".into(),
            Class::HardShort | Class::PartialShort if woke_before(self.seen) => {
                "the load comes as it wakes".into()
            }
            Class::HardShort | Class::PartialShort => {
                "the load is there from switch-on: on it, behind any fuse, or on what hangs on it".into()
            }
            Class::StandbyOnly => "it is not started, or does not start".into(),
            _ => self.where_it_ends().map_or_else(
                || "the board does not get as far as this".into(),
                |ends| format!("{ends}, in which its load may begin"),
            ),
        }
    }
}

/// Whether the board has a standby: one that waits for a person, or the first moments of one that starts by itself.
fn has_standby(profile: &Profile) -> bool {
    profile.standby().is_some()
}

pub(super) fn is_for_the_eye(section: &str) -> bool {
    is_any(section, &SEEN_NOT_MEASURED)
}

fn is_any(section: &str, words: &[&str]) -> bool {
    let section = section.to_lowercase();
    words.iter().any(|word| section.contains(word))
}

/// What the person at the bench marked of the image: whether it was there, and in which words.
fn marked(seen: &Seen) -> Option<(bool, String)> {
    const IMAGE: [&str; 6] = ["image", "picture", "display", "screen", "desktop", "logo"];
    const NONE: [&str; 6] = ["no ", "not ", "n't", "black", "dark", "blank"];
    let run = &seen.analysis.run;
    let within = |time: f64| time >= run.start_s && time <= run.end_s;
    let marks = seen.trace.events().iter().filter(|event| within(event.time.value()));
    let mut about = marks.filter_map(|event| match &event.kind {
        EventKind::Mark(word) if IMAGE.iter().any(|image| word.to_lowercase().contains(image)) => Some(word),
        _ => None,
    });
    let last = about.next_back()?;
    let lower = last.to_lowercase();
    Some((!NONE.iter().any(|none| lower.contains(none)), last.clone()))
}
