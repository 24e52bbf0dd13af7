//! What a technician would dispute: figures that do not agree with each other, and words that say more or less than the log.

use super::*;
use crate::reference::Envelope;

#[test]
fn a_running_level_outside_its_band_is_said_plainly_and_qualifies_the_all_clear() {
    // Good boards run at 6 to 10.4 W: 0.469 to 0.812 A.
    let ran = |amps: f64| bench(&[OFF, STANDBY, RAILS, LOADING, (30.0, SET_V, amps)]).find();
    let low = ran(0.45);
    class(&low, Class::FullBoot);
    assert_eq!(low.departures, []);
    let fact =
        "idle draws less than good boards': 0.450 A against 0.469 to 0.812 A; one good board in twenty";
    assert!(because(&low).contains(fact), "{}", because(&low));
    assert!(checks(&low).contains("idle draws less than good boards': see what is not attached"), "{low:#?}");
    assert!(checks(&low).contains("what is fed from this point works, but for idle:"), "{}", checks(&low));
    let (proof, why) = state(&low, "storage");
    assert_eq!((proof, why.as_str()), (SectionState::Unknown, "idle draws less than good boards'"));
    let usual = ran(0.625);
    assert!(!because(&usual).contains("in twenty") && !checks(&usual).contains("but for idle"), "{usual:#?}");
    assert!(state(&usual, "storage").1.contains("current as on good boards"), "{usual:#?}");
}

/// A bench with a board whose rails and loading are so much alike that few readings are not taken apart.
fn alike(levels: &[(f64, f64, f64)]) -> Bench {
    bench(levels).with(|b| {
        let phases = &mut b.profile.as_mut().expect("one").phases;
        let set = |envelope: &mut Envelope, [low, typical, high]: [f64; 3]| {
            *envelope = Envelope { low, typical, high };
        };
        set(&mut phases[1].mean_power, [4.6, 5.56, 6.7]);
        set(&mut phases[1].peak_power, [3.25, 5.64, 9.74]);
        set(&mut phases[1].activity, [0.0, 0.12, 0.62]);
        phases[1].duration = Some(Envelope { low: 0.245, typical: 0.508, high: 0.827 });
        set(&mut phases[2].mean_power, [9.57, 11.46, 13.7]);
        set(&mut phases[2].peak_power, [6.75, 11.7, 20.1]);
        set(&mut phases[2].activity, [0.0, 0.19, 0.64]);
        phases[2].duration = Some(Envelope { low: 0.84, typical: 1.36, high: 2.05 });
    })
}

#[test]
fn last_readings_at_a_level_that_no_earlier_stage_has_tell_the_stage() {
    let tried = |amps: &[f64]| {
        let tried: Vec<_> = amps.iter().map(|amps| (0.1, SET_V, *amps)).collect();
        let levels = [&[OFF, STANDBY][..], &tried, &[(20.0, SET_V, 0.0234)]].concat();
        let finding = alike(&levels).find_asked_thrice();
        class(&finding, Class::LatchOff);
        (because(&finding), finding.verdict.reached)
    };
    // Rails peak at 0.761 A at most, and loading draws 0.748 to 1.07 A.
    let (said, reached) = tried(&[0.352, 0.445, 0.454, 0.444, 0.647, 0.924, 0.954, 0.847]);
    assert!(said.contains("in loading") && !said.contains("do not tell"), "{said}");
    assert_eq!(reached.as_deref(), Some("loading"), "{said}");
    // One reading alone may lie over an edge.
    let (said, _) = tried(&[0.352, 0.445, 0.454, 0.444, 0.647, 0.7, 0.72, 0.847]);
    assert!(said.contains("in rails or loading: the readings do not tell which"), "{said}");
}

#[test]
fn all_tries_whose_level_is_that_of_the_stage_are_counted_as_showing_it() {
    let spike = (0.1, 0.9 * SET_V, 0.7);
    let plain = [RAILS, spike, REST];
    let ramp = [(0.3, SET_V, 0.17), (0.3, SET_V, 0.19), (0.2, SET_V, 0.4), spike, REST];
    for ramps in [4, 6] {
        let levels = [&[OFF, STANDBY][..], &plain.repeat(2), &ramp.repeat(ramps)].concat();
        let starved = bench(&levels).with(|b| b.limit = 0.72).find();
        class(&starved, Class::FeedLimited);
        assert!(because(&starved).contains("at the end of rails, at the step into loading"), "{starved:#?}");
        assert!(!because(&starved).contains("the time alone tells"), "{}", because(&starved));
    }
}

#[test]
fn a_short_is_not_fed_above_the_usual_limit_without_a_word_of_what_carries_it() {
    let short = |usual: f64| {
        let finding = bench(&[OFF, (20.0, 0.34, 1.1)]).with(|b| {
            b.limit = 1.1;
            b.profile.as_mut().expect("one").feed.limit = Amps::constant(usual);
        });
        let finding = finding.find();
        class(&finding, Class::HardShort);
        (checks(&finding), finding.cautions.join("\n"))
    };
    let (steps, cautions) = short(1.1);
    let more = "or up to 0.79 V, 2.5 A (2 W) at the battery connector for seconds, if it, fuse and leads carry more than the usual \
                1.10 A";
    assert!(steps.contains(more), "{steps}");
    assert!(cautions.contains("0.79 V and 2.5 A are 2 W, which in one small part burn skin"), "{cautions}");
    let (steps, _) = short(3.0);
    assert!(steps.contains("carry that") && !steps.contains("the usual"), "{steps}");
}

#[test]
fn a_board_that_answers_every_press_with_a_try_stays_down_until_the_next_one_only() {
    let levels = [OFF, STANDBY, RAILS, (7.2, SET_V, 0.0234), RAILS, (20.0, SET_V, 0.0234)];
    let pressed = |presses: &[f64]| {
        let finding = bench(&levels).with(|b| b.presses = presses.to_vec()).find();
        class(&finding, Class::LatchOff);
        finding
    };
    let each = pressed(&[4.9, 12.9]);
    assert_eq!(each.verdict.tries, Some(2));
    assert!(because(&each).contains("and no press follows"), "{}", because(&each));
    for other in [&[4.9][..], &[4.9, 12.9, 24.0]] {
        let other = pressed(other);
        assert_eq!(other.verdict.tries, None, "{}", because(&other));
        assert!(!because(&other).contains("and no press follows"), "{}", because(&other));
    }
}

#[test]
fn only_a_log_that_begins_after_switch_on_is_to_begin_before_it() {
    let brief = |levels: &[(f64, f64, f64)]| {
        let finding = bench(levels).with(|b| b.presses.clear()).find();
        class(&finding, Class::Inconclusive);
        checks(&finding)
    };
    let asleep = (0.6, SET_V, 0.0234);
    assert!(brief(&[OFF, asleep]).contains("capture again, for"), "{}", brief(&[OFF, asleep]));
    assert!(brief(&[asleep]).contains("capture again from before switch-on"), "{}", brief(&[asleep]));
}

#[test]
fn how_many_times_the_usual_is_the_ratio_of_what_was_read_and_rough_where_the_said_figures_have_another() {
    let said = because(&bench(&[OFF, (30.0, SET_V, 0.091)]).find());
    // 91 by 23 are 4.0, and by the 23.4 mA behind them 3.9.
    assert!(said.contains("91 mA") && said.contains("at 23 mA"), "{said}");
    assert!(said.contains("this is about 4 times the usual"), "{said}");
    let alike = because(&bench(&[OFF, (30.0, SET_V, 0.0702)]).find());
    assert!(alike.contains("this is 3.0 times the usual"), "{alike}");
}

#[test]
fn what_the_switch_on_starts_begins_when_the_times_after_it_do() {
    let inrush = (0.1, 11.0, 0.06);
    let by_itself = bench(&[OFF, inrush, RAILS, LOADING, IDLE]).with(|b| {
        b.profile.as_mut().expect("one").phases.remove(0);
        b.presses.clear();
    });
    let said = because(&by_itself.find());
    assert!(said.contains("rails from switch-on (1.0 s)"), "{said}");
}

#[test]
fn a_brief_log_of_a_board_at_rest_names_the_standby_of_good_ones() {
    let brief = |amps: f64| because(&bench(&[OFF, (1.5, SET_V, amps)]).with(|b| b.presses.clear()).find());
    assert!(brief(0.0).contains("; good boards stand by at 23"), "{}", brief(0.0));
    assert!(!brief(0.172).contains("stand by at"), "{}", brief(0.172));
}

#[test]
fn a_board_that_waits_to_be_woken_is_woken_in_the_next_capture() {
    let panel = bench(&[OFF, (1.5, SET_V, 0.0234)]).with(|b| {
        b.presses.clear();
        b.profile.as_mut().expect("one").feed.nominal = Volts::constant(24.0);
        b.feed_point = Some("main terminals");
    });
    let finding = panel.find();
    class(&finding, Class::Inconclusive);
    assert!(checks(&finding).contains("a press of the power button, and mark that"), "{}", checks(&finding));
}
