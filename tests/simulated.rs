//! Logs of the simulator's boards on the simulator's supplies, for tests of learning and of verdicts.

use feedtale::reference::{Capture, Profile, Request};
use feedtale::simulator::{BoardModel, Case, Polling, Row, Scenario, SupplyKind, capture as simulate};
use feedtale::trace::{self, Trace};
use feedtale::verdict::{Finding, Sources, diagnose};
use std::fmt::Write;

/// The supplies of the simulator, and two more: a fine one renewed twice a second, and one of 10 mA steps that is quick.
pub(crate) fn supplies() -> Vec<SupplyKind> {
    let mut kinds = SupplyKind::built_in().to_vec();
    let mut slow = SupplyKind { name: "slow", ..kinds[0].clone() };
    (slow.readback.period_s, slow.readback.window_s) = (0.5, 0.45);
    let mut quick = SupplyKind { name: "quick", ..kinds[1].clone() };
    (quick.readback.period_s, quick.readback.window_s) = (0.1, 0.08);
    kinds.extend([slow, quick]);
    kinds
}

/// A run of a unit of a board that comes with the program.
pub(crate) fn scenario(board: &str, case: Case, kind: &SupplyKind, unit: u64) -> Scenario {
    Scenario::new(BoardModel::named(board).unwrap(), case, kind.clone(), unit, 1)
}

/// The log of a scenario, as a person without marks would have it.
pub(crate) fn logged(scenario: &Scenario) -> Capture {
    let rows = rows(scenario, 50.0);
    let log = trace::read(text(scenario, &rows).as_bytes()).unwrap();
    Capture { name: format!("{}-{}.csv", scenario.case, scenario.unit), sha256: log.sha256, trace: log.trace }
}

/// The rows of a run, ten a second.
pub(crate) fn rows(scenario: &Scenario, seconds: f64) -> Vec<Row> {
    simulate(scenario, &Polling { seconds, ..Polling::default() }).rows
}

/// The log that holds `rows`, with nobody's marks.
pub(crate) fn trace_of(scenario: &Scenario, rows: &[Row]) -> Trace {
    trace::read(text(scenario, rows).as_bytes()).unwrap().trace
}

fn text(scenario: &Scenario, rows: &[Row]) -> String {
    let mut text = format!(
        "# log: 1\n# board: {}\n# serial: {}\n# set_v: {}\n# limit_a: {}\nt_s,volts,amps\n",
        scenario.model.name,
        scenario.serial(),
        scenario.set_volts,
        scenario.limit
    );
    let shown = scenario.supply.readback;
    for row in rows {
        let (volts, amps) = (shown.volts_decimals, shown.amps_decimals);
        let _ = writeln!(text, "{:.3},{:.volts$},{:.amps$}", row.time, row.volts, row.amps);
    }
    text
}

/// What to learn of a board: its stages by their names.
pub(crate) fn named(board: &str) -> Request {
    let model = BoardModel::named(board).unwrap();
    let stages = model.stage_names().map(str::to_owned);
    let standby = (model.wake == feedtale::simulator::Wake::Button).then(|| "standby".to_owned());
    Request {
        board: board.into(),
        names: standby.into_iter().chain(stages).collect(),
        date: "2026-03-02".into(),
        ..Request::default()
    }
}

/// Five good captures of five units.
pub(crate) fn good_of(board: &str, kind: &SupplyKind) -> Vec<Capture> {
    (1..=5).map(|unit| logged(&scenario(board, Case::FullBoot, kind, unit))).collect()
}

/// The finding of a scenario's log.
pub(crate) fn judged(scenario: &Scenario, profile: &Profile) -> Finding {
    diagnose(&logged(scenario).trace, Some(profile), &Sources::default())
}
