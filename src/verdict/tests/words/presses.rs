//! What is told of presses, of pulses, and of a board that woke without a reference.

use super::ends::good_log;
use super::gaps::with_gap;
use super::*;

#[test]
fn a_press_that_changes_nothing_is_told_and_one_that_wakes_is_not() {
    // One try at the press at 4.5 s, and none at the next.
    let latched = [OFF, STANDBY, RAILS, (1.5, SET_V, 1.0), (30.0, SET_V, 0.0234)];
    let pressed = |more: &[f64]| because(&bench(&latched).with(|b| b.presses.extend(more)).find());
    let again = pressed(&[20.0]);
    assert!(again.contains("the press at 20.0 s changes nothing in the "), "{again}");
    let twice = pressed(&[20.0, 28.5]);
    assert!(twice.contains("the presses at 20.0 s and 28.5 s change nothing"), "{twice}");
    assert!(!pressed(&[]).contains("nothing"), "{}", pressed(&[]));
    let stirs = [&latched[..], &[(0.3, SET_V, 0.09), (10.0, SET_V, 0.0234)]].concat();
    let stirs = because(&bench(&stirs).with(|b| b.presses.push(37.2)).find());
    assert!(!stirs.contains("changes nothing"), "{stirs}");
}

#[test]
fn what_moves_in_a_rest_without_a_press_is_no_answer_to_one() {
    // A pulse of the board's own every 2.4 s, one of them shortly after the press.
    let rest = [(2.3, SET_V, 0.0234), (0.1, SET_V, 0.028)].repeat(12);
    let latched = [&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0)][..], &rest].concat();
    let again = bench(&latched).with(|b| b.presses.push(20.4)).find();
    let said = because(&again);
    assert!(said.contains("the press at 20.4 s changes nothing in the 15.7 s after it"), "{said}");
    // It does move, as before.
    assert!(!said.contains("does not move"), "{said}");
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
    // What is among the evidence is not said twice.
    assert!(limits.contains("whether the board was asked to wake is not known"), "{limits}");
    let facts = because(&early);
    assert!(facts.contains("no press of the button is marked with the output on"), "{facts}");
    assert!(!limits.contains("is marked with"), "{limits}");
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

/// What is said after `no wake in` of a board asleep that reads so many amps in each of the seconds from 1.0 s on.
fn after_the_press(levels: &[f64], presses: &[f64]) -> String {
    let rest: Vec<(f64, f64, f64)> = levels.iter().map(|amps| (1.0, SET_V, *amps)).collect();
    let levels = [&[OFF][..], &rest].concat();
    let said = because(&bench(&levels).with(|b| b.presses = presses.to_vec()).find());
    said.split_once("no wake in ").expect("asleep").1.to_owned()
}

#[test]
fn what_is_read_after_a_press_stands_beside_what_is_read_at_all_other_times() {
    let mut levels = [0.0234; 20];
    // A second that begins 1.5 s before the press, and one long after it.
    (levels[5], levels[15]) = (0.030, 0.032);
    let before = after_the_press(&levels, &[7.5]);
    let told = "; in the 2 s after it the current is 22 to 24 mA, at other times (from 2.0 s on) 22 to 33 mA";
    assert!(before.contains(told), "{before}");
    // ... and one within the 2 s after it.
    levels[7] = 0.0285;
    let after = after_the_press(&levels, &[7.5, 12.2]);
    let told = "; in the 2 s after each press the current is 22 to 30 mA, at other times (from 2.0 s on) 22 to 33 mA";
    assert!(after.contains(told), "{after}");
    // What follows a press while the feed still rises is not told.
    let brief = after_the_press(&[0.0234; 20], &[1.5]);
    assert!(!brief.contains("the current is"), "{brief}");
}

#[test]
fn a_board_that_was_quiet_and_pulses_from_the_press_on_answers_it() {
    let pulsing = |from: usize| -> Vec<f64> {
        let pulse =
            |second: usize| if second >= from && (second - from).is_multiple_of(4) { 0.032 } else { 0.0234 };
        (0..30).map(pulse).collect()
    };
    let answers = after_the_press(&pulsing(7), &[7.8]);
    let told = "; before it the current is 22 to 24 mA (from 2.0 s on), from then on 22 to 33 mA: the board answers it";
    assert!(answers.contains(told), "{answers}");
    // Of one that pulsed before, or much later, it is not known.
    for from in [3, 15] {
        let other = after_the_press(&pulsing(from), &[7.8]);
        assert!(other.contains("in the 2 s after it") && !other.contains("answers it"), "{other}");
    }
    let checked = |from: usize| {
        let levels: Vec<(f64, f64, f64)> = pulsing(from).iter().map(|amps| (1.0, SET_V, *amps)).collect();
        let found = bench(&[&[OFF][..], &levels].concat()).with(|b| b.presses = vec![7.8]).find();
        found.next_checks.join("\n")
    };
    let (stirred, deaf) = (checked(7), checked(15));
    assert!(stirred.starts_with("it answers the button") && !stirred.contains("bridge"), "{stirred}");
    assert!(deaf.contains("bridge the button") && !deaf.contains("answers"), "{deaf}");
}

#[test]
fn readings_that_are_all_the_same_are_said_once() {
    // Of a board that draws nothing, readings without any noise.
    let none = because(&bench(&[OFF, (20.0, SET_V, 0.0)]).find());
    assert!(
        none.contains("; in the 2 s after it the current is at most 0.7 mA, as at other times"),
        "{none}"
    );
}

/// A panel whose good boards stood by for so long in each capture, read four times a second.
pub(super) fn panel(good_s: &[f64]) -> impl Fn(&mut Bench) {
    let log = |seen_s: &f64| {
        good_log("standby", |standby| (standby.seen, standby.update) = (Some(*seen_s), Some(0.25)))
    };
    let logs: Vec<_> = good_s.iter().map(log).collect();
    move |b| {
        let known = b.profile.as_mut().expect("one");
        known.feed.nominal = Volts::constant(24.0);
        known.learned.logs.clone_from(&logs);
    }
}

/// Waits that only coarse readings make uneven, and those of hands.
pub(super) const REGULAR: [f64; 6] = [2.584, 2.8, 2.126, 2.751, 2.375, 2.416];
const BY_HAND: [f64; 6] = [5.334, 5.997, 4.0, 6.418, 5.584, 6.499];

#[test]
fn whether_good_boards_need_a_press_is_told_alike_of_one_that_sleeps_and_of_one_that_woke() {
    let found = |levels: &[(f64, f64, f64)], good_s: &[f64]| {
        bench(levels).with(|b| b.presses.clear()).with(panel(good_s)).find()
    };
    let falls = super::falls_to(0.0234);
    let (sleeps, woke) = (found(&ASLEEP, &REGULAR), found(&falls, &REGULAR));
    class(&sleeps, Class::StandbyOnly);
    let alone = "good boards wake by themselves about 2.5 s after switch-on";
    assert!(because(&sleeps).contains(alone), "{}", because(&sleeps));
    assert!(checks(&sleeps).contains("it should start by itself"), "{}", checks(&sleeps));
    assert!(!checks(&sleeps).contains("wait for a person"), "{}", checks(&sleeps));
    assert!(because(&woke).contains("good boards wake without a press as well"), "{}", because(&woke));

    let (sleeps, woke) = (found(&ASLEEP, &BY_HAND), found(&falls, &BY_HAND));
    class(&sleeps, Class::StandbyOnly);
    assert!(because(&sleeps).contains("no press of the button is marked"), "{}", because(&sleeps));
    let limits = sleeps.limits.join("\n");
    assert!(limits.contains("whether the board was asked to wake is not known"), "{limits}");
    let first = &sleeps.next_checks[0];
    assert!(first.starts_with("press the power button briefly, mark the press and capture again"), "{first}");
    assert!(!checks(&sleeps).contains("reset, clock"), "{}", checks(&sleeps));
    assert!(!because(&woke).contains("good boards wake without"), "{}", because(&woke));
    assert!(because(&woke).contains("no press is marked: pressed unmarked"), "{}", because(&woke));
}

#[test]
fn a_board_whose_profile_times_its_standby_is_said_to_be_overdue_to_wake() {
    let alone = |b: &mut Bench| {
        let standby = &mut b.profile.as_mut().expect("one").phases[0];
        standby.waits_for_person = false;
        standby.duration = Some(crate::reference::Envelope { low: 2.0, typical: 3.0, high: 4.0 });
        b.presses.clear();
    };
    let sleeps = bench(&ASLEEP).with(alone).find();
    class(&sleeps, Class::StandbyOnly);
    let told = because(&sleeps);
    assert!(told.contains("good boards wake by themselves about 3.0 s after switch-on"), "{told}");
}
