//! Kinds of board, for logs of boards that have no profile. Everything here is common practice with no source: the
//! ranges in which boards of a kind are usually met, and a finding that rests on them says so.

use super::Finding;

/// A kind of board as far as advice to a technician depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// A handheld at one lithium cell.
    Handheld,
    /// A small computer at 5 V.
    SmallComputer,
    /// A mainboard with an embedded controller, a pack and an adapter.
    Mainboard,
    /// An operator panel or controller in a machine.
    Panel,
    /// Not known.
    Any,
}

impl Family {
    /// The kind that a finding is about, by the volts of the feed and by what it says of the board in words: where it is
    /// fed, and what its sections and stages are called. A guess from common practice.
    #[must_use]
    pub fn of_finding(finding: &Finding) -> Self {
        let Some(volts) = finding.log.set_v else { return Self::Any };
        let sections = finding.power_path.iter().map(|proof| proof.section.as_str());
        let phases = finding.phases.iter().map(|phase| phase.name.as_str());
        let words: Vec<&str> =
            finding.log.feed_point.as_deref().into_iter().chain(sections).chain(phases).collect();
        family(volts.value(), &words.join(" "))
    }
}

/// A kind of board, recognised by its feed volts alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Kind {
    /// What it is, for people.
    pub name: &'static str,
    /// What advice depends on.
    pub family: Family,
    /// Feed volts from here ...
    pub from_v: f64,
    /// ... to here.
    pub to_v: f64,
    /// Standby power that is seldom exceeded, in watts.
    pub standby_high_w: f64,
    /// Power of a hungry boot that is seldom exceeded, in watts.
    pub boot_high_w: f64,
    /// Whether such boards usually wait for a button.
    pub waits: bool,
}

/// The kinds that are known, by feed volts.
const KINDS: [Kind; 4] = [
    Kind {
        name: "a handheld at one lithium cell",
        family: Family::Handheld,
        from_v: 3.0,
        to_v: 4.5,
        standby_high_w: 0.25,
        boot_high_w: 4.5,
        waits: true,
    },
    Kind {
        name: "a small computer at 5 V",
        family: Family::SmallComputer,
        from_v: 4.5,
        to_v: 5.6,
        standby_high_w: 0.45,
        boot_high_w: 10.0,
        waits: false,
    },
    Kind {
        name: "a laptop-class mainboard at 12 to 20 V",
        family: Family::Mainboard,
        from_v: 9.0,
        to_v: 21.0,
        standby_high_w: 2.1,
        boot_high_w: 30.0,
        waits: true,
    },
    Kind {
        name: "an operator panel or controller at 24 V",
        family: Family::Panel,
        from_v: 21.0,
        to_v: 30.0,
        standby_high_w: 1.7,
        boot_high_w: 25.0,
        waits: false,
    },
];

/// The kind of board that is usually fed with `volts`.
pub(super) fn by_feed(volts: f64) -> Option<&'static Kind> {
    KINDS.iter().find(|kind| (kind.from_v..kind.to_v).contains(&volts))
}

/// The kind that advice is given for, by the usual feed volts and by what log and profile say of the board in words.
///
/// At about 12 V machines, radios and controllers are fed as well: a board is taken for one of a laptop there only if
/// something speaks of its pack, charger or adapter.
pub(super) fn family(volts: f64, words: &str) -> Family {
    /// From here on to the end of that range mostly laptops are fed (common practice, no source).
    const LAPTOPS_FROM_V: f64 = 14.0;
    const OF_LAPTOPS: [&str; 6] = ["battery", "pack", "charger", "adapter", "laptop", "notebook"];
    let family = by_feed(volts).map_or(Family::Any, |kind| kind.family);
    let words = words.to_lowercase();
    let told = || OF_LAPTOPS.iter().any(|word| words.contains(word));
    if family == Family::Mainboard && volts < LAPTOPS_FROM_V && !told() { Family::Any } else { family }
}

/// Any board, where the feed volts tell nothing, under a limit of `limit_w` watts.
///
/// A limit is commonly set to half as much again as a board needs at most.
pub(super) fn unknown(limit_w: Option<f64>) -> Kind {
    /// Share of the limit that a hungry boot takes.
    const BOOT_SHARE: f64 = 0.67;
    /// Share of a hungry boot that a standby seldom exceeds: that of the kinds above, or less.
    const STANDBY_SHARE: f64 = 0.07;
    /// Where no limit is known.
    const USUAL_W: f64 = 20.0;
    let boot_high_w = limit_w.map_or(USUAL_W, |watts| BOOT_SHARE * watts).max(1.0);
    Kind {
        name: "a board of a kind that the feed volts do not tell",
        family: Family::Any,
        from_v: 0.0,
        to_v: f64::INFINITY,
        standby_high_w: STANDBY_SHARE * boot_high_w,
        boot_high_w,
        waits: true,
    }
}
