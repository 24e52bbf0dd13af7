//! What becomes of a recording over a wire in trouble.

use crate::Result;
use crate::run::{Run, record, record_also_at, setup, tcp};
use feedtale::simulator::{Manners, Server, Setup};
use feedtale::trace::EventKind;

/// One of each kind of trouble; those by number strike the 40th answer.
const FAULTS: [&str; 19] = [
    "silent@40",
    "silent@40x3",
    "garbage@40",
    "garbage@every10",
    "cut@40",
    "hold@40",
    "glue@40",
    "late=1100ms@40",
    "slow=300ms@40x3",
    "nul@40",
    "ends@40x9",
    "err@40",
    "nan@40",
    "inf@40",
    "unplug=700ms@1s",
    "reboot=700ms@1s",
    "pty unplug=700ms@1s",
    "pty rename=700ms@1s",
    "pty reboot=3s@1s",
];

pub(crate) fn print() -> Result<()> {
    println!("Trouble on the wire (TCP, or a pseudo-terminal at 115200; 10 ms device time, 6 s each)\n");
    println!(
        "| fault | readings | not understood | gaps | link lost | link back | wrong numbers | last reading s |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|---:|");
    let runs: Vec<std::result::Result<Run, String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = FAULTS.iter().map(|fault| scope.spawn(|| faulty(fault))).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|_| Err("a recording broke down".into())))
            .collect()
    });
    for run in runs {
        let run = run?;
        let wrong = (0..run.log.len()).filter(|index| !run.is_true(*index)).count();
        println!(
            "| {} | {} | {} | {} | {} | {} | {wrong} | {:.2} |",
            run.name,
            run.log.len(),
            run.report.tally.failures,
            run.count(&EventKind::Gap),
            run.count(&EventKind::LinkLost),
            run.count(&EventKind::LinkBack),
            run.log.time().last().copied().unwrap_or(f64::NAN)
        );
    }
    println!();
    Ok(())
}

fn faulty(fault: &str) -> std::result::Result<Run, String> {
    let run = || -> Result<Run> {
        let manners = Manners { device_s: 0.01, ..Manners::default() };
        let (on_pty, kind) = fault.strip_prefix("pty ").map_or((false, fault), |kind| (true, kind));
        let setup = Setup { faults: vec![kind.parse()?], manners, ..setup()? };
        if !on_pty {
            return record(fault, tcp(setup)?, 6.0);
        }
        let folder = tempfile::tempdir()?;
        let link = folder.path().join("supply");
        let renamed = format!("{}-2?baud=115200", link.display()).parse()?;
        let server = Server::pty(Setup { baud: Some(115_200), ..setup }, Some(&link))?;
        record_also_at(fault, server, 6.0, vec![renamed])
    };
    run().map_err(|error| format!("{fault}: {error}"))
}
