//! What a figure says in words.

use crate::units::{Amps, Seconds, figures};
use crate::verdict::{Class, Departure, Direction, Finding, Verdict};

/// The verdict as a headline: what a person reads from across the bench.
#[must_use]
pub fn headline(verdict: &Verdict) -> String {
    let reached = |or: &str| verdict.reached.as_deref().unwrap_or(or).to_owned();
    match verdict.class {
        Class::NoDraw => "No draw: the board takes no current".into(),
        Class::HardShort => "Hard short: the supply sits in its limit and the feed collapses".into(),
        Class::PartialShort => "Partial short: heavy current from switch-on, nothing starts".into(),
        Class::ExcessStandby => "Standby draws too much; the board never wakes".into(),
        Class::StandbyOnly => "Standby only: the board never wakes".into(),
        Class::LatchOff => format!("Latches off{}: tries, then stays down", in_stage(verdict)),
        Class::Cycling => format!("Cycling{}: starts and gives up, again and again", in_stage(verdict)),
        Class::Stalled => {
            let stage = verdict.stalled_in.as_deref().or(verdict.reached.as_deref()).unwrap_or("a stage");
            format!("Stalled in {stage}")
        }
        Class::FullBoot => format!("Full boot: reached {} and stayed", reached("the last stage")),
        Class::DroppedOut => format!("Dropped out: reached {}, then fell back", reached("the last stage")),
        Class::FeedLimited => format!("Feed limited{}: the supply starves the board", in_stage(verdict)),
        Class::Inconclusive => "Inconclusive: this capture cannot carry a verdict".into(),
    }
}

fn in_stage(verdict: &Verdict) -> String {
    verdict.reached.as_deref().map(|stage| format!(" in {stage}")).unwrap_or_default()
}

/// The stages that depart from good boards beside what the verdict says itself, as an addition to the headline.
#[must_use]
pub fn departures_clause(finding: &Finding) -> String {
    let mut stages: Vec<&str> = Vec::new();
    for departure in &finding.departures {
        let told = finding.verdict.stalled_in.as_ref() == Some(&departure.phase);
        if !told && !stages.contains(&departure.phase.as_str()) {
            stages.push(&departure.phase);
        }
    }
    let joined = if finding.verdict.class == Class::FullBoot { "but" } else { "and" };
    match stages.as_slice() {
        [] => String::new(),
        [one] => format!(", {joined} {one} departs"),
        [first, rest @ ..] => format!(", {joined} {first} and {} more depart", rest.len()),
    }
}

/// How sure the verdict is, and what came second.
#[must_use]
pub fn confidence(verdict: &Verdict) -> String {
    let second =
        verdict.runner_up.map(|second| format!(", else {} {}", second.class, percent(second.confidence)));
    format!("{} sure{}", percent(verdict.confidence), second.unwrap_or_default())
}

/// A probability in whole per cent; never 100 % for what is not certain.
#[must_use]
pub fn percent(probability: f64) -> String {
    format!("{:.0} %", (probability * 100.0).floor().clamp(0.0, 99.0))
}

/// What departs and how, without the numbers: `firmware draws too much`.
#[must_use]
pub fn departure(departure: &Departure) -> String {
    let Departure { phase, quantity, direction, .. } = departure;
    match direction {
        Direction::Longer => format!("{phase} lasts too long"),
        Direction::Shorter => format!("{phase} is too short"),
        Direction::Above => format!("{phase}: {quantity} too high"),
        Direction::Below => format!("{phase}: {quantity} too low"),
    }
}

/// The numbers of a departure: `0.84 A, good boards 0.31 to 0.42 A`.
#[must_use]
pub fn departure_numbers(departure: &Departure, resolution: Option<Amps>) -> String {
    let show = |value: f64| quantity(value, &departure.unit, resolution);
    let (low, high) = (show(departure.low), show(departure.high));
    format!("{}, good boards {}", show(departure.measured), range(&low, &high))
}

/// `0.31 to 0.42 A` of `0.31 A` and `0.42 A`: the unit once, if both have the same.
#[must_use]
pub fn range(low: &str, high: &str) -> String {
    match (low.split_once(' '), high.split_once(' ')) {
        (Some((number, unit)), Some((_, same))) if unit == same => format!("{number} to {high}"),
        _ => format!("{low} to {high}"),
    }
}

/// A number with its unit for people; amps never finer than the supply resolves.
#[must_use]
pub fn quantity(value: f64, unit: &str, resolution: Option<Amps>) -> String {
    match unit {
        "A" => amps(value, resolution),
        "s" => Seconds::new(value).map_or_else(|_| value.to_string(), |time| time.to_string()),
        _ => format!("{} {unit}", figures(value, 3)),
    }
}

/// Amps for people: three figures, but no finer than the supply resolves, and `under` the resolution if less.
#[must_use]
pub fn amps(value: f64, resolution: Option<Amps>) -> String {
    let step = resolution.map_or(0.0, Amps::value);
    if step <= 0.0 || value == 0.0 {
        return Amps::new(value).map_or_else(|_| value.to_string(), |amps| amps.to_string());
    }
    if value.abs() < step * 0.5 {
        return format!("under {}", coarse(step, step));
    }
    coarse(value, step)
}

/// `value` with the figures that steps of `step` leave it, three at most.
fn coarse(value: f64, step: f64) -> String {
    const MOST_FIGURES: i32 = 3;
    const AMPS_FROM: f64 = 0.09995;
    #[expect(clippy::cast_possible_truncation, reason = "a decimal exponent")]
    let exponent = |v: f64| (v.abs().log10() + 1e-9).floor() as i32;
    let count = (exponent(value) - exponent(step) + 1).clamp(1, MOST_FIGURES);
    match value.abs() {
        m if m >= AMPS_FROM => format!("{} A", figures(value, count)),
        _ => format!("{} mA", figures(value * 1e3, count)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(class: Class) -> Verdict {
        Verdict {
            class,
            confidence: 0.937,
            reached: Some("firmware".into()),
            stalled_in: (class == Class::Stalled).then(|| "firmware".into()),
            because: Vec::new(),
            runner_up: None,
        }
    }

    #[test]
    fn each_class_has_a_headline_of_its_own() {
        let lines: Vec<String> = Class::ALL.map(|class| headline(&verdict(class))).to_vec();
        insta::assert_snapshot!(lines.join("\n"), @"
        No draw: the board takes no current
        Hard short: the supply sits in its limit and the feed collapses
        Partial short: heavy current from switch-on, nothing starts
        Standby draws too much; the board never wakes
        Standby only: the board never wakes
        Latches off in firmware: tries, then stays down
        Cycling in firmware: starts and gives up, again and again
        Stalled in firmware
        Full boot: reached firmware and stayed
        Dropped out: reached firmware, then fell back
        Feed limited in firmware: the supply starves the board
        Inconclusive: this capture cannot carry a verdict
        ");
    }

    #[test]
    fn what_is_not_certain_is_never_shown_as_certain() {
        assert_eq!([0.937, 0.999, 1.0, 0.0].map(percent), ["93 %", "99 %", "99 %", "0 %"]);
    }

    #[test]
    fn amps_are_shown_no_finer_than_they_were_read() {
        let shown = [
            (0.8412, 0.01),
            (0.8412, 0.001),
            (0.0241, 0.001),
            (0.0241, 0.0001),
            (0.002, 0.01),
            (1.2345, 1e-4),
        ]
        .map(|(value, step)| amps(value, Some(Amps::constant(step))));
        assert_eq!(shown, ["0.84 A", "0.841 A", "24 mA", "24.1 mA", "under 10 mA", "1.23 A"]);
        assert_eq!(amps(0.0241, None), "24.1 mA");
    }

    #[test]
    fn a_range_names_its_unit_once() {
        assert_eq!(range("0.31 A", "0.42 A"), "0.31 to 0.42 A");
        assert_eq!(range("24 mA", "0.12 A"), "24 mA to 0.12 A");
    }
}
