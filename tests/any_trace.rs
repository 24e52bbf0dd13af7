//! Whatever a log holds, a finding, a picture and a ticket come of it, or an error that says why not; never a crash.

use feedtale::reference::Profile;
use feedtale::render::{self, Format, Options, Run, Size};
use feedtale::ticket::{Material, Notes, folder};
use feedtale::trace::{EventKind, Header, Mode, Sample, Trace, TraceBuilder};
use feedtale::units::{Amps, Seconds, Volts};
use feedtale::verdict::{Sources, diagnose};
use proptest::prelude::*;
use std::path::Path;

/// A reading: time since the one before, volts, amps.
type Step = (f64, f64, f64);

fn amount(usual: f64) -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => 0.0..usual,
        2 => Just(0.0),
        1 => -usual..usual,
        1 => prop::sample::select(vec![1e-12, 1e-6, 1e6, -1e6, 1e12, f64::MIN_POSITIVE]),
    ]
}

fn step() -> impl Strategy<Value = Step> {
    let pause = prop_oneof![6 => 0.01..0.3_f64, 1 => Just(1e-9), 1 => 1.0..1e5_f64];
    (pause, amount(14.0), amount(3.0))
}

/// A run of levels, each held for some readings, so that there is something to find.
fn steps() -> impl Strategy<Value = Vec<Step>> {
    let level = (step(), 1..40_usize).prop_map(|(step, count)| vec![step; count]);
    let levels = prop::collection::vec(level, 0..9).prop_map(|levels| levels.concat());
    prop_oneof![1 => prop::collection::vec(step(), 1..4), 4 => levels]
}

fn event() -> impl Strategy<Value = EventKind> {
    prop_oneof![
        Just(EventKind::OutputOn),
        Just(EventKind::OutputOff),
        Just(EventKind::Gap),
        Just(EventKind::LinkLost),
        Just(EventKind::Mark("power button".into())),
        any::<String>().prop_map(EventKind::Mark),
        any::<String>().prop_map(EventKind::Trip),
        amount(14.0).prop_map(|volts| EventKind::SetVolts(Volts::constant(volts))),
    ]
}

fn trace() -> impl Strategy<Value = Trace> {
    let set = prop::option::of((amount(14.0), amount(3.0)));
    (steps(), prop::collection::vec((0..200_usize, event()), 0..6), set, any::<Option<String>>()).prop_map(
        |(steps, events, set, board)| {
            let header = Header {
                set_volts: set.map(|(volts, _)| Volts::constant(volts)),
                limit: set.map(|(_, amps)| Amps::constant(amps)),
                board,
                ..Header::default()
            };
            built(header, &steps, &events)
        },
    )
}

fn built(header: Header, steps: &[Step], events: &[(usize, EventKind)]) -> Trace {
    let mut builder = TraceBuilder::new(header);
    let mut now = 0.0;
    for (index, &(pause, volts, amps)) in steps.iter().enumerate() {
        now += pause;
        let mode = [Mode::Unknown, Mode::ConstantVoltage, Mode::ConstantCurrent][index % 3];
        let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
        builder.sample(Sample { time: Seconds::constant(now), volts, amps, mode, span: None }).unwrap();
        for (_, kind) in events.iter().filter(|(at, _)| *at == index) {
            builder.event(Seconds::constant(now), kind.clone()).unwrap();
        }
    }
    builder.finish()
}

fn profile() -> Profile {
    let text = include_str!("../profiles/harrow-13.toml");
    Profile::from_bytes(Path::new("harrow-13.toml"), text.as_bytes()).unwrap()
}

fn small(format: Format) -> Options {
    Options { format, size: Size::new(640, 480).unwrap(), ..Options::default() }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    #[test]
    fn any_trace_gives_a_finding_and_its_pictures(
        trace in trace(),
        other in trace(),
        with_profile in any::<bool>(),
    ) {
        let profile = with_profile.then(profile);
        let of = |trace: &Trace| diagnose(trace, profile.as_ref(), &Sources::default());
        let (finding, another) = (of(&trace), of(&other));
        let runs = [Run { trace: &trace, finding: &finding }, Run { trace: &other, finding: &another }];
        let (png, svg) = (small(Format::Png), small(Format::Svg));
        let pictures = [
            render::timeline(&trace, profile.as_ref(), &finding, &png),
            render::timeline(&trace, profile.as_ref(), &finding, &svg),
            render::before_after(runs[0], runs[1], profile.as_ref(), &png),
            render::overlay(&runs, profile.as_ref(), &svg),
        ];
        for picture in &pictures[..2] {
            prop_assert_eq!(picture.is_ok(), !trace.is_empty());
        }
        for picture in &pictures[2..] {
            prop_assert_eq!(picture.is_ok(), !trace.is_empty() && !other.is_empty(), "{:?}", picture.as_ref().err());
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    #[test]
    fn any_trace_gives_a_ticket(trace in trace(), symptom in any::<String>()) {
        let finding = diagnose(&trace, None, &Sources::default());
        let notes = Notes { symptom: Some(symptom), note: None };
        let material = Material { log: b"", log_name: "", trace: &trace, profile: None, finding: &finding, notes: &notes };
        prop_assert_eq!(folder(&material).is_ok(), !trace.is_empty());
    }
}
