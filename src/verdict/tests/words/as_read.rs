//! Numbers and names of what was read, as anybody finds them who goes through the log with a pencil.

use super::*;

#[test]
fn a_mean_leaves_out_the_readings_in_which_the_standby_comes_up() {
    let ends = |first_a: f64| {
        let levels = [OFF, (0.3, SET_V, first_a), (1.2, SET_V, 0.0234)];
        let brief = bench(&levels).with(|b| b.presses.clear()).find();
        class(&brief, Class::Inconclusive);
        because(&brief)
    };
    assert!(ends(0.012).contains("mean over its last 1.1 s: 23 mA"), "{}", ends(0.012));
    // What is no further off than readings scatter is of the level.
    assert!(ends(0.0234).contains("mean over its last 1.4 s: 23 mA"), "{}", ends(0.0234));
}

#[test]
fn a_mean_leaves_out_the_readings_over_which_the_volts_come_up() {
    let ends = |first_v: f64| {
        let levels = [OFF, (0.3, first_v, 0.0234), (1.2, SET_V, 0.0234)];
        because(&bench(&levels).with(|b| b.presses.clear()).find())
    };
    let said = ends(SET_V / 2.0);
    assert!(said.contains("mean over its last 1.1 s: 23 mA at 12.8 V"), "{said}");
    assert!(ends(SET_V).contains("mean over its last 1.4 s: 23 mA at 12.8 V"), "{}", ends(SET_V));
}

#[test]
fn steady_volts_are_those_that_were_read_and_not_those_of_the_header() {
    let at = |levels: &[(f64, f64, f64)], volts: f64| {
        let read = |(seconds, set, amps): &(f64, f64, f64)| (*seconds, set * volts / SET_V, *amps);
        let fed = bench(&levels.iter().map(read).collect::<Vec<_>>());
        let mut trace = fed.trace();
        trace.header_mut().set_volts = Some(Volts::constant(12.75));
        because(&diagnose(&trace, fed.profile.as_ref(), &Sources::default()))
    };
    for levels in [falls_to(0.0234), cycling()] {
        assert!(at(&levels, 12.76).contains("volts steady at 12.76 V"), "{}", at(&levels, 12.76));
        assert!(at(&levels, 12.75).contains("volts steady at 12.75 V"), "{}", at(&levels, 12.75));
    }
}

#[test]
fn a_load_is_steady_from_where_volts_and_amps_are_what_they_stay_at() {
    let steady = |rise: (f64, f64, f64)| because(&bench(&[OFF, rise, (20.0, 8.5, 3.0)]).find());
    let slow = steady((0.3, 4.5, 1.7));
    assert!(slow.contains("it is steady for 19.9 s"), "{slow}");
    let quick = steady((0.3, 8.5, 3.0));
    assert!(quick.contains("it is steady for 20.2 s"), "{quick}");
}

#[test]
fn a_load_whose_volts_tick_is_not_called_steady_without_a_word() {
    let loaded = |dip_v: f64| {
        let ticks = [(1.2, 8.5, 3.0), (0.1, 8.5 - dip_v, 3.0)].repeat(20);
        let finding = bench(&[&[OFF][..], &ticks].concat()).find();
        class(&finding, Class::PartialShort);
        because(&finding)
    };
    let ticks = loaded(0.05);
    assert!(ticks.contains("but for short dips"), "{ticks}");
    let told =
        "its volts dip by up to 50 mV, one about every 1.3 s: its controller works, or something tries again";
    assert!(ticks.contains(told), "{ticks}");
    let still = loaded(0.0);
    assert!(!still.contains("dip"), "{still}");
}

#[test]
fn a_board_that_needs_no_press_is_said_to_go_on_by_itself_and_to_wake_as_good_ones_do() {
    let at = |volts: f64, levels: &[(f64, f64, f64)], pressed: bool| {
        let fed = bench(levels).with(|b| {
            super::presses::panel(&super::presses::REGULAR)(b);
            b.profile.as_mut().expect("one").feed.nominal = Volts::constant(volts);
            if !pressed {
                b.presses.clear();
            }
        });
        because(&fed.find())
    };
    let others = at(24.0, &cycling(), true);
    assert!(others.contains("after the press at 4.5 s, the others by themselves"), "{others}");
    let alone = "; good boards wake without a press as well";
    let fell = |volts: f64, pressed: bool| at(volts, &falls_to(0.0234), pressed);
    assert!(fell(24.0, false).contains(alone), "{}", fell(24.0, false));
    assert!(!fell(24.0, true).contains(alone), "{}", fell(24.0, true));
    assert!(!fell(SET_V, false).contains(alone), "{}", fell(SET_V, false));
}

#[test]
fn volts_and_amps_that_a_load_cannot_have_at_once_are_not_advised() {
    let mostly_leads = bench(&[OFF, (20.0, 0.15, 1.5)]).with(|b| b.limit = 1.5).find();
    class(&mostly_leads, Class::HardShort);
    // What carried 4.18 A is not asked for more than its 4.17 A.
    let heavy = |b: &mut Bench| {
        b.limit = 4.17;
        b.profile.as_mut().expect("one").feed.limit = Amps::constant(4.17);
    };
    let heavy = checks(&bench(&[OFF, (20.0, 0.41, 4.18)]).with(heavy).find());
    assert!(heavy.contains("up to 0.41 V, 4.2 A (1.7 W)") && heavy.contains("leads carry that"), "{heavy}");
    // 0.1 Ω take 0.3 V of 3 A.
    let said = checks(&mostly_leads);
    assert!(said.contains("up to 0.30 V, 3 A (0.90 W)"), "{said}");
    let told = mostly_leads.cautions.concat();
    assert!(
        told.contains("0.30 V and 3 A are 0.90 W, which in one small part burn skin: for seconds"),
        "{told}"
    );
}

/// A dead board, of a supply that reads in steps of 5 mA: so many readings of `on` over and over, after 20 with its output off.
fn dead(on: &[f64]) -> String {
    let mut builder = TraceBuilder::new(header());
    for i in 0..420_usize {
        let fed = i >= 20;
        let amps = if fed { 0.005 * on[i % on.len()] } else { 0.0 };
        #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
        let time = Seconds::constant(i as f64 * PERIOD_S);
        let volts = Volts::constant(if fed { SET_V } else { 0.0 });
        let (amps, mode) = (Amps::constant(amps), if fed { Mode::ConstantVoltage } else { Mode::Off });
        builder.sample(Sample { time, volts, amps, mode, span: None }).expect("in order");
    }
    let found = diagnose(&builder.finish(), Some(&profile()), &Sources::default());
    class(&found, Class::NoDraw);
    because(&found)
}

#[test]
fn one_step_now_and_then_is_told_of_a_board_that_draws_nothing_otherwise() {
    // A fifth of the readings: of 20 with the output off, four would show it.
    let often = dead(&[1.0, 0.0, 0.0, 0.0, 0.0]);
    let told = "80 of 400 readings show 5 mA, one step of this supply, and none of 20 with its output off";
    assert!(often.contains(told), "{often}");
    // Of one in fifty none would.
    let seldom = dead(&[&[1.0][..], &[0.0; 49]].concat());
    assert!(!seldom.contains("one step of this supply"), "{seldom}");
}

#[test]
fn a_limit_that_neither_marks_nor_dips_show_is_not_said_to_be_shown_by_dips() {
    let marked = |end_v: f64| {
        let tries = [RAILS, (1.2, SET_V, 0.5), (0.1, end_v, 0.55), REST].repeat(4);
        let bench = bench(&[&[OFF, STANDBY][..], &tries].concat()).with(|b| b.limit = 0.6);
        let once = bench.trace();
        let mut builder = TraceBuilder::new(once.header().clone());
        for sample in (0..once.len()).filter_map(|i| once.sample(i)) {
            builder.sample(Sample { mode: Mode::ConstantVoltage, ..sample }).expect("in order");
        }
        let finding = diagnose(&builder.finish(), bench.profile.as_ref(), &Sources::default());
        (finding.verdict.class, because(&finding))
    };
    let (class, dips) = marked(12.6);
    assert_eq!(class, Class::FeedLimited, "{dips}");
    assert!(dips.contains("the dips alone show it"), "{dips}");
    let (class, none) = marked(SET_V);
    assert_eq!(class, Class::FeedLimited, "{none}");
    assert!(none.contains("volts steady at 12.8 V"), "{none}");
    let alone = "the supply never marks its limit, and the volts show no clear dip: what a good boot needs alone speaks for it";
    assert!(none.contains(alone), "{none}");
}

#[test]
fn stages_that_the_readings_do_not_tell_apart_are_named_together() {
    let told = |levels: &[(f64, f64, f64)]| because(&bench(levels).find());
    let booted = told(&[OFF, STANDBY, LOADING, IDLE]);
    assert!(
        booted.contains("stages reached: rails and loading at 5.0 s (not told apart), idle at 13.0 s"),
        "{booted}"
    );
    assert!(!told(&BOOT).contains("not told apart"), "{}", told(&BOOT));
    let brief = |b: &mut Bench| {
        let loading = &mut b.profile.as_mut().expect("one").phases[2];
        loading.duration = Some(crate::reference::Envelope { low: 0.1, typical: 0.3, high: 0.8 });
    };
    let skipped = bench(&[OFF, STANDBY, RAILS, IDLE, (15.0, SET_V, 0.0234)]).with(brief).find();
    class(&skipped, Class::DroppedOut);
    let fell = because(&skipped);
    assert!(fell.contains("ran for up to 15"), "{fell}");
    assert!(fell.contains("loading and idle at 5.8 s (not told apart)"), "{fell}");
    assert!(told(&falls_to(0.0234)).contains("ran for 15"), "{}", told(&falls_to(0.0234)));
}

#[test]
fn a_stage_at_the_level_of_the_one_before_it_is_named_with_that() {
    let alike = |b: &mut Bench| {
        let phases = &mut b.profile.as_mut().expect("one").phases;
        let rails = phases[1].mean_power;
        phases[2].mean_power = rails;
        phases[2].mean_power.typical = 1.02 * rails.typical;
    };
    let seconds = RAILS.0 + LOADING.0;
    let finding = bench(&[OFF, STANDBY, (seconds, SET_V, RAILS.2), IDLE]).with(alike).find();
    class(&finding, Class::FullBoot);
    let told = because(&finding);
    assert!(told.contains("rails and loading at 5.0 s (not told apart), idle at 13"), "{told}");
    assert!(
        finding.departures.iter().all(|departure| departure.quantity != "duration"),
        "{:?}",
        finding.departures
    );
}

#[test]
fn a_limit_stops_a_board_at_the_step_however_its_last_stage_goes_up_and_down() {
    let ends = |limit: f64, end_v: f64| {
        let busy = [(2.0, SET_V, 0.18), (1.0, SET_V, 0.155), (0.1, end_v, 0.155), REST].repeat(6);
        let starved = bench(&[&[OFF, STANDBY][..], &busy].concat()).with(|b| {
            b.limit = limit;
            let rails = &mut b.profile.as_mut().expect("one").phases[1];
            rails.duration = Some(crate::reference::Envelope { low: 1.8, typical: 3.0, high: 4.8 });
        });
        let found = starved.find();
        (found.verdict.class, because(&found))
    };
    // Its last readings are further from those of the next stage than the ones before.
    let (class, limited) = ends(0.6, 12.2);
    assert_eq!(class, Class::FeedLimited, "{limited}");
    assert!(limited.contains("at the end of rails, at the step into loading"), "{limited}");
    let (class, cycling) = ends(3.0, 12.2);
    assert_eq!(class, Class::Cycling, "{cycling}");
    assert!(cycling.contains("after its wake, in rails"), "{cycling}");
}
