//! What to probe on a board that is stuck, by the name of the stage where that tells something. All common practice at
//! repair benches, with no source.

use super::words::Words;
use crate::verdict::evidence::{Liveliness, draws_less, liveliness};
use crate::verdict::kind::Family;
use crate::verdict::seen::Seen;

/// What the name of a stage says of its work. The names are free text: only common words are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Work {
    Drive,
    Storage,
    Memory,
    Radio,
    Display,
    Bus,
}

impl Work {
    /// In the order in which they decide: flash memory is storage.
    const WORDS: [(Self, &[&str]); 6] = [
        (Self::Drive, &["spin", "spinup", "spins", "spinning", "drive", "drives", "disk", "disks"]),
        (Self::Storage, &["storage", "flash"]),
        (Self::Memory, &["memory", "ram", "dram", "ddr"]),
        (Self::Radio, &["radio", "network", "modem"]),
        (Self::Display, &["display", "backlight"]),
        (Self::Bus, &["bus", "fieldbus", "link", "partner"]),
    ];

    fn of(stage: &str) -> Option<Self> {
        let words = Words::of(stage);
        Self::WORDS.into_iter().find(|(_, wanted)| words.any(wanted)).map(|(work, _)| work)
    }

    /// Cheap and likely first; `at` is where the run points to, in words.
    fn checks(self, at: &str) -> [String; 3] {
        match self {
            Self::Drive => [
                "feed off, unplug the drive, and repeat: does the board get on?".into(),
                "feel or hear whether the drive turns at all, and measure its supply at its connector".into(),
                format!("console or screen, then the data lines{at}"),
            ],
            Self::Storage => [
                "try other storage with a known-good image, or load the software anew if its data may be lost".into(),
                "look at console or screen for what it waits for or repeats".into(),
                format!("then activity on the storage's lines, and the supplies{at}"),
            ],
            Self::Memory => [
                "if the memory sits in sockets, feed off for each: one known-good module alone, in each slot in turn".into(),
                "no screen is alive yet: look at POST code, diagnostic LED or beep".into(),
                format!("then the memory's supplies, and reset and clock{at}"),
            ],
            Self::Radio => [
                "feed off, take out or unplug the radio or network module, and repeat".into(),
                "look at console or screen for what it waits for or repeats".into(),
                format!("then the module's supply, reset and clock{at}"),
            ],
            Self::Bus => [
                "connect the bus with its termination, and the partner that it may wait for, and repeat".into(),
                "then the other way: feed off, take off bus and expansion modules, and repeat".into(),
                format!("look at screen or console for what it waits for, then the bus's supply and lines{at}"),
            ],
            Self::Display => [
                "look for an image with a lamp on the screen: it may run without its light".into(),
                "feed off, unplug the display's cable, and repeat; then another display".into(),
                format!("then the supplies of display and backlight{at}"),
            ],
        }
    }
}

pub(super) fn stalled(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let analysis = seen.analysis;
    let last = analysis.path.last();
    let stage = last.and_then(|step| step.state.stage());
    let at = suspect.map_or_else(String::new, |suspect| format!(" in {suspect}"));
    let named =
        stage.filter(|_| analysis.model.of_this_board).map(|stage| &analysis.model.stages[stage].name);
    if let Some(work) = named.and_then(|name| Work::of(name)) {
        // A profile that has checks of its own says what to swap.
        return work.checks(&at).into_iter().skip(usize::from(own)).collect();
    }
    if stage == Some(0) && !own {
        return vec![
            format!("measure every rail{at}: the one that is missing or low names its regulator"),
            "then enable and power-good of the converters that come next: which has its enable and gives nothing?".into(),
            "feed off: ohms to ground on the rail that stays down: an overload there holds it".into(),
        ];
    }
    let modules = if own { None } else { without_modules(seen, stage) };
    let lively = last.and_then(|step| liveliness(seen, step));
    let less = last.is_some_and(|step| draws_less(seen, step));
    let mut checks = by_level(lively, less, &at);
    // Swapping is quicker than measuring.
    checks.splice(1..1, modules);
    checks
}

/// What the level says of a board that is stuck.
fn by_level(lively: Option<Liveliness>, less: bool, at: &str) -> Vec<String> {
    match lively {
        Some(Liveliness::Usual | Liveliness::Lively) => vec![format!(
            "it keeps working without getting on: look at screen or console for what it waits for, then at the data lines{at}"
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
        Family::Panel => Some("take off bus and expansion modules and try again".into()),
        Family::SmallComputer => Some("try other storage with known-good software".into()),
        Family::Handheld if late => {
            Some("try to load its software anew before soldering, if its data may be lost".into())
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::Work;

    #[test]
    fn a_stage_is_known_by_whole_words_of_its_name() {
        for (name, work) in [
            ("memory training", Some(Work::Memory)),
            ("DDR4 init", Some(Work::Memory)),
            ("flash memory", Some(Work::Storage)),
            ("disk spin-up", Some(Work::Drive)),
            ("modem", Some(Work::Radio)),
            ("backlight", Some(Work::Display)),
            ("bus", Some(Work::Bus)),
            ("busy", None),
            ("program, drivers", None),
            ("loading", None),
        ] {
            assert_eq!(Work::of(name), work, "{name}");
        }
    }
}
