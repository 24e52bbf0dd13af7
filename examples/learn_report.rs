//! Measures learning and departures on boards that nobody has seen: `learn_report [BOARDS]`.
//!
//! Boards are invented at random (feed, levels, lengths, busyness), captured with fine, coarse, slow and fast supplies,
//! learned from five units, and judged on other units: how many good captures are refused, how many sound units are
//! flagged with a departure, and how many of the departures put in are found.

#[path = "unseen/log.rs"]
mod log;

use feedtale::reference::{self, Capture, Learning, Profile, Request};
use feedtale::simulator::{Alteration, BoardModel, Case, Polling, Scenario, SupplyKind};
use feedtale::trace::{Trace, write};
use feedtale::verdict::{Class, Finding, Sources, diagnose};
use log::{rounded, taken};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::error::Error;
use std::fmt::Write;

const REFERENCE_UNITS: u64 = 5;
const HEALTHY_UNITS: u64 = 8;
const FIRST_OTHER_UNIT: u64 = 100;

type Fallible<T> = Result<T, Box<dyn Error>>;

fn main() -> Fallible<()> {
    let boards: u64 = std::env::args().nth(1).map_or(Ok(20), |text| text.parse())?;
    let mut total = Tally::default();
    for kind in supplies() {
        let mut tally = Tally::default();
        for seed in 1..=boards {
            one(&board(seed)?, &kind, &mut tally)?;
        }
        println!("{:14} {tally}", kind.name);
        total.add(&tally);
    }
    println!("{:14} {total}", "all");
    Ok(())
}

#[derive(Debug, Default)]
struct Tally {
    good: usize,
    refused: usize,
    failed: usize,
    healthy: usize,
    flagged: usize,
    altered: usize,
    found: usize,
    beside: usize,
}

impl Tally {
    fn add(&mut self, other: &Self) {
        self.good += other.good;
        self.refused += other.refused;
        self.failed += other.failed;
        self.healthy += other.healthy;
        self.flagged += other.flagged;
        self.altered += other.altered;
        self.found += other.found;
        self.beside += other.beside;
    }
}

impl std::fmt::Display for Tally {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "good refused {}/{}  not learned {}  sound flagged {}/{}  put in and found {}/{}, with others beside {}",
            self.refused,
            self.good,
            self.failed,
            self.flagged,
            self.healthy,
            self.found,
            self.altered,
            self.beside
        )
    }
}

fn one(model: &BoardModel, kind: &SupplyKind, tally: &mut Tally) -> Fallible<()> {
    let captures: Vec<Capture> = (1..=REFERENCE_UNITS)
        .map(|unit| Ok(as_capture(unit, &log(&scenario(model, kind, unit))?)))
        .collect::<Fallible<_>>()?;
    tally.good += captures.len();
    let names: Vec<String> =
        std::iter::once("standby").chain(model.stage_names()).map(str::to_owned).collect();
    let request =
        Request { board: model.name.clone(), names, date: "2026-03-02".into(), ..Request::default() };
    let Learning { profile, refused, notes } = match reference::learn(&captures, &request) {
        Ok(learning) => learning,
        Err(error) => {
            println!("  {} {}: {error}", model.name, kind.name);
            tally.failed += 1;
            return Ok(());
        }
    };
    for (name, reason) in &refused {
        println!("  {} {}: {name}: {reason}  ({notes:?})", model.name, kind.name);
    }
    tally.refused += refused.len();
    healthy(model, kind, &profile, tally)?;
    altered(model, kind, &profile, tally)
}

fn healthy(model: &BoardModel, kind: &SupplyKind, profile: &Profile, tally: &mut Tally) -> Fallible<()> {
    for unit in FIRST_OTHER_UNIT..FIRST_OTHER_UNIT + HEALTHY_UNITS {
        let finding = judge(&scenario(model, kind, unit), profile)?;
        if finding.verdict.class != Class::FullBoot {
            continue;
        }
        tally.healthy += 1;
        if !finding.departures.is_empty() {
            tally.flagged += 1;
            show(&format!("  {} {} unit {unit}", model.name, kind.name), &finding);
        }
    }
    Ok(())
}

fn altered(model: &BoardModel, kind: &SupplyKind, profile: &Profile, tally: &mut Tally) -> Fallible<()> {
    let states: Vec<&str> = std::iter::once("standby").chain(model.stage_names()).collect();
    for (index, state) in states.iter().enumerate() {
        let ends = index > 0 && index + 1 < states.len();
        // Standbys differ twice as much between good boards as boots do.
        let factor = if index == 0 { 3.0 } else { 2.0 };
        for (power, duration) in [(factor, 1.0), (1.0 / factor, 1.0), (1.0, 2.5)] {
            // A few updates of a slow supply, or a few steps of a coarse one, do not show a factor of two.
            let stage = index.checked_sub(1).map(|stage| &model.stages[stage]);
            let updates = stage
                .map_or(if model.wake == feedtale::simulator::Wake::Button { 4.0 } else { 0.0 }, |stage| {
                    stage.seconds.unwrap_or(20.0)
                })
                / kind.readback.period_s;
            let steps = stage.map_or(model.standby.watts, |stage| stage.watts)
                / model.feed_v
                / kind.readback.amps_step;
            if (duration > 1.0 && !ends) || updates < 8.0 || steps < 6.0 {
                continue;
            }
            let unit = 200 + index as u64;
            let mut scenario = scenario(model, kind, unit);
            scenario.alterations = vec![Alteration { state: (*state).to_owned(), power, duration }];
            let finding = judge(&scenario, profile)?;
            if finding.verdict.class != Class::FullBoot {
                continue;
            }
            tally.altered += 1;
            let hit = finding.departures.iter().filter(|d| d.phase == *state).count();
            tally.found += usize::from(hit > 0);
            tally.beside += usize::from(finding.departures.len() > 1);
            if hit != 1 || finding.departures.len() > 1 {
                show(
                    &format!("  {} {} {state} power x{power} length x{duration}", model.name, kind.name),
                    &finding,
                );
            }
        }
    }
    Ok(())
}

fn show(what: &str, finding: &Finding) {
    let said: Vec<String> = finding
        .departures
        .iter()
        .map(|d| {
            format!(
                "{} {} {:?} {:.4} ({:.4} to {:.4} {})",
                d.phase, d.quantity, d.direction, d.measured, d.low, d.high, d.unit
            )
        })
        .collect();
    let phases: Vec<String> = finding
        .phases
        .iter()
        .map(|p| format!("{} {:.1} {:.4}", p.name, p.end_s.value() - p.start_s.value(), p.mean_w.value()))
        .collect();
    println!("{what}: {said:?} {phases:?}");
}

fn judge(scenario: &Scenario, profile: &Profile) -> Fallible<Finding> {
    Ok(diagnose(&log(scenario)?, Some(profile), &Sources::default()))
}

fn as_capture(unit: u64, trace: &Trace) -> Capture {
    let log = feedtale::trace::read(&write(trace)).expect("a written log is read");
    Capture { name: format!("good-{unit}.csv"), sha256: log.sha256, trace: log.trace }
}

fn supplies() -> Vec<SupplyKind> {
    let mut kinds = SupplyKind::built_in().to_vec();
    let coarse = kinds[1].clone();
    let mut slow = SupplyKind { name: "slow-fine", ..kinds[0].clone() };
    (slow.readback.period_s, slow.readback.window_s) = (0.5, 0.45);
    let mut quick = SupplyKind { name: "quick-coarse", ..coarse };
    (quick.readback.period_s, quick.readback.window_s) = (0.1, 0.08);
    kinds.extend([slow, quick]);
    kinds
}

fn scenario(model: &BoardModel, kind: &SupplyKind, unit: u64) -> Scenario {
    let mut scenario = Scenario::new(model.clone(), Case::FullBoot, kind.clone(), unit, 1);
    let off = [0.0, 0.02, -0.02][usize::try_from(unit % 3).unwrap_or_default()];
    scenario.set_volts = rounded(model.feed_v * (1.0 + off), 2);
    scenario
}

fn log(scenario: &Scenario) -> Fallible<Trace> {
    let rate_hz = (1.0 / scenario.supply.readback.period_s).clamp(10.0, 25.0);
    let polling = Polling { rate_hz, seconds: 50.0, ..Polling::default() };
    Ok(taken(scenario, &polling)?.0)
}

/// An invented board: three to five stages that can be told from their neighbours, the hungriest next to last.
fn board(seed: u64) -> Fallible<BoardModel> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut between = |low: f64, high: f64| random.random_range(low..high);
    let volts = [3.8, 5.0, 12.6, 19.0, 24.0][usize::try_from(seed % 5)?];
    let most = volts * (between(0.15_f64.ln(), 2.2_f64.ln())).exp();
    let button = between(0.0, 1.0) < 0.6;
    let stages = 3 + usize::try_from(seed / 5 % 3)?;
    let mut text = format!(
        "name = \"random-{seed}\"\ndescription = \"a board at random\"\nserial_prefix = \"R\"\nfeed_point = \"inlet\"\nfeed_v = {volts}\n\
         lowest_v = {}\nhighest_v = {}\nlimit_a = {}\nwake = \"{}\"\nhold_s = {}\ncapacitance_f = 2e-4\nundervoltage_v = {}\nrestart_v = {}\n\
         power_good_s = 0.1\nwarming_share = 0.03\nwarming_s = 25\n[unit]\npower = {}\nduration = {}\nrun = 0.03\n[standby]\nwatts = {}\nflutter_share = 0.01\n",
        volts * 0.9,
        volts * 1.15,
        2.2 * most / volts,
        if button { "button" } else { "power" },
        between(0.08, 1.0),
        volts * 0.6,
        volts * 0.7,
        between(0.03, 0.06),
        between(0.04, 0.07),
        most * between(0.01_f64.ln(), 0.06_f64.ln()).exp(),
    );
    let mut share = between(0.1, 0.2);
    for stage in 0..stages {
        let last = stage + 1 == stages;
        let seconds = if stage == 0 { between(0.3, 0.9) } else { between(2.0, 9.0) };
        let watts = match stages - stage {
            1 => most * between(0.4, 0.75),
            2 => most,
            _ => most * share,
        };
        share = (share * between(1.5, 2.5)).min(0.6);
        let _ = write!(text, "[[stage]]\nname = \"stage-{stage}\"\nwatts = {watts}\n");
        if !last {
            let _ = writeln!(text, "seconds = {seconds}");
        }
        let busy = if last || stage == 0 { 0.015 } else { between(0.02, 0.15) };
        let _ = writeln!(text, "flutter_share = {busy}\nflutter_s = {}", between(0.1, 0.4));
        if !last && stage > 0 && between(0.0, 1.0) < 0.6 {
            let _ = writeln!(
                text,
                "burst = {{ watts = {}, mean_s = 0.15, every_s = 1.0 }}",
                watts * between(0.2, 0.6)
            );
        }
    }
    Ok(BoardModel::from_toml(&text)?)
}
