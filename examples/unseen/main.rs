//! Writes a labelled folder of boards that nobody has seen: `unseen SEED FOLDER`.
//!
//! Six boards and five supplies, invented from SEED; of every board six captures of good units to learn from, and 41
//! cases of other units: nine sound ones, three of them with a quantity that is off, three of each fault, and two that
//! end too soon. `bash examples/score.sh FOLDER` learns and scores. A set counts as unseen once: score it before its
//! failures are looked into.

mod boards;
mod log;
mod supplies;

use feedtale::simulator::{
    Alteration, BoardModel, Capture, Case, Polling, Scenario, SupplyKind, Wake, capture,
};
use log::{rounded, taken};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use std::error::Error;
use std::path::Path;

const BOARDS: usize = 6;
const GOOD_UNITS: u64 = 5;
const HEALTHY: u64 = 9;
const ALTERED: u64 = 3;
const OF_EACH_FAULT: u64 = 3;
const CUT_OFF: u64 = 2;
/// Units of the cases are numbered from here, so that none is also a reference.
const FIRST_CASE_UNIT: u64 = 100;

type Done = Result<(), Box<dyn Error>>;

fn main() -> Done {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, seed, folder] = arguments.as_slice() else { return Err("usage: unseen SEED FOLDER".into()) };
    let seed: u64 = seed.parse()?;
    let mut truth = Vec::new();
    for index in 0..BOARDS {
        let mut random = ChaCha8Rng::seed_from_u64(seed * 1000 + index as u64);
        let model = boards::invent(index, &mut random)?;
        let mut set = Set { model, random, folder: Path::new(folder) };
        set.raise_limit(seed);
        set.write(seed, &mut truth)?;
    }
    Ok(std::fs::write(Path::new(folder).join("truth.json"), serde_json::to_vec_pretty(&truth)?)?)
}

/// One board of the folder.
struct Set<'a> {
    model: BoardModel,
    random: ChaCha8Rng,
    folder: &'a Path,
}

impl Set<'_> {
    fn write(&mut self, seed: u64, truth: &mut Vec<Value>) -> Done {
        let home = self.folder.join(&self.model.name);
        std::fs::create_dir_all(home.join("reference"))?;
        std::fs::create_dir_all(home.join("cases"))?;
        let names: Vec<&str> = self.model.state_names().collect();
        std::fs::write(home.join("names"), names.join(","))?;
        for number in 0..=GOOD_UNITS {
            self.reference(seed, number)?;
        }
        let mut number = 0;
        for case in Case::ALL {
            let count = match case {
                Case::FullBoot => HEALTHY,
                Case::Inconclusive => CUT_OFF,
                _ => OF_EACH_FAULT,
            };
            for of_case in 0..count {
                number += 1;
                truth.push(self.case(seed, number, case, of_case)?);
            }
        }
        Ok(())
    }

    /// Raises the advised limit until no good unit is starved: a limit stands above the highest peak of good boards.
    fn raise_limit(&mut self, seed: u64) {
        while (0..=GOOD_UNITS + HEALTHY).any(|unit| self.is_starved(seed * 1000 + unit)) {
            self.model.limit_a *= 1.25;
        }
    }

    fn is_starved(&mut self, unit: u64) -> bool {
        let scenario = self.scenario(Case::FullBoot, unit, 1);
        let taken = capture(&scenario, &self.polling(&scenario));
        taken.states().any(|(_, name)| name == "unpowered")
    }

    /// A run of unit number `unit`, the supply, the feed and the leads as they happen to be.
    fn scenario(&mut self, case: Case, unit: u64, run: u64) -> Scenario {
        let kinds = supplies::kinds();
        let kind: SupplyKind = kinds[self.random.random_range(0..kinds.len())].clone();
        let model = self.model.clone();
        let mut scenario = Scenario::new(model, case, kind, unit, run);
        if case != Case::FeedLimited {
            let off = self.random.random_range(-0.03..0.03);
            scenario.set_volts = rounded(self.model.feed_v * (1.0 + off), 2);
        }
        scenario.lead_ohms = self.random.random_range(0.02..0.12);
        scenario
    }

    /// Logs a run into the file at `path` under the folder.
    fn log(&self, scenario: &Scenario, path: &str) -> Result<Capture, Box<dyn Error>> {
        let (trace, capture) = taken(scenario, &self.polling(scenario))?;
        std::fs::write(self.folder.join(path), feedtale::trace::write(&trace))?;
        Ok(capture)
    }

    fn polling(&self, scenario: &Scenario) -> Polling {
        let start: f64 = self.model.stages.iter().filter_map(|stage| stage.seconds).sum();
        // A press may come twice, and a stage be longer than usual.
        let after = if scenario.case == Case::Stalled { 30.0 } else { 20.0 };
        Polling {
            rate_hz: (1.0 / scenario.supply.readback.period_s).max(8.0),
            seconds: 16.0 + 1.3 * start + after,
            ..Polling::default()
        }
    }

    fn reference(&mut self, seed: u64, number: u64) -> Done {
        // The last is a second capture of the first unit.
        let unit = seed * 1000 + number % GOOD_UNITS;
        let scenario = self.scenario(Case::FullBoot, unit, 1 + number / GOOD_UNITS);
        let path = format!("{}/reference/good-{number}.csv", self.model.name);
        self.log(&scenario, &path).map(drop)
    }

    fn case(&mut self, seed: u64, number: u64, case: Case, of_case: u64) -> Result<Value, Box<dyn Error>> {
        let mut scenario = self.scenario(case, seed * 1000 + FIRST_CASE_UNIT + number, 1);
        let altered = case == Case::FullBoot && of_case < ALTERED;
        let departures = if altered { vec![self.alter(&mut scenario)] } else { Vec::new() };
        let file = format!("{}/cases/case-{number:03}.csv", self.model.name);
        let capture = self.log(&scenario, &file)?;
        let board = scenario.board();
        Ok(json!({
            "file": file,
            "board": self.model.name,
            "class": case.name(),
            "accept": accepted(&scenario, &capture),
            "stalled_in": if case == Case::Stalled { board.fault_stage() } else { None },
            "departures": departures,
            "phases": phases(&capture),
        }))
    }

    /// Puts into the unit what the board boots with, and what this supply can show: the name of the departure.
    fn alter(&mut self, scenario: &mut Scenario) -> String {
        loop {
            let (alteration, departure) = self.alteration();
            if self.shows(&alteration, scenario) {
                scenario.alterations = vec![alteration];
                let taken = capture(scenario, &self.polling(scenario));
                if taken.states().all(|(_, name)| name != "unpowered") {
                    return departure;
                }
            }
        }
    }

    /// A level or a length that is off by more than those of good boards ever are.
    fn alteration(&mut self) -> (Alteration, String) {
        let stages = self.model.stages.len();
        let at = self.random.random_range(0..=stages);
        let state = self.model.state_names().nth(at).unwrap_or("standby").to_owned();
        let above = self.random.random_bool(0.5);
        let by_length = at > 0 && at < stages && self.random.random_bool(0.3);
        let factor = match at {
            _ if by_length => 2.5,
            0 => 3.0,
            _ => 1.6,
        };
        let side = if above || by_length { "above" } else { "below" };
        let power = match (by_length, above) {
            (true, _) => 1.0,
            (false, true) => factor,
            (false, false) => 1.0 / factor,
        };
        let duration = if by_length { factor } else { 1.0 };
        let departure = format!("{state} {side}");
        (Alteration { state, power, duration }, departure)
    }

    /// Whether an alteration lasts for some updates and is some steps high, and makes no state like another of the board.
    fn shows(&self, alteration: &Alteration, scenario: &Scenario) -> bool {
        const UPDATES: f64 = 8.0;
        const STEPS: f64 = 6.0;
        const ALIKE: f64 = 1.2;
        let shown = &scenario.supply.readback;
        let stages = self.model.stages.iter().map(|stage| (stage.name.as_str(), stage.watts, stage.seconds));
        let standby = (self.model.wake == Wake::Power).then_some(self.model.hold_s);
        let all = std::iter::once(("standby", self.model.standby.watts, standby)).chain(stages);
        let (own, others): (Vec<_>, Vec<_>) = all.partition(|(name, _, _)| *name == alteration.state);
        let Some((_, watts, seconds)) = own.first() else { return false };
        let altered = watts * alteration.power;
        let alike =
            |other: f64| alteration.duration <= 1.0 && (1.0 / ALIKE..ALIKE).contains(&(altered / other));
        altered.min(*watts) > STEPS * shown.amps_step * scenario.set_volts
            && seconds.is_none_or(|seconds| seconds > UPDATES * shown.period_s)
            && !others.iter().any(|(_, other, _)| alike(*other))
    }
}

/// The classes that count as right: that of the case, and what the same log would show if it were another.
fn accepted(scenario: &Scenario, capture: &Capture) -> Vec<&'static str> {
    let mut accepted = vec![scenario.case.name()];
    let step = scenario.supply.readback.amps_step;
    let standby = scenario.model.standby.watts / scenario.set_volts;
    let starts = capture.states().filter(|(_, name)| *name == scenario.model.stages[0].name).count();
    match scenario.case {
        // A standby within two steps of the supply is no more than its offset.
        Case::NoDraw | Case::StandbyOnly | Case::ExcessStandby if standby < 2.0 * step => {
            accepted.extend(["no-draw", "standby-only", "inconclusive"]);
        }
        // The program asks for three starts.
        Case::Cycling if starts < 3 => accepted.extend(["latch-off", "inconclusive"]),
        // An overload that takes the feed down lets the protection forget that it stays.
        Case::LatchOff if starts > 2 => accepted.push("cycling"),
        // An attempt that got into the running level reached it and fell back.
        Case::LatchOff if reached_the_last(scenario, capture) => accepted.push("dropped-out"),
        Case::FeedLimited if starts < 2 => accepted.push("inconclusive"),
        _ => {}
    }
    accepted.dedup();
    accepted
}

fn reached_the_last(scenario: &Scenario, capture: &Capture) -> bool {
    let last = scenario.model.stages.last().map(|stage| stage.name.as_str());
    capture.states().any(|(_, name)| Some(name) == last)
}

/// The board's states with their ends; powering up is part of standby.
fn phases(capture: &Capture) -> Vec<Value> {
    let mut states: Vec<(f64, &str)> = Vec::new();
    for (at, name) in capture.states().filter(|(_, name)| *name != "off") {
        let name = if name == "power-up" { "standby" } else { name };
        if states.last().is_none_or(|(_, before)| *before != name) {
            states.push((at, name));
        }
    }
    let ends = states.iter().skip(1).map(|(at, _)| *at).chain(capture.rows.last().map(|row| row.time));
    states
        .iter()
        .zip(ends)
        .map(|((start, name), end)| json!({ "name": name, "start_s": start, "end_s": end }))
        .collect()
}
