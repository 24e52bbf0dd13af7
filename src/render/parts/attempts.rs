//! Starts that follow one another, as the finding counts them.

use super::super::words;
use super::Subject;
use crate::units::counted;
use crate::verdict::{Attempt, Class, Finding, Tries};
use std::ops::Range;

/// The starts of a board that tries again and again; `None` if that is not the verdict, or there was but one.
pub(in crate::render) fn attempts<'a>(subject: &Subject<'a>) -> Option<&'a [Attempt]> {
    let verdict = &subject.finding.verdict;
    let tries = matches!(verdict.class, Class::LatchOff | Class::Cycling | Class::FeedLimited);
    Some(subject.finding.attempts.as_slice()).filter(|attempts| tries && attempts.len() > 1)
}

/// The starts of which some were given up: that from which a board fell after it had booted is none of them.
pub(in crate::render) fn tried(finding: &Finding) -> &[Attempt] {
    let attempts = finding.attempts.as_slice();
    let fell = attempts.iter().rposition(|attempt| attempt.given_up);
    fell.filter(|_| finding.verdict.class == Class::DroppedOut).map_or(attempts, |fell| &attempts[..fell])
}

/// Whether the board gave up a start, or fell from one: what it comes back to then is no second stage.
pub(in crate::render) fn gives_up(finding: &Finding) -> bool {
    finding.attempts.iter().any(|attempt| attempt.given_up)
}

/// Start and end in seconds.
pub(in crate::render) fn span(attempt: &Attempt) -> (f64, f64) {
    (attempt.start_s.value(), attempt.end_s.value())
}

/// Whether a moment lies in a start that was given up.
pub(in crate::render) fn is_given_up(attempts: &[Attempt], at: f64) -> bool {
    let index = attempts.partition_point(|attempt| attempt.end_s.value() <= at);
    attempts.get(index).is_some_and(|attempt| attempt.given_up && attempt.start_s.value() <= at)
}

/// `16 tries, one every 3.13 s`; of a picture that shows `shown` of them, `tries 3 to 5 of 16, …`.
pub(in crate::render) fn words(finding: &Finding, shown: &Range<usize>) -> String {
    let Some(tries) = Tries::of(&finding.attempts, &finding.log.gaps) else {
        return counted(shown.len(), "start");
    };
    let last = shown.end.min(tries.count);
    let which = match shown.start {
        first if first >= tries.count => return "one more is on".into(),
        0 if last == tries.count => words::tries(tries.count),
        first if first + 1 == last => format!("try {last} of {}", tries.count),
        first => format!("tries {} to {last} of {}", first + 1, tries.count),
    };
    let every = tries.period(finding.log.update_s().unwrap_or(0.0));
    match every {
        // Their bracket is longer: it reaches to the end of the second.
        Some(apart) if finding.attempts.len() == 2 => format!("{which}, starts {apart} apart"),
        Some(every) => format!("{which}, one every {every}"),
        None => which,
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{cycling, trace};
    use super::*;

    #[test]
    fn tries_are_counted_by_the_finding() {
        // Four were given up; one more is on when the log ends.
        let finding = cycling(5);
        assert_eq!(words(&finding, &(0..5)), "4 tries, one every 3.00 s");
        assert_eq!(words(&finding, &(1..3)), "tries 2 to 3 of 4, one every 3.00 s");
        let mut twice = cycling(3);
        twice.attempts.truncate(2);
        assert_eq!(words(&twice, &(0..2)), "2 tries, starts 3.0 s apart");
        assert_eq!(words(&finding, &(1..2)), "try 2 of 4, one every 3.00 s");
        assert_eq!(words(&finding, &(2..5)), "tries 3 to 4 of 4, one every 3.00 s");
        assert_eq!(words(&finding, &(4..5)), "one more is on");
        let given_up = [5.0, 6.0, 7.9, 8.0, 9.0, 18.5].map(|at| is_given_up(&finding.attempts, at));
        assert_eq!(given_up, [false, true, true, false, true, false]);
    }

    #[test]
    fn the_start_from_which_a_board_fell_is_no_try() {
        let mut finding = cycling(5);
        let count = tried(&finding).iter().filter(|attempt| attempt.given_up).count();
        finding.verdict.class = Class::DroppedOut;
        assert_eq!(tried(&finding).iter().filter(|attempt| attempt.given_up).count(), count - 1);
    }

    #[test]
    fn only_a_verdict_of_tries_shows_them() {
        let (trace, mut finding) = (trace(60, 60.0, |_| 0.5), cycling(5));
        let found = |finding: &Finding| {
            attempts(&Subject { trace: &trace, profile: None, finding }).map(<[Attempt]>::len)
        };
        assert_eq!(found(&finding), Some(5));
        finding.verdict.class = Class::FullBoot;
        assert_eq!(found(&finding), None);
    }
}
