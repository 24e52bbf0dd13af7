//! Findings and tickets as other programs and people meet them.

use crate::program::feedtale;
use feedtale::ticket::{FINDING_SCHEMA, finding_json, finding_schema};
use feedtale::units::{Amps, Joules, Seconds, Volts, Watts};
use feedtale::verdict::{
    Class, Departure, Direction, Finding, Gap, LogFacts, Phase, ProfileFacts, RunVerdict, RunnerUp,
    SectionProof, SectionState, Tool, Verdict,
};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use serde_json::Value;

fn words() -> impl Strategy<Value = Option<String>> {
    proptest::option::of("[ -~]{0,12}|\\PC{0,6}")
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![-1e4..1e4, any::<f64>().prop_filter("finite", |x| x.is_finite())]
}

fn phase() -> impl Strategy<Value = Phase> {
    (any::<String>(), proptest::array::uniform9(number()), proptest::option::of(number())).prop_map(
        |(name, x, period)| Phase {
            name,
            start_s: Seconds::constant(x[0]),
            end_s: Seconds::constant(x[1]),
            mean_a: Amps::constant(x[2]),
            min_a: Amps::constant(x[3]),
            max_a: Amps::constant(x[4]),
            mean_v: Volts::constant(x[5]),
            mean_w: Watts::constant(x[6]),
            energy_j: Joules::constant(x[7]),
            activity_w: Watts::constant(x[8]),
            period_s: period.map(Seconds::constant),
        },
    )
}

fn departure() -> impl Strategy<Value = Departure> {
    let direction =
        prop::sample::select(vec![Direction::Above, Direction::Below, Direction::Longer, Direction::Shorter]);
    (any::<String>(), direction, proptest::array::uniform4(number())).prop_map(|(phase, direction, x)| {
        Departure {
            phase,
            quantity: "mean power".into(),
            direction,
            measured: x[0],
            low: x[1],
            high: x[2],
            unit: "A".into(),
            starts_s: Seconds::constant(x[3]),
        }
    })
}

fn log_facts() -> impl Strategy<Value = LogFacts> {
    let texts = proptest::collection::vec(words(), 6);
    let numbers = proptest::collection::vec(proptest::option::of(number()), 6);
    (texts, numbers, any::<u32>(), proptest::collection::vec((number(), number()), 0..3)).prop_map(
        |(text, x, samples, gaps)| LogFacts {
            path: "log.csv".into(),
            sha256: "00".into(),
            board: text[0].clone(),
            serial: text[1].clone(),
            ticket: text[2].clone(),
            feed_point: text[3].clone(),
            started: text[4].clone(),
            supply: text[5].clone(),
            set_v: x[0].map(Volts::constant),
            limit_a: x[1].map(Amps::constant),
            samples: samples as usize,
            duration_s: x[2].map(Seconds::constant),
            poll_hz: x[3],
            changed_hz: x[4],
            renewed_s: x[2].map(Seconds::constant),
            resolution_a: x[5].map(Amps::constant),
            zero_a: x[4].map(Amps::constant),
            gaps: gaps
                .into_iter()
                .map(|(start, end)| Gap { start_s: Seconds::constant(start), end_s: Seconds::constant(end) })
                .collect(),
        },
    )
}

/// A run between every two gaps.
fn runs(log: &LogFacts, class: Class) -> Vec<RunVerdict> {
    let run = |gap: &Gap| RunVerdict {
        start_s: gap.start_s,
        end_s: gap.end_s,
        class,
        confidence: 0.5,
        reached: log.board.clone(),
        stalled_in: None,
    };
    log.gaps.iter().map(run).collect()
}

fn finding() -> impl Strategy<Value = Finding> {
    let class = || prop::sample::select(Class::ALL.to_vec());
    let states =
        [SectionState::Proved, SectionState::Suspect, SectionState::NotExercised, SectionState::Unknown];
    let path = proptest::collection::vec((any::<String>(), prop::sample::select(states.to_vec())), 0..4);
    let verdict = (class(), 0.0..=1.0, words(), words(), proptest::option::of((class(), 0.0..=1.0)));
    let profile = proptest::option::of(any::<(String, u16, u16)>());
    let parts = (proptest::collection::vec(phase(), 0..3), proptest::collection::vec(departure(), 0..3));
    (log_facts(), profile, verdict, parts, path, proptest::collection::vec(any::<String>(), 0..3)).prop_map(
        |(log, profile, verdict, (phases, departures), path, texts)| Finding {
            tool: Tool { name: "feedtale".into(), version: "0.1.0".into() },
            profile: profile.map(|(name, boards, captures)| ProfileFacts {
                name,
                path: "p.toml".into(),
                sha256: "00".into(),
                boards: boards.into(),
                captures: captures.into(),
            }),
            verdict: Verdict {
                class: verdict.0,
                confidence: verdict.1,
                reached: verdict.2,
                usually_in: None,
                stalled_in: verdict.3,
                step_into: None,
                asked: None,
                tries: None,
                stays_down_s: None,
                none_could_boot: texts.first().cloned(),
                because: texts.clone(),
                runner_up: verdict.4.map(|(class, confidence)| RunnerUp { class, confidence }),
            },
            runs: runs(&log, verdict.0),
            phases,
            attempts: Vec::new(),
            fall: None,
            departures,
            power_path: path
                .into_iter()
                .map(|(section, state)| SectionProof { section, state, why: None })
                .collect(),
            log,
            next_checks: texts.clone(),
            cautions: texts.clone(),
            limits: texts,
        },
    )
}

/// The independent validator: the crate jsonschema.
fn validator() -> jsonschema::Validator {
    jsonschema::draft202012::new(&finding_schema()).expect("a valid schema")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn every_finding_holds_to_the_schema_and_reads_back(finding in finding()) {
        let json: Value = serde_json::from_slice(&finding_json(&finding)).unwrap();
        let errors: Vec<String> = validator().iter_errors(&json).map(|error| error.to_string()).collect();
        prop_assert_eq!(errors, Vec::<String>::new());
        prop_assert_eq!(serde_json::from_value::<Finding>(json).unwrap(), finding);
    }
}

#[test]
fn the_schema_refuses_what_is_no_finding() {
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let finding = finding().new_tree(&mut runner).unwrap().current();
    let good: Value = serde_json::from_slice(&finding_json(&finding)).unwrap();
    assert!(validator().is_valid(&good));
    for (pointer, wrong) in [
        ("/verdict/class", Value::from("fine")),
        ("/verdict/confidence", Value::from(1.5)),
        ("/log/samples", Value::from(-1)),
        ("/tool", Value::Null),
        ("/next_checks", Value::from("probe")),
    ] {
        let mut bad = good.clone();
        *bad.pointer_mut(pointer).unwrap() = wrong;
        assert!(!validator().is_valid(&bad), "{pointer}");
    }
}

#[test]
fn the_schema_is_printed_and_is_one_by_its_own_standard() {
    let printed: Value = serde_json::from_str(&feedtale(["schema"]).end().code(0).stdout()).unwrap();
    assert_eq!(printed, finding_schema());
    assert_eq!(
        (&printed["$id"], &printed["$schema"]),
        (&FINDING_SCHEMA.into(), &"https://json-schema.org/draft/2020-12/schema".into())
    );
    assert!(jsonschema::meta::is_valid(&printed));
}

#[test]
fn completions_and_the_manual_name_every_command() {
    let manual = feedtale(["manual"]).end().code(0).stdout();
    let shells = ["bash", "zsh", "fish", "powershell", "elvish"];
    let scripts = shells.map(|shell| feedtale(["completions", shell]).end().code(0).stdout());
    for command in ["convert", "schema", "completions", "manual"] {
        assert!(manual.contains(&command.to_uppercase()), "{command} in the manual");
        assert!(scripts.iter().all(|script| script.contains(command)), "{command} in the completions");
    }
}
