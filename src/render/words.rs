//! What a figure says in words.

mod quantities;
#[cfg(test)]
mod tests;

pub use crate::units::percent;
pub use crate::units::range;
use crate::units::{Amps, figures, in_steps, time_in_steps};
use crate::verdict::{Class, Departure, Direction, EVEN, Finding, Phase, Tries, Verdict};
pub use quantities::{departure_numbers, envelope, measured, quantity};

/// The heading of what can hurt a person or the board.
pub(crate) const CAUTION: &str = "Caution";

/// The verdict as a headline: what a person reads from across the bench.
#[must_use]
pub fn headline(verdict: &Verdict) -> String {
    headline_at(verdict, &in_stage(verdict))
}

/// The same of a finding, which may tell by the times of the tries where in the boot they end that the verdict names no stage
/// of: `Feed limited (likely in firmware): the supply starves the board`.
#[must_use]
pub fn headline_of(finding: &Finding) -> String {
    if let Some(short) = too_short(finding) {
        return format!("Inconclusive: too short to tell, {short}");
    }
    let place = where_tries_end(finding).unwrap_or_else(|| in_stage(&finding.verdict));
    headline_at(&finding.verdict, &place)
}

/// Whether a capture is too short for a verdict.
pub(super) fn is_too_short(finding: &Finding) -> bool {
    too_short(finding).is_some()
}

/// `1.2 s of feed`, where that is all that a capture without a verdict has.
fn too_short(finding: &Finding) -> Option<&str> {
    let undecided = finding.verdict.class == Class::Inconclusive;
    let because = &finding.verdict.because;
    // One that is long enough may decide nothing for other reasons.
    let ends_early = because.iter().any(|fact| fact.starts_with(ENDS));
    because.first().filter(|_| undecided && ends_early)?.strip_suffix(CAPTURED)
}

/// What the evidence of a capture says of the feed that it has, and of one that ends before the board could show anything.
const CAPTURED: &str = " were captured";
const ENDS: &str = "it ends ";

/// Whether a capture without a verdict ends before it could show whether the board gets further: as early as that, or while
/// the board is in a stage for no longer than good boards are, or while it rises.
pub(super) fn ends_first(finding: &Finding) -> bool {
    /// What its evidence then says.
    const IN_TIME: &str = " when it ends; good boards stay for up to ";
    const NOT_SEEN: &str = ": how far it gets is not seen";
    let undecided = finding.verdict.class == Class::Inconclusive;
    let says = |fact: &String| fact.contains(IN_TIME) || fact.ends_with(NOT_SEEN);
    is_too_short(finding) || undecided && finding.verdict.because.iter().any(says)
}

fn headline_at(verdict: &Verdict, place: &str) -> String {
    if is_toss_up(verdict) {
        let or = verdict.runner_up.filter(|second| second.class != Class::Inconclusive);
        let or = or.map_or_else(String::new, |second| format!(", or {}", kind(second.class)));
        let (first, rest) = doubt(verdict).split_at(1);
        return format!("{}{rest} {}{or}", first.to_uppercase(), stated(verdict));
    }
    claimed(verdict, place)
}

/// What stands before a verdict that is a toss-up.
#[must_use]
pub fn doubt(verdict: &Verdict) -> &'static str {
    if verdict.confidence < EVEN { "perhaps" } else { "probably" }
}

/// Whether a verdict is less likely to be right than to be wrong, or has another close behind it.
#[must_use]
pub fn is_toss_up(verdict: &Verdict) -> bool {
    crate::verdict::is_toss_up(verdict.class, verdict.confidence, verdict.runner_up)
}

/// The headline of a verdict that is likelier than all else, with where its tries end.
fn claimed(verdict: &Verdict, place: &str) -> String {
    let reached = |or: &str| verdict.reached.as_deref().unwrap_or(or).to_owned();
    match verdict.class {
        Class::NoDraw => "No draw: the board takes no current".into(),
        Class::HardShort => "Hard short: the supply sits in its limit and the feed collapses".into(),
        Class::PartialShort => "Partial short: heavy current from switch-on, nothing starts".into(),
        Class::ExcessStandby | Class::StandbyOnly => asleep(verdict),
        // It tried again at every press.
        Class::LatchOff if verdict.tries.is_some() => {
            format!("Latches off{place}: gives up each try, stays down until pressed")
        }
        Class::LatchOff => format!("Latches off{place}: tries, then stays down"),
        Class::Cycling => {
            format!("Cycling{place}: starts and gives up{}", how_often(verdict))
        }
        Class::Stalled => format!("Stalled in {}", stalled_in(verdict)),
        Class::FullBoot => format!("Full boot: reached {} and stayed", reached("the last stage")),
        Class::DroppedOut => format!("Dropped out: reached {}, then fell back", reached("the last stage")),
        Class::FeedLimited => format!("Feed limited{place}: the supply starves the board"),
        Class::Inconclusive => "Inconclusive: this capture cannot carry a verdict".into(),
    }
}

/// Two tries are no more than that, however likely the next is; and what gave up for good is not going on.
fn how_often(verdict: &Verdict) -> String {
    match (verdict.tries, verdict.stays_down_s) {
        (Some(1), _) => " once so far".into(),
        (Some(2), _) => " twice so far".into(),
        (Some(tries), Some(_)) => format!(" {tries} times, then stays down"),
        _ => ", again and again".into(),
    }
}

/// A board that does not wake, or was not seen to be asked to; without a standby of its own it does not start.
fn asleep(verdict: &Verdict) -> String {
    let excess = verdict.class == Class::ExcessStandby;
    let never = match (verdict.asked, &verdict.reached) {
        (Some(false), _) => "no press of the button is in this log",
        (_, None) if excess => return "Fed, and draws steadily, but never starts".into(),
        (_, None) => return "Fed, but never starts".into(),
        _ => "the board never wakes",
    };
    let standby = standby_of(verdict);
    if excess { format!("{standby} draws too much; {never}") } else { format!("{standby} only: {never}") }
}

/// `Standby`, with the name that the profile has for it where that is another.
fn standby_of(verdict: &Verdict) -> String {
    let name = verdict.reached.as_deref().filter(|name| !name.eq_ignore_ascii_case("standby"));
    name.map_or_else(|| "Standby".into(), |name| format!("Standby ({name})"))
}

fn stalled_in(verdict: &Verdict) -> &str {
    verdict.stalled_in.as_deref().or(verdict.reached.as_deref()).unwrap_or("a stage")
}

/// ` in firmware`, ` at the end of firmware` where that had run its length.
fn in_stage(verdict: &Verdict) -> String {
    let where_to = if verdict.step_into.is_some() { "at the end of" } else { "in" };
    verdict.place().map(|stage| format!(" {where_to} {stage}")).unwrap_or_default()
}

/// ` in firmware`, ` (likely in firmware)`, ` (in rails or loader)`: where in the boot tries end that the verdict names no stage of.
#[must_use]
pub fn where_tries_end(finding: &Finding) -> Option<String> {
    let verdict = &finding.verdict;
    let gives_up = matches!(verdict.class, Class::LatchOff | Class::Cycling | Class::FeedLimited);
    if !gives_up || verdict.reached.is_some() {
        return None;
    }
    let tries = Tries::of(&finding.attempts, &finding.log.gaps)?;
    let told = tries.ended_in.as_ref().filter(|_| tries.ended_there == tries.count);
    let told = told.map(|stage| format!(" in {stage}"));
    told.or_else(|| likely_place(finding))
}

/// ` (likely in firmware)`, ` (in rails or loader)`: where tries end whose stage no reading tells. Whether a stage lies between
/// two that it may be is taken from the evidence, which says `or` of neighbours.
#[must_use]
pub(crate) fn likely_place(finding: &Finding) -> Option<String> {
    let tries = Tries::of(&finding.attempts, &finding.log.gaps)?;
    let last = tries.likely_in?;
    let Some(first) = tries.earliest_in else { return Some(format!(" (likely in {last})")) };
    let beside = finding.verdict.because.iter().any(|fact| fact.contains(&format!("in {first} or ")));
    let word = if beside { "or" } else { "to" };
    Some(format!(" (in {first} {word} {last})"))
}

/// The verdict in a few words, for a sentence: `stalled in loading`; of a toss-up, `perhaps stalled in loading`.
#[must_use]
pub fn short(verdict: &Verdict) -> String {
    let stated = stated(verdict);
    if is_toss_up(verdict) { format!("{} {stated}", doubt(verdict)) } else { stated }
}

/// The same however likely it is.
fn stated(verdict: &Verdict) -> String {
    let kind = kind(verdict.class);
    let place = match verdict.class {
        Class::LatchOff | Class::Cycling | Class::FeedLimited => in_stage(verdict),
        Class::Stalled => format!(" in {}", stalled_in(verdict)),
        Class::DroppedOut => {
            verdict.reached.as_deref().map(|stage| format!(" of {stage}")).unwrap_or_default()
        }
        _ => String::new(),
    };
    format!("{kind}{place}")
}

/// What a class is called at the bench; its name is for programs.
#[must_use]
pub const fn kind(class: Class) -> &'static str {
    match class {
        Class::NoDraw => "no draw",
        Class::HardShort => "hard short",
        Class::PartialShort => "partial short",
        Class::ExcessStandby => "standby draws too much",
        Class::StandbyOnly => "standby only",
        Class::LatchOff => "latches off",
        Class::Cycling => "cycling",
        Class::Stalled => "stalled",
        Class::FullBoot => "full boot",
        Class::DroppedOut => "dropped out",
        Class::FeedLimited => "feed limited",
        Class::Inconclusive => "inconclusive",
    }
}

/// The verdict in a few words, with how sure it is where it is one: `stalled in loading, 97 %`.
#[must_use]
pub fn short_and_sure(verdict: &Verdict) -> String {
    match verdict.class {
        Class::Inconclusive => short(verdict),
        _ => format!("{}, {}", short(verdict), percent(verdict.confidence)),
    }
}

/// Two verdicts on one board as a headline.
#[must_use]
pub fn before_after(before: &Verdict, after: &Verdict) -> String {
    let (before, after) = (short(before), short(after));
    if before == after {
        return format!("Before and after: {before}");
    }
    format!("Before: {before}. After: {after}")
}

/// Board and serial number: `harrow-13 HB-0071`.
#[must_use]
pub fn board(finding: &Finding) -> String {
    let given = |text: &Option<String>| text.clone().filter(|text| !text.trim().is_empty());
    let board = given(&finding.log.board).unwrap_or_else(|| "unnamed board".into());
    given(&finding.log.serial).map_or_else(|| board.clone(), |serial| format!("{board} {serial}"))
}

/// What departs from good boards beside what the verdict says itself, as an addition to the headline: `, but standby
/// draws too much, and 1 more`.
#[must_use]
pub fn departures_clause(finding: &Finding) -> String {
    let verdict = &finding.verdict;
    let told = |departure: &&Departure| {
        let too_much =
            verdict.class == Class::ExcessStandby && verdict.reached.as_ref() == Some(&departure.phase);
        too_much
            || verdict.stalled_in.as_ref() == Some(&departure.phase)
            || is_the_verdict(verdict, departure)
    };
    let departs: Vec<&Departure> = finding.departures.iter().filter(|departure| !told(departure)).collect();
    let joined = if verdict.class == Class::FullBoot { "but" } else { "and" };
    match departs.as_slice() {
        [] => String::new(),
        [one] => format!(", {joined} {}", departure(one)),
        [first, rest @ ..] => format!(", {joined} {}, and {} more", departure(first), rest.len()),
    }
}

/// Whether a departure says no more than the verdict: a stage that a board is stuck in lasts too long.
pub(super) fn is_the_verdict(verdict: &Verdict, departure: &Departure) -> bool {
    let stage = match verdict.class {
        Class::StandbyOnly | Class::ExcessStandby => verdict.reached.as_ref(),
        _ => verdict.stalled_in.as_ref(),
    };
    departure.direction == Direction::Longer && stage == Some(&departure.phase)
}

/// How sure the verdict is, and what came second; of what is undecided, what it may be. How likely it is that nothing can
/// be said is of no use to anybody, and neither is what is left of that for a class.
#[must_use]
pub fn confidence(finding: &Finding) -> String {
    let verdict = &finding.verdict;
    if verdict.class == Class::Inconclusive {
        return perhaps(finding)
            .map_or_else(|| "undecided".into(), |class| format!("undecided; perhaps {}", kind(class)));
    }
    let second = runner_up(verdict).map(|second| format!(", {second}")).unwrap_or_default();
    format!("{} sure{second}", percent(verdict.confidence))
}

/// The same beside a headline: of what is undecided only what it may be, since the headline says that it is.
#[must_use]
pub fn beside_headline(finding: &Finding) -> String {
    match finding.verdict.class {
        Class::Inconclusive => {
            perhaps(finding).map_or_else(String::new, |class| format!("perhaps {}", kind(class)))
        }
        _ => confidence(finding),
    }
}

/// What an undecided run may be, unless stages and text call what was read there something else: that nothing flows is not
/// to stand above readings that are taken for a standby.
fn perhaps(finding: &Finding) -> Option<Class> {
    let second = finding.verdict.runner_up?.class;
    let last = finding.phases.iter().rfind(|phase| phase.name != "off");
    let something = last.is_some_and(|phase| phase.name != "no draw");
    (second != Class::NoDraw || !something).then_some(second)
}

/// What a decided verdict may be instead, where it was close: `else cycling, 12 %`, `else undecided`.
#[must_use]
pub fn runner_up(verdict: &Verdict) -> Option<String> {
    verdict.runner_up.map(|second| match second.class {
        Class::Inconclusive => "else undecided".into(),
        class => format!("else {} {}", kind(class), percent(second.confidence)),
    })
}

/// How far the board got, where that is told: `stuck in firmware`, or what [`got_to`] says.
#[must_use]
pub fn how_far(verdict: &Verdict) -> Option<String> {
    verdict.stalled_in.as_ref().map(|stage| format!("stuck in {stage}")).or_else(|| got_to(verdict))
}

/// `got to firmware`; of tries that end in different stages, what the headline names first: `most tries end in firmware, the
/// furthest in loading`.
#[must_use]
pub fn got_to(verdict: &Verdict) -> Option<String> {
    let furthest = verdict.reached.as_ref()?;
    Some(match &verdict.usually_in {
        Some(most) => format!("most tries end in {most}, the furthest in {furthest}"),
        None => format!("got to {furthest}"),
    })
}

/// What departs and how, without the numbers: `firmware draws too much`.
#[must_use]
pub fn departure(departure: &Departure) -> String {
    let Departure { phase, quantity, direction, .. } = departure;
    match (direction, quantity.as_str()) {
        (Direction::Longer, _) => format!("{phase} lasts too long"),
        (Direction::Shorter, _) => format!("{phase} is too short"),
        (Direction::Above, "mean power") => format!("{phase} draws too much"),
        (Direction::Below, "mean power") => format!("{phase} draws too little"),
        (Direction::Above, "peak power") => format!("{phase} peaks too high"),
        (Direction::Below, "peak power") => format!("{phase} peaks too low"),
        (Direction::Above, "activity") => format!("{phase} swings too much"),
        (Direction::Below, "activity") => format!("{phase} swings too little"),
        (Direction::Above, _) => format!("{phase}: {quantity} too high"),
        (Direction::Below, _) => format!("{phase}: {quantity} too low"),
    }
}

/// How long something lasted, or when it happened, no finer than the log shows it: readings renewed every `update_s`
/// seconds.
#[must_use]
pub fn length(seconds: f64, update_s: Option<f64>) -> String {
    time_in_steps(seconds, update_s.unwrap_or(0.0))
}

/// What a phase is called in a figure: what lies between tries, and a try that shows no stage, in the words of the heading.
#[must_use]
pub fn phase(name: &str) -> &str {
    match name {
        "rest" => "between tries",
        "attempt" => "try",
        name => name,
    }
}

/// What a verdict calls the phase that it is about, whatever the level there is called: `hard short`.
#[must_use]
pub fn shorted(finding: &Finding, phase: &Phase) -> Option<&'static str> {
    let name = match finding.verdict.class {
        Class::HardShort => "hard short",
        Class::PartialShort => "partial short",
        _ => return None,
    };
    let length = |phase: &&Phase| phase.end_s.value() - phase.start_s.value();
    let fed = finding.phases.iter().filter(|phase| phase.name != "off");
    let longest = fed.max_by(|a, b| length(a).total_cmp(&length(b)))?;
    (longest.name == phase.name).then_some(name)
}

/// `1 try`, `16 tries`.
#[must_use]
pub fn tries(count: usize) -> String {
    if count == 1 { "1 try".into() } else { format!("{count} tries") }
}

/// A length of time as people say it: two figures at most.
#[must_use]
pub fn roughly(seconds: f64) -> String {
    if (0.1..100.0).contains(&seconds) {
        format!("{} s", figures(seconds, 2))
    } else {
        quantity(seconds, "s", None)
    }
}

/// Amps for people: three figures, but no finer than the supply resolves, and `under` the resolution if less.
#[must_use]
pub fn amps(value: f64, resolution: Option<Amps>) -> String {
    in_steps(value, resolution.map_or(0.0, Amps::value), "A")
}
