//! Profiles as a person edits them: what is written reads back, and every slip is named by line, key and remedy.

use feedtale::reference::{
    CHECK_CLASSES, Check, Envelope, Feed, Learned, PathSection, PhaseReference, Profile, ProfileError,
    SourceLog, StageMeasure,
};
use feedtale::units::{Amps, Volts};
use feedtale::verdict::Class;
use proptest::prelude::*;
use std::path::Path;

fn envelope(typical: f64) -> Envelope {
    Envelope { low: typical * 0.8, typical, high: typical * 1.25 }
}

fn phase(name: &str, watts: f64, duration: Option<f64>) -> PhaseReference {
    PhaseReference {
        name: name.into(),
        waits_for_person: name == "standby",
        mean_power: envelope(watts),
        peak_power: envelope(watts * 1.5),
        activity: envelope(watts * 0.1),
        duration: duration.map(envelope),
        energy: duration.map(|seconds| envelope(seconds * watts)),
        volts_exponent: 0.0,
        volts_exponent_sd: None,
    }
}

/// A profile of an invented radio controller.
pub(crate) fn valid() -> Profile {
    Profile {
        board: "larch-7".into(),
        description: "radio controller, one lithium cell".into(),
        feed: Feed {
            nominal: Volts::constant(3.8),
            lowest: Volts::constant(3.4),
            highest: Volts::constant(4.35),
            limit: Amps::constant(2.0),
            point: "battery connector".into(),
            cautions: vec!["Lithium cell removed: never feed across a cell.".into()],
        },
        phases: vec![
            phase("standby", 0.02, None),
            phase("firmware", 0.9, Some(2.4)),
            phase("loading", 3.2, Some(9.0)),
            phase("running", 0.85, None),
        ],
        learned: Learned {
            boards: 1,
            captures: 1,
            date: "2026-03-02".into(),
            feed: Some(Volts::constant(3.8)),
            logs: vec![SourceLog {
                name: "good-1.csv".into(),
                sha256: "ab".repeat(32),
                serial: Some("LA1".into()),
                feed: Some(Volts::constant(3.8)),
                stages: vec![StageMeasure {
                    phase: "firmware".into(),
                    mean_power: 0.91,
                    peak_power: 1.2,
                    activity: 0.07,
                    duration: Some(2.4),
                    energy: Some(2.2),
                    volts: 3.79,
                    uncertainty: 0.002,
                    seen: Some(2.4),
                    update: Some(0.1),
                }],
            }],
        },
        power_path: vec![PathSection {
            section: "charger".into(),
            proved_by: vec!["standby".into()],
            skipped_from: vec!["battery connector".into()],
        }],
        checks: vec![Check {
            class: "stalled".into(),
            stage: Some("firmware".into()),
            probe: "Look for clock and data at the flash.".into(),
        }],
    }
}

#[test]
fn a_profile_reads_back_as_it_was_written() {
    let profile = valid();
    assert_eq!(Profile::from_toml(&profile.to_toml()).unwrap(), profile);
}

/// The message after `old` was replaced by `new` in the text of a valid profile, without its line number.
fn message_after(old: &str, new: &str) -> String {
    let text = valid().to_toml();
    assert!(text.contains(old), "the profile has no {old:?}:\n{text}");
    let edited = text.replacen(old, new, 1);
    let fault = Profile::from_toml(&edited).expect_err(new);
    assert!(fault.line >= 1 && fault.line <= edited.lines().count(), "{fault}");
    fault.problem.to_string()
}

#[test]
fn a_typo_in_a_key_is_named_with_the_nearest_right_one() {
    for (old, new, expected) in [
        ("nominal_v =", "nominal_volt =", "unknown key `nominal_volt` in [feed]; did you mean `nominal_v`?"),
        (
            "name = \"firmware\"",
            "nmae = \"firmware\"",
            "unknown key `nmae` in [[phase]] 2; did you mean `name`?",
        ),
        (
            "mean_power_w = { low",
            "mean_power_w = { lwo",
            "unknown key `lwo` in mean_power_w of [[phase]] 1 (standby); did you mean `low`?",
        ),
        (
            "proved_by =",
            "proven_by =",
            "unknown key `proven_by` in [[power_path]] 1; did you mean `proved_by`?",
        ),
        ("\n[learned]", "\n[lerned]", "unknown key `lerned` in the profile; did you mean `learned`?"),
        (
            "waits_for_person = true",
            "colour = 1",
            "unknown key `colour` in [[phase]] 1 (standby); known are: order, name, waits_for_person, \
             mean_power_w, peak_power_w, activity_w, duration_s, energy_j, volts_exponent, volts_exponent_sd",
        ),
    ] {
        assert_eq!(message_after(old, new), expected);
    }
}

#[test]
fn values_that_cannot_be_are_refused_with_what_is_needed() {
    for (old, new, expected) in [
        ("nominal_v = 3.8", "nominal_v = nan", "`nominal_v` in [feed] is NaN; it must be a finite number"),
        ("limit_a = 2.0", "limit_a = -2", "`limit_a` in [feed] is -2; it must be above 0"),
        ("limit_a = 2.0", "limit_a = \"2 A\"", "`limit_a` in [feed] is text; a number is needed"),
        ("limit_a = 2.0", "", "[feed] lacks the key `limit_a`: advised current limit in amperes"),
        (
            "lowest_v = 3.4",
            "lowest_v = 4.5",
            "`lowest_v` (4.5) is above `nominal_v` (3.8) in [feed]; are they swapped?",
        ),
        (
            "{ low = 0.016, ",
            "{ low = 0.03, ",
            "`low` (0.03) is above `high` (0.025) in mean_power_w of [[phase]] 1 (standby); are they swapped?",
        ),
        (
            "typical = 0.02,",
            "typical = 0.2,",
            "`typical` (0.2) is above `high` (0.025) in mean_power_w of [[phase]] 1 (standby); are they swapped?",
        ),
        (
            "{ low = 0.016, ",
            "{ low = 16e12, ",
            "`low` in mean_power_w of [[phase]] 1 (standby) is 1.6e13; it must be 0 to 1e9",
        ),
        (
            "class = \"stalled\"",
            "class = \"staled\"",
            "`class` in [[check]] 1 names the verdict class `staled`, which does not exist; did you mean `stalled`?",
        ),
        (
            "stage = \"firmware\"",
            "stage = \"firmwear\"",
            "`stage` in [[check]] 1 names the phase `firmwear`, which does not exist; did you mean `firmware`?",
        ),
        (
            "profile = 1",
            "profile = 2",
            "profile format 2 is not known to this version, which reads format 1; update feedtale",
        ),
        (
            "board = \"larch-7\"",
            "board = \"\"",
            "`board` in the profile is empty; it gives the board model, as logs name it",
        ),
        ("boards = 1", "boards = 2", "`boards` (2) is above `captures` (1) in [learned]; are they swapped?"),
        ("boards = 1", "boards = 1.5", "`boards` in [learned] is 1.5; it must be a whole number from 0 on"),
        (
            "volts_exponent = 0.0",
            "volts_exponent = 9",
            "`volts_exponent` in [[phase]] 1 (standby) is 9; it must be 0 (constant watts), 1 (constant amps), 2 (resistive) or a number from -2 to 4",
        ),
    ] {
        assert_eq!(message_after(old, new), expected);
    }
}

#[test]
fn phases_out_of_order_or_with_the_same_name_are_refused() {
    let order = "phases stand in the order in which a good board goes through them";
    for (old, new, expected) in [
        (
            "order = 3",
            "order = 2",
            format!("[[phase]] 3 (loading): its order is 2 but it stands after the phase of order 2; {order}"),
        ),
        (
            "waits_for_person = false",
            "waits_for_person = true",
            format!("[[phase]] 2 (firmware): only the first phase can wait for a person; {order}"),
        ),
        (
            "name = \"loading\"",
            "name = \"standby\"",
            "[[phase]] 3 (standby): the name `standby` was already used in line 37; names must differ".into(),
        ),
        (
            "name = \"loading\"",
            "name = \"rest\"",
            "[[phase]] 3 (rest): `rest` is what findings call the pause between attempts; choose another name"
                .into(),
        ),
    ] {
        let found = message_after(old, new);
        let without_lines = |text: &str| text.split(" line ").next().unwrap_or("").to_owned();
        assert_eq!(without_lines(&found), without_lines(&expected));
    }
    let mut profile = valid();
    profile.phases.swap(2, 3);
    let fault = Profile::from_toml(&profile.to_toml()).unwrap_err().to_string();
    assert!(fault.contains("[[phase]] 3 (running): only the last phase"), "{fault}");
}

#[test]
fn the_line_is_that_of_the_fault() {
    let text = valid().to_toml().replace("limit_a = 2.0", "limit_a = [2]");
    let line = 1 + text.lines().position(|line| line.starts_with("limit_a")).unwrap();
    let fault = Profile::from_toml(&text).unwrap_err();
    assert_eq!(fault.to_string(), format!("line {line}: `limit_a` in [feed] is a list; a number is needed"));
    let broken = "board = \"x\"\n[feed\n";
    let fault = Profile::from_toml(broken).unwrap_err();
    assert_eq!(fault.line, 2, "{fault}");
}

#[test]
fn a_file_that_is_no_profile_is_named_by_its_path() {
    let folder = tempfile::tempdir().unwrap();
    let directory = Profile::read(folder.path()).unwrap_err();
    assert!(matches!(directory, ProfileError::Directory { .. }), "{directory}");
    let absent = folder.path().join("absent.toml");
    assert!(Profile::read(&absent).unwrap_err().to_string().starts_with(&absent.display().to_string()));
    let binary = folder.path().join("binary.toml");
    std::fs::write(&binary, b"board = 1\n\xff\xfe\x00").unwrap();
    let message = Profile::read(&binary).unwrap_err().to_string();
    assert!(message.ends_with("not UTF-8 text from byte 10 on (line 2); a profile is a TOML text file"));
}

#[test]
fn an_envelope_without_a_centre_gets_its_geometric_mean() {
    let text =
        valid().to_toml().replacen("low = 0.016, typical = 0.02, high = 0.025", "low = 1, high = 4", 1);
    assert_eq!(
        Profile::from_toml(&text).unwrap().phases[0].mean_power,
        Envelope { low: 1.0, typical: 2.0, high: 4.0 }
    );
}

#[test]
fn checks_may_name_exactly_the_classes_of_findings() {
    assert_eq!(CHECK_CLASSES, Class::ALL.map(Class::name));
}

// ---- every line, broken in every way ----

/// Ways in which a hand spoils a line `key = value`.
fn spoilt(key: &str, value: &str) -> Vec<String> {
    let mut lines: Vec<String> =
        ["", "\"", "nan", "-1e9", "1e999", "\"text\"", "[1, 2]", "{ a = 1 }", "2026-03-02", "1 2"]
            .iter()
            .map(|other| format!("{key} = {other}"))
            .collect();
    lines.extend([
        value.to_owned(),
        format!("{key} {value}"),
        format!("{key} = {value}\n{key} = {value}"),
        String::new(),
    ]);
    lines
}

#[test]
fn every_line_spoilt_in_any_way_is_read_or_refused_with_its_line() {
    let text = valid().to_toml();
    let lines: Vec<&str> = text.lines().collect();
    let mut refused = 0;
    for (at, line) in lines.iter().enumerate() {
        let Some((key, value)) = line.split_once(" = ").filter(|(key, _)| !key.starts_with('#')) else {
            continue;
        };
        for broken in spoilt(key, value) {
            let edited = [&lines[..at], &[broken.as_str()], &lines[at + 1..]].concat().join("\n");
            match Profile::from_toml(&edited) {
                Ok(profile) => assert_eq!(Profile::from_toml(&profile.to_toml()).unwrap(), profile),
                Err(fault) => {
                    refused += 1;
                    assert!((1..=edited.lines().count()).contains(&fault.line), "{broken:?}: {fault}");
                    let message = fault.problem.to_string();
                    assert!(
                        message.contains('`') || message.contains("TOML") || message.contains('['),
                        "{message}"
                    );
                }
            }
        }
    }
    assert!(refused > 300, "{refused}");
}

#[test]
fn every_key_with_one_letter_missing_is_named_with_the_right_one() {
    let text = valid().to_toml();
    let lines: Vec<&str> = text.lines().collect();
    for (at, line) in lines.iter().enumerate() {
        let Some((key, value)) = line.split_once(" = ").filter(|(key, _)| !key.starts_with(['#', ' ']))
        else {
            continue;
        };
        for letter in 0..key.len() {
            let typo = format!("{}{}", &key[..letter], &key[letter + 1..]);
            let broken = format!("{typo} = {value}");
            let edited = [&lines[..at], &[broken.as_str()], &lines[at + 1..]].concat().join("\n");
            let fault = Profile::from_toml(&edited).expect_err(&typo);
            let (line, message) = (fault.line, fault.to_string());
            assert_eq!(line, at + 1, "{message}");
            assert!(
                message.contains(&format!("`{typo}`")) && message.contains(&format!("did you mean `{key}`?")),
                "{message}"
            );
        }
    }
}

// ---- any valid profile, any edit ----

fn words() -> impl Strategy<Value = String> {
    "[!-~äµ\u{7f}]([ -~äµΩ\n\t\u{7f}\u{85}\u{1}]{0,20}[!-~Ω])?"
}

prop_compose! {
    fn any_envelope()(
        (low, up, more) in (0.0..1e6_f64, 0.0..1e6_f64, 0.0..1e6_f64)
    ) -> Envelope {
        Envelope { low, typical: low + up, high: low + up + more }
    }
}

prop_compose! {
    fn any_profile()(
        (board, description, point) in (words(), words(), words()),
        cautions in prop::collection::vec(words(), 0..3),
        volts in (1e-3..100.0_f64, 0.0..50.0_f64, 0.0..50.0_f64),
        limit in 1e-6..1e3_f64,
        stages in prop::collection::vec((any_envelope(), any_envelope(), any_envelope(), -2.0..4.0_f64), 1..7),
        waits in any::<bool>(),
        logs in prop::collection::vec((words(), "[0-9a-f]{64}", prop::option::of(words()), 0.0..1e9_f64), 0..3),
        probe in words(),
        class in 0..12_usize,
    ) -> Profile {
        let last = stages.len() - 1;
        let phases: Vec<PhaseReference> = stages
            .iter()
            .enumerate()
            .map(|(index, (mean, peak, time, exponent))| {
                let waits_for_person = waits && index == 0 && last > 0;
                let ends = index < last && !waits_for_person;
                PhaseReference {
                    name: format!("stage {index}"),
                    waits_for_person,
                    mean_power: *mean,
                    peak_power: *peak,
                    activity: *mean,
                    duration: ends.then_some(*time),
                    energy: ends.then_some(*time),
                    volts_exponent: *exponent,
                    volts_exponent_sd: (waits).then_some(0.3),
                }
            })
            .collect();
        let learned_logs: Vec<SourceLog> = logs
            .into_iter()
            .map(|(name, sha256, serial, value)| SourceLog {
                name,
                sha256,
                serial,
                feed: Some(Volts::constant(volts.0)),
                stages: vec![StageMeasure {
                    phase: "stage 0".into(),
                    mean_power: value,
                    peak_power: value,
                    activity: value,
                    duration: None,
                    energy: None,
                    volts: value,
                    uncertainty: value,
                    seen: Some(value),
                    update: None,
                }],
            })
            .collect();
        Profile {
            board,
            description,
            feed: Feed {
                lowest: Volts::constant(volts.0),
                nominal: Volts::constant(volts.0 + volts.1),
                highest: Volts::constant(volts.0 + volts.1 + volts.2),
                limit: Amps::constant(limit),
                point,
                cautions,
            },
            learned: Learned {
                boards: learned_logs.len(),
                captures: learned_logs.len(),
                date: "2026-03-02".into(),
                feed: None,
                logs: learned_logs,
            },
            power_path: vec![PathSection {
                section: "main rail".into(),
                proved_by: vec![phases[last].name.clone()],
                skipped_from: Vec::new(),
            }],
            checks: vec![Check { class: CHECK_CLASSES[class].into(), stage: None, probe }],
            phases,
        }
    }
}

proptest! {
    #[test]
    fn any_valid_profile_reads_back(profile in any_profile()) {
        let text = profile.to_toml();
        prop_assert_eq!(Profile::from_toml(&text).map_err(|fault| format!("{fault}\n{text}")), Ok(profile));
    }

    #[test]
    fn any_edit_is_read_or_refused_with_a_line(
        at in any::<prop::sample::Index>(),
        length in 0..12_usize,
        insert in "[ -~\n]{0,6}|nan|inf|1e999|\\[\\[phase\\]\\]\n|9223372036854775808",
    ) {
        let text = valid().to_toml();
        let start = at.index(text.len());
        prop_assume!(text.is_char_boundary(start));
        let mut end = (start + length).min(text.len());
        while !text.is_char_boundary(end) { end += 1; }
        let edited = format!("{}{insert}{}", &text[..start], &text[end..]);
        match Profile::from_toml(&edited) {
            Ok(profile) => {
                let again = Profile::from_toml(&profile.to_toml());
                prop_assert_eq!(again.map_err(|fault| fault.to_string()), Ok(profile));
            }
            Err(fault) => prop_assert!(fault.line >= 1 && fault.line <= edited.lines().count() + 1, "{}", fault),
        }
    }

    #[test]
    fn no_bytes_panic_the_reader(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = Profile::from_bytes(Path::new("random.toml"), &bytes).map_err(|error| error.to_string());
    }
}
