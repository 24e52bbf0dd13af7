//! What the customer's words and the run say together: what is left to suspect.
//!
//! After a full boot the fault that the customer saw is one that this run did not show, and what the run proves narrows it
//! down. A run that shows a fault is held against the words: either it is what they describe, or theirs is still to be
//! tested when this one is mended. The words are looked for in English; what is said here is common practice at repair benches, with no source.

use crate::verdict::{COMMON, Class, Direction, Family, Finding, SectionState};

/// What a customer complains of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Complaint {
    Charging,
    Dead,
    GoesOff,
    DrainsBattery,
    NoPicture,
}

impl Complaint {
    const ALL: [Self; 5] = [Self::Charging, Self::Dead, Self::GoesOff, Self::DrainsBattery, Self::NoPicture];

    /// Words of which one is in the complaint, and words of which one must stand in the same clause.
    const fn words(self) -> (&'static [&'static str], &'static [&'static str]) {
        const NOT: &[&str] =
            &["not ", "n't", "no ", "never", "cannot", "stop", "fail", "slow", "unable", "only", "refuse"];
        match self {
            Self::Charging => (&["charg"], NOT),
            Self::Dead => {
                (&["turn on", "switch on", "power on", "power up", "start", "boot", "wake", "power"], NOT)
            }
            Self::GoesOff => (
                &[
                    "shut",
                    "switches off",
                    "turns off",
                    "goes off",
                    "dies",
                    "restart",
                    "reboot",
                    "crash",
                    "freez",
                    "hang",
                ],
                &[""],
            ),
            Self::DrainsBattery => (&["drain", "battery life", "goes flat", "empties"], &[""]),
            Self::NoPicture => (
                &["picture", "image", "display", "screen", "backlight"],
                &["no ", "black", "dark", "blank", "n't", "not "],
            ),
        }
    }

    /// Whether a run of that class is what the customer saw.
    const fn is_shown_by(self, class: Class) -> bool {
        match self {
            Self::Dead => !matches!(class, Class::FullBoot | Class::DroppedOut | Class::Inconclusive),
            Self::GoesOff => matches!(class, Class::DroppedOut | Class::Cycling | Class::LatchOff),
            Self::NoPicture => matches!(class, Class::Stalled | Class::StandbyOnly | Class::Cycling),
            Self::DrainsBattery => matches!(class, Class::ExcessStandby),
            Self::Charging => false,
        }
    }

    fn is_in(self, symptom: &str) -> bool {
        let (about, trouble) = self.words();
        let clauses = symptom.split(['.', ',', ';', ':', '\n']).flat_map(|part| part.split(" but "));
        let any = |clause: &str, words: &[&str]| words.iter().any(|word| clause.contains(word));
        clauses.into_iter().any(|clause| any(clause, about) && any(clause, trouble))
    }
}

/// What is left to suspect, a line a complaint; nothing if the words or the run do not carry it.
pub(super) fn sharpen(symptom: &str, finding: &Finding) -> Vec<String> {
    // Apostrophes are typed in two ways.
    let symptom = symptom.to_lowercase().replace('\u{2019}', "'");
    let complaints = Complaint::ALL.into_iter().filter(|complaint| complaint.is_in(&symptom));
    match finding.verdict.class {
        Class::FullBoot => {
            complaints.map(|complaint| format!("{}{COMMON}", left(complaint, finding))).collect()
        }
        Class::Inconclusive => Vec::new(),
        _ => complaints.filter_map(|complaint| held_against(complaint, finding)).collect(),
    }
}

/// What a run that shows a fault says of the complaint.
fn held_against(complaint: Complaint, finding: &Finding) -> Option<String> {
    if complaint.is_shown_by(finding.verdict.class) {
        let suspect = sections(finding, SectionState::Suspect);
        let suspect = if suspect.is_empty() { String::new() } else { format!("; suspect: {suspect}") };
        return Some(format!("this run shows what the customer describes{suspect}"));
    }
    let untried = sections(finding, SectionState::NotExercised);
    (complaint == Complaint::Charging && !untried.is_empty())
        .then(|| format!("charging was not tried in this run ({untried}): test it when the board boots"))
}

fn left(complaint: Complaint, finding: &Finding) -> String {
    match complaint {
        Complaint::Charging => charging(finding),
        Complaint::Dead => dead(finding),
        Complaint::GoesOff => {
            "no fall was seen in this run: a fault that comes with warmth, load or movement needs \
                               a longer one, with load and light pressure on the board"
                .into()
        }
        Complaint::DrainsBattery => drains(finding),
        Complaint::NoPicture => {
            let outside = if Family::of_finding(finding) == Family::Mainboard {
                "; try an outside display"
            } else {
                ""
            };
            format!(
                "by its power the board gets all the way: the display, its cable and connector, and the backlight's own \
                 supply are what is left{outside}"
            )
        }
    }
}

fn dead(finding: &Finding) -> String {
    let rest = match Family::of_finding(finding) {
        Family::Panel => "its wiring, and the machine's own supply",
        Family::SmallComputer => "and the supply and cable that it is used with",
        Family::Any => "and the supply, cable or pack that it is used with",
        _ => "the button with its lead, and the pack or adapter itself",
    };
    format!(
        "the board starts when fed at the {}: if it does not start in use, {}, {rest} are what is left",
        feed_point(finding),
        untried(finding, "what the feed point skipped")
    )
}

fn charging(finding: &Finding) -> String {
    let point = feed_point(finding);
    let at_battery = ["battery", "pack", "cell"].iter().any(|word| point.to_lowercase().contains(word));
    if at_battery {
        let sections = untried(finding, "the charging path and the inlets");
        return format!(
            "fed at the {point} the board boots fully, so what draws from there works: {sections} are what is left"
        );
    }
    format!(
        "fed at the {point} the board boots fully, which says nothing of charging: the charger's way to the battery, \
         its connector and the pack are what is left; measure the volts and amps at the battery connector"
    )
}

fn drains(finding: &Finding) -> String {
    let surplus = finding
        .departures
        .iter()
        .find(|departure| departure.phase == "standby" && departure.direction == Direction::Above);
    match surplus {
        Some(departure) => format!(
            "standby draws {} where good boards draw {} to {} {unit}: that alone empties a battery sooner",
            crate::render::words::quantity(departure.measured, &departure.unit, finding.log.resolution_a),
            crate::units::figures(departure.low, 3),
            crate::units::figures(departure.high, 3),
            unit = departure.unit,
        ),
        None => "this run shows no surplus in standby: the pack itself, and what the customer runs, are what is left"
            .into(),
    }
}

/// The sections that this feed point does not pass, or `or` if the profile names none.
fn untried(finding: &Finding, or: &str) -> String {
    let names = sections(finding, SectionState::NotExercised);
    if names.is_empty() { or.to_owned() } else { format!("{or} ({names})") }
}

fn sections(finding: &Finding, state: SectionState) -> String {
    let of_state = finding.power_path.iter().filter(|proof| proof.state == state);
    of_state.map(|proof| proof.section.as_str()).collect::<Vec<_>>().join(", ")
}

fn feed_point(finding: &Finding) -> &str {
    finding.log.feed_point.as_deref().filter(|point| !point.trim().is_empty()).unwrap_or("feed point")
}

#[cfg(test)]
mod tests {
    use super::super::tests::finding;
    use super::*;

    fn booted() -> Finding {
        let mut finding = finding();
        finding.verdict.class = Class::FullBoot;
        finding
    }

    #[test]
    fn a_board_that_boots_from_its_battery_connector_and_does_not_charge_leaves_the_charging_path() {
        for words in
            ["Does not charge", "doesn\u{2019}t charge any more", "starts fine, but stopped charging"]
        {
            let said = sharpen(words, &booted());
            assert_eq!(
                said,
                [
                    "fed at the battery connector the board boots fully, so what draws from there works: the charging \
                  path and the inlets (adapter inlet, charger) are what is left (common practice)"
                ]
            );
        }
    }

    #[test]
    fn what_is_left_suits_the_kind_of_board() {
        let said = |volts: f64, words: &str| {
            let mut finding = booted();
            finding.log.set_v = Some(crate::units::Volts::constant(volts));
            sharpen(words, &finding).join("\n")
        };
        assert!(said(12.8, "won't turn on").contains("pack or adapter"));
        assert!(said(24.0, "won't turn on").contains("machine's own supply"));
        assert!(!said(24.0, "won't turn on").contains("pack"));
        assert!(said(12.8, "black screen").contains("outside display"));
        assert!(!said(4.0, "black screen").contains("outside display"));
    }

    #[test]
    fn a_board_at_twelve_volts_that_nothing_ties_to_a_laptop_has_no_button_lead_and_no_adapter() {
        let mut finding = booted();
        finding.log.feed_point = Some("main terminals".into());
        finding.power_path.clear();
        let said = sharpen("won't turn on, black screen", &finding).join("\n");
        assert!(!said.contains("adapter") && !said.contains("outside display"), "{said}");
        assert!(said.contains("supply, cable or pack"), "{said}");
    }

    #[test]
    fn fed_at_the_inlet_nothing_is_proved_of_charging() {
        let mut finding = booted();
        finding.log.feed_point = Some("adapter inlet".into());
        let said = sharpen("will not charge", &finding);
        assert!(said[0].contains("says nothing of charging"), "{said:?}");
    }

    #[test]
    fn each_complaint_is_understood_and_nothing_is_read_into_others() {
        let complaints = |words: &str| -> Vec<Complaint> {
            Complaint::ALL.into_iter().filter(|complaint| complaint.is_in(words)).collect()
        };
        let cases: [(&str, &[Complaint]); 8] = [
            ("won't turn on", &[Complaint::Dead]),
            ("shuts down after a minute", &[Complaint::GoesOff]),
            ("battery drains overnight", &[Complaint::DrainsBattery]),
            ("black screen", &[Complaint::NoPicture]),
            ("charges, but no picture", &[Complaint::NoPicture]),
            ("charges well", &[]),
            ("keyboard sticks", &[]),
            ("", &[]),
        ];
        for (words, expected) in cases {
            assert_eq!(complaints(words), expected, "{words:?}");
        }
    }

    #[test]
    fn a_board_that_shows_its_fault_is_not_explained_away() {
        let said = |class, words: &str| {
            let mut finding = booted();
            finding.verdict.class = class;
            sharpen(words, &finding)
        };
        assert_eq!(
            said(Class::Stalled, "does not charge"),
            ["charging was not tried in this run (adapter inlet, charger): test it when the board boots"]
        );
        assert_eq!(
            said(Class::NoDraw, "won't turn on"),
            ["this run shows what the customer describes; suspect: firmware memory"]
        );
        assert_eq!(said(Class::DroppedOut, "won't turn on"), Vec::<String>::new());
        for class in Class::ALL.into_iter().filter(|class| *class != Class::FullBoot) {
            let lines = said(class, "does not charge, turns off, no picture, drains, won't boot");
            assert!(!lines.iter().any(|line| line.contains("are what is left")), "{class}: {lines:?}");
        }
    }
}
