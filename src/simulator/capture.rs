//! The fast way in: the rows that a poller would log, with no wire.

use super::bench::{Bench, Truth, TruthEvent};
use super::noise::Noise;
use super::scenario::Scenario;
use super::supply::Mode;

/// How the supply is polled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Polling {
    /// Polls a second.
    pub rate_hz: f64,
    /// How long an exchange takes.
    pub span_s: f64,
    /// How unsteady both are (log-normal share).
    pub jitter: f64,
    /// From the first poll to the last.
    pub seconds: f64,
}

impl Default for Polling {
    /// Ten a second, 20 ms an exchange, a little unsteady, for half a minute.
    fn default() -> Self {
        Self { rate_hz: 10.0, span_s: 0.02, jitter: 0.08, seconds: 30.0 }
    }
}

/// One row as a poller would log it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Middle of the exchange, in seconds since the middle of the first.
    pub time: f64,
    /// Volts as shown.
    pub volts: f64,
    /// Amps as shown.
    pub amps: f64,
    /// What regulated.
    pub mode: Mode,
    /// How long the exchange took.
    pub span: f64,
}

/// A run as it would be logged, and what truly happened.
#[derive(Debug, Clone, PartialEq)]
pub struct Capture {
    /// The rows, in strictly increasing time.
    pub rows: Vec<Row>,
    /// What happened, on the clock of the rows.
    pub truth: Vec<TruthEvent>,
}

impl Capture {
    /// Times of the presses of the power button.
    pub fn presses(&self) -> impl Iterator<Item = f64> {
        self.truth.iter().filter(|event| event.what == Truth::Press).map(|event| event.at_s)
    }

    /// Names of the board's states in order, each with the time at which it began.
    pub fn states(&self) -> impl Iterator<Item = (f64, &str)> {
        self.truth.iter().filter_map(|event| match &event.what {
            Truth::State(name) => Some((event.at_s, name.as_str())),
            _ => None,
        })
    }
}

/// Runs `scenario` and polls its supply.
///
/// A run in which the output is switched off again ends there: what follows says nothing of the board.
///
/// # Panics
/// If the rate of `polling` is not above zero.
#[must_use]
pub fn capture(scenario: &Scenario, polling: &Polling) -> Capture {
    assert!(polling.rate_hz > 0.0, "a poll rate of {} Hz; it must be above 0", polling.rate_hz);
    let mut bench = Bench::new(scenario);
    let mut noise = Noise::new(scenario.unit.rotate_left(32) ^ scenario.run, 8);
    let period = 1.0 / polling.rate_hz;
    let (mut rows, mut truth) = (Vec::new(), Vec::new());
    let (mut slot, mut zero) = (0.0, None);
    let mut was_on = false;
    loop {
        let span = (polling.span_s * noise.factor(polling.jitter)).min(0.9 * period);
        let begin = slot * period + period * 0.05 * noise.uniform() * polling.jitter.min(1.0);
        // The supply answers with what it shows somewhere between question and answer.
        bench.advance(begin + span * noise.between(0.2, 0.8));
        let middle = begin + span / 2.0;
        let zero = *zero.get_or_insert(middle);
        let ended = was_on && !bench.is_on();
        if middle - zero > polling.seconds || ended {
            break;
        }
        was_on = bench.is_on();
        let shown = bench.reading();
        rows.push(Row { time: middle - zero, volts: shown.volts, amps: shown.amps, mode: shown.mode, span });
        slot += 1.0;
    }
    let zero = zero.unwrap_or_default();
    truth.extend(bench.take_truth().into_iter().map(|event| TruthEvent { at_s: event.at_s - zero, ..event }));
    Capture { rows, truth }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulator::{BoardModel, Case, SupplyKind};

    fn run(board: &str, case: Case, unit: u64) -> (Scenario, Capture) {
        let model = BoardModel::named(board).unwrap();
        let scenario = Scenario::new(model, case, SupplyKind::default(), unit, 1);
        let capture = capture(&scenario, &Polling { seconds: 60.0, ..Polling::default() });
        (scenario, capture)
    }

    fn mean_amps(rows: &[Row], from: f64, to: f64) -> f64 {
        let within: Vec<f64> =
            rows.iter().filter(|row| row.time >= from && row.time < to).map(|row| row.amps).collect();
        within.iter().sum::<f64>() / f64::from(u32::try_from(within.len()).unwrap())
    }

    fn names(capture: &Capture) -> Vec<&str> {
        capture.states().map(|(_, name)| name).collect()
    }

    #[test]
    fn a_run_repeats_to_the_last_digit_and_another_run_differs() {
        let (_, first) = run("wren-4", Case::Cycling, 11);
        assert_eq!(first, run("wren-4", Case::Cycling, 11).1);
        assert_ne!(first.rows, run("wren-4", Case::Cycling, 12).1.rows);
    }

    #[test]
    fn rows_come_in_time_and_at_the_rate_asked_for() {
        let (_, capture) = run("harrow-13", Case::FullBoot, 1);
        assert!(capture.rows[0].time.abs() < f64::EPSILON);
        assert!(capture.rows.windows(2).all(|pair| pair[0].time < pair[1].time));
        assert!((595..=602).contains(&capture.rows.len()), "{}", capture.rows.len());
    }

    #[test]
    fn a_sound_board_goes_through_its_stages_and_stays_in_the_last() {
        for model in BoardModel::built_in() {
            let (_, capture) = run(&model.name, Case::FullBoot, 5);
            let expected: Vec<&str> =
                ["power-up", "standby"].into_iter().chain(model.stage_names()).collect();
            assert_eq!(names(&capture), expected);
            let running = model.stages.last().unwrap().watts / model.feed_v;
            let amps = mean_amps(&capture.rows, 50.0, 60.0);
            assert!((amps / running - 1.0).abs() < 0.25, "{}: {amps} A, usually {running} A", model.name);
        }
    }

    #[test]
    fn a_hard_short_sits_in_limit_with_the_feed_collapsed() {
        for (unit, model) in
            (0..8).flat_map(|unit| BoardModel::built_in().into_iter().map(move |m| (unit, m)))
        {
            let (scenario, capture) = run(&model.name, Case::HardShort, unit);
            let last = capture.rows.last().unwrap();
            assert_eq!(last.mode, Mode::ConstantCurrent);
            assert!(last.volts < 0.16 * scenario.set_volts, "{} unit {unit}: {last:?}", model.name);
        }
    }

    #[test]
    fn an_open_input_draws_nothing_that_the_supply_can_show() {
        let (scenario, capture) = run("harrow-13", Case::NoDraw, 2);
        let least = scenario.supply.readback.amps_step;
        let after = capture.rows.iter().filter(|row| row.mode == Mode::ConstantVoltage).skip(3);
        assert!(after.map(|row| row.amps).fold(0.0, f64::max) <= 3.0 * least);
        assert!(capture.rows.last().unwrap().volts > 12.9);
    }

    #[test]
    fn a_stall_stays_in_the_stage_that_was_asked_for() {
        let model = BoardModel::named("harrow-13").unwrap();
        let scenario =
            Scenario::new(model, Case::Stalled, SupplyKind::default(), 4, 1).with_stage("loading").unwrap();
        let capture = capture(&scenario, &Polling { seconds: 90.0, ..Polling::default() });
        assert_eq!(names(&capture).last(), Some(&"loading"));
        assert_eq!(scenario.board().fault_stage(), Some("loading"));
    }

    #[test]
    fn cycling_repeats_and_a_latch_off_does_not() {
        for model in BoardModel::built_in() {
            for unit in 0..6 {
                let first = model.stages[0].name.as_str();
                let starts = |case| {
                    names(&run(&model.name, case, unit).1).iter().filter(|name| **name == first).count()
                };
                assert!(starts(Case::Cycling) >= 6, "{} unit {unit}", model.name);
                assert!((1..=2).contains(&starts(Case::LatchOff)), "{} unit {unit}", model.name);
            }
        }
    }

    #[test]
    fn a_starved_board_sags_into_the_limit_at_its_hungriest_stage_and_starts_again() {
        for model in BoardModel::built_in() {
            for unit in 0..6 {
                let (_, capture) = run(&model.name, Case::FeedLimited, unit);
                let names = names(&capture);
                let restarts = names.iter().filter(|name| **name == "unpowered").count();
                assert!(restarts >= 2, "{} unit {unit}: {names:?}", model.name);
                assert!(!names.contains(&model.stages.last().unwrap().name.as_str()), "{names:?}");
            }
        }
    }

    #[test]
    fn watts_stay_the_same_when_the_feed_changes() {
        let model = BoardModel::named("harrow-13").unwrap();
        let watts = |volts: f64| {
            let mut scenario = Scenario::new(model.clone(), Case::FullBoot, SupplyKind::default(), 9, 1);
            scenario.set_volts = volts;
            let capture = capture(&scenario, &Polling { seconds: 60.0, ..Polling::default() });
            volts * mean_amps(&capture.rows, 45.0, 60.0)
        };
        let (low, high) = (watts(11.5), watts(13.5));
        assert!((low / high - 1.0).abs() < 0.03, "{low} W at 11.5 V, {high} W at 13.5 V");
    }

    #[test]
    fn an_alteration_changes_one_state_only() {
        let model = BoardModel::named("harrow-13").unwrap();
        let mut scenario = Scenario::new(model, Case::StandbyOnly, SupplyKind::default(), 9, 1);
        let usual = mean_amps(&capture(&scenario, &Polling::default()).rows, 15.0, 30.0);
        let triple = crate::simulator::Alteration { state: "standby".into(), power: 3.0, duration: 1.0 };
        scenario.alterations.push(triple);
        let altered = mean_amps(&capture(&scenario, &Polling::default()).rows, 15.0, 30.0);
        assert!((altered / usual - 3.0).abs() < 0.15, "{usual} A, {altered} A");
    }

    #[test]
    fn plugging_in_live_pulls_the_volts_down_for_a_moment_and_then_boots() {
        let model = BoardModel::named("kiln-24").unwrap();
        let mut scenario =
            Scenario::new(model, Case::FullBoot, SupplyKind::named("bench-fast").unwrap(), 2, 1);
        scenario.operator.plugs_in_s = Some(3.0);
        let capture = capture(&scenario, &Polling { rate_hz: 50.0, span_s: 0.005, ..Polling::default() });
        let plugged = capture.states().next().unwrap().0;
        assert!(plugged > scenario.operator.on_s.unwrap() + 2.9, "{plugged}");
        let lowest = capture.rows.iter().filter(|row| (row.time - plugged).abs() < 0.1).map(|row| row.volts);
        assert!(lowest.fold(f64::INFINITY, f64::min) < 23.5);
        assert_eq!(names(&capture).last(), Some(&"screen"));
    }
}
