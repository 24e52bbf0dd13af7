//! What to probe next: which check is given where, and in which order.

use super::*;
use crate::trace::{Mode, Sample, Trace, TraceBuilder};

/// Where a check that holds `word` stands among the others.
#[track_caller]
pub(super) fn place(finding: &Finding, word: &str) -> usize {
    let found = finding.next_checks.iter().position(|check| check.contains(word));
    found.unwrap_or_else(|| panic!("{word}: {:#?}", finding.next_checks))
}

#[test]
fn a_board_that_hangs_at_its_level_is_asked_what_it_waits_for_and_one_that_draws_less_for_its_reset() {
    let flat = |amps: f64| bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, amps)]).find();
    let full = flat(1.016);
    class(&full, Class::Stalled);
    let at = |word: &str| place(&full, word);
    assert!(at("console") == 0 && at("activity on storage") < at("measure the supplies"), "{full:#?}");
    assert!(at("measure the supplies") <= at("clock and reset last"), "{full:#?}");
    let low = flat(0.7);
    class(&low, Class::Stalled);
    assert!(
        low.next_checks[0].contains("draws less than good boards there: check the processor's reset"),
        "{low:#?}"
    );
}

#[test]
fn memory_in_sockets_is_pulled_piece_by_piece_and_cooling_stays_on() {
    let stalled = bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]).find();
    let modules = &stalled.next_checks[place(&stalled, "sit in sockets")];
    assert!(
        modules.contains("reseat the memory") && modules.contains("one known-good module alone"),
        "{modules}"
    );
    let panel = bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)])
        .with(|b| b.profile.as_mut().expect("one").feed.nominal = Volts::constant(24.0));
    assert!(!asks(&panel, "sit in sockets"));
    for levels in [cycling(), vec![OFF, (20.0, 0.6, 3.0)], vec![OFF, (20.0, SET_V, 0.12)]] {
        assert!(!asks(&bench(&levels), "fan"), "no board is to run without its fan");
    }
}

/// Two tries under a feed that stands, each at its press, and a long rest.
fn two_presses() -> Vec<(f64, f64, f64)> {
    let trip = [RAILS, (0.5, SET_V, 1.0)];
    [&[OFF, STANDBY][..], &trip, &[(6.0, SET_V, 0.0234)], &trip, &[(30.0, SET_V, 0.0234)]].concat()
}

#[test]
fn a_second_try_at_a_second_press_disproves_a_latch_and_a_press_in_vain_makes_it_likely() {
    let tries = bench(&two_presses()).with(|b| b.presses = vec![4.8, 12.1]).find();
    class(&tries, Class::LatchOff);
    let said = because(&tries);
    assert!(said.contains("each after a press (4.8 s and 12.1 s) and none by itself"), "{said}");
    assert!(!checks(&tries).contains("latch"), "{}", checks(&tries));
    assert!(tries.next_checks[0].contains("ohms or diode mode"), "{tries:#?}");
    assert!(place(&tries, "with a scope") < place(&tries, "unplug what can be unplugged"));
    let in_vain = bench(&two_presses()).with(|b| b.presses = vec![4.8, 12.1, 25.0]);
    assert!(!asks(&in_vain, "a latch lets go"), "{}", checks(&in_vain.find()));
    let once = [OFF, STANDBY, RAILS, (0.5, SET_V, 1.0), (30.0, SET_V, 0.0234)];
    let latched = bench(&once).with(|b| b.presses = vec![4.8, 20.0]).find();
    class(&latched, Class::LatchOff);
    assert!(because(&latched).contains("after the press at 4.8 s"), "{}", because(&latched));
    assert!(
        checks(&latched).contains("a latch is likely, for the press at 20.0 s did nothing"),
        "{latched:#?}"
    );
    let cycles = because(&bench(&cycling()).with(|b| b.presses = vec![4.8]).find());
    assert!(
        cycles.contains("the press at 4.8 s starts the first, the others come by themselves"),
        "{cycles}"
    );
}

#[test]
fn the_limit_is_never_raised_for_a_load_that_comes_before_the_wake_or_where_a_good_board_boots_at_it() {
    // In the limit of the profile, before and without a press, where a good board takes 0.3 W.
    let sags = bench(&[OFF, (20.0, 8.5, 3.0)]);
    class(&sags.find(), Class::PartialShort);
    assert!(!asks(&sags, "too low") && !asks(&sags, "raise the"), "{}", checks(&sags.find()));
    let said = because(&sags.find());
    assert!(said.contains("a good board takes 0.30 W before its wake"), "{said}");
    assert!(said.contains("the press at 4.5 s changes nothing"), "{said}");
    let low = bench(&[OFF, (20.0, 8.5, 0.9)]).with(|b| b.limit = 0.9);
    assert!(!asks(&low, "too low") && !asks(&low, "raise the"), "{}", checks(&low.find()));
}

#[test]
fn a_fall_is_timed_from_the_press_and_a_board_that_makes_no_heat_has_no_cooler() {
    let fell = bench(&falls_to(0.0234)).find();
    assert!(
        checks(&fell).contains("up to the fall at 28.8 s in the log, 24.3 s after the press"),
        "{fell:#?}"
    );
    assert!(checks(&fell).contains("a warm run that falls sooner points to heat"), "{fell:#?}");
    let cool: Vec<(f64, f64, f64)> =
        falls_to(0.0234).into_iter().map(|(s, v, a)| (s, v, if a > 0.1 { a / 3.0 } else { a })).collect();
    let cool = bench(&cool).with(|b| {
        let known = b.profile.as_mut().expect("one");
        for phase in &mut known.phases[1..] {
            for envelope in [&mut phase.mean_power, &mut phase.peak_power] {
                for bound in [&mut envelope.low, &mut envelope.typical, &mut envelope.high] {
                    *bound /= 3.0;
                }
            }
        }
    });
    class(&cool.find(), Class::DroppedOut);
    assert!(!asks(&cool, "fan turns"), "{}", checks(&cool.find()));
}

#[test]
fn a_running_level_that_is_too_low_is_asked_for_what_does_not_run() {
    let mut levels = BOOT.to_vec();
    levels[4] = (60.0, SET_V, 0.3);
    let low = bench(&levels).with(|b| b.profile.as_mut().expect("one").power_path.clear()).find();
    class(&low, Class::FullBoot);
    assert!(place(&low, "attached and runs") < place(&low, "a rail that stays off"), "{low:#?}");
    assert!(!checks(&low).contains("take off what is attached"), "{}", checks(&low));
}

#[test]
fn a_board_that_was_not_asked_to_wake_is_not_said_never_to() {
    let headline = |b: Bench| crate::render::words::headline(&b.find().verdict);
    let unasked = || bench(&ASLEEP).with(|b| b.presses.clear());
    assert_eq!(headline(unasked()), "Standby only: no press of the button is in this log");
    let unknown = "whether the board was asked to wake is not known";
    assert!(unasked().find().limits.join("\n").contains(unknown));
    assert!(!because(&unasked().find()).contains("not known"), "it is said once");
    assert!(unasked().find().next_checks[0].starts_with("press the power button"));
    assert_eq!(headline(bench(&ASLEEP)), "Standby only: the board never wakes");
    // 1.5 W are within what boards at 12 to 20 V stand by at, and much for one.
    let kind = |watts: f64| {
        bench(&[OFF, (20.0, SET_V, watts / SET_V)]).with(|b| {
            b.profile = None;
            b.presses.clear();
        })
    };
    assert!(
        because(&kind(1.5).find()).contains("part of it may be a surplus"),
        "{}",
        because(&kind(1.5).find())
    );
    assert!(asks(&kind(1.5), "compare standby again") && !asks(&kind(0.5), "compare standby again"));
}

#[test]
fn a_board_that_starts_by_itself_has_no_standby_to_get_to() {
    let fed = bench(&[OFF, (30.0, SET_V, 0.08)]).with(|b| {
        b.profile.as_mut().expect("one").phases.remove(0);
        b.profile.as_mut().expect("one").feed.nominal = Volts::constant(24.0);
        b.presses.clear();
    });
    let fed = fed.find();
    class(&fed, Class::StandbyOnly);
    assert_eq!(fed.verdict.reached, None);
    assert_eq!(crate::render::words::headline(&fed.verdict), "Fed, but never starts");
    assert!(checks(&fed).contains("measure every rail, then undervoltage lockout and reset"), "{fed:#?}");
}

#[test]
fn a_board_at_twelve_volts_is_a_laptop_s_only_if_something_says_so() {
    use crate::verdict::kind::{Family, family};
    assert_eq!(family(12.0, "main terminals relay motor"), Family::Any);
    assert_eq!(family(12.8, "battery connector"), Family::Mainboard);
    assert_eq!(family(12.0, "Charger, main regulators"), Family::Mainboard);
    assert_eq!(family(19.0, ""), Family::Mainboard);
    assert_eq!(family(24.0, "battery"), Family::Panel);
}

#[test]
fn a_long_try_without_a_reference_is_asked_first_what_it_showed() {
    let levels = [OFF, STANDBY, (26.0, SET_V, 1.0), (30.0, SET_V, 0.0234)];
    let went = bench(&levels).with(|b| b.profile = None).find();
    class(&went, Class::LatchOff);
    assert!(because(&went).contains("why it went off is open"), "{}", because(&went));
    let order = [
        "press again with the feed left on",
        "orderly shutdown",
        "thermal camera",
        "scope",
        "converter's coil",
    ];
    let places: Vec<usize> = order.iter().map(|word| place(&went, word)).collect();
    assert!(places.is_sorted(), "{places:?}: {:#?}", went.next_checks);
}

#[test]
fn a_stall_at_the_bus_is_asked_for_the_partner_first() {
    let levels = [OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)];
    let stalled =
        bench(&levels).with(|b| b.profile.as_mut().expect("one").phases[2].name = "bus".into()).find();
    class(&stalled, Class::Stalled);
    assert!(stalled.next_checks[0].contains("connect the bus with its termination"), "{stalled:#?}");
}

#[test]
fn the_first_rail_to_go_is_a_place_to_look_and_no_proof() {
    let mut fell = BOOT.to_vec();
    fell.push((15.0, SET_V, 0.0234));
    let fell = checks(&bench(&fell).find());
    assert!(fell.contains("look first where one goes with its enable still there"), "{fell}");
    assert!(!fell.contains("is the one"), "{fell}");
}

#[test]
fn a_boot_is_sound_as_far_as_amps_tell() {
    let from = |point: &'static str| checks(&bench(&BOOT).with(|b| b.feed_point = Some(point)).find());
    assert!(from("battery connector").contains("as far as amps tell, what is fed from this point works"));
    assert!(from("adapter inlet").contains("as far as amps tell, what the supply feeds works"));
}

#[test]
fn the_packs_lines_come_after_what_needs_no_other_pack() {
    let asleep = bench(&ASLEEP).find();
    assert_eq!(place(&asleep, "pack's data or detect line") + 2, asleep.next_checks.len(), "{asleep:#?}");
    assert!(place(&asleep, "always-on rails") < place(&asleep, "pack's data or detect line"));
    // A profile that names the lines itself says it in its own place, once.
    let own = bench(&ASLEEP).with(|b| {
        let probe = "Give the pack's identification line what the good boards had.".into();
        b.profile.as_mut().expect("one").checks.push(Check {
            class: "standby-only".into(),
            stage: None,
            probe,
        });
    });
    let own = own.find();
    assert_eq!(place(&own, "identification line"), 0);
    assert!(!checks(&own).contains("data or detect line"), "{}", checks(&own));
}

#[test]
fn a_charger_is_unplugged_at_the_battery_side_unless_the_profile_says_so() {
    let warned = |b: Bench| b.find().cautions.join("\n").matches("adapter").count();
    assert_eq!(warned(bench(&BOOT)), 1);
    assert_eq!(warned(bench(&BOOT).with(|b| b.feed_point = Some("adapter inlet"))), 0);
    let told = bench(&BOOT).with(|b| {
        b.profile.as_mut().expect("one").feed.cautions.push("Unplug the adapter first.".into());
    });
    assert_eq!(warned(told), 1, "once is enough");
}

/// Eight starved tries; in the first `marked` of them the supply says at the end that it limits.
fn starved(marked: u32, dips: &[f64]) -> Trace {
    let mut levels = vec![OFF, STANDBY];
    for volts in dips {
        levels.extend([RAILS, (1.5, *volts, 0.9), REST]);
    }
    let plain = trace_marked(&levels, &[(4.5, "power button")]);
    let mut header = plain.header().clone();
    header.limit = Some(Amps::constant(0.9));
    header.feed_point = Some("battery connector".into());
    let mut builder = TraceBuilder::new(header);
    let (mut tries, mut was_high) = (0, false);
    for i in 0..plain.len() {
        let (time, volts, amps) = (plain.time()[i], plain.volts()[i], plain.amps()[i]);
        let high = amps > 0.5;
        tries += u32::from(high && !was_high);
        was_high = high;
        let mode = if high && tries <= marked { Mode::ConstantCurrent } else { Mode::ConstantVoltage };
        let (time, volts, amps) = (Seconds::constant(time), Volts::constant(volts), Amps::constant(amps));
        builder.sample(Sample { time, volts, amps, mode, span: None }).expect("in order");
    }
    builder.finish()
}

#[test]
fn the_tries_in_which_the_supply_marks_its_limit_are_counted() {
    let facts = |marked: u32| {
        let finding =
            diagnose(&starved(marked, &[11.0; 8]), bench(&[]).profile.as_ref(), &Sources::default());
        class(&finding, Class::FeedLimited);
        because(&finding)
    };
    assert!(facts(8).contains("the supply marks its limit (cc) in 8 of 8 tries"), "{}", facts(8));
    assert!(facts(3).contains("(cc) in 3 of 8 tries"), "{}", facts(3));
    assert!(!facts(0).contains("(cc)"), "{}", facts(0));
}

#[test]
fn a_limit_that_a_spike_meets_in_a_few_tries_is_told_of_a_board_that_gives_up_by_itself() {
    let facts = |marked: u32, limit_a: f64| {
        let steady = starved(marked, &[SET_V; 8]);
        let header = Header { limit: Some(Amps::constant(limit_a)), ..steady.header().clone() };
        let mut builder = TraceBuilder::new(header);
        for sample in (0..steady.len()).filter_map(|i| steady.sample(i)) {
            builder.sample(sample).expect("in order");
        }
        let finding = diagnose(&builder.finish(), bench(&[]).profile.as_ref(), &Sources::default());
        class(&finding, Class::Cycling);
        because(&finding)
    };
    let told = "against a limit of 3.00 A, though the supply marks its limit (cc) in 1 of 8 tries";
    assert!(facts(1, 3.0).contains(told), "{}", facts(1, 3.0));
    assert!(!facts(0, 3.0).contains("(cc)"), "{}", facts(0, 3.0));
}

#[test]
fn dips_are_counted_where_they_show_and_the_rest_may_have_passed_unseen() {
    let facts = |dips: [f64; 8]| {
        let finding = diagnose(&starved(8, &dips), bench(&[]).profile.as_ref(), &Sources::default());
        because(&finding)
    };
    let shallow = facts([11.0, 12.72, 12.72, 11.0, 12.72, 12.72, 12.72, 12.72]);
    assert!(shallow.contains("in each try"), "half a per cent below a quiet feed is a dip: {shallow}");
    let some = facts([11.0, SET_V, 12.72, 11.0, 12.72, SET_V, 12.72, 12.72]);
    assert!(some.contains("in at least 6 of 8 tries"), "{some}");
}

#[test]
fn a_board_that_starts_by_itself_is_not_asked_for_its_button() {
    let by_itself = bench(&ASLEEP).with(|b| {
        b.profile.as_mut().expect("one").phases[0].waits_for_person = false;
        b.presses.clear();
    });
    let told = checks(&by_itself.find());
    assert!(told.contains("good boards start by themselves") && !told.contains("button"), "{told}");
    assert!(checks(&bench(&ASLEEP).find()).contains("the button's line"));
}

#[test]
fn amps_below_the_limit_are_averages_where_the_volts_give_way() {
    let facts = |marked: u32, amps_at_limit: f64| {
        let mut trace = starved(marked, &[11.0; 8]);
        trace.header_mut().limit = Some(Amps::constant(amps_at_limit));
        because(&diagnose(&trace, bench(&[]).profile.as_ref(), &Sources::default()))
    };
    assert!(facts(0, 1.02).contains("the volts fall as in the limit"), "{}", facts(0, 1.02));
    assert!(!facts(0, 0.9).contains("are averages"), "{}", facts(0, 0.9));
    assert!(!facts(8, 1.02).contains("are averages"), "the supply says it itself: {}", facts(8, 1.02));
}

#[test]
fn checks_stand_under_a_heading_that_says_once_where_they_come_from() {
    let alone = bench(&ASLEEP).find();
    let groups = alone.grouped_checks();
    assert_eq!(groups.len(), 1, "{groups:?}");
    assert_eq!(groups[0].heading, "Check next (common practice)");
    assert!(groups[0].checks.iter().all(|check| !check.contains("(common practice)")), "{groups:?}");
    assert!(
        alone.next_checks.iter().all(|check| check.ends_with(" (common practice)")),
        "the finding marks each"
    );
    let own = bench(&ASLEEP).with(|b| {
        b.profile.as_mut().expect("one").checks.push(Check {
            class: "standby-only".into(),
            stage: None,
            probe: "Measure the button.".into(),
        });
    });
    let own = own.find();
    let headings: Vec<&str> = own.grouped_checks().iter().map(|group| group.heading).collect();
    assert_eq!(headings, ["Check next", "Then (common practice)"]);
    assert_eq!(own.grouped_checks()[0].checks, ["Measure the button."]);
}

#[test]
fn reversed_polarity_is_named_where_a_diode_may_hold_the_volts_and_excluded_below() {
    let short = |volts: f64| checks(&bench(&[OFF, (20.0, volts, 3.0)]).find());
    assert!(short(0.8).contains("check the polarity"), "{}", short(0.8));
    assert!(!short(0.2).contains("polarity") && !short(0.2).contains("diode or"), "{}", short(0.2));
    assert!(!short(4.0).contains("check the polarity"), "{}", short(4.0));
}

#[test]
fn a_board_that_turns_many_watts_to_heat_is_not_fed_on_as_it_is() {
    let camera = |volts: f64| {
        let finding = bench(&[OFF, (20.0, volts, 3.0)]).find();
        finding.next_checks[place(&finding, "thermal camera")].clone()
    };
    assert!(camera(5.0).contains("not at 15.0 W: lower the limit"), "{}", camera(5.0));
    assert!(camera(2.0).contains("fed as now (6.00 W) for seconds only"), "{}", camera(2.0));
    let steady = bench(&[OFF, (20.0, SET_V, 2.9)]).with(|b| b.feed_point = Some("adapter inlet"));
    class(&steady.find(), Class::PartialShort);
    assert!(asks(&steady, "see that the battery is off, and repeat"), "{}", checks(&steady.find()));
    assert!(asks(&steady, "lower the limit") && !asks(&steady, "feed as here"));
    let finding = steady.find();
    assert!(place(&finding, "thermal camera") < place(&finding, "feed off, capacitors discharged"));
    assert!(place(&finding, "feed off, capacitors discharged") < place(&finding, "only then disconnect"));
}

#[test]
fn a_boot_with_too_much_standby_is_not_said_to_work() {
    let departs = |amps: f64| {
        let mut levels = BOOT.to_vec();
        levels[1] = (STANDBY.0, SET_V, amps);
        bench(&levels).with(|b| b.profile.as_mut().expect("one").power_path.clear()).find()
    };
    let leaky = departs(0.08);
    class(&leaky, Class::FullBoot);
    assert!(checks(&leaky).contains("each always-on rail"), "{leaky:#?}");
    assert!(!checks(&leaky).contains("works"), "{}", checks(&leaky));
    let sound = departs(STANDBY.2);
    assert!(checks(&sound).contains("works") && !checks(&sound).contains("always-on"), "{}", checks(&sound));
    assert!(checks(&sound).contains("let it run for minutes"), "{}", checks(&sound));
}

#[test]
fn a_limit_that_is_met_at_the_step_into_a_stage_is_told_there() {
    // Loading takes 1.02 A, which 0.6 A of limit do not give; by the end of rails no try has shown it.
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..6 {
        levels.extend([RAILS, (0.2, 6.0, 0.6), REST]);
    }
    let starved = bench(&levels).with(|b| b.limit = 0.6).find();
    class(&starved, Class::FeedLimited);
    assert!(because(&starved).contains("at the end of rails, at the step into loading"), "{starved:#?}");
}

#[test]
fn an_adapter_inlet_may_want_its_identification_signal() {
    let dead = || bench(&[OFF, (20.0, SET_V, 0.0)]).with(|b| b.feed_point = Some("adapter inlet"));
    class(&dead().find(), Class::NoDraw);
    assert!(asks(&dead(), "try the board's own adapter") && asks(&dead(), "adapter detect line"));
    assert!(!asks(&dead().with(|b| b.feed_point = Some("battery connector")), "own adapter"));
    let panel = dead().with(|b| {
        b.profile.as_mut().expect("one").feed.nominal = Volts::constant(24.0);
        b.feed_point = Some("main terminals");
    });
    assert!(!asks(&panel, "adapter"), "{}", checks(&panel.find()));
}

#[test]
fn a_log_that_is_long_enough_is_not_asked_to_be_longer() {
    // Of a board whose stages have no known length, a level in the middle is neither here nor there.
    let open = |press: bool| {
        bench(&[OFF, STANDBY, (60.0, SET_V, 0.172)]).with(|b| {
            b.profile.as_mut().expect("one").phases.iter_mut().for_each(|phase| phase.duration = None);
            if !press {
                b.presses.clear();
            }
        })
    };
    class(&open(true).find(), Class::Inconclusive);
    class(&open(false).find(), Class::Inconclusive);
    assert!(asks(&open(true), "another capture alike would show the same"), "{}", checks(&open(true).find()));
    assert!(asks(&open(false), "this log is long enough"), "{}", checks(&open(false).find()));
    let brief = bench(&[OFF, (0.6, SET_V, 0.0234)]);
    assert!(!asks(&brief, "long enough") && !asks(&brief, "alike"), "{}", checks(&brief.find()));
}

#[test]
fn a_stall_is_told_by_what_the_stage_is_called() {
    let stalled = |name: &str| {
        let levels = [OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)];
        let finding = bench(&levels)
            .with(|b| {
                let known = b.profile.as_mut().expect("one");
                known.phases[2].name = name.into();
                known.power_path[3].proved_by = vec![name.into()];
            })
            .find();
        class(&finding, Class::Stalled);
        assert_eq!(finding.verdict.stalled_in.as_deref(), Some(name));
        finding
    };
    let memory = stalled("memory training");
    assert!(
        memory.next_checks[0].contains("one known-good module alone, in each slot in turn"),
        "{memory:#?}"
    );
    assert!(
        checks(&memory).contains("then the memory's supplies, and reset and clock in the suspect section")
    );
    assert!(stalled("disk spin-up").next_checks[0].contains("unplug the drive"));
    assert!(stalled("radio").next_checks[0].contains("take out or unplug the radio"));
    assert!(!checks(&stalled("self-test")).contains("slot in turn"));
}

#[test]
fn a_surplus_is_too_small_for_a_camera_only_below_what_warms_a_part() {
    let excess = |amps: f64| checks(&bench(&[OFF, (40.0, SET_V, amps)]).find());
    let warm = excess(0.1);
    assert!(warm.contains("should show at close range") && !warm.contains("millivolts"), "{warm}");
}
