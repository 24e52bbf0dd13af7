//! Verdicts where benches are awkward: feeds that are off, slow and coarse supplies, logs that begin late, several runs in
//! one log, warm boards, slow ramps and bouncing connectors.
//!
//! The boards and supplies are the simulator's; the stages of each board are learned from five good units on a usual
//! supply. Most cases are drawn for several units, and all of them must come out right, but for one in a hundred on a
//! supply of two readings a second. What is right here is common practice, no source.

use crate::simulated::{good_of, judged, named, rows, scenario, supplies, trace_of};
use feedtale::reference::{Profile, learn};
use feedtale::simulator::{Alteration, Case, Row, Scenario, SupplyKind};
use feedtale::trace::{Header, Mode, Sample, Trace, TraceBuilder};
use feedtale::units::{Amps, Seconds, Volts};
use feedtale::verdict::{Class, Finding, Live, Sources, diagnose};
use std::collections::BTreeMap;
use std::sync::LazyLock;

const BOARDS: [&str; 3] = ["harrow-13", "wren-4", "kiln-24"];
const UNITS: std::ops::Range<u64> = 40..46;

/// The profile of every board, from good units on the usual supply.
static PROFILES: LazyLock<BTreeMap<&str, Profile>> = LazyLock::new(|| {
    let learned = |board| learn(&good_of(board, &SupplyKind::default()), &named(board)).unwrap().profile;
    BOARDS.into_iter().map(|board| (board, learned(board))).collect()
});

fn supply(name: &str) -> SupplyKind {
    supplies().into_iter().find(|kind| kind.name == name).unwrap()
}

fn verdict(trace: &Trace, board: &str) -> Finding {
    diagnose(trace, Some(&PROFILES[board]), &Sources::default())
}

/// What went wrong, one line a run; empty if every run came out as one of `right`.
#[derive(Default)]
struct Wrong(Vec<String>);

impl Wrong {
    fn check(&mut self, what: &str, finding: &Finding, right: &[Class]) {
        if !right.contains(&finding.verdict.class) {
            let said = &finding.verdict;
            self.0.push(format!("{what}: {} {:.2}, not {right:?}", said.class, said.confidence));
        }
    }

    fn none(&self) {
        assert!(self.0.is_empty(), "{} wrong\n{}", self.0.len(), self.0.join("\n"));
    }
}

/// The classes that must not be taken for one another, each as the simulator makes it.
const PLAIN: [(Case, Class); 8] = [
    (Case::FullBoot, Class::FullBoot),
    (Case::Stalled, Class::Stalled),
    (Case::Cycling, Class::Cycling),
    (Case::DroppedOut, Class::DroppedOut),
    (Case::LatchOff, Class::LatchOff),
    (Case::HardShort, Class::HardShort),
    (Case::PartialShort, Class::PartialShort),
    (Case::StandbyOnly, Class::StandbyOnly),
];

/// Every plain case of every board and unit on `kind`, changed by `change`.
fn all(kind: &SupplyKind, change: impl Fn(&mut Scenario)) -> Wrong {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for (case, class) in PLAIN {
            for unit in UNITS {
                let mut scenario = scenario(board, case, kind, unit);
                change(&mut scenario);
                let finding = judged(&scenario, &PROFILES[board]);
                wrong.check(&format!("{board} unit {unit} {case}"), &finding, &[class]);
            }
        }
    }
    wrong
}

#[test]
fn a_feed_ten_per_cent_off_changes_no_verdict() {
    for factor in [0.9, 1.1] {
        all(&SupplyKind::default(), |scenario| scenario.set_volts *= factor).none();
    }
}

/// Two readings a second, each averaged over nearly all of the time since the last: boards that try again every second or
/// two show hardly a reading that is not on its way up or down. One in a hundred may be told wrong, and none be cleared.
#[test]
fn a_supply_of_two_readings_a_second_carries_the_plain_verdicts() {
    let Wrong(wrong) = all(&supply("slow"), |_| ());
    let runs = BOARDS.len() * PLAIN.len() * UNITS.count();
    assert!(wrong.len() * 100 <= runs, "{} of {runs} wrong\n{}", wrong.len(), wrong.join("\n"));
    assert!(wrong.iter().all(|line| !line.contains(": full-boot")), "{}", wrong.join("\n"));
}

#[test]
fn the_coarse_supply_carries_every_plain_verdict() {
    all(&supply("bench-coarse"), |_| ()).none();
}

/// On 10 mA steps, 5 mA of standby are seen now and then or not at all: then standby and no draw cannot be told apart, but
/// a boot can be told from both.
#[test]
fn standby_below_the_step_of_the_readback_is_no_fault() {
    let mut wrong = Wrong::default();
    for unit in UNITS {
        let small = |case, kind: &SupplyKind| {
            let mut scenario = scenario("harrow-13", case, kind, unit);
            scenario.model.standby.watts = 0.005 * scenario.set_volts;
            scenario.model.standby.pulse = None;
            scenario
        };
        let good: Vec<_> = (1..=5)
            .map(|unit| {
                let mut scenario = scenario("harrow-13", Case::FullBoot, &SupplyKind::default(), unit);
                scenario.model.standby.watts = 0.005 * scenario.set_volts;
                scenario.model.standby.pulse = None;
                crate::simulated::logged(&scenario)
            })
            .collect();
        let profile = learn(&good, &named("harrow-13")).unwrap().profile;
        let coarse = supply("bench-coarse");
        for (case, right) in [
            (Case::FullBoot, vec![Class::FullBoot]),
            (Case::StandbyOnly, vec![Class::StandbyOnly, Class::NoDraw]),
            (Case::NoDraw, vec![Class::StandbyOnly, Class::NoDraw]),
            (Case::Cycling, vec![Class::Cycling]),
            (Case::Stalled, vec![Class::Stalled]),
            (Case::LatchOff, vec![Class::LatchOff]),
        ] {
            let finding = judged(&small(case, &coarse), &profile);
            wrong.check(&format!("unit {unit} {case}"), &finding, &right);
            if case == Case::FullBoot && !finding.departures.is_empty() {
                wrong.0.push(format!("unit {unit}: {:?}", finding.departures));
            }
        }
    }
    wrong.none();
}

fn after(rows: &[Row], from: f64) -> Vec<Row> {
    rows.iter().filter(|row| row.time >= from).map(|row| Row { time: row.time - from, ..*row }).collect()
}

#[test]
fn a_log_that_begins_after_switch_on_still_carries_a_verdict() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for (case, class) in PLAIN {
            for unit in UNITS {
                let scenario = scenario(board, case, &SupplyKind::default(), unit);
                let rows = rows(&scenario, 50.0);
                let on = scenario.operator.on_s.unwrap();
                let late = after(&rows, on + 1.0);
                // A board that starts by itself may be through its first stages, and a start that was over is not seen.
                let right = match class {
                    Class::LatchOff if board == "kiln-24" || board == "wren-4" => {
                        vec![class, Class::StandbyOnly, Class::NoDraw, Class::Inconclusive]
                    }
                    _ => vec![class],
                };
                wrong.check(
                    &format!("{board} unit {unit} {case}"),
                    &verdict(&trace_of(&scenario, &late), board),
                    &right,
                );
            }
        }
    }
    wrong.none();
}

#[test]
fn a_log_of_a_running_board_is_a_board_that_runs() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for unit in UNITS {
            let scenario = scenario(board, Case::FullBoot, &SupplyKind::default(), unit);
            let late = after(&rows(&scenario, 80.0), 45.0);
            let finding = verdict(&trace_of(&scenario, &late), board);
            wrong.check(&format!("{board} unit {unit}"), &finding, &[Class::FullBoot]);
        }
    }
    wrong.none();
}

/// `first`, then the output off for two seconds, then `second`.
fn one_after_the_other(first: &[Row], second: &[Row]) -> Vec<Row> {
    let mut rows = first.to_vec();
    let mut time = first.last().unwrap().time;
    let off = Row { volts: 0.0, amps: 0.0, ..first[0] };
    for _ in 0..20 {
        time += 0.1;
        rows.push(Row { time, ..off });
    }
    rows.extend(second.iter().map(|row| Row { time: row.time + time + 0.1, ..*row }));
    rows
}

#[test]
fn two_boots_with_the_output_cycled_between_are_two_runs_each_with_its_verdict() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for unit in UNITS {
            for (first, second) in [
                (Case::Stalled, Case::FullBoot),
                (Case::FullBoot, Case::FullBoot),
                (Case::FullBoot, Case::Stalled),
                (Case::HardShort, Case::Cycling),
                (Case::LatchOff, Case::StandbyOnly),
            ] {
                let run = |case| scenario(board, case, &SupplyKind::default(), unit);
                let joined = one_after_the_other(&rows(&run(first), 50.0), &rows(&run(second), 50.0));
                let finding = verdict(&trace_of(&run(second), &joined), board);
                let said: Vec<&str> = finding.runs.iter().map(|run| run.class.name()).collect();
                if said != [first.name(), second.name()] {
                    wrong.0.push(format!("{board} unit {unit}: {first}, {second} came out as {said:?}"));
                }
                assert_eq!(Some(finding.verdict.class), finding.runs.last().map(|run| run.class));
            }
        }
    }
    wrong.none();
}

#[test]
fn a_board_that_wakes_at_the_third_press_boots_and_one_that_never_does_is_in_standby() {
    let mut wrong = Wrong::default();
    for unit in UNITS {
        for (case, class) in [(Case::FullBoot, Class::FullBoot), (Case::StandbyOnly, Class::StandbyOnly)] {
            let mut scenario = scenario("harrow-13", case, &SupplyKind::default(), unit);
            let hold = scenario.model.hold_s;
            // Too short, too short, long enough.
            scenario.operator.presses = vec![(3.0, 0.3 * hold), (5.0, 0.4 * hold), (8.0, hold + 0.2)];
            wrong.check(&format!("unit {unit} {case}"), &judged(&scenario, &PROFILES["harrow-13"]), &[class]);
        }
    }
    wrong.none();
}

#[test]
fn a_short_that_appears_at_wake_is_a_short_and_no_stall() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for unit in UNITS {
            let waits = scenario(board, Case::StandbyOnly, &SupplyKind::default(), unit);
            let short = scenario(board, Case::HardShort, &SupplyKind::default(), unit);
            let mut rows_of = rows(&waits, 8.0);
            let end = rows_of.last().unwrap().time + 0.1;
            let on = short.operator.on_s.unwrap() + 0.4;
            rows_of.extend(
                after(&rows(&short, 30.0), on).iter().map(|row| Row { time: row.time + end, ..*row }),
            );
            let finding = verdict(&trace_of(&waits, &rows_of), board);
            wrong.check(&format!("{board} unit {unit}"), &finding, &[Class::HardShort]);
        }
    }
    wrong.none();
}

/// A board that was just running is warm (more leakage) and finds its data in caches (shorter stages).
#[test]
fn a_warm_start_boots_as_a_cold_one() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for unit in UNITS {
            let cold = scenario(board, Case::FullBoot, &SupplyKind::default(), unit);
            let mut warm = cold.clone();
            for state in std::iter::once("standby").chain(cold.model.stage_names()) {
                warm.alterations.push(Alteration { state: state.into(), power: 1.06, duration: 0.88 });
            }
            let (first, second) = (judged(&cold, &PROFILES[board]), judged(&warm, &PROFILES[board]));
            wrong.check(&format!("{board} unit {unit} cold"), &first, &[Class::FullBoot]);
            wrong.check(&format!("{board} unit {unit} warm"), &second, &[Class::FullBoot]);
        }
    }
    wrong.none();
}

/// An adapter or charger in place of the supply's own switch brings the feed up over seconds.
#[test]
fn a_slow_ramp_of_the_feed_is_neither_sag_nor_short() {
    let mut kind = SupplyKind::default();
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for seconds in [1.0, 3.0] {
            kind.rise_v_per_s = scenario(board, Case::FullBoot, &kind, 1).set_volts / seconds;
            for (case, class) in [
                (Case::FullBoot, Class::FullBoot),
                (Case::StandbyOnly, Class::StandbyOnly),
                (Case::Stalled, Class::Stalled),
                (Case::HardShort, Class::HardShort),
            ] {
                for unit in UNITS {
                    let finding = judged(&scenario(board, case, &kind, unit), &PROFILES[board]);
                    wrong.check(
                        &format!("{board} unit {unit} {case} ramp of {seconds} s"),
                        &finding,
                        &[class],
                    );
                }
            }
        }
    }
    wrong.none();
}

/// Plugged in live: the contacts bounce, the volts dip, and a fast supply sees it.
#[test]
fn a_connector_that_bounces_as_it_is_plugged_in_is_no_run_of_its_own() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for name in ["bench-fast", "bench-fine"] {
            for unit in UNITS {
                let mut scenario = scenario(board, Case::FullBoot, &supply(name), unit);
                scenario.operator.plugs_in_s = Some(2.0);
                for press in &mut scenario.operator.presses {
                    press.0 += 2.0;
                }
                let finding = judged(&scenario, &PROFILES[board]);
                wrong.check(&format!("{board} unit {unit} on {name}"), &finding, &[Class::FullBoot]);
                if finding.runs.len() != 1 {
                    wrong.0.push(format!("{board} unit {unit} on {name}: {} runs", finding.runs.len()));
                }
            }
        }
    }
    wrong.none();
}

// ---- on a growing trace ----

/// What is said after each reading of `trace`, from the first on.
fn said_live(trace: &Trace, board: &str, every: usize) -> Vec<(usize, Class, f64)> {
    let mut live = Live::new(trace.header().clone(), Some(PROFILES[board].clone()), Sources::default());
    let mut said = Vec::new();
    for index in 0..trace.len() {
        live.sample(trace.sample(index).unwrap()).unwrap();
        if index % every == 0 {
            let verdict = live.finding().verdict;
            said.push((index, verdict.class, verdict.confidence));
        }
    }
    assert_eq!(live.finding(), diagnose(trace, Some(&PROFILES[board]), &Sources::default()));
    said
}

#[test]
fn a_hard_short_is_said_within_two_updates_of_the_readback_and_stays_said() {
    for board in BOARDS {
        for kind in SupplyKind::built_in() {
            let scenario = scenario(board, Case::HardShort, kind, 47);
            let trace = trace_of(&scenario, &rows(&scenario, 10.0));
            let said = said_live(&trace, board, 1);
            let in_limit = |i: &usize| trace.amps()[*i] > 0.8 * scenario.limit;
            let seen = (0..trace.len()).find(in_limit).unwrap();
            // The second fresh reading that shows it, and no later.
            let fresh = |i: &usize| trace.volts()[*i].total_cmp(&trace.volts()[i - 1]).is_ne();
            let second = (seen + 1..trace.len()).find(fresh).unwrap();
            let first_said = said.iter().find(|(_, class, _)| *class == Class::HardShort).unwrap().0;
            assert!(first_said <= second, "{board} on {}: said at {first_said}, seen at {seen}", kind.name);
            let stays = said[first_said..].iter().all(|(_, class, _)| *class == Class::HardShort);
            assert!(stays, "{board} on {}: {:?}", kind.name, &said[first_said..]);
        }
    }
}

#[test]
fn a_verdict_is_withdrawn_when_the_evidence_stops_carrying_it() {
    for board in BOARDS {
        let scenario = scenario(board, Case::DroppedOut, &SupplyKind::default(), 48);
        let trace = trace_of(&scenario, &rows(&scenario, 60.0));
        let said = said_live(&trace, board, 5);
        let ran =
            said.iter().position(|(_, class, _)| *class == Class::FullBoot).expect("it ran for a while");
        let fell = said.iter().rposition(|(_, class, _)| *class == Class::FullBoot).unwrap();
        assert!(ran < fell && said[fell + 1..].iter().any(|(_, class, _)| *class == Class::DroppedOut));
        assert_eq!(said.last().map(|(_, class, _)| *class), Some(Class::DroppedOut), "{board}");
    }
}

/// While a sound board boots, nothing but its boot is ever said for sure.
#[test]
fn no_fault_is_said_for_sure_of_a_sound_board_on_its_way() {
    let mut wrong = Wrong::default();
    for board in BOARDS {
        for unit in UNITS {
            let scenario = scenario(board, Case::FullBoot, &SupplyKind::default(), unit);
            let trace = trace_of(&scenario, &rows(&scenario, 45.0));
            for (index, class, confidence) in said_live(&trace, board, 7) {
                let waits = matches!(class, Class::StandbyOnly | Class::NoDraw);
                let fine = waits || matches!(class, Class::Inconclusive | Class::FullBoot);
                if !fine && confidence >= 0.9 {
                    wrong.0.push(format!(
                        "{board} unit {unit} at {:.1} s: {class} {confidence:.2}",
                        trace.time()[index]
                    ));
                }
            }
        }
    }
    wrong.none();
}

/// The sample logs are named by board and class, and compared with the profiles that come with the program.
#[test]
fn every_sample_log_gets_the_verdict_that_it_is_named_for() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut wrong = Vec::new();
    let folders =
        ["logs/samples", "logs/repaired"].map(|folder| std::fs::read_dir(root.join(folder)).unwrap());
    for entry in folders.into_iter().flatten() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let trace = feedtale::trace::read(&std::fs::read(&path).unwrap()).unwrap().trace;
        let board = trace.header().board.clone().unwrap();
        let profile = std::fs::read_to_string(root.join(format!("profiles/{board}.toml"))).unwrap();
        let profile = Profile::from_toml(&profile).unwrap();
        let found = diagnose(&trace, Some(&profile), &Sources::default()).verdict.class.name();
        if name.strip_prefix(&format!("{board}-")) != Some(found) {
            wrong.push(format!("{name}: {found}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A log of two steady levels of volts and amps, in turns of so many tenths of a second, by a supply with no flutter.
fn quiet(levels: &[(usize, f64, f64)]) -> Trace {
    let level = |(count, volts, amps): &(usize, f64, f64)| std::iter::repeat_n((*volts, *amps), *count);
    let header = Header {
        set_volts: Some(Volts::constant(12.0)),
        limit: Some(Amps::constant(3.0)),
        ..Header::default()
    };
    let mut builder = TraceBuilder::new(header);
    for (tenths, (volts, amps)) in (0_u32..).zip(levels.iter().flat_map(level)) {
        let time = Seconds::constant(f64::from(tenths) / 10.0);
        let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    builder.finish()
}

#[test]
fn levels_that_repeat_to_the_digit_are_no_step_and_no_slow_readback() {
    let off = (50, 0.0, 0.0);
    let turns = |on, rest| [vec![off], [(on, 12.0, 1.0), (rest, 12.0, 0.0)].repeat(20)].concat();
    for (levels, class) in [
        (vec![off, (600, 0.5, 3.0)], Class::HardShort),
        (vec![off, (600, 12.0, 2.0)], Class::PartialShort),
        (turns(1, 5), Class::Cycling),
        (turns(20, 20), Class::Cycling),
    ] {
        let found = diagnose(&quiet(&levels), None, &Sources::default());
        assert_eq!(found.verdict.class, class, "{levels:?}: {:?}", found.verdict);
        assert!(found.verdict.confidence > 0.9, "{:?}", found.verdict);
        assert_eq!(found.log.resolution_a, None);
    }
}
