//! Where and how tries and falls end, as the readings next to the end show it.

use super::*;
use crate::reference::{SourceLog, StageMeasure};

/// A log of a good board that was in `stage` for so many seconds.
pub(super) fn good_log(stage: &str, measure: impl FnOnce(&mut StageMeasure)) -> SourceLog {
    let mut measured = StageMeasure {
        phase: stage.into(),
        mean_power: 2.2,
        peak_power: 2.4,
        activity: 0.1,
        duration: None,
        energy: None,
        volts: SET_V,
        uncertainty: 0.01,
        seen: Some(5.0),
        update: Some(0.1),
    };
    measure(&mut measured);
    SourceLog { name: "good".into(), sha256: String::new(), serial: None, feed: None, stages: vec![measured] }
}

/// Tries that end in rails, of a board whose good ones took these times for them.
fn tries_in_rails(good_s: [f64; 2], end: &[(f64, f64, f64)]) -> Finding {
    let tries = [&[RAILS][..], end, &[REST]].concat().repeat(8);
    let lasting = |seconds: f64| good_log("rails", |rails| rails.duration = Some(seconds));
    bench(&[&[OFF, STANDBY][..], &tries].concat())
        .with(|b| b.profile.as_mut().expect("one").learned.logs = good_s.map(lasting).to_vec())
        .find()
}

#[test]
fn tries_that_are_short_of_every_good_board_end_in_the_stage_and_not_at_the_step_out_of_it() {
    // The tries are in rails for 0.8 s.
    let short = tries_in_rails([1.1, 1.3], &[]);
    class(&short, Class::Cycling);
    let said = because(&short);
    assert!(
        said.contains("into it, good boards stay for 1.1 to 1.3 s: no step into loading is seen"),
        "{said}"
    );
    assert!(said.contains("in rails") && !said.contains("at the end of"), "{said}");
    assert_eq!(short.verdict.step_into, None);
    // As long as some good board was.
    let long = because(&tries_in_rails([0.8, 1.3], &[]));
    assert!(long.contains("at the step into loading") && !long.contains("into it"), "{long}");
    // However short, what reads more than rails peak at has stepped on.
    let stepped = because(&tries_in_rails([1.1, 1.3], &[(0.1, SET_V, 0.3)]));
    assert!(stepped.contains("at the step into loading"), "{stepped}");
}

#[test]
fn the_readings_over_the_edges_of_a_brief_try_are_counted_with_it() {
    let tried = |edges: [f64; 2]| {
        let [up, down] = edges.map(|amps| (0.1, SET_V, amps));
        let levels = [OFF, STANDBY, up, (0.1, SET_V, 0.3), down, (30.0, SET_V, 0.0234)];
        because(&bench(&levels).find())
    };
    let three = tried([0.22, 0.07]);
    assert!(three.contains("1 try at 5.0 s, for under 0.4 s: 3 readings"), "{three}");
    assert!(three.contains("ends within 0.4 s of its wake"), "{three}");
    let one = tried([0.0234, 0.0234]);
    assert!(one.contains("1 try at 5.1 s, for under 0.2 s: one reading"), "{one}");
}

#[test]
fn a_fall_is_from_the_level_that_the_readings_before_it_show() {
    let fell = |before: &[(f64, f64, f64)]| {
        let levels = [&BOOT[..], before, &[(20.0, SET_V, 0.0234)]].concat();
        let finding = bench(&levels).find();
        class(&finding, Class::DroppedOut);
        because(&finding)
    };
    // A bump that is over when the board falls.
    let bump = fell(&[(0.5, SET_V, 0.9), (0.4, SET_V, 0.6)]);
    assert!(bump.contains("from 0.600 A to 23 mA"), "{bump}");
    // One that lasts to the fall is what it fell from.
    let busy = fell(&[(0.4, SET_V, 0.6), (0.2, SET_V, 0.9)]);
    assert!(busy.contains("from 0.900 A, a burst above its usual 0.625 A, to 23 mA"), "{busy}");
    // One that is over, though the reading after it is the lowest by what readings scatter.
    let over = fell(&[(0.3, SET_V, 0.9), (0.1, SET_V, 0.623)]);
    assert!(!over.contains("a burst"), "{over}");
}

#[test]
fn a_board_comes_to_its_running_level_at_one_moment() {
    // A dip at the end of loading is a burst of the level that follows.
    let levels = [OFF, STANDBY, RAILS, LOADING, (1.0, SET_V, 1.0), (0.4, SET_V, 0.45), (20.0, SET_V, 0.625)];
    let boots = bench(&levels).find();
    class(&boots, Class::FullBoot);
    let said = because(&boots);
    let reached = said.split("idle at ").nth(1).and_then(|rest| rest.lines().next()).expect("reached");
    assert!(said.contains(&format!(", from {reached} to the end")), "{said}");
}
