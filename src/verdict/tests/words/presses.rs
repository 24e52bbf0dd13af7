//! What is told of presses, of pulses, and of a board that woke without a reference.

use super::gaps::with_gap;
use super::*;

#[test]
fn a_press_that_changes_nothing_is_told_and_one_that_wakes_is_not() {
    // One try at the press at 4.5 s, and none at the next.
    let latched = [OFF, STANDBY, RAILS, (1.5, SET_V, 1.0), (30.0, SET_V, 0.0234)];
    let pressed = |more: &[f64]| because(&bench(&latched).with(|b| b.presses.extend(more)).find());
    let again = pressed(&[20.0]);
    assert!(again.contains("the press at 20.0 s changes nothing: the current does not move"), "{again}");
    let twice = pressed(&[20.0, 28.5]);
    assert!(twice.contains("the presses at 20.0 s and 28.5 s change nothing"), "{twice}");
    assert!(!pressed(&[]).contains("nothing"), "{}", pressed(&[]));
    let stirs = [&latched[..], &[(0.3, SET_V, 0.09), (10.0, SET_V, 0.0234)]].concat();
    let stirs = because(&bench(&stirs).with(|b| b.presses.push(37.2)).find());
    assert!(!stirs.contains("nothing: the current"), "{stirs}");
}

#[test]
fn what_moves_in_a_rest_without_a_press_is_no_answer_to_one() {
    // A pulse of the board's own every 2.4 s, one of them shortly after the press.
    let rest = [(2.3, SET_V, 0.0234), (0.1, SET_V, 0.028)].repeat(12);
    let latched = [&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0)][..], &rest].concat();
    let again = bench(&latched).with(|b| b.presses.push(20.4)).find();
    let said = because(&again);
    assert!(
        said.contains(
            "the press at 20.4 s changes nothing: the current does not move in the 15.7 s after it"
        ),
        "{said}"
    );
    assert!(again.next_checks[0].starts_with("a latch is likely"), "{}", checks(&again));
}

#[test]
fn a_board_that_gets_somewhere_without_a_marked_press_is_said_to_have_woken() {
    let unasked = "; no press is marked: pressed unmarked, or it woke by itself";
    for levels in [BOOT.to_vec(), vec![OFF, STANDBY, RAILS, (50.0, SET_V, 1.016)]] {
        let woke = |presses: &[f64]| because(&bench(&levels).with(|b| b.presses = presses.to_vec()).find());
        assert!(woke(&[]).contains(unasked), "{}", woke(&[]));
        assert!(!woke(&[4.5]).contains("no press is marked"), "{}", woke(&[4.5]));
    }
}

#[test]
fn short_pulses_of_a_standby_are_told_beside_those_of_good_boards() {
    let mut levels = vec![OFF];
    levels.extend((0..6).flat_map(|_| [(3.0, SET_V, 0.0234), (0.1, SET_V, 0.035)]));
    let pulsing = bench(&levels).find();
    class(&pulsing, Class::StandbyOnly);
    // Good boards' standby peaks at 0.48 W: 37.5 mA.
    let told = "5 short pulses, one about every 3.1 s, of up to 13 mA above its rest; good boards go up to 14 mA above theirs (a \
                heartbeat: its controller is alive)";
    assert!(because(&pulsing).contains(told), "{}", because(&pulsing));
    assert!(!asks(&bench(&levels), "through a pulse"), "{}", checks(&pulsing));
    assert!(!because(&bench(&ASLEEP).find()).contains("pulse"));
}

#[test]
fn pulses_that_are_read_less_high_count_as_well_and_uneven_ones_are_no_heartbeat() {
    let pulses = |rests: &[f64], highs: &[f64]| {
        let pairs =
            rests.iter().zip(highs).flat_map(|(rest, high)| [(*rest, SET_V, 0.0234), (0.1, SET_V, *high)]);
        because(&bench(&[vec![OFF], pairs.collect(), vec![(4.0, SET_V, 0.0234)]].concat()).find())
    };
    // Some are a third and some a quarter above the level.
    let all = pulses(&[3.0; 6], &[0.035, 0.0295, 0.0295, 0.035, 0.0295, 0.0295]);
    assert!(all.contains("6 short pulses, one about every 3.1 s"), "{all}");
    let uneven = pulses(&[3.0, 1.0, 6.0, 2.0, 9.0, 1.0], &[0.035; 6]);
    assert!(uneven.contains("6 short pulses of up to"), "{uneven}");
}

#[test]
fn a_board_that_woke_without_a_marked_press_is_said_to() {
    let latched = bench(&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0), (30.0, SET_V, 0.0234)]);
    let unmarked = latched.with(|b| b.presses.clear()).find();
    class(&unmarked, Class::LatchOff);
    let told = because(&unmarked);
    assert!(told.contains("no press is marked: pressed unmarked, or it woke by itself"), "{told}");
    assert!(checks(&unmarked).contains("press with the feed left on"), "{}", checks(&unmarked));
}

#[test]
fn a_press_before_the_output_is_on_asks_nothing() {
    let early = bench(&ASLEEP).with(|b| b.presses[0] = 0.5).find();
    let limits = early.limits.join("\n");
    assert!(limits.contains("the press at 0.5 s is marked before the output is on"), "{limits}");
    assert!(limits.contains("no press of the power button is marked with the output on"), "{limits}");
    assert!(
        checks(&early).contains("press the power button briefly with the output on"),
        "{}",
        checks(&early)
    );
    let late = bench(&ASLEEP).find().limits.join("\n");
    assert!(!late.contains("before the output is on"), "{late}");
}

#[test]
fn a_press_at_the_end_of_a_gap_may_have_come_earlier() {
    let asleep = bench(&ASLEEP).with(|b| b.presses[0] = 6.0);
    let limits = with_gap(&asleep, 4.65, 5.95).limits.join("\n");
    assert!(
        limits.contains(
            "the press at 6.0 s is marked at the end of a gap: it may have come up to 1.40 s earlier"
        ),
        "{limits}"
    );
    let elsewhere = with_gap(&asleep, 8.05, 9.45).limits.join("\n");
    assert!(elsewhere.contains("1 gap") && !elsewhere.contains("at the end of a gap"), "{elsewhere}");
}

#[test]
fn a_board_without_a_reference_that_woke_and_stays_is_said_to() {
    let woke = |presses: &[f64]| {
        let levels = [OFF, (4.0, SET_V, 0.0234), (40.0, SET_V, 0.625)];
        bench(&levels).with(|b| (b.profile, b.presses) = (None, presses.to_vec())).find()
    };
    let pressed = woke(&[4.5]);
    class(&pressed, Class::Inconclusive);
    let first = &pressed.verdict.because[0];
    assert!(
        first.starts_with("woke at the press (4.5 s) and stays at 0.625 A for")
            && first.contains("whether it runs or hangs"),
        "{first}"
    );
    assert!(pressed.next_checks[0].starts_with("look and listen first"), "{pressed:#?}");
    assert!(pressed.next_checks[1].contains("each rail with its enable"), "{pressed:#?}");
    // A late step of little does not make it another level.
    let stepped = [OFF, (4.0, SET_V, 0.0234), (40.0, SET_V, 0.625), (3.0, SET_V, 0.6)];
    let stepped = because(&bench(&stepped).with(|b| b.profile = None).find());
    assert!(stepped.contains("and stays at 0.62") && stepped.contains("for 42.9 s"), "{stepped}");
    assert!(
        woke(&[]).verdict.because[0].starts_with("woke at 5.0 s and stays at"),
        "{:?}",
        woke(&[]).verdict
    );
    // From switch-on on nothing woke, and a load is one of the things that it may be.
    let loaded = bench(&[OFF, (50.0, SET_V, 0.625)]).with(|b| b.profile = None).find();
    assert!(!because(&loaded).contains("woke"), "{}", because(&loaded));
}

#[test]
fn readings_that_move_at_other_times_as_well_show_how_little_a_press_does() {
    let asleep = |at_press: f64, elsewhere: f64| {
        let levels = [
            OFF,
            (3.5, SET_V, 0.0234),
            (0.1, SET_V, at_press),
            (8.0, SET_V, 0.0234),
            (0.1, SET_V, elsewhere),
        ];
        because(&bench(&[&levels[..], &[(8.0, SET_V, 0.0234)]].concat()).find())
    };
    let alike = asleep(0.032, 0.033);
    assert!(
        alike.contains("moves no further than at other times: it reads 22 to 33 mA within 2 s of one"),
        "{alike}"
    );
    let still = asleep(0.0234, 0.033);
    assert!(still.contains("the current does not move at a press"), "{still}");
}

#[test]
fn a_small_pulse_that_falls_on_a_press_is_not_denied() {
    // A tenth above the rest, every 2.4 s, one of them 0.2 s after the press.
    let rest = [(2.3, SET_V, 0.0234), (0.1, SET_V, 0.0264)].repeat(10);
    let levels = [&[OFF][..], &rest].concat();
    let said = because(&bench(&levels).with(|b| b.presses = vec![8.0]).find());
    assert!(said.contains("at a press the current moves no further"), "{said}");
}
