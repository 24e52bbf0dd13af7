//! The rules of the scores one by one, on an invented board: standby 0.3 W, rails 2.2 W, loading 13 W, idle 8 W.

use super::*;
use crate::segment::{Settings, segment};
use crate::units::Volts;
use crate::verdict::piece::{Piece, pieces};
use crate::verdict::run::runs;
use crate::verdict::tests::{OFF, SET_V, profile, trace};

/// The second stage, well above standby.
const LOADING: usize = 1;

struct Bench {
    model: Model,
    run: Run,
    readout: Readout,
    pieces: Vec<Piece>,
}

impl Bench {
    /// A board that draws `amps` from switch-on.
    fn of(amps: f64) -> Self {
        Self::lasting(6.0, amps)
    }

    fn lasting(seconds: f64, amps: f64) -> Self {
        let trace = trace(&[OFF, (seconds, SET_V, amps)]);
        let cut = segment(&trace, &Settings::default()).unwrap();
        let readout = Readout::of(&trace, Readout::timing(&trace), &cut);
        let run = runs(&trace, &readout).remove(0);
        let pieces = pieces(&trace, &cut, &run, &readout);
        Self { model: Model::from_profile(&profile(), Volts::constant(SET_V)), run, readout, pieces }
    }

    fn scores(&self) -> Scores<'_> {
        Scores::new(&self.model, &self.run, &self.readout, 0.0)
    }
}

fn stretch(seconds: f64, levels: f64) -> Stretch {
    Stretch {
        start_s: 1.0,
        end_s: 1.0 + seconds,
        watts: 2.2,
        amps: 2.2 / SET_V,
        volts: SET_V,
        sag: 0.0,
        dip: 0.0,
        limit: 0.0,
        spread_w: 0.05,
        levels,
        level: 2.2_f64.ln(),
    }
}

fn is_nought(nats: f64) -> bool {
    nats.abs() < 1e-12
}

#[test]
fn the_step_from_stage_to_stage_is_to_be_seen() {
    let mut bench = Bench::of(0.1);
    {
        let scores = bench.scores();
        let up = |step: f64| scores.unmoved(State::Done(0), State::Held(1), step);
        assert!(is_nought(up(1.0)) && up(0.1) < -1.0 && up(-1.0) < -1.0);
        let down = |step: f64| scores.unmoved(State::Done(1), State::Held(2), step);
        assert!(is_nought(down(-0.3)) && down(0.3) < -1.0);
        let wakes = |step: f64| scores.unmoved(State::Low, State::Held(1), step);
        assert!(is_nought(wakes(1.0)) && wakes(0.0) < -1.0, "a board that wakes draws more");
        for (awake, rest) in
            [(State::Held(0), State::Excess), (State::Held(1), State::Low), (State::Surge, State::Low)]
        {
            let falls = |step: f64| scores.unmoved(awake, rest, step);
            assert!(is_nought(falls(-0.5)) && falls(0.3) < -3.0, "what falls back draws less");
        }
    }
    bench.model.stages[1].watts = 1.1 * bench.model.stages[0].watts;
    let alike = bench.scores().unmoved(State::Done(0), State::Held(1), 0.0);
    assert!(is_nought(alike), "stages that lie close may show no step: {alike}");
}

#[test]
fn a_reading_at_standby_speaks_against_a_stage_that_goes_on() {
    let (rest, awake) = (Bench::of(0.0234), Bench::of(0.5));
    let back = |bench: &Bench, state| bench.scores().back_in_between(&bench.pieces[0], state);
    assert!(back(&rest, State::Held(LOADING)) < -3.0, "{}", back(&rest, State::Held(LOADING)));
    assert!(is_nought(back(&awake, State::Held(LOADING))));
    assert!(is_nought(back(&rest, State::Low)), "a rest may go on");
    let mut near = Bench::of(0.0234);
    near.model.stages[LOADING].watts = 1.5 * near.model.standby.high;
    assert!(is_nought(back(&near, State::Held(LOADING))), "a stage at standby's own level dips to it");
    // Boards' standby may scatter as far up as the stage; what draws less than the usual one stands by.
    near.model.stages[LOADING].watts = 1.0;
    (near.model.standby.watts, near.model.standby.high) = (Some(0.4), 1.0);
    assert!(back(&near, State::Held(LOADING)) < -1.0, "{}", back(&near, State::Held(LOADING)));
}

#[test]
fn the_first_moment_is_no_start_that_was_given_up() {
    let mut bench = Bench::of(0.1);
    {
        let scores = bench.scores();
        let begins_at = bench.run.start_s;
        let at =
            |start_s: f64, lasts: f64| Stretch { start_s, end_s: start_s + lasts, ..stretch(lasts, 1.0) };
        let (moment, longer) = (at(begins_at, 0.1), at(begins_at, 1.0));
        let (next, later) = (at(begins_at + 0.05, 0.05), at(begins_at + 2.0, 0.1));
        let soon = |stretch, state| scores.too_soon(&scores.look(stretch), state);
        for state in [State::Held(0), State::Surge, State::Burst] {
            assert!(soon(&moment, state) < -3.0 && soon(&next, state) < -3.0, "{state:?}");
            assert!(is_nought(soon(&later, state)) && is_nought(soon(&longer, state)), "{state:?}");
        }
        assert!(is_nought(soon(&moment, State::Done(0))), "a stage may be gone through so");
    }
    bench.run.switch_on_seen = false;
    let scores = bench.scores();
    let cut_in = scores.too_soon(&scores.look(&stretch(0.1, 1.0)), State::Held(0));
    assert!(is_nought(cut_in), "the log may begin at the end of a stage");
}

#[test]
fn what_was_seen_only_at_its_edges_is_no_rest_and_no_excursion() {
    let bench = Bench::of(0.1);
    let scores = bench.scores();
    let (edges, level) = (stretch(0.3, 0.0), stretch(0.3, 0.5));
    let only = |stretch, state| states::edges_only(&scores.look(stretch), state);
    for state in [State::Low, State::Surge, State::Burst, State::Excess, State::Held(0)] {
        assert!(only(&edges, state) < -1.0, "{state:?}");
        assert!(is_nought(only(&level, state)), "{state:?}");
    }
    assert!(is_nought(only(&edges, State::Done(0))), "a short stage passes so on the way up");
}

#[test]
fn the_rules_count_in_the_score_of_a_stay() {
    let bench = Bench::of(0.17);
    let scores = bench.scores();
    let score = |levels, start_s: f64| {
        let stay = Stretch { start_s, end_s: start_s + 0.1, ..stretch(0.1, levels) };
        scores.score(&scores.look(&stay), State::Held(0), false, false)
    };
    let (at_once, later) = (bench.run.start_s, bench.run.start_s + 2.0);
    assert!(score(1.0, at_once) < score(1.0, later) - 3.0, "too soon");
    assert!(score(0.0, later) < score(1.0, later) - 1.0, "edges only");
}

#[test]
fn pulses_grow_with_a_standby_that_is_too_high_and_no_more() {
    let leaky = Stretch { watts: 0.6, level: 0.6_f64.ln(), ..stretch(5.0, 4.0) };
    let pulse = |watts: f64| {
        let bench = Bench::lasting(0.5, watts / SET_V);
        bench.scores().incoherence(&bench.pieces[0], &leaky, State::Excess, 0.0)
    };
    // Good boards' standby of 0.3 W has pulses of up to 0.48 W.
    assert!(is_nought(pulse(0.95)), "{}", pulse(0.95));
    assert!(pulse(2.5) < -1.0, "{}", pulse(2.5));
}

#[test]
fn only_a_board_of_this_model_has_a_running_level_to_be_at() {
    let mut bench = Bench::of(0.1);
    let at = |bench: &Bench, watts: f64| {
        bench.scores().runs_at(&bench.scores().look(&Stretch { watts, ..stretch(5.0, 4.0) }))
    };
    assert!(at(&bench, 8.0) > 0.99 && at(&bench, 13.0) < 0.3, "{}", at(&bench, 13.0));
    let at_any = |bench: &Bench, watts: f64| {
        bench.scores().at_a_stage(&bench.scores().look(&Stretch { watts, ..stretch(5.0, 4.0) }))
    };
    assert!(at_any(&bench, 13.0) > 0.99 && at_any(&bench, 4.5) < 0.2, "{}", at_any(&bench, 4.5));
    bench.model.of_this_board = false;
    assert!(is_nought(at(&bench, 8.0)) && is_nought(at_any(&bench, 13.0)));
}

#[test]
fn fitting_a_stage_whose_level_is_hardly_known_says_little_of_a_board_that_stays_there() {
    let mut bench = Bench::of(0.1);
    let cost = |bench: &Bench, seconds: f64| {
        let stretch = stretch(seconds, 4.0);
        bench.scores().hardly_known(&bench.scores().look(&stretch), 0)
    };
    let known = cost(&bench, 20.0);
    bench.model.stages[0].sd = 0.6;
    assert!(cost(&bench, 20.0) > known + 1.0, "{} {known}", cost(&bench, 20.0));
    assert!(is_nought(cost(&bench, 0.8)), "for as long as good boards it may be there");
}

#[test]
fn the_end_of_a_stage_is_uncertain_where_the_next_one_draws_about_the_same() {
    let mut bench = Bench::of(0.1);
    assert!((bench.scores().blurred(0) - 1.0).abs() < 1e-12);
    bench.model.stages[1].watts = 1.05 * bench.model.stages[0].watts;
    assert!(bench.scores().blurred(0) > 1.5, "{}", bench.scores().blurred(0));
}

#[test]
fn a_pulse_of_standby_seldom_comes_just_when_the_button_is_pressed() {
    // Of good boards standby is 0.3 W with pulses of up to 0.48 W.
    let mut bench = Bench::lasting(0.5, 0.45 / SET_V);
    let against = |bench: &Bench| bench.scores().pulse(&bench.pieces[0], State::Low);
    assert!(is_nought(against(&bench)), "{}", against(&bench));
    bench.run.presses = vec![bench.pieces[0].start_s - 0.3];
    let at_press = against(&bench);
    assert!(at_press < -0.1, "{at_press}");
    bench.run.presses = vec![bench.pieces[0].start_s - 2.0];
    assert!(is_nought(against(&bench)), "long after the press");
}

#[test]
fn pulses_that_follow_each_other_without_a_break_are_a_level_of_their_own() {
    let mut bench = Bench::lasting(0.5, 2.2 * 1.9 / SET_V);
    bench.model.stages[0].headroom = 0.7;
    let so_far = stretch(5.0, 4.0);
    let (piece, rails) = (&bench.pieces[0], State::Held(0));
    let scores = bench.scores();
    let high_s = scores.high_s(piece, &so_far, rails, 1.0);
    assert!((high_s - 1.0 - piece.duration()).abs() < 1e-9, "{high_s}");
    let against = |high_s: f64| scores.incoherence(piece, &so_far, rails, high_s);
    assert!(is_nought(against(piece.duration())), "as high as good boards' pulses go");
    assert!(against(high_s) < -1.0, "{}", against(high_s));
    let down = Bench::lasting(0.5, 2.2 / SET_V);
    assert!(is_nought(down.scores().high_s(&down.pieces[0], &so_far, rails, 1.0)), "back at the level");
}

#[test]
fn volts_that_give_way_speak_against_a_stage_that_goes_on_and_not_for_a_starved_one() {
    let bench = Bench::of(2.2 / SET_V);
    let scores = bench.scores();
    let mut sagging = bench.pieces[0].clone();
    sagging.sag = 1.0;
    let within = |so_far: &Stretch, state| scores.incoherence(&sagging, so_far, state, 0.0);
    let stands = scores.incoherence(&bench.pieces[0], &stretch(5.0, 4.0), State::Held(0), 0.0);
    assert!(within(&stretch(5.0, 4.0), State::Held(0)) < stands - 0.5);
    let mut dipping = bench.pieces[0].clone();
    dipping.dip = 1.0;
    let dips = scores.incoherence(&dipping, &stretch(5.0, 4.0), State::Held(0), 0.0);
    assert!(dips < stands - 0.5, "{dips}");
    let gave_way = Stretch { sag: 1.0, ..stretch(5.0, 4.0) };
    assert!(is_nought(within(&gave_way, State::Starved)), "it goes on giving way");
}

#[test]
fn a_level_off_the_usual_one_says_more_where_it_alone_tells_a_running_board() {
    let bench = Bench::of(0.1);
    let scores = bench.scores();
    let off = |watts: f64| scores.off_running_level(&scores.look(&Stretch { watts, ..stretch(9.0, 4.0) }));
    assert!(is_nought(off(8.0)) && off(10.5) < -1.0, "{} {}", off(8.0), off(10.5));
}

#[test]
fn a_stuck_board_may_stop_dead_but_does_not_do_more_than_its_stage() {
    let bench = Bench::of(1.0);
    let scores = bench.scores();
    let says = |spread_w: f64| {
        let stay = Stretch { watts: 13.0, spread_w, ..stretch(30.0, 8.0) };
        scores.stuck_activity(&scores.look(&stay), LOADING)
    };
    assert!((0.5_f64.ln()..=0.0).contains(&says(0.01)), "flat: {}", says(0.01));
    assert!(says(4.0) < -2.0, "wild: {}", says(4.0));
}
