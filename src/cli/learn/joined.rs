//! More names than the captures tell stages apart: a stage that was cut in two for the sake of a name makes a profile by which
//! the very boards that it was learned from are stuck in one of its halves.

use super::sound;
use crate::reference::{Capture, LearnError, Learning, Profile, Request, learn};

/// Share of the captures whose verdict speaks against the profile from which it is the profile that is wrong, and not a board
/// or two (by judgement).
const MOSTLY: f64 = 0.5;

/// What is learned from `captures`, two stages at a time joined under both names while most captures do not come up by it; and
/// the questions that are left.
pub(super) fn learned(
    captures: &[Capture],
    request: &Request,
) -> Result<(Learning, Vec<String>), LearnError> {
    let mut learning = learn(captures, request)?;
    let mut doubts = sound::doubts(captures, &learning);
    let mut request = request.clone();
    while disagrees(&doubts, &learning.profile)
        && let Some((names, note)) = closest_joined(&learning.profile, &request.names)
    {
        request.names = names;
        let Ok(mut next) = learn(captures, &request) else { break };
        let left = sound::doubts(captures, &next);
        if left.len() >= doubts.len() {
            break;
        }
        next.notes.push(note);
        (learning, doubts) = (next, left);
    }
    Ok((learning, doubts))
}

fn disagrees(doubts: &[String], profile: &Profile) -> bool {
    #[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
    let (doubted, all) = (doubts.len() as f64, profile.learned.captures as f64);
    doubted >= MOSTLY * all
}

/// The names with those of the two stages joined whose levels lie closest together, and what a person should know of it; `None`
/// if too few are left, or not every stage has its name.
fn closest_joined(profile: &Profile, names: &[String]) -> Option<(Vec<String>, String)> {
    /// Standby, one stage and the running level.
    const FEWEST: usize = 3;
    let of_these = profile.phases.iter().map(|phase| &phase.name).eq(names);
    if !of_these || names.len() <= FEWEST {
        return None;
    }
    let level = |k: usize| profile.phases[k].mean_power.typical.max(f64::MIN_POSITIVE).ln();
    let apart = |k: &usize| (level(k + 1) - level(*k)).abs();
    // Standby and the running level are what they are.
    let first = (1..names.len() - 2).min_by(|one, other| apart(one).total_cmp(&apart(other)))?;
    let mut joined = names.to_vec();
    let second = joined.remove(first + 1);
    joined[first] = format!("{}/{second}", names[first]);
    let note = format!(
        "`{}` and `{second}` are not told apart, and with a name for each most of these logs do not read as full boot: they are \
         one stage, `{}`",
        names[first], joined[first]
    );
    Some((joined, note))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: [&str; 5] = ["standby", "rails", "loader", "system", "running"];

    /// A profile from so many captures, whose loader and system draw almost the same.
    fn profile(captures: u8) -> Profile {
        let phase = |(order, (name, watts)): (usize, (&str, f64))| {
            let envelope = |factor: f64| {
                format!("{{ low = {}, typical = {}, high = {} }}", 0.8 * factor, factor, 1.25 * factor)
            };
            let ends = (1..NAMES.len() - 1).contains(&order);
            let duration = if ends { format!("duration_s = {}\n", envelope(2.0)) } else { String::new() };
            format!(
                "[[phase]]\norder = {}\nname = \"{name}\"\nwaits_for_person = {}\nmean_power_w = {}\npeak_power_w = {}\n\
                 activity_w = {}\n{duration}",
                order + 1,
                order == 0,
                envelope(watts),
                envelope(1.3 * watts),
                envelope(0.1 * watts),
            )
        };
        let phases: String =
            NAMES.into_iter().zip([0.1, 1.0, 4.0, 4.3, 3.0]).enumerate().map(phase).collect();
        let head = "profile = 1\nboard = \"larch-2\"\ndescription = \"\"\n[feed]\nnominal_v = 12.0\nlowest_v = 11.0\n\
                    highest_v = 13.0\nlimit_a = 3.0\npoint = \"battery connector\"\ncautions = []\n";
        let learned =
            format!("[learned]\nboards = {captures}\ncaptures = {captures}\ndate = \"2026-03-02\"\n");
        Profile::from_toml(&format!("{head}{phases}{learned}")).expect("a valid profile")
    }

    #[test]
    fn the_two_stages_that_lie_closest_together_are_joined_under_both_names() {
        let names = NAMES.map(String::from);
        let (joined, note) = closest_joined(&profile(6), &names).expect("five names");
        assert_eq!(joined, ["standby", "rails", "loader/system", "running"]);
        assert!(note.starts_with("`loader` and `system` are not told apart"), "{note}");
    }

    #[test]
    fn standby_and_the_running_level_are_joined_with_nothing() {
        let names = ["standby", "rails", "running"].map(String::from);
        assert_eq!(closest_joined(&profile(6), &names), None, "another number of stages");
        assert_eq!(closest_joined(&profile(6), &NAMES.map(|_| String::from("other"))), None);
    }

    #[test]
    fn one_board_in_six_that_does_not_come_up_is_the_board_s_doing() {
        let doubts = |count: usize| vec![String::new(); count];
        assert!(!disagrees(&doubts(1), &profile(6)) && disagrees(&doubts(4), &profile(6)));
    }
}
