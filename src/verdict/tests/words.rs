//! What a finding says, each rule both ways, on hand-made traces of an invented board.

use super::*;
use crate::reference::{Check, PathSection};
use crate::verdict::{SectionState, Tries};

mod alike;
mod as_read;
mod bench_reading;
mod bench_rules;
mod cautions;
mod checked;
mod checks;
mod ends;
mod gaps;
mod heavy_loads;
mod lengths;
mod look_alikes;
mod near_misses;
mod one_voice;
mod order;
mod plain;
mod presses;
mod pulses;
mod ramps;
mod readings;
mod rests;
mod rises;
mod second_presses;
mod surplus;
mod switch_on;
mod toss_ups;
mod tries;

/// A bench: what is fed, how, and what the profile knows.
struct Bench {
    levels: Vec<(f64, f64, f64)>,
    presses: Vec<f64>,
    marks: Vec<(f64, &'static str)>,
    limit: f64,
    feed_point: Option<&'static str>,
    profile: Option<Profile>,
}

fn section(name: &str, proved_by: &[&str], skipped_from: &[&str]) -> PathSection {
    let owned = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    PathSection { section: name.into(), proved_by: owned(proved_by), skipped_from: owned(skipped_from) }
}

fn bench(levels: &[(f64, f64, f64)]) -> Bench {
    let mut known = profile();
    known.power_path = vec![
        section("charger", &[], &["battery connector"]),
        section("system rail", &["standby"], &[]),
        section("main regulators", &["rails"], &[]),
        section("processor", &["loading"], &[]),
        section("storage", &["idle"], &[]),
        section("display", &["idle"], &[]),
    ];
    Bench {
        levels: levels.to_vec(),
        presses: vec![4.5],
        marks: Vec::new(),
        limit: 3.0,
        feed_point: Some("battery connector"),
        profile: Some(known),
    }
}

impl Bench {
    fn find(&self) -> Finding {
        diagnose(&self.trace(), self.profile.as_ref(), &Sources::default())
    }

    fn trace(&self) -> Trace {
        let presses = self.presses.iter().map(|press| (*press, "power button"));
        let marks: Vec<(f64, &str)> = presses.chain(self.marks.iter().copied()).collect();
        let mut trace = trace_marked(&self.levels, &marks);
        trace.header_mut().limit = Some(Amps::constant(self.limit));
        trace.header_mut().feed_point = self.feed_point.map(Into::into);
        trace
    }

    /// The finding of a log in which every reading stands three times: it is asked for more often than it is renewed.
    fn find_asked_thrice(&self) -> Finding {
        let once = self.trace();
        let mut builder = TraceBuilder::new(once.header().clone());
        for sample in (0..once.len()).filter_map(|i| once.sample(i)) {
            for part in 0..3 {
                let time = Seconds::constant(sample.time.value() + f64::from(part) * PERIOD_S / 3.0);
                builder.sample(Sample { time, ..sample }).expect("in order");
            }
        }
        diagnose(&builder.finish(), self.profile.as_ref(), &Sources::default())
    }

    fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }
}

#[track_caller]
fn class(finding: &Finding, class: Class) {
    assert_eq!(finding.verdict.class, class, "{finding:#?}");
}

fn because(finding: &Finding) -> String {
    finding.verdict.because.join("\n")
}

fn checks(finding: &Finding) -> String {
    finding.next_checks.join("\n")
}

fn state(finding: &Finding, section: &str) -> (SectionState, String) {
    let proof = finding.power_path.iter().find(|proof| proof.section == section).expect("a section");
    (proof.state, proof.why.clone().unwrap_or_default())
}

const BOOT: [(f64, f64, f64); 5] = [OFF, STANDBY, RAILS, LOADING, IDLE];
const REST: (f64, f64, f64) = (2.0, SET_V, 0.0234);

fn cycling() -> Vec<(f64, f64, f64)> {
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..8 {
        levels.extend([RAILS, (1.5, SET_V, 1.0), REST]);
    }
    levels
}

fn falls_to(amps: f64) -> Vec<(f64, f64, f64)> {
    [&BOOT[..], &[(15.0, SET_V, amps)]].concat()
}

#[test]
fn what_the_current_shows_is_proved_and_what_only_an_eye_sees_is_not() {
    let booted = bench(&BOOT).find();
    class(&booted, Class::FullBoot);
    assert_eq!(state(&booted, "charger").0, SectionState::NotExercised);
    assert_eq!(state(&booted, "main regulators"), (SectionState::Proved, "the board got past rails".into()));
    let (storage, why) = state(&booted, "storage");
    assert_eq!(storage, SectionState::Unknown);
    assert!(why.starts_with("current as on good boards in idle"), "{why}");
    assert!(checks(&booted).contains("look whether image and light show"), "{}", checks(&booted));
    let (display, why) = state(&booted, "display");
    assert_eq!(display, SectionState::Unknown);
    assert!(why.starts_with("current as on good boards in idle"), "{why}");
}

#[test]
fn a_mark_tells_of_the_image() {
    let marked = |word| state(&bench(&BOOT).with(|b| b.marks.push((20.0, word))).find(), "display").0;
    assert_eq!(marked("image on screen"), SectionState::Proved);
    assert_eq!(marked("no image"), SectionState::Suspect);
    assert_eq!(marked("fan runs"), SectionState::Unknown);
}

#[test]
fn the_section_at_whose_stage_the_tries_end_is_suspect() {
    let finding = bench(&cycling()).find();
    class(&finding, Class::Cycling);
    let tries = Tries::of(&finding.attempts, &finding.log.gaps).expect("tries");
    assert_eq!(tries.count, 8);
    assert_eq!(state(&finding, "system rail").0, SectionState::Proved);
    let suspects: Vec<&str> = finding
        .power_path
        .iter()
        .filter(|proof| proof.state == SectionState::Suspect)
        .map(|proof| proof.section.as_str())
        .collect();
    assert!(suspects.contains(&"processor"), "{:#?}", finding.power_path);
    assert_ne!(state(&finding, "display").0, SectionState::Suspect);
    assert!(checks(&finding).contains("processor"), "a check names the suspect: {}", checks(&finding));
}

#[test]
fn tries_are_told_with_their_period_stage_peak_limit_and_volts() {
    let finding = bench(&cycling()).find();
    let facts = because(&finding);
    for said in [
        "8 tries from 5.0 s to 37.5 s",
        "one every 4.3",
        "loading",
        "against a limit of 3.00 A",
        "volts steady at 12.8 V",
    ] {
        assert!(facts.contains(said), "{said}: {facts}");
    }
    let sagging: Vec<(f64, f64, f64)> =
        cycling().into_iter().map(|(s, v, a)| (s, if a > 0.9 { 11.0 } else { v }, a)).collect();
    let sagging = because(&bench(&sagging).find());
    assert!(sagging.contains("volts sag from 12.8 V to 11.0 V in each try"), "{sagging}");
}

#[test]
fn a_stall_says_whether_the_load_is_alive() {
    let flat = bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]).find();
    class(&flat, Class::Stalled);
    assert!(because(&flat).contains("flat where good boards' swings"), "{}", because(&flat));
    assert!(
        because(&flat).contains("7.5 times the usual 8.00 s (good boards at most 12.8 s)"),
        "{}",
        because(&flat)
    );
    assert!(checks(&flat).contains("clock and reset last"));
    let mut levels = vec![OFF, STANDBY, RAILS];
    levels.extend((0..60).flat_map(|_| [(0.5, SET_V, 0.97), (0.5, SET_V, 1.06)]));
    let alive = bench(&levels).find();
    class(&alive, Class::Stalled);
    assert!(because(&alive).contains("swings as good boards' does"), "{}", because(&alive));
    assert!(checks(&alive).contains("it seems to be at work"));
    for finding in [flat, alive] {
        assert_eq!(state(&finding, "processor"), (SectionState::Suspect, "stuck in loading".into()));
        assert_eq!(state(&finding, "display").0, SectionState::Unknown);
    }
}

#[test]
fn a_fall_says_from_where_to_what_and_how_the_feed_did() {
    let fall = |after: f64, before_v: f64| {
        let (ran_s, _, amps) = IDLE;
        bench(&[
            OFF,
            STANDBY,
            RAILS,
            LOADING,
            (ran_s - 0.5, SET_V, amps),
            (0.5, before_v, amps),
            (15.0, SET_V, after),
        ])
        .find()
    };
    let to_standby = fall(0.0234, SET_V);
    class(&to_standby, Class::DroppedOut);
    let facts = because(&to_standby);
    assert!(facts.contains("it is back at its standby") && facts.contains("volts steady"), "{facts}");
    assert!(
        facts.contains("ran for 15.0 s in idle, then fell at 28.8 s (24.3 s after the press) from 0.625 A"),
        "{facts}"
    );
    assert_eq!(state(&to_standby, "system rail").0, SectionState::Proved);
    assert_eq!(state(&to_standby, "main regulators").0, SectionState::Suspect);
    let to_nothing = fall(0.0, SET_V);
    class(&to_nothing, Class::DroppedOut);
    assert!(because(&to_nothing).contains("its standby is gone as well"), "{}", because(&to_nothing));
    assert_eq!(state(&to_nothing, "system rail").0, SectionState::Suspect);
    assert_eq!(state(&to_nothing, "main regulators").0, SectionState::Unknown);
    let sagged = fall(0.0234, 11.0);
    assert!(because(&sagged).contains("volts sag from 12.8 V to 11.0 V"), "{}", because(&sagged));
}

#[test]
fn a_short_says_its_watts_and_warns_of_them() {
    let hard = bench(&[OFF, (20.0, 0.6, 3.0)]).find();
    class(&hard, Class::HardShort);
    assert!(because(&hard).contains("1.80 W turn to heat"), "{}", because(&hard));
    assert!(
        hard.cautions
            .iter()
            .any(|caution| caution.contains("1.80 W in one small part, less what the leads take, burns"))
    );
    assert!(!hard.cautions.iter().any(|caution| caution.contains("alcohol")), "no step uses it");
    // Of 0.2 Ω the leads may be most.
    assert!(checks(&hard).contains("four-wire"), "{}", checks(&hard));
    assert!(checks(&hard).contains("take the board off the clips"));
    // Two watts in 2 Ω: the root of 2 W × 2 Ω, and of 2 W / 2 Ω.
    let high_ohms = bench(&[OFF, (20.0, 0.6, 0.3)]).with(|b| b.limit = 0.3).find();
    class(&high_ohms, Class::HardShort);
    assert!(checks(&high_ohms).contains("or up to 2 V, 1 A (2 W) at the"), "{}", checks(&high_ohms));
    assert!(!checks(&high_ohms).contains("four-wire"), "{}", checks(&high_ohms));
    assert!(checks(&high_ohms).contains("film of alcohol"), "{}", checks(&high_ohms));
    assert!(high_ohms.cautions.iter().any(|caution| caution.contains("Alcohol burns")), "with its step");
    let booted = bench(&BOOT).find();
    assert!(!booted.cautions.iter().any(|caution| caution.contains("burn")), "{:?}", booted.cautions);
}

/// Whether a check that holds `word` is among those of the finding.
fn asks(bench: &Bench, word: &str) -> bool {
    checks(&bench.find()).contains(word)
}

const ASLEEP: [(f64, f64, f64); 2] = [OFF, (20.0, SET_V, 0.0234)];

#[test]
fn advice_suits_the_kind_of_board() {
    let of_kind = |volts: f64| {
        let set = move |b: &mut Bench| {
            let known = b.profile.as_mut().expect("one");
            known.feed.nominal = Volts::constant(volts);
            known.feed.point = "main terminals".into();
            b.feed_point = None;
        };
        bench(&ASLEEP).with(set).find()
    };
    assert!(checks(&of_kind(12.8)).contains("embedded controller"));
    for volts in [4.0, 5.0, 24.0] {
        let finding = of_kind(volts);
        let all = format!("{}\n{}", checks(&finding), finding.cautions.join("\n"));
        for word in ["embedded controller", "adapter", "drives"] {
            assert!(!all.contains(word), "{volts} V: {all}");
        }
    }
    assert!(of_kind(24.0).cautions.iter().any(|caution| caution.contains("polarity")));
    assert!(!of_kind(24.0).cautions.iter().any(|caution| caution.contains("cell")));
    assert!(of_kind(4.0).cautions.iter().any(|caution| caution.contains("lithium cell")));
}

#[test]
fn the_profiles_own_checks_stand_before_common_practice_and_are_not_repeated_by_it() {
    let own = |stage: Option<&str>| {
        bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]).with(|b| {
            let check = Check {
                class: "stalled".into(),
                stage: stage.map(Into::into),
                probe: "Swap the memory module.".into(),
            };
            b.profile.as_mut().expect("one").checks.push(check);
        })
    };
    let finding = own(Some("loading")).find();
    assert_eq!(finding.next_checks[0], "Swap the memory module.");
    assert!(!checks(&finding).contains("known-good memory module"));
    let of_another = own(Some("rails")).find();
    assert!(!checks(&of_another).contains("Swap"));
    assert!(checks(&of_another).contains("if memory and storage sit in sockets"), "{}", checks(&of_another));
}

#[test]
fn a_thin_reference_is_said() {
    let of_boards = |boards: usize| {
        bench(&BOOT)
            .with(|b| b.profile.as_mut().expect("one").learned.boards = boards)
            .find()
            .limits
            .join("\n")
    };
    assert!(of_boards(1).contains("rests on 1 board only: how far good boards differ is mostly assumed"));
    assert!(of_boards(4).contains("rests on 4 boards only; its envelopes are wide"));
    assert!(!of_boards(6).contains("rests on"));
}

#[test]
fn without_a_reference_an_awake_board_is_told_from_one_that_was_captured_too_briefly() {
    let mut long = BOOT.to_vec();
    long.push((30.0, SET_V, 0.625));
    let awake = bench(&long).with(|b| b.profile = None).find();
    class(&awake, Class::Inconclusive);
    assert!(because(&awake).contains("takes a screen or a reference"), "{}", because(&awake));
    assert!(checks(&awake).contains("feedtale learn"));
    let brief = bench(&[OFF, (0.6, SET_V, 0.0234)]).find();
    class(&brief, Class::Inconclusive);
    assert!(checks(&brief).contains("capture again"), "{}", checks(&brief));
    assert!(because(&brief).contains("good boards wait for a press of the button"), "{}", because(&brief));
    let pressed = bench(&[OFF, (0.6, SET_V, 0.0234)]).with(|b| b.presses = vec![1.3]).find();
    assert!(because(&pressed).contains("a board may take longer to wake"), "{}", because(&pressed));
    // What was read before a rise is no part of the level that it rises to.
    let rising = bench(&[OFF, (1.2, SET_V, 0.0234), (0.4, SET_V, 0.17)]).find();
    assert!(because(&rising).contains("last 4 readings: 0.170 A"), "{}", because(&rising));
    let unknown = bench(&[OFF, (1.2, SET_V, 0.0234), (0.4, SET_V, 0.42)]).find();
    assert!(because(&unknown).contains("how far it gets is not seen"), "{}", because(&unknown));
    let unasked = bench(&[OFF, (4.0, SET_V, 0.0234)]).with(|b| b.presses.clear()).find();
    class(&unasked, Class::Inconclusive);
    assert!(
        because(&unasked).contains("good boards wait for a press of the button"),
        "{}",
        because(&unasked)
    );
    let again = "s after a press of the power button, and mark that";
    assert!(checks(&brief).contains(again), "{}", checks(&brief));
    assert!(!checks(&pressed).contains(again), "{}", checks(&pressed));
}

#[test]
fn a_resolution_is_given_only_where_enough_readings_show_it() {
    let step = bench(&BOOT).find().log.resolution_a.expect("many readings").value();
    assert!((step - 0.001).abs() < 1e-9, "{step}");
    let brief = bench(&[(0.6, SET_V, 0.0234)]).with(|b| b.presses.clear()).find();
    assert_eq!(brief.log.resolution_a, None);
    assert!(brief.limits.iter().any(|limit| limit.contains("too few readings differ")));
}

#[test]
fn a_stage_that_draws_more_or_less_than_good_boards_is_said_to() {
    let in_loading = |amps: f64| because(&bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, amps)]).find());
    assert!(in_loading(1.4).contains("in loading, so this is more"), "{}", in_loading(1.4));
    assert!(in_loading(2.0).contains("in loading, so this is 2.0 times as much"), "{}", in_loading(2.0));
    assert!(!in_loading(1.016).contains("so this is"), "{}", in_loading(1.016));
}

#[test]
fn a_steady_load_without_a_reference_is_to_be_measured_before_it_is_fed_on() {
    let no_reference = |levels: &[(f64, f64, f64)]| bench(levels).with(|b| b.profile = None);
    let ohms = "measure ohms to ground on the input before";
    let steady = no_reference(&[OFF, (50.0, SET_V, 0.9)]);
    class(&steady.find(), Class::Inconclusive);
    assert!(asks(&steady, ohms), "{}", checks(&steady.find()));
    let mut long = BOOT.to_vec();
    long.push((30.0, SET_V, 0.625));
    assert!(!asks(&no_reference(&long), ohms));
}

#[test]
fn tries_that_stay_at_a_stage_s_level_are_told_by_it() {
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..8 {
        levels.extend([(3.0, SET_V, 0.172), REST]);
    }
    let low = bench(&levels).find();
    class(&low, Class::Cycling);
    let facts = because(&low);
    assert!(facts.contains("in rails") || facts.contains("no more than good boards in rails"), "{facts}");
    assert_eq!(state(&low, "main regulators").0, SectionState::Suspect);
    assert_ne!(state(&low, "processor").0, SectionState::Suspect);
}

#[test]
fn the_feed_point_of_a_profile_that_does_not_state_it_is_none() {
    let unstated = bench(&[OFF, (20.0, SET_V, 0.0)]).with(|b| {
        b.profile.as_mut().expect("one").feed.point = crate::reference::POINT_NOT_STATED.into();
        b.feed_point = None;
    });
    assert!(checks(&unstated.find()).contains("on the board side of the feed point"));
}

#[test]
fn a_short_that_comes_with_the_wake_is_sought_on_what_wakes() {
    let (at_wake, at_once) = ([OFF, STANDBY, (20.0, 0.6, 3.0)], [OFF, (20.0, 0.6, 3.0)]);
    let woken = bench(&at_wake).find();
    class(&woken, Class::HardShort);
    assert!(because(&woken).contains("the load comes with the wake"), "{}", because(&woken));
    assert_eq!(state(&woken, "system rail").0, SectionState::Proved);
    assert_eq!(
        state(&woken, "main regulators"),
        (SectionState::Suspect, "the load comes as it wakes".into())
    );
    let fed = bench(&at_once).find();
    assert!(because(&fed).contains("nothing like a start-up comes before it"), "{}", because(&fed));
    assert_eq!(state(&fed, "system rail").0, SectionState::Suspect);
    // Where no section is known, the advice still says which rails to look at.
    let unknown = |levels: &[(f64, f64, f64)]| {
        checks(&bench(levels).with(|b| b.profile.as_mut().expect("one").power_path.clear()).find())
    };
    assert!(unknown(&at_wake).contains("the rails that come up with the wake"), "{}", unknown(&at_wake));
    assert!(unknown(&at_once).contains("the input rail"), "{}", unknown(&at_once));
}

#[test]
fn of_a_section_that_lets_through_what_a_later_one_draws_the_amps_are_all_that_is_known() {
    let with_switch = |levels: &[(f64, f64, f64)]| {
        bench(levels).with(|b| {
            b.profile.as_mut().expect("one").power_path = vec![
                section("input switch", &["rails"], &[]),
                section("main regulators", &["rails"], &[]),
                section("processor", &["loading"], &[]),
            ];
        })
    };
    let asleep = with_switch(&ASLEEP).find();
    let (switch, why) = state(&asleep, "input switch");
    assert!(switch == SectionState::Unknown && why.starts_with("carries 23 mA"), "{switch:?} {why}");
    assert_eq!(state(&asleep, "main regulators").0, SectionState::Suspect);
    let dead = with_switch(&[OFF, (20.0, SET_V, 0.0)]).find();
    assert_eq!(state(&dead, "input switch"), (SectionState::Suspect, "no current passes it".into()));
}

#[test]
fn tries_that_last_a_stage_s_usual_length_end_at_the_step_into_the_next() {
    let tries = |rails: f64| {
        let mut levels = vec![OFF, STANDBY];
        for _ in 0..8 {
            levels.extend([(rails, SET_V, 0.172), REST]);
        }
        bench(&levels).find()
    };
    // Rails usually take 0.8 s.
    let whole = tries(0.8);
    class(&whole, Class::Cycling);
    let facts = because(&whole);
    assert!(facts.contains("at the end of rails, at the step into loading"), "{facts}");
    assert_eq!(whole.verdict.step_into.as_deref(), Some("loading"));
    // Both are suspect.
    for section in ["main regulators", "processor"] {
        let (state, why) = state(&whole, section);
        assert_eq!(state, SectionState::Suspect, "{section}");
        assert_eq!(why, "the tries end with rails, at the step into loading", "{section}");
    }
    assert_ne!(state(&whole, "storage").0, SectionState::Suspect);
    for seconds in [0.4, 3.0] {
        let other = tries(seconds);
        assert_eq!(other.verdict.step_into, None, "{seconds}: {}", because(&other));
        assert!(!because(&other).contains("at the end of"), "{}", because(&other));
    }
}
