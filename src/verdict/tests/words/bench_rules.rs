//! Rules that a technician's reading of real findings asked for: tries, what carries the current, falls.

use super::*;

/// A slow readback whose two tries, and the rise of the feed before them, the alignment takes for one surge: by hand, the
/// amps leave rest at 3.75 s and 6.75 s and are back by 5.0 s and 8.0 s; the volts stay within 0.1 % of 24.02 V.
#[test]
fn tries_are_counted_by_their_rises_and_the_rise_of_the_feed_is_no_sag() {
    let root = env!("CARGO_MANIFEST_DIR");
    let log = crate::trace::read_file(format!("{root}/logs/samples/kiln-24-latch-off.csv")).expect("a log");
    let known = std::fs::read_to_string(format!("{root}/profiles/kiln-24.toml")).expect("a file");
    let known = Profile::from_toml(&known).expect("a profile");
    let finding = diagnose(&log.trace, Some(&known), &Sources::default());
    let tries = Tries::of(&finding.attempts, &finding.log.gaps).expect("tries");
    assert_eq!(tries.count, 2, "{:#?}", finding.attempts);
    assert!((tries.first_start_s - 3.75).abs() < 0.3 && (tries.first_end_s - 5.0).abs() < 0.3, "{tries:?}");
    assert!(tries.lowest_v > 23.9, "the rise is no sag: {tries:?}");
    // Nor is a try that has no rest in it cut in two.
    assert_eq!(Tries::of(&bench(&cycling()).find().attempts, &[]).map(|tries| tries.count), Some(8));
}

#[test]
fn a_spike_at_the_end_of_the_tries_is_named_and_an_even_end_is_not() {
    let tries = |end: f64| {
        let mut levels = vec![OFF, STANDBY];
        for _ in 0..8 {
            levels.extend([RAILS, (1.5, SET_V, 1.0), (0.1, SET_V, end), REST]);
        }
        bench(&levels).find()
    };
    let spiking = tries(2.6);
    assert!(because(&spiking).contains("a spike at the very end"), "{}", because(&spiking));
    assert!(checks(&spiking).contains("for a spike ends the tries"), "{}", checks(&spiking));
    let even = tries(1.0);
    assert!(!because(&even).contains("spike") && !checks(&even).contains("spike"), "{}", because(&even));
}

/// A profile whose board starts by itself.
fn self_starting(bench: &mut Bench) {
    bench.profile.as_mut().expect("one").phases[0].waits_for_person = false;
    bench.presses.clear();
}

#[test]
fn what_carries_the_standby_is_proved_on_boards_that_start_by_themselves_too() {
    let asleep = bench(&ASLEEP).with(self_starting).find();
    class(&asleep, Class::StandbyOnly);
    assert_eq!(state(&asleep, "system rail").0, SectionState::Proved);
    let (main, why) = state(&asleep, "main regulators");
    assert_eq!((main, why.as_str()), (SectionState::Suspect, "it is not started, or does not start"));
    let dead = bench(&[OFF, (20.0, SET_V, 0.0)]).with(self_starting).find();
    class(&dead, Class::NoDraw);
    assert_eq!(state(&dead, "system rail").0, SectionState::Suspect);
}

#[test]
fn rails_may_be_up_where_a_board_that_starts_by_itself_draws_as_in_a_stage() {
    // Rails draw 2.2 W; 0.12 A make 1.5 W.
    let near = bench(&[OFF, (40.0, SET_V, 0.12)]).with(self_starting).find();
    class(&near, Class::ExcessStandby);
    assert!(because(&near).contains("near the level of rails"), "{}", because(&near));
    assert!(checks(&near).contains("reset and clock"), "{}", checks(&near));
    let far = bench(&[OFF, (40.0, SET_V, 0.06)]).with(self_starting).find();
    assert!(!because(&far).contains("near the level of"), "{}", because(&far));
    let waits = bench(&[OFF, (40.0, SET_V, 0.12)]).find();
    assert!(!because(&waits).contains("near the level of"), "{}", because(&waits));
}

#[test]
fn a_surplus_may_be_of_what_hangs_on_the_always_on_rails() {
    let excess = bench(&[OFF, (20.0, SET_V, 0.09)]).find();
    class(&excess, Class::ExcessStandby);
    assert_eq!(state(&excess, "system rail").0, SectionState::Suspect);
    assert_eq!(state(&excess, "main regulators").0, SectionState::Suspect);
    assert_ne!(state(&excess, "processor").0, SectionState::Suspect);
}

#[test]
fn a_press_just_before_a_fall_may_be_a_shutdown() {
    let mut fell = BOOT.to_vec();
    fell.push((15.0, SET_V, 0.0234));
    let at_s: f64 = BOOT.iter().map(|level| level.0).sum();
    let because_of = |press: Option<f64>| {
        let finding = bench(&fell).with(|b| b.presses.extend(press)).find();
        class(&finding, Class::DroppedOut);
        assert!(checks(&finding).contains("press the button again"), "{}", checks(&finding));
        because(&finding)
    };
    assert!(because_of(Some(at_s - 8.0)).contains("may be a shutdown"), "{}", because_of(Some(at_s - 8.0)));
    let alone = because_of(None);
    assert!(
        alone.contains("nobody pressed in the 14.9 s after that, and it did not start again by"),
        "{alone}"
    );
    let unmarked = because(&bench(&fell).with(|b| b.presses.clear()).find());
    assert!(unmarked.contains("no press is marked; it did not start again in the 14.9 s"), "{unmarked}");
    // The press that woke it is none, however soon it fell.
    let soon = [&BOOT[..4], &[(4.0, SET_V, 0.625), (15.0, SET_V, 0.0234)]].concat();
    let soon = because(&bench(&soon).find());
    assert!(!soon.contains("shutdown"), "{soon}");
}

#[test]
fn a_section_that_nothing_proves_is_not_the_first_that_the_current_passes() {
    let with_charger = |levels: &[(f64, f64, f64)]| {
        bench(levels)
            .with(|b| {
                b.feed_point = Some("adapter inlet");
                b.profile.as_mut().expect("one").power_path = vec![
                    section("charger", &[], &["battery connector"]),
                    section("input switch", &["rails"], &[]),
                    section("main regulators", &["rails"], &[]),
                ];
            })
            .find()
    };
    assert!(state(&with_charger(&ASLEEP), "input switch").1.starts_with("carries 23 mA"));
    let short = with_charger(&[OFF, (20.0, 0.6, 3.0)]);
    assert!(state(&short, "input switch").1.starts_with("the load is there from switch-on"), "{short:#?}");
    assert_eq!(state(&short, "main regulators").1, "its input hangs on the loaded rail");
}

#[test]
fn what_is_drawn_at_switch_on_only_is_told_of_a_board_without_draw() {
    let charges = bench(&[OFF, (0.2, 6.0, 0.2), (20.0, SET_V, 0.0)]).find();
    class(&charges, Class::NoDraw);
    assert!(because(&charges).contains("at switch-on only"), "{}", because(&charges));
    let open = bench(&[OFF, (20.0, SET_V, 0.0)]).find();
    assert!(!because(&open).contains("at switch-on only"), "{}", because(&open));
}

#[test]
fn heat_is_said_with_what_leads_have_of_it_or_without_where_the_volts_show_that() {
    // Thin leads of 0.1 Ω turn 0.9 W of 3 A to heat.
    let hard = because(&bench(&[OFF, (20.0, 0.6, 3.0)]).find());
    assert!(
        hard.contains("1.80 W turn to heat in the short and the leads; thin leads (0.1 Ω) take 0.900 W"),
        "{hard}"
    );
    let leads_only = because(&bench(&[OFF, (20.0, 0.25, 3.0)]).find());
    assert!(leads_only.contains("thin leads (0.1 Ω) alone take as much"), "{leads_only}");
    let at_the_board = because(&bench(&[OFF, (20.0, 12.5, 2.5)]).find());
    assert!(at_the_board.contains("without the 0.300 V that the leads take"), "{at_the_board}");
    let steady = because(&bench(&[OFF, (20.0, SET_V, 2.5)]).find());
    assert!(steady.contains("32.0 W turn to heat in the board and the leads; a good"), "{steady}");
}

#[test]
fn a_mean_outside_the_band_of_its_stage_that_is_no_departure_is_said_to_be_none() {
    // Loading draws 9.75 to 16.9 W: 0.762 to 1.32 A.
    let booted = |amps: f64| bench(&[OFF, STANDBY, RAILS, (8.0, SET_V, amps), IDLE]).find();
    let near = booted(0.74);
    class(&near, Class::FullBoot);
    assert_eq!(near.departures, []);
    let said = near.limits.join("\n");
    let open = "whether loading draws too little, or is only below what most good boards have";
    assert!(said.contains(open), "{said}");
    for amps in [1.016, 0.45] {
        let other = booted(amps);
        assert!(!other.limits.join("\n").contains("whether loading"), "{amps}: {:?}", other.limits);
    }
    assert!(!booted(0.45).departures.is_empty(), "far outside is a departure");
}
