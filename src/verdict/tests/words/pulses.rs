//! Pulses of a rest: how far they go above it, beside those of good boards.

use super::ends::good_log;
use super::*;

/// A rest at so many amps with pulses of 0.1 s that go so far above it, one every 3.1 s, of a board whose good ones go
/// `good_a` above theirs, and were seen at rest for so many seconds each.
fn pulsing(rest_a: f64, above_a: f64, good: Option<(f64, f64)>) -> Bench {
    let pulses = [(3.0, SET_V, rest_a), (0.1, SET_V, rest_a + above_a)].repeat(7);
    let levels = [&[OFF][..], &pulses, &[(3.0, SET_V, rest_a)]].concat();
    let log = |(good_a, seen_s): (f64, f64)| {
        good_log("standby", |standby| {
            standby.mean_power = 0.3;
            standby.peak_power = 0.3 + good_a * SET_V;
            standby.seen = Some(seen_s);
        })
    };
    let logs = good.map(|good| vec![log(good); 3]).unwrap_or_default();
    bench(&levels).with(|b| b.profile.as_mut().expect("one").learned.logs = logs)
}

#[test]
fn the_period_of_pulses_is_the_mean_of_their_spaces_and_not_one_reading_more_or_less() {
    // Four spaces of 1.8 s and three of 2.0 s: 1.89 s.
    let rests = [3.0, 1.7, 1.7, 1.7, 1.7, 1.9, 1.9, 1.9];
    let pulses = rests.iter().flat_map(|rest| [(*rest, SET_V, 0.0234), (0.1, SET_V, 0.035)]);
    let told = because(&bench(&[vec![OFF], pulses.collect(), vec![(4.0, SET_V, 0.0234)]].concat()).find());
    assert!(told.contains("8 short pulses, one about every 1.9 s"), "{told}");
}

#[test]
fn pulses_are_held_against_those_of_good_boards_by_how_far_they_go_above_the_rest() {
    // Far above what good boards go to, and above the 14 mA that they may.
    let retries = pulsing(0.0234, 0.02, Some((0.002, 5.0)));
    let said = because(&retries.find());
    assert!(
        said.contains("above its rest; good boards went up to 2 mA above theirs: something tries again"),
        "{said}"
    );
    assert!(!said.contains("alive"), "{said}");
    assert!(
        asks(&retries, "scope the always-on rails and their enables through a pulse, one about every 3.1 s"),
        "{}",
        checks(&retries.find())
    );
    // Far above what good boards went to, and within what they may.
    let within = because(&pulsing(0.0234, 0.012, Some((0.002, 5.0))).find());
    let may = "good boards went up to 2 mA above theirs, and may go up to 14 mA above (a peak of 37.5 mA): its controller works";
    assert!(within.contains(may), "{within}");
    let alike = pulsing(0.0234, 0.012, Some((0.011, 5.0)));
    assert!(
        because(&alike.find())
            .contains("went up to 11 mA above theirs (a heartbeat: its controller is alive)"),
        "{}",
        because(&alike.find())
    );
    assert!(!asks(&alike, "through a pulse"), "{}", checks(&alike.find()));
    // Good boards that were seen at rest for two seconds each showed hardly a pulse.
    let unknown = because(&pulsing(0.0234, 0.012, Some((0.002, 2.0))).find());
    assert!(unknown.contains("a controller's heartbeat, or a converter that tries again"), "{unknown}");
    assert!(!unknown.contains("above theirs"), "{unknown}");
}

#[test]
fn a_rest_that_draws_too_much_has_its_pulses_listed_as_well() {
    let surplus = pulsing(0.09, 0.02, Some((0.002, 5.0)));
    class(&surplus.find(), Class::ExcessStandby);
    let said = because(&surplus.find());
    assert!(said.contains("7 short pulses, one about every 3.1 s, of up to 21 mA above its rest"), "{said}");
}

#[test]
fn a_board_that_starts_by_itself_and_does_not_may_be_held_off() {
    let alone = |b: &mut Bench| {
        let known = b.profile.as_mut().expect("one");
        known.phases.remove(0);
        b.presses.clear();
    };
    let dead = pulsing(0.0234, 0.012, None).with(alone);
    class(&dead.find(), Class::StandbyOnly);
    assert!(asks(&dead, "a boot jumper or a power-on input holds it off"), "{}", checks(&dead.find()));
    assert!(asks(&dead, "scope its first rails"), "{}", checks(&dead.find()));
    let said = because(&dead.find());
    assert!(
        said.contains("a controller's heartbeat, or a converter that tries again; a scope tells"),
        "{said}"
    );
    assert!(!asks(&bench(&ASLEEP), "boot jumper"), "{}", checks(&bench(&ASLEEP).find()));
}

/// Nine places of a rhythm of 3.1 s, in the fifth of which stands something else.
fn with_one_place_of(fifth: [(f64, f64, f64); 2]) -> Bench {
    let pulse = [(3.0, SET_V, 0.0934), (0.1, SET_V, 0.112)];
    let (before, after) = (pulse.repeat(4), pulse.repeat(4));
    bench(&[&[OFF][..], &before, &fifth, &after, &[(3.0, SET_V, 0.0934)]].concat()).with(|b| {
        b.profile.as_mut().expect("one").phases[0].peak_power =
            crate::reference::Envelope { low: 0.2, typical: 0.3, high: 0.32 };
    })
}

#[test]
fn a_pulse_that_is_not_counted_is_lower_not_there_or_not_read() {
    let rest = 0.0934;
    let lower = because(&with_one_place_of([(3.0, SET_V, rest), (0.1, SET_V, rest + 0.004)]).find());
    assert!(lower.contains("9 short pulses, one about every 3.1 s, of up to"), "{lower}");
    let missing = with_one_place_of([(3.0, SET_V, rest), (0.1, SET_V, rest)]);
    let empty = because(&missing.find());
    assert!(empty.contains("8 short pulses, one about every 3.1 s with 1 not seen, of up to"), "{empty}");
    let unread = because(&super::gaps::with_gap(&missing, 15.0, 17.5));
    assert!(unread.contains("with 1 not seen, in a gap of the readings"), "{unread}");
    // What the scope is asked for is the rhythm alone.
    assert!(asks(&missing, "through a pulse, one about every 3.1 s: what"), "{}", checks(&missing.find()));
}

#[test]
fn pulses_of_what_is_left_after_a_fall_are_told_and_the_edge_of_the_fall_is_none() {
    let pulses = [(3.0, SET_V, 0.0234), (0.1, SET_V, 0.043)].repeat(6);
    let pulsing = because(&bench(&[&BOOT[..], &pulses, &[(3.0, SET_V, 0.0234)]].concat()).find());
    assert!(pulsing.contains("after the fall 6 short pulses, one about every 3.1 s"), "{pulsing}");
    let falls = [&BOOT[..], &[(0.1, SET_V, 0.2), (20.0, SET_V, 0.0234)]].concat();
    let steady = bench(&falls).find();
    class(&steady, Class::DroppedOut);
    assert!(!because(&steady).contains("pulse"), "{}", because(&steady));
}

#[test]
fn the_first_pulse_after_switch_on_is_counted_where_the_rhythm_of_the_others_has_it() {
    let others = [(0.1, SET_V, 0.112), (3.0, SET_V, 0.0934)].repeat(7);
    let rest = |seconds: f64| (seconds, SET_V, 0.0934);
    let count = |first: &[(f64, f64, f64)]| {
        let said = because(
            &with_one_place_of([rest(3.0), rest(0.1)])
                .with(|b| b.levels = [&[OFF][..], first, &others].concat())
                .find(),
        );
        let (before, _) = said.split_once(" short pulses, one about every 3.1 s, of").expect("pulses");
        before.lines().last().and_then(|count| count.parse::<usize>().ok()).expect("a count")
    };
    assert_eq!(count(&[rest(0.4), (0.1, SET_V, 0.112), rest(3.0)]), 8);
    // Neither what comes out of step, nor the charge of the capacitors.
    assert_eq!(count(&[rest(0.4), (0.1, SET_V, 0.112), rest(1.7)]), 7);
    assert_eq!(count(&[rest(0.4), (0.1, SET_V, 0.3), rest(3.0)]), 7);
}

#[test]
fn pulses_that_are_not_seen_for_a_long_time_are_counted_as_that() {
    let pulses = [(3.0, SET_V, 0.0934), (0.1, SET_V, 0.112)];
    let hole = [(18.6, SET_V, 0.0934)];
    let levels = [&[OFF][..], &pulses.repeat(5), &hole, &pulses.repeat(6), &[(3.0, SET_V, 0.0934)]].concat();
    let said = because(
        &with_one_place_of(hole.repeat(2).try_into().expect("two")).with(|b| b.levels = levels).find(),
    );
    assert!(said.contains("11 short pulses, one about every 3.1 s with 6 not seen, of up to"), "{said}");
}

#[test]
fn a_heartbeat_that_rides_on_a_heavy_load_is_told() {
    // 12 mA of pulses on 1.7 A that falls by 30 mA as it warms.
    let beats = (0..15_u32).flat_map(|beat| {
        let amps = 1.7 - 0.002 * f64::from(beat);
        [(2.0, SET_V, amps), (0.1, SET_V, amps + 0.014)]
    });
    let loaded = |levels: Vec<(f64, f64, f64)>| {
        let finding = bench(&levels).with(|b| b.presses.clear()).find();
        class(&finding, Class::PartialShort);
        because(&finding)
    };
    let told = loaded(std::iter::once(OFF).chain(beats).collect());
    assert!(told.contains("short pulses ride on it, one about every 2.1 s, of up to 1"), "{told}");
    let plain = loaded(vec![OFF, (32.0, SET_V, 1.7)]);
    assert!(!plain.contains("short pulses"), "{plain}");
}

#[test]
fn pulses_that_are_read_lower_now_and_then_do_not_double_the_period() {
    // Every second one is averaged down to what two steps or so are.
    let pulses: Vec<_> = (0..14)
        .flat_map(|beat| [(3.0, SET_V, 0.0234), (0.1, SET_V, if beat % 2 == 0 { 0.0334 } else { 0.0279 })])
        .collect();
    let told = because(&bench(&[&[OFF][..], &pulses, &[(3.0, SET_V, 0.0234)]].concat()).find());
    assert!(told.contains("14 short pulses, one about every 3.1 s"), "{told}");
}

#[test]
fn uneven_pulses_that_stand_out_of_many_smaller_ones_are_said_to() {
    // Spaces in tenths of a second, as uneven as they come.
    const SPACES: [u8; 12] = [7, 19, 4, 26, 11, 5, 31, 9, 14, 6, 22, 17];
    const TALL: [usize; 5] = [2, 5, 13, 20, 33];
    let pulsing = |small: f64| {
        let pulses = SPACES.iter().cycle().take(36).enumerate().flat_map(|(index, space)| {
            let above = if TALL.contains(&index) { 0.010 } else { small };
            [(f64::from(*space) / 10.0, SET_V, 0.0234), (0.1, SET_V, 0.0234 + above)]
        });
        because(&bench(&[&[OFF][..], &pulses.collect::<Vec<_>>(), &[REST]].concat()).find())
    };
    let hidden = pulsing(0.002);
    assert!(hidden.contains("5 short pulses that stand out, of up to 1"), "{hidden}");
    assert!(hidden.contains(" above its rest (smaller ones are near the noise)"), "{hidden}");
    let alone = pulsing(0.0);
    assert!(alone.contains("5 short pulses of up to 1"), "{alone}");
}
