//! What to mind: the profile's cautions, and those that fit the verdict.

use crate::reference::Profile;
use crate::verdict::Class;
use crate::verdict::kind::Family;
use crate::verdict::seen::Seen;

/// Feed volts above which touching live parts can hurt: the limit of extra-low voltage that is safe in dry conditions,
/// 60 V DC in IEC 61140 (from memory).
const TOUCH_LIMIT_V: f64 = 60.0;

/// From this many watts on a small part gets hot enough to burn: a chip resistor or capacitor of a few square
/// millimetres rises by some hundred kelvin a watt (common practice, no source).
const BURNS_W: f64 = 0.3;

/// What to mind. `seen` is missing where nothing was fed.
pub(in crate::verdict) fn cautions(seen: Option<&Seen>, profile: Option<&Profile>) -> Vec<String> {
    let mut cautions: Vec<String> = profile.map_or_else(Vec::new, |profile| profile.feed.cautions.clone());
    if let Some(seen) = seen {
        let own =
            [hot(seen), alcohol(seen), of_family(seen, &cautions), charger(seen, &cautions), touch(seen)];
        cautions.extend(own.into_iter().flatten());
    }
    cautions
}

fn hot(seen: &Seen) -> Option<String> {
    let concerned = matches!(seen.class(), Class::HardShort | Class::PartialShort | Class::ExcessStandby);
    let level = seen.last_level().filter(|_| concerned)?;
    let usual =
        seen.analysis.model.standby.watts.filter(|_| seen.class() == Class::ExcessStandby).unwrap_or(0.0);
    let surplus = level.watts - usual;
    let watts = seen.watts(surplus, level.volts);
    (surplus >= BURNS_W).then(|| {
        if seen.class() == Class::ExcessStandby {
            return format!("{watts} of surplus in one small part burns skin: look for it without touching");
        }
        format!(
            "{watts} in one small part burns skin and can start a fire: keep the limit low, feed for seconds, do not leave it \
             alone"
        )
    })
}

fn alcohol(seen: &Seen) -> Option<String> {
    (seen.class() == Class::HardShort).then(|| {
        "alcohol burns: wet the board with the feed off and nothing hot on it, in fresh air, and feed it only as long as needed".into()
    })
}

fn of_family(seen: &Seen, told: &[String]) -> Option<String> {
    let tells = |word: &str| told.iter().any(|caution| caution.to_lowercase().contains(word));
    match seen.family {
        Family::Handheld if !tells("cell") => Some(
            "take a lithium cell off the board before you feed it from a supply: charging or reversing it can start a fire"
                .into(),
        ),
        Family::Panel if !tells("polarity") => {
            Some("check the polarity at the terminals before the output goes on".into())
        }
        _ if seen.at_battery() && !tells("cell") && !tells("pack") => {
            Some("unplug the pack before you feed its connector: a supply must not charge a lithium cell".into())
        }
        _ => None,
    }
}

/// A charger is a source at the battery connector.
fn charger(seen: &Seen, told: &[String]) -> Option<String> {
    let tells = told.iter().any(|caution| caution.to_lowercase().contains("adapter"));
    (seen.at_battery() && !tells).then(|| {
        "unplug any adapter before you feed the battery side: the board's charger would feed against the supply".into()
    })
}

fn touch(seen: &Seen) -> Option<String> {
    (seen.analysis.run.set_v > TOUCH_LIMIT_V).then(|| {
        "the feed is above 60 V DC and dangerous to touch: work to your local rules, and with the training that they ask for"
            .into()
    })
}
