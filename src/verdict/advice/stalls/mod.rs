//! What to probe on a board that is stuck, by the name of the stage where that tells something. All common practice at
//! repair benches, with no source.

mod work;

use self::work::Work;
use crate::verdict::evidence::{Liveliness, draws_less, liveliness};
use crate::verdict::kind::Family;
use crate::verdict::seen::Seen;

pub(super) fn stalled(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let analysis = seen.analysis;
    let last = analysis.path.last();
    let stage = last.and_then(|step| step.state.stage());
    let at = suspect.map_or_else(String::new, |suspect| format!(" in {suspect}"));
    let named =
        stage.filter(|_| analysis.model.of_this_board).map(|stage| &analysis.model.stages[stage].name);
    let first = stage == Some(0);
    let work = named.and_then(|name| Work::of(name, seen.family));
    if first {
        // Whatever it is called, nothing before it shows that the rails are up.
        let rails = work::rails(&at).into_iter().chain([work::RESET_AND_CLOCK.into()]);
        let named = work.filter(|work| *work != Work::Rails && !own);
        let then = named.map_or_else(Vec::new, |work| work.after_the_rails(seen.family));
        // Nobody measures beside a motor that may start.
        let motor = usize::from(work == Some(Work::Motor) && !then.is_empty());
        let (keep_clear, then) = then.split_at(motor);
        return keep_clear.iter().cloned().chain(rails).chain(then.iter().cloned()).collect();
    }
    if let Some(work) = work {
        // A profile that has checks of its own says what to swap.
        return work.checks(&at, seen.family).into_iter().skip(usize::from(own)).collect();
    }
    let modules = if own { None } else { without_modules(seen, stage) };
    let lively = last.and_then(|step| liveliness(seen, step));
    let less = last.is_some_and(|step| draws_less(seen, step));
    let mut checks = by_level(lively, less, &at);
    // Swapping is quicker than measuring.
    checks.splice(1..1, modules);
    checks
}

/// What to try first on a board that is in a stage for seconds before it gives up there, where the name of that says what
/// it does.
pub(super) fn gives_up_in(seen: &Seen, stage: usize) -> Option<[String; 2]> {
    let model = &seen.analysis.model;
    let name = model.of_this_board.then(|| &model.stages[stage].name)?;
    // Rails that come up and go are for the scope.
    let work = Work::of(name, seen.family).filter(|work| *work != Work::Rails)?;
    let [first, then, _] = work.checks("", seen.family);
    Some([first, then].map(|check| work::in_a_try(&check)))
}

/// Whether a board that gives up in `stage` had all its converters up by then: what runs there is software, after other
/// stages.
pub(super) fn runs_software_in(seen: &Seen, stage: usize) -> bool {
    let name = &seen.analysis.model.stages[stage].name;
    let software = [Work::Boot, Work::Firmware, Work::System, Work::Storage, Work::Radio, Work::Bus];
    let work = Work::of(name, seen.family).filter(|work| software.contains(work));
    stage > 0 && seen.analysis.model.of_this_board && work.is_some()
}

/// What the level says of a board that is stuck.
fn by_level(lively: Option<Liveliness>, less: bool, at: &str) -> Vec<String> {
    match lively {
        Some(Liveliness::Usual | Liveliness::Lively) => vec![format!(
            "it seems to be at work: look at screen or console for what it waits for, then at the data lines{at}"
        )],
        _ if less => vec![
            "it draws less than good boards there: check the processor's reset and clock".into(),
            format!("then the supplies{at}, and activity on the memory's bus"),
        ],
        _ => vec![
            "see what screen or serial console shows: at this level it may wait for something, or go round in a loop".into(),
            "then look for activity on storage and the memory's bus".into(),
            format!("then measure the supplies{at}; clock and reset last, for a board held in reset draws less"),
        ],
    }
}

/// Plug-in parts that may hold a board up, in words that suit the kind of board.
fn without_modules(seen: &Seen, stage: Option<usize>) -> Option<String> {
    let late = stage.is_some_and(|stage| stage + 1 == seen.analysis.model.last());
    match seen.family {
        Family::Mainboard => Some(
            "if memory and storage sit in sockets, feed off: try without storage; reseat the memory; one known-good module \
             alone in the first slot"
                .into(),
        ),
        Family::Panel => Some("feed off, take off bus and expansion modules, and try again".into()),
        Family::SmallComputer => Some("feed off, put in other storage with known-good software, and try again".into()),
        Family::Handheld if late => {
            Some("try to load its software anew before soldering, if its data may be lost".into())
        }
        Family::Any => {
            Some("feed off for each: take out storage, cards and modules one by one, and try again".into())
        }
        Family::Handheld => None,
    }
}
