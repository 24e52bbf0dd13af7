//! How far each of two runs got, where that is all there is to say of a stage.

use super::super::parts::{Subject, attempts};
use super::super::words;
use super::differences::{ALIKE_AND_GOOD, Difference};
use crate::reference::Profile;
use crate::verdict::Attempt;

/// Which of the runs did not get to a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reach {
    /// The one before.
    Now,
    /// The one after.
    NoLonger,
    /// Neither.
    Never,
}

/// A stage that a run passed or ended in within its tries, which show no stages apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Tried {
    /// How many of the tries got there.
    reached: usize,
    /// How many of these ended there.
    ended: usize,
    /// Whether the readings leave it open that they got there.
    perhaps: bool,
    /// Whether nothing but their times tells where those end.
    likely: bool,
    /// Whether those that may have got further may as well have ended there.
    or_later: bool,
}

impl Tried {
    /// `None` where no try got to the stage of that name, or it is the rest from which tries start.
    pub(super) fn of(run: &Subject, name: &str) -> Option<Self> {
        let profile = run.profile?;
        let at = place(profile, name)?;
        if profile.standby().is_some_and(|standby| standby.name == name) {
            return None;
        }
        let ends = |attempt: &Attempt| {
            let last = attempt.ended_in.as_deref().or(attempt.likely_in.as_deref())?;
            place(profile, last)
        };
        let sure = |attempt: &Attempt| {
            let first = attempt.earliest_in.as_deref().and_then(|first| place(profile, first));
            first.or_else(|| ends(attempt)).is_some_and(|end| end >= at)
        };
        // One that is still on when the log ends has not ended anywhere; the others are counted, as above the ribbon.
        let given_up = attempts::tried(run.finding).iter().filter(|attempt| attempt.given_up);
        let there: Vec<&Attempt> =
            given_up.filter(|attempt| ends(attempt).is_some_and(|end| end >= at)).collect();
        let ended = there.iter().filter(|attempt| ends(attempt) == Some(at)).count();
        let perhaps = !there.iter().any(|attempt| sure(attempt));
        let likely = !there.iter().any(|attempt| ends(attempt) == Some(at) && attempt.ended_in.is_some());
        let first =
            |attempt: &Attempt| attempt.earliest_in.as_deref().and_then(|first| place(profile, first));
        let or_later = there.iter().all(|attempt| {
            ends(attempt).is_some_and(|end| end > at) && first(attempt).is_some_and(|first| first <= at)
        });
        (!there.is_empty()).then_some(Self { reached: there.len(), ended, perhaps, likely, or_later })
    }

    /// Whether no try got further.
    pub(super) const fn ends(self) -> bool {
        self.ended == self.reached
    }

    /// Whether more tries end in it than get further.
    pub(super) const fn mostly_ends(self) -> bool {
        2 * self.ended > self.reached
    }

    /// Whether the tries may as well have ended in it, or not have got there.
    pub(super) const fn is_open(self) -> bool {
        self.or_later || self.perhaps
    }

    /// `passed in 7 tries`, `7 tries end in it`, `7 tries end in it, 2 go on`.
    pub(super) fn cell(self) -> String {
        if self.perhaps {
            return format!("perhaps in {}", words::tries(self.reached));
        }
        let passed = self.reached - self.ended;
        let likely = if self.likely { "likely " } else { "" };
        let go_on = if passed == 1 { "goes on" } else { "go on" };
        let end = if self.ended == 1 { "ends" } else { "end" };
        match (self.ended, passed) {
            (0, 1) if self.or_later => "1 try ends in it or later".into(),
            (0, _) if self.or_later => format!("{} end in it or later", words::tries(passed)),
            (0, _) => format!("passed in {}", words::tries(passed)),
            (ended, 0) => format!("{} {likely}{end} in it", words::tries(ended)),
            (ended, passed) => format!("{} {likely}{end} in it, {passed} {go_on}", words::tries(ended)),
        }
    }
}

fn place(profile: &Profile, name: &str) -> Option<usize> {
    profile.phases.iter().position(|phase| phase.name == name)
}

/// The same with stages that follow one another and of which the same is to be said in one row: eight times `now reached`
/// says no more than once, and takes the height that the runs need.
pub(super) fn told_once(found: &[Difference]) -> Vec<Difference> {
    /// Fewer are told one by one.
    const LEAST: usize = 3;
    let alike = |a: &Difference, b: &Difference| a.reach.is_some() && a.reach == b.reach;
    let rows = |group: &[Difference]| match (group, group.first().and_then(|first| first.reach)) {
        ([first, .., last], Some(reach)) if group.len() >= LEAST => vec![together(first, last, reach)],
        _ => group.to_vec(),
    };
    found.chunk_by(alike).flat_map(rows).collect()
}

/// The same with stages that follow one another and are alike in one row: where rows are many these say the least.
pub(super) fn without_alike(found: &[Difference]) -> Vec<Difference> {
    const GOOD: &str = "each as good boards";
    let is_alike = |row: &Difference| row.words == ALIKE_AND_GOOD;
    let rows = |group: &[Difference]| match group {
        [first, .., last] => {
            let stage = format!("{} to {}", first.stage, last.stage);
            let words = "alike".to_owned();
            vec![Difference {
                stage,
                before: GOOD.into(),
                after: GOOD.into(),
                good: String::new(),
                words,
                reach: None,
            }]
        }
        _ => group.to_vec(),
    };
    found.chunk_by(|a, b| is_alike(a) && is_alike(b)).flat_map(rows).collect()
}

fn together(first: &Difference, last: &Difference, reach: Reach) -> Difference {
    let good = || "each as good boards".to_owned();
    let (before, after) = match reach {
        Reach::Now => (first.before.clone(), good()),
        Reach::NoLonger => (good(), first.after.clone()),
        Reach::Never => (first.before.clone(), first.after.clone()),
    };
    let stage = format!("{} to {}", first.stage, last.stage);
    Difference { stage, before, after, good: String::new(), words: first.words.clone(), reach: Some(reach) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tries_that_end_in_a_stage_are_not_hidden_by_those_that_pass_it() {
        let tried = |reached, ended| Tried { reached, ended, perhaps: false, likely: false, or_later: false };
        let said = |reached, ended| tried(reached, ended).cell();
        assert_eq!(said(9, 0), "passed in 9 tries");
        assert_eq!(said(9, 9), "9 tries end in it");
        assert_eq!(said(1, 1), "1 try ends in it");
        assert_eq!(said(9, 7), "7 tries end in it, 2 go on");
        assert_eq!(said(16, 15), "15 tries end in it, 1 goes on");
        // What the headline calls likely, or leaves open, is no fact of the table.
        assert_eq!(Tried { likely: true, ..tried(16, 16) }.cell(), "16 tries likely end in it");
        assert_eq!(Tried { or_later: true, ..tried(2, 0) }.cell(), "2 tries end in it or later");
    }
}
