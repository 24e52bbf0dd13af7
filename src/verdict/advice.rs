//! What the run proves of the board's sections, what to probe next, and what to mind.

use super::align::State;
use super::engine::Analysis;
use super::{Class, SectionProof, SectionState};
use crate::reference::{PathSection, Profile};

/// Marks advice that comes with the program and not from the board's profile.
const COMMON: &str = " (common practice)";

/// Feed volts above which touching live parts can hurt: the limit of extra-low voltage that is safe in dry conditions,
/// 60 V DC in IEC 61140 (from memory).
const TOUCH_LIMIT_V: f64 = 60.0;

/// The name of the furthest stage that was reached.
pub(super) fn reached(analysis: &Analysis) -> Option<usize> {
    if !analysis.model.of_this_board {
        return None;
    }
    analysis.path.iter().filter_map(|step| step.state.stage()).max()
}

/// What the run says of each section of the profile's power path.
pub(super) fn power_path(
    analysis: &Analysis,
    profile: &Profile,
    feed_point: Option<&str>,
) -> Vec<SectionProof> {
    let point = feed_point.unwrap_or(&profile.feed.point);
    let mut suspect_named = false;
    let proof = |path: &PathSection| {
        let state = section(analysis, profile, path, point, &mut suspect_named);
        SectionProof { section: path.section.clone(), state }
    };
    profile.power_path.iter().map(proof).collect()
}

fn section(
    analysis: &Analysis,
    profile: &Profile,
    path: &PathSection,
    point: &str,
    suspect_named: &mut bool,
) -> SectionState {
    if path.skipped_from.iter().any(|skipped| skipped.eq_ignore_ascii_case(point)) {
        return SectionState::NotExercised;
    }
    if analysis.class() == Class::Inconclusive || path.proved_by.is_empty() {
        return SectionState::Unknown;
    }
    if path.proved_by.iter().any(|stage| got_through(analysis, profile, stage)) {
        return SectionState::Proved;
    }
    // The first section that should have done its part and did not is the suspect; what comes after it had no chance.
    if *suspect_named || analysis.class() == Class::FeedLimited {
        return SectionState::Unknown;
    }
    *suspect_named = true;
    SectionState::Suspect
}

/// Whether the run shows that the board went through `stage`, or stayed in it where it is the last.
fn got_through(analysis: &Analysis, profile: &Profile, stage: &str) -> bool {
    let Some(reached) = reached(analysis) else {
        let standby = matches!(analysis.class(), Class::StandbyOnly | Class::LatchOff | Class::Cycling);
        return standby && stage == analysis.model.standby.name;
    };
    let at = |name: &str| profile.phases.iter().position(|phase| phase.name == name);
    let here = at(&analysis.model.stages[reached].name);
    let stays = matches!(analysis.class(), Class::FullBoot | Class::DroppedOut);
    match (at(stage), here) {
        (Some(wanted), Some(here)) => wanted < here || (wanted == here && stays),
        _ => false,
    }
}

/// What to probe next: the profile's checks first, then common practice.
pub(super) fn next_checks(analysis: &Analysis, profile: Option<&Profile>) -> Vec<String> {
    let class = analysis.class();
    let stage =
        analysis.path.last().and_then(|step| step.state.stage()).map(|j| &analysis.model.stages[j].name);
    let own = profile.into_iter().flat_map(|profile| &profile.checks).filter(|check| {
        check.class == class.name() && check.stage.as_ref().is_none_or(|wanted| Some(wanted) == stage)
    });
    let mut checks: Vec<String> = own.map(|check| check.probe.clone()).collect();
    let asked = analysis.run.presses.is_empty() && analysis.model.standby.waits;
    let sags = analysis.path.iter().any(|step| step.state == State::Starved);
    let fits = |text: &&&str| (asked || **text != PRESS) && (sags || **text != LEADS);
    let usual = look_alikes(class).iter().chain(common(class)).filter(fits);
    checks.extend(usual.map(|text| format!("{text}{COMMON}")));
    checks
}

/// Only where a board waits for a press that is not marked.
const PRESS: &str = "make sure that the power button was pressed, and mark it in the log";

/// Only where the volts give way.
const LEADS: &str =
    "measure the volts at the board during an attempt: thin leads drop them where the supply does not see it";

/// Reasons that look like a fault and are not.
const fn look_alikes(class: Class) -> &'static [&'static str] {
    match class {
        Class::NoDraw => &[
            "check the leads and the connector at the feed point, and its polarity, before you suspect the board",
            "a pack connector may need its detect pin tied as in the pack",
        ],
        Class::HardShort | Class::PartialShort => {
            &["switch off, take off every load that is still attached, and repeat"]
        }
        Class::StandbyOnly => &[
            PRESS,
            "fed at the battery connector, some boards do not wake without their pack's data lines: take the supply off \
             the battery contacts first, then try the adapter inlet if there is one",
        ],
        Class::ExcessStandby => &[
            "take off what may still be attached (charger input, backlight, drives) and compare standby again",
        ],
        Class::FeedLimited => &[
            "raise the current limit to what the board's boot needs and repeat before you suspect the board",
            "use short, thick leads and measure the volts at the board while it starts",
        ],
        Class::LatchOff | Class::Cycling => &[LEADS],
        _ => &[],
    }
}

const fn common(class: Class) -> &'static [&'static str] {
    match class {
        Class::NoDraw => &["follow the feed from the inlet: fuse, reverse-polarity switch, first shunt"],
        Class::HardShort => &[
            "with the feed off, measure resistance to ground on the input rail and its capacitors",
            "then feed the rail at the lowest volts and limit at which a part warms, a watt or two, and look for that part",
        ],
        Class::PartialShort => &[
            "with the feed off, measure resistance to ground on the input rail, its clamp diode and its capacitors",
            "find the warm part with a thermal camera or freeze spray, at the lowest volts and limit that show it",
        ],
        Class::ExcessStandby => {
            &["find which always-on rail carries the surplus: look for warmth, then lift its loads"]
        }
        Class::StandbyOnly => {
            &["check the always-on rails, the button line at the embedded controller and its clock"]
        }
        Class::LatchOff => {
            &["find the rail whose protection trips: watch the enable and power-good lines of each converter"]
        }
        Class::Cycling => {
            &["watch reset and power-good during one attempt; compare which rail is last to come up"]
        }
        Class::Stalled => {
            &["look for activity on the firmware memory's bus and compare with a board that goes on"]
        }
        Class::FullBoot => {
            &["the power side is sound from this feed point on: look at what the feed point skipped"]
        }
        Class::DroppedOut => &["watch temperature and the rails at the moment of the fall; repeat from cold"],
        Class::FeedLimited => &["repeat with the higher limit: what the board does then is its own doing"],
        Class::Inconclusive => {
            &["capture again, from before switch-on to well after the board should have woken"]
        }
    }
}

/// What to mind: the profile's cautions, and those that fit the verdict.
pub(super) fn cautions(analysis: Option<&Analysis>, profile: Option<&Profile>) -> Vec<String> {
    let mut cautions: Vec<String> = profile.map_or_else(Vec::new, |profile| profile.feed.cautions.clone());
    let Some(analysis) = analysis else { return cautions };
    if matches!(analysis.class(), Class::HardShort | Class::PartialShort | Class::ExcessStandby) {
        cautions.push("parts in a short get hot enough to burn skin and to start a fire: keep the limit low, do not leave it alone".into());
    }
    let told = cautions.iter().any(|caution| caution.contains("cell"));
    if (3.0..4.5).contains(&analysis.run.set_v) && !told {
        cautions.push("take a lithium cell off the board before you feed it from a supply: charging or reversing it can start a fire".into());
    }
    if analysis.run.set_v > TOUCH_LIMIT_V {
        cautions.push("the feed is above 60 V DC and dangerous to touch: work to your local rules, and with the training that they ask for".into());
    }
    cautions
}
