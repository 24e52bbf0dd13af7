//! Verdict, departures, limits and checks speak with one voice, and say of a board only what it has.

use super::checks::place;
use super::*;

fn limits(finding: &Finding) -> String {
    finding.limits.join("\n")
}

#[test]
fn the_mean_of_a_level_is_that_of_its_readings_over_the_time_that_is_said() {
    // It swings, and begins with its low side: what does not average over the edge is of the level.
    let swings = [(0.3, SET_V, 0.55), (0.6, SET_V, 0.7)].repeat(20);
    let booted = bench(&[&[OFF, STANDBY, RAILS, LOADING][..], &swings].concat());
    let (finding, trace) = (booted.find(), booted.trace());
    class(&finding, Class::FullBoot);
    let last = finding.phases.last().expect("a phase");
    let read: Vec<f64> = (0..trace.len())
        .filter(|i| trace.time()[*i] >= last.start_s.value() - 1e-9)
        .map(|i| trace.amps()[i])
        .collect();
    #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
    let mean = read.iter().sum::<f64>() / read.len() as f64;
    // Less than the two readings at its begin are worth: 1.1 mA.
    assert!((last.mean_a.value() - mean).abs() < 0.0005, "{} against {mean}", last.mean_a.value());
}

#[test]
fn a_standby_that_the_verdict_condemns_is_a_departure_and_no_open_question() {
    let draws = |amps: f64| {
        bench(&[OFF, (30.0, SET_V, amps)])
            .with(|b| b.profile.as_mut().expect("one").phases[0].mean_power.high = 0.55)
            .find()
    };
    // Good boards stand by at up to 43 mA; four stages together allow some 60 mA.
    let excess = draws(0.052);
    class(&excess, Class::ExcessStandby);
    assert!(excess.departures.iter().any(|departure| departure.phase == "standby"), "{excess:#?}");
    assert!(!limits(&excess).contains("no further than one of"), "{}", limits(&excess));
    let usual = draws(0.03);
    class(&usual, Class::StandbyOnly);
    assert_eq!(usual.departures, []);
}

#[test]
fn a_length_outside_the_band_of_its_stage_that_is_no_departure_is_said_to_be_none() {
    // Loading takes 4.8 to 12.8 s; four stages together allow some 16 s.
    let lasts = |seconds: f64| bench(&[OFF, STANDBY, RAILS, (seconds, SET_V, 1.016), IDLE]).find();
    let near = lasts(14.5);
    class(&near, Class::FullBoot);
    assert_eq!(near.departures, []);
    let said = "loading lasts longer than good boards': 14.5 s against 4.80 to 12.8 s";
    assert!(because(&near).contains(said), "{}", because(&near));
    assert!(limits(&near).contains("whether loading lasts too long, or"), "{}", limits(&near));
    for seconds in [8.0, 12.9] {
        assert!(
            !limits(&lasts(seconds)).contains("whether loading"),
            "{seconds}: {}",
            limits(&lasts(seconds))
        );
    }
    assert!(!lasts(40.0).departures.is_empty(), "far outside is a departure");
}

#[test]
fn a_board_without_a_known_standby_is_held_against_what_it_drew_itself() {
    let after = |amps: f64| {
        let levels = [OFF, (4.0, SET_V, 0.038), (6.8, SET_V, 1.0), (30.0, SET_V, amps)];
        let latched = bench(&levels).with(|b| b.profile = None).find();
        class(&latched, Class::LatchOff);
        because(&latched)
    };
    assert!(after(0.0234).contains("less than the 38 mA before its first start"), "{}", after(0.0234));
    assert!(after(0.038).contains("as before its first start"), "{}", after(0.038));
    for amps in [0.0234, 0.038] {
        assert!(!after(amps).contains("back at its standby"), "{}", after(amps));
    }
}

#[test]
fn a_standby_that_is_another_after_a_try_is_said_in_both_figures() {
    let after = |before: f64, amps: f64| {
        because(&bench(&[OFF, (4.0, SET_V, before), RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, amps)]).find())
    };
    let another = after(0.029, 0.019);
    assert!(
        another.contains(
            "as much as some good boards stand by at, and 10 mA less than the 29 mA before its first start"
        ),
        "{another}"
    );
    let about = after(0.0234, 0.0201);
    assert!(about.contains("about its standby again (23 mA before its first start)"), "{about}");
    assert!(!about.contains("back at its standby"), "{about}");
    let same = after(0.0234, 0.0225);
    assert!(same.contains("it is back at its standby") && !same.contains("before its first start"), "{same}");
}

#[test]
fn more_than_boards_of_a_kind_draw_asleep_is_said_with_how_much_more() {
    let asleep = |amps: f64| because(&bench(&[OFF, (40.0, SET_V, amps)]).with(|b| b.profile = None).find());
    assert!(asleep(0.2).contains("1.2 times 2.10 W, which boards of this kind seldom"), "{}", asleep(0.2));
    assert!(asleep(0.0234).contains("below 2.10 W, which boards of this kind seldom"), "{}", asleep(0.0234));
}

#[test]
fn leads_are_ruled_out_first_only_where_they_may_be_all_of_the_short() {
    let clips = "may be leads that touch";
    let of_ohms = |ohms: f64| bench(&[OFF, (20.0, 2.0 * ohms, 2.0)]).with(|b| b.limit = 2.0);
    let low = of_ohms(0.2).find();
    class(&low, Class::HardShort);
    assert!(checks(&low).contains("0.2 Ω may be leads that touch"), "{}", checks(&low));
    let part = checks(&of_ohms(0.4).find());
    assert!(part.contains("which keep the supply in its limit: rule that out first"), "{part}");
    for ohms in [0.6, 0.9] {
        let higher = of_ohms(ohms).find();
        class(&higher, Class::HardShort);
        assert!(!checks(&higher).contains(clips), "{ohms}: {}", checks(&higher));
    }
}

#[test]
fn ohms_that_the_leads_are_in_are_said_to_be_the_total() {
    let of_ohms = |ohms: f64| checks(&bench(&[OFF, (20.0, ohms, 1.0)]).with(|b| b.limit = 1.0).find());
    let total = of_ohms(0.45);
    assert!(total.contains("about 0.45 Ω or less (leads included)"), "{total}");
    let clear = of_ohms(1.5);
    assert!(!clear.contains("the leads"), "{clear}");
}

#[test]
fn a_standby_that_is_hardly_read_is_no_limit_of_a_board_that_hangs() {
    let coarse = |levels: &[(f64, f64, f64)]| {
        let rounded: Vec<(f64, f64, f64)> =
            levels.iter().map(|(s, v, a)| (*s, *v, (a * 20.0).round() / 20.0)).collect();
        let mut trace = crate::trace::TraceBuilder::new(trace(&rounded).header().clone());
        let read = super::trace(&rounded);
        for index in 0..read.len() {
            let sample = read.sample(index).expect("a sample");
            // Two neighbouring values at every level show the step.
            let amps = (sample.amps.value() * 20.0).round() / 20.0 + if index % 9 == 4 { 0.05 } else { 0.0 };
            trace.sample(crate::trace::Sample { amps: Amps::constant(amps), ..sample }).expect("in order");
        }
        let finding = diagnose(&trace.finish(), bench(&[]).profile.as_ref(), &Sources::default());
        (finding.verdict.class, limits(&finding))
    };
    let (stalled, said) = coarse(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]);
    assert_eq!(stalled, Class::Stalled);
    assert!(!said.contains("barely visible"), "{said}");
}

#[test]
fn a_board_that_is_stuck_in_its_first_stage_is_asked_for_its_rails_before_its_medium() {
    let stuck = |name: &'static str| {
        bench(&[OFF, (60.0, SET_V, 0.172)])
            .with(|b| {
                let known = b.profile.as_mut().expect("one");
                known.phases.remove(0);
                known.power_path.clear();
                known.phases[0].name = name.into();
                b.presses.clear();
            })
            .find()
    };
    let loader = stuck("loader");
    class(&loader, Class::Stalled);
    assert!(place(&loader, "every rail") < place(&loader, "reset and clock"), "{loader:#?}");
    assert!(place(&loader, "reset and clock") < place(&loader, "console"), "{loader:#?}");
    assert!(place(&loader, "console") < place(&loader, "boot medium"), "{loader:#?}");
    assert_eq!(place(&stuck("rails"), "measure every rail"), 0);
    assert_eq!(place(&stuck("stage 1"), "measure every rail"), 0);
    let motor = stuck("motor-test");
    assert!(motor.next_checks[0].contains("keep clear"), "{motor:#?}");
    for check in &loader.next_checks {
        assert!(check.ends_with("(common practice)"), "{check}");
    }
    // A stage that takes 0.8 s shows its level in a minute.
    assert!(!limits(&loader).contains("only roughly"), "{}", limits(&loader));
}

#[test]
fn tries_that_last_for_seconds_are_asked_for_what_their_stage_does() {
    let tries = |name: &'static str| {
        let mut levels = vec![OFF, STANDBY];
        for _ in 0..8 {
            levels.extend([RAILS, (6.0, SET_V, 1.0), REST]);
        }
        bench(&levels).with(|b| b.profile.as_mut().expect("one").phases[2].name = name.into()).find()
    };
    let bus = tries("bus");
    class(&bus, Class::Cycling);
    assert!(place(&bus, "its termination") < place(&bus, "with a scope"), "{bus:#?}");
    assert!(!checks(&bus).contains("known-good image"), "{}", checks(&bus));
    assert!(checks(&tries("loading")).contains("known-good image"));
    assert!(checks(&tries("core")).contains("known-good image"), "rails that go are for the scope");
}

#[test]
fn what_one_reading_shows_is_no_stretch_of_time() {
    let trace = trace(&[OFF, (0.1, SET_V, 0.0234)]);
    let brief = diagnose(&trace, bench(&[]).profile.as_ref(), &Sources::default());
    class(&brief, Class::Inconclusive);
    let said = because(&brief);
    assert!(said.contains("a single reading with the feed up"), "{said}");
    assert!(said.contains("within 0.1 s of switch-on"), "{said}");
    assert!(!said.contains("0 s of feed"), "{said}");
}

#[test]
fn a_level_that_a_board_woke_to_is_said_once_and_a_reference_is_what_it_takes() {
    let woke = bench(&BOOT).with(|b| b.profile = None).find();
    class(&woke, Class::Inconclusive);
    assert_eq!(because(&woke).matches("0.625 A").count(), 1, "{}", because(&woke));
    assert!(checks(&woke).contains("feedtale learn"), "{}", checks(&woke));
}

#[test]
fn feed_volts_that_tell_no_kind_of_board_suggest_none() {
    let mut trace = trace(&[OFF, (20.0, 7.4, 0.0234)]);
    trace.header_mut().set_volts = Some(Volts::constant(7.4));
    let said = limits(&diagnose(&trace, None, &Sources::default()));
    assert!(said.contains("tell no kind of board") && !said.contains("by kind"), "{said}");
}

#[test]
fn a_pulse_is_no_end_of_the_level_that_a_board_woke_to() {
    let pulse = (0.3, SET_V, 0.9);
    let levels = [OFF, STANDBY, (20.0, SET_V, 0.285), pulse, (20.0, SET_V, 0.285)];
    let said = |levels: &[(f64, f64, f64)]| because(&bench(levels).with(|b| b.profile = None).find());
    assert!(said(&levels).contains("stays at 0.289 A for 40.2 s"), "{}", said(&levels));
    let after_another = [OFF, STANDBY, (20.0, SET_V, 0.9), (20.0, SET_V, 0.285)];
    // To the last reading.
    assert!(said(&after_another).contains("stays at 0.285 A for 19.9 s"), "{}", said(&after_another));
}

#[test]
fn tries_that_end_in_software_after_other_stages_are_asked_for_it_first() {
    let tries = |name: &'static str| {
        bench(&cycling()).with(|b| b.profile.as_mut().expect("one").phases[2].name = name.into()).find()
    };
    let kernel = tries("kernel");
    class(&kernel, Class::Cycling);
    assert!(place(&kernel, "console") < place(&kernel, "converter's coil"), "{kernel:#?}");
    let other = tries("loading");
    assert!(place(&other, "converter's coil") < place(&other, "with a scope"), "{other:#?}");
    let mut spiking = vec![OFF, STANDBY];
    for _ in 0..8 {
        spiking.extend([RAILS, (1.5, SET_V, 1.0), (0.1, SET_V, 2.6), REST]);
    }
    let spiking =
        bench(&spiking).with(|b| b.profile.as_mut().expect("one").phases[2].name = "kernel".into()).find();
    assert!(
        place(&spiking, "converter's coil") < place(&spiking, "with a scope"),
        "a load trips: {spiking:#?}"
    );
}

#[test]
fn that_a_board_stands_by_for_too_long_is_said_by_the_verdict_alone() {
    let asleep = bench(&ASLEEP)
        .with(|b| {
            let standby = &mut b.profile.as_mut().expect("one").phases[0];
            standby.waits_for_person = false;
            standby.duration = Some(crate::reference::Envelope { low: 0.3, typical: 0.6, high: 1.2 });
            b.presses.clear();
        })
        .find();
    class(&asleep, Class::StandbyOnly);
    assert!(!limits(&asleep).contains("lasts too long"), "{}", limits(&asleep));
    assert_eq!(asleep.departures, []);
}

#[test]
fn a_busy_board_of_no_known_kind_is_stripped_of_what_comes_off() {
    let mut levels = vec![OFF, STANDBY, RAILS];
    levels.extend((0..60).flat_map(|_| [(0.5, SET_V, 0.97), (0.5, SET_V, 1.06)]));
    let terminals = |b: &mut Bench| {
        b.feed_point = Some("main terminals");
        let known = b.profile.as_mut().expect("one");
        known.feed.point = "main terminals".into();
        known.power_path.clear();
    };
    let busy = bench(&levels).with(terminals).find();
    class(&busy, Class::Stalled);
    assert!(checks(&busy).contains("cards and modules one by one"), "{}", checks(&busy));
}

#[test]
fn a_limit_that_is_never_come_near_is_not_raised() {
    let raise = "raise the current limit";
    // Below the 1.2 A that a good boot peaks at.
    let limited = |levels: &[(f64, f64, f64)]| bench(levels).with(|b| b.limit = 1.05);
    let mut low = vec![OFF, STANDBY];
    for _ in 0..8 {
        low.extend([(0.5, SET_V, 0.172), REST]);
    }
    class(&limited(&low).find(), Class::Cycling);
    assert!(!asks(&limited(&low), raise), "{}", checks(&limited(&low).find()));
    let stuck = limited(&[OFF, STANDBY, (60.0, SET_V, 0.172)]);
    class(&stuck.find(), Class::Stalled);
    assert!(!asks(&stuck, raise), "{}", checks(&stuck.find()));
    assert!(asks(&limited(&cycling()), raise), "tries that peak at it");
}

#[test]
fn a_limit_that_volts_and_not_amps_show_is_raised_without_a_reference_too() {
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..8 {
        levels.extend([RAILS, (1.0, 11.0, 0.6), REST]);
    }
    let starved = bench(&levels).with(|b| (b.profile, b.limit) = (None, 1.0));
    class(&starved.find(), Class::FeedLimited);
    assert!(asks(&starved, "raise the current limit from 1.00 A"), "{}", checks(&starved.find()));
}

#[test]
fn start_and_length_of_a_lone_try_come_to_its_end() {
    let number = |said: &str, before: &str| -> f64 {
        let after = said.split(before).nth(1).unwrap_or_else(|| panic!("{before}: {said}"));
        after.split(' ').next().and_then(|number| number.parse().ok()).expect("a number")
    };
    for length in [0.5, 0.6, 0.7, 1.1] {
        let levels = [OFF, (4.06, SET_V, 0.0234), (length + 0.04, SET_V, 0.172), (30.0, SET_V, 0.0234)];
        let said = because(&bench(&levels).find());
        let [from, to, lasted] = ["1 try from ", " s to ", "it ends "].map(|before| number(&said, before));
        assert!((to - from - lasted).abs() < 1e-6, "{said}");
    }
}

#[test]
fn a_rest_between_tries_is_no_standby_to_compare() {
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..8 {
        levels.extend([RAILS, (1.5, SET_V, 1.0), (2.0, SET_V, 0.034)]);
    }
    let tries = bench(&levels).find();
    class(&tries, Class::Cycling);
    assert_eq!(tries.departures, []);
    assert!(!limits(&tries).contains("standby draws"), "{}", limits(&tries));
}

/// Each of fifteen tries stays in rails for its usual length, and for less in firmware, which ends in a spike.
#[test]
fn the_stage_in_which_tries_end_is_the_same_in_verdict_evidence_and_path() {
    let root = env!("CARGO_MANIFEST_DIR");
    let log = crate::trace::read_file(format!("{root}/logs/samples/harrow-13-cycling.csv")).expect("a log");
    let known = std::fs::read_to_string(format!("{root}/profiles/harrow-13.toml")).expect("a file");
    let known = Profile::from_toml(&known).expect("a profile");
    let tries = diagnose(&log.trace, Some(&known), &Sources::default());
    class(&tries, Class::Cycling);
    let place = (tries.verdict.reached.as_deref(), tries.verdict.step_into.as_deref());
    assert_eq!(place, (Some("firmware"), None), "{tries:#?}");
    let said = because(&tries);
    assert!(said.starts_with("15 tries from 6.96 s to 52.2 s"), "{said}");
    assert!(said.contains("each ends 1.33 s (1.28 to 1.36 s) after its wake, in firmware"), "{said}");
    assert_eq!(state(&tries, "main regulators").1, "worked up to here: the tries end in firmware");
}

#[test]
fn a_load_far_calmer_than_is_usual_is_not_said_to_be_at_work() {
    // Good boards' swings by 0.52 W (0.13 to 2.6 W) in loading.
    let hangs = |swing_a: f64| {
        let turn = [-1.0, 0.5, 0.0, -0.5, 1.0].map(|part| (0.2, SET_V, 1.0 + part * swing_a));
        bench(&[vec![OFF, STANDBY, RAILS], turn.repeat(60)].concat()).find()
    };
    let [calm, busy] = [0.018, 0.05].map(hangs);
    class(&calm, Class::Stalled);
    let said = because(&calm);
    assert!(
        said.contains("the current is much calmer there than most good boards': typically by 1"),
        "{said}"
    );
    assert!(!checks(&calm).contains("at work") && checks(&calm).contains("wait for something"), "{calm:#?}");
    assert!(because(&busy).contains("swings as good boards' does there"), "{}", because(&busy));
    assert!(checks(&busy).contains("at work"), "{}", checks(&busy));
}

#[test]
fn a_load_that_is_in_bursts_now_and_then_is_told_with_them() {
    let hangs = |burst_a: f64| {
        let mut levels = vec![OFF, STANDBY, RAILS];
        for _ in 0..20 {
            levels.extend((0..3).flat_map(|_| [0.97, 1.0, 1.03]).map(|amps| (0.2, SET_V, amps)));
            levels.push((0.1, SET_V, burst_a));
        }
        let finding = bench(&levels).find();
        class(&finding, Class::Stalled);
        because(&finding)
    };
    let bursts = hangs(1.5);
    assert!(bursts.contains("the current swings as good boards' does there: mostly by "), "{bursts}");
    assert!(bursts.contains(" either way, with bursts to 1.50 A; good boards' by "), "{bursts}");
    // Their peaks are 15.6 W, and 20.8 W at most, at 12.8 V.
    assert!(bursts.contains("their highest reading usually 1.22 A, at most 1.6"), "{bursts}");
    assert!(hangs(2.0).contains("swings more than good boards' does there: mostly by "), "{}", hangs(2.0));
    assert!(hangs(1.06).contains("typically by ") && !hangs(1.06).contains("bursts"), "{}", hangs(1.06));
}
