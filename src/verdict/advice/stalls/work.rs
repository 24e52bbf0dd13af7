//! What the name of a stage says of its work, and what to check on a board that is stuck in it. All common practice at
//! repair benches, with no source.

use super::super::words::Words;
use crate::verdict::kind::Family;

/// What a stage does. The names are free text: only common words are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Work {
    Drive,
    Storage,
    Memory,
    Motor,
    Heater,
    Radio,
    Display,
    Bus,
    Rails,
    Boot,
    Firmware,
    System,
    SelfTest,
}

impl Work {
    /// In the order in which they decide: flash memory is storage, and a test of a motor is about the motor.
    const WORDS: [(Self, &[&str]); 13] = [
        (Self::Drive, &["spin", "spinup", "spins", "spinning", "drive", "drives", "disk", "disks"]),
        (Self::Storage, &["storage", "flash", "emmc"]),
        (Self::Memory, &["memory", "ram", "dram", "ddr", "training"]),
        (
            Self::Motor,
            &[
                "motor",
                "motors",
                "actuator",
                "actuators",
                "pump",
                "pumps",
                "fan",
                "fans",
                "servo",
                "servos",
                "stepper",
                "valve",
                "valves",
                "solenoid",
                "relay",
                "relays",
                "axis",
                "axes",
                "homing",
            ],
        ),
        (Self::Heater, &["heater", "heaters", "heating", "heat", "preheat", "boiler"]),
        (Self::Radio, &["radio", "network", "modem", "wifi", "wlan", "lan", "ethernet"]),
        (Self::Display, &["display", "backlight", "screen"]),
        (Self::Bus, &["bus", "fieldbus", "link", "partner"]),
        (
            Self::Rails,
            &[
                "rail",
                "rails",
                "power",
                "supplies",
                "regulators",
                "converters",
                "pmic",
                "core",
                "sequencer",
                "sequencing",
                "sequence",
                "alw",
            ],
        ),
        (Self::Boot, &["loader", "bootloader", "boot", "rom", "bootrom"]),
        (Self::Firmware, &["firmware", "bios", "post"]),
        (
            Self::System,
            &[
                "system",
                "os",
                "kernel",
                "services",
                "application",
                "applications",
                "app",
                "apps",
                "software",
                "login",
                "desktop",
                "home",
                "menu",
                "splash",
                "logo",
            ],
        ),
        (Self::SelfTest, &["test", "tests", "selftest", "diagnostics"]),
    ];

    /// What a stage of that name does on a board of that kind.
    pub(super) fn of(stage: &str, family: Family) -> Option<Self> {
        let words = Words::of(stage);
        let work = Self::WORDS.into_iter().find(|(_, wanted)| words.any(wanted)).map(|(work, _)| work);
        match work {
            // The drives of a machine turn its motors.
            Some(Self::Drive) if family == Family::Panel => Some(Self::Motor),
            work => work,
        }
    }

    /// What the name of a board's first stage adds once its rails, reset and clock were seen to; new software comes last.
    pub(super) fn after_the_rails(self, family: Family) -> Vec<String> {
        let [first, then, _] = self.checks("", family);
        let software = matches!(self, Self::Boot | Self::System | Self::Firmware | Self::Storage);
        if !software {
            return vec![first, then];
        }
        let look = "look at console, screen or lamps for what it does, for a board whose reset is over says something";
        vec![look.into(), format!("last, {}", other_software(family))]
    }

    /// Cheap and likely first; `at` is where the run points to, in words.
    pub(super) fn checks(self, at: &str, family: Family) -> [String; 3] {
        match self {
            Self::Drive => [
                "feed off, unplug the drive, and repeat: does the board get on?".into(),
                "feel or hear whether the drive turns at all, and measure its supply at its connector".into(),
                format!("console or screen, then the data lines{at}"),
            ],
            Self::Storage => [
                "feed off, put in other storage with a known-good image, or load the software anew if its data may be lost".into(),
                WAITS.into(),
                format!("then activity on the storage's lines, and the supplies{at}"),
            ],
            Self::Memory => [
                "if the memory sits in sockets, feed off for each: one known-good module alone, in each slot in turn".into(),
                "no screen is alive yet: look at POST code, diagnostic LED or beep".into(),
                format!("then the memory's supplies, and reset and clock{at}"),
            ],
            Self::Motor => [
                "keep clear of what it drives, which may start at any time; feed off, turn it by hand: is it free?".into(),
                "feed off, unplug the motor or load at its connector, and repeat: does the board get on, or name a fault?"
                    .into(),
                format!(
                    "then the load's own supply and its driver, and what reports that it moved (encoder, limit switch, sense \
                     resistor){at}"
                ),
            ],
            Self::Heater => [
                "feed off and cold: ohms of the temperature sensor at its plug, for the board may wait for it".into(),
                "then ohms of the heater, and its fuse or thermal cut-out".into(),
                format!("then its switch and its supply: do the amps rise as it is switched on? It gets hot unseen{at}"),
            ],
            Self::Radio => [
                "feed off, take out or unplug the radio or network module, and repeat".into(),
                WAITS.into(),
                format!("then the module's supply, reset and clock{at}"),
            ],
            Self::Bus => [
                "feed off, connect the bus with its termination, and the partner that it may wait for, and repeat".into(),
                WAITS.into(),
                format!(
                    "then the other way: feed off, take off bus and expansion modules, and repeat; then the bus's supply and \
                     lines{at}"
                ),
            ],
            Self::Display => [
                "look for an image with a lamp on the screen: it may run without its light".into(),
                "feed off, unplug the display's cable, and repeat; then another display".into(),
                format!("then the supplies of display and backlight{at}"),
            ],
            Self::Rails => rails(at),
            Self::Boot => boot(at, family),
            Self::Firmware => [
                "look at POST code, diagnostic LED, beep, screen or console for where it stops".into(),
                "feed off for each: take out storage and cards; if memory sits in sockets, one known-good module alone".into(),
                format!("then the firmware's memory chip: supply, activity on its lines, and its contents{at}"),
            ],
            Self::System => [
                WAITS.into(),
                format!("then {}", other_software(family)),
                format!("then feed off, unplug what it may wait for (network, ports, modules), and repeat; then the data lines{at}"),
            ],
            Self::SelfTest => [
                "look at display, lamps or console for the code or step that the test stops at".into(),
                "feed off for each: unplug what the test drives or reads (sensors, motors, modules), one by one, and repeat"
                    .into(),
                format!("then supply and signals of what that step tests{at}"),
            ],
        }
    }
}

/// The same check of a board that goes off in the stage: then nothing waits or repeats, and what counts is what it did last.
pub(super) fn in_a_try(check: &str) -> String {
    const OF_A_STALL: [&str; 4] = [
        " for what it waits for or repeats",
        " for what it looks for or repeats: it starts from a medium here",
        " for where it stops",
        " for the code or step that the test stops at",
    ];
    match OF_A_STALL.iter().find_map(|ending| check.strip_suffix(ending)) {
        Some(look) => format!(
            "{} during a try: what comes last before it goes off?",
            look.replacen("look at", "watch", 1)
        ),
        // Nor does it wait for a partner.
        None => check.replace(", and the partner that it may wait for,", ""),
    }
}

/// What software is asked that goes on no further.
const WAITS: &str = "look at console or screen for what it waits for or repeats";

/// A board whose rails may not all be up.
pub(super) fn rails(at: &str) -> [String; 3] {
    [
        format!("measure every rail{at}: the one that is missing or low names its regulator"),
        "then enable and power-good of the converters that come next: which has its enable and gives nothing?".into(),
        "feed off: ohms to ground on the rail that stays down: an overload there holds it".into(),
    ]
}

/// What a board wants whose rails are up.
pub(super) const RESET_AND_CLOCK: &str = "if every rail is up: the processor's reset and clock";

/// A board that looks for what it is to start from, after a stage that shows its rails.
fn boot(at: &str, family: Family) -> [String; 3] {
    [
        "look at console, screen or lamps for what it looks for or repeats: it starts from a medium here"
            .into(),
        other_software(family).into(),
        format!("then activity on the boot medium's lines, its supply, and reset and clock{at}"),
    ]
}

/// Another system to start from, as boards of that kind let one.
const fn other_software(family: Family) -> &'static str {
    match family {
        Family::Handheld => "load its software anew, if its data may be lost",
        _ => {
            "feed off, put in another boot medium with a known-good image, or load its software anew if its data may be lost"
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
            ("motor-test", Some(Work::Motor)),
            ("self-test", Some(Work::SelfTest)),
            ("pre-heat", Some(Work::Heater)),
            ("boot loader", Some(Work::Boot)),
            ("POST", Some(Work::Firmware)),
            ("kernel", Some(Work::System)),
            ("core", Some(Work::Rails)),
            ("busy", None),
            ("program, drivers", None),
            ("loading", None),
            ("robot", None),
        ] {
            assert_eq!(Work::of(name, Family::Any), work, "{name}");
        }
    }

    #[test]
    fn the_drives_of_a_machine_are_motors() {
        assert_eq!(Work::of("drives", Family::Panel), Some(Work::Motor));
        assert_eq!(Work::of("drives", Family::Mainboard), Some(Work::Drive));
    }

    #[test]
    fn software_comes_before_rails_in_a_loader_and_after_them_where_nothing_came_before() {
        let later = Work::Boot.checks("", Family::SmallComputer);
        assert!(later[0].contains("console") && later[1].contains("boot medium"), "{later:?}");
        let first = Work::Boot.after_the_rails(Family::SmallComputer);
        assert!(first[1].starts_with("last, feed off, put in another boot medium"), "{first:?}");
        assert!(!first.concat().contains("it starts from a medium"), "{first:?}");
    }
}
