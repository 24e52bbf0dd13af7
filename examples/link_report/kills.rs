//! Recordings killed at random moments, and what they left.

use crate::run::{setup, tcp};
use crate::{Flags, Result, SAME};
use feedtale::simulator::{Manners, Record, Setup};
use feedtale::trace;
use rand::{RngExt, SeedableRng};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// What a killed recording left.
struct Killed {
    /// Readings in the log, if there is one.
    logged: Option<usize>,
    /// Age at the kill of the oldest reading that is not in the log, in seconds.
    lost_age: f64,
    /// Whether the log loads and holds what the supply showed.
    sound: bool,
}

pub(crate) fn print(flags: &Flags) -> Result<()> {
    let program = flags.program.clone().map_or_else(beside, Ok)?;
    let next = Mutex::new((0, rand_chacha::ChaCha8Rng::seed_from_u64(flags.seed)));
    let draw = || {
        let mut next = next.lock().unwrap_or_else(PoisonError::into_inner);
        next.0 += 1;
        (next.0 <= flags.kills).then(|| Duration::from_secs_f64(next.1.random_range(0.05..2.0)))
    };
    let kill_some = || -> std::result::Result<Vec<Killed>, String> {
        std::iter::from_fn(draw)
            .map(|after| kill(&program, after).map_err(|error| error.to_string()))
            .collect()
    };
    let parts: Vec<std::result::Result<Vec<Killed>, String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..flags.at_once.max(1)).map(|_| scope.spawn(kill_some)).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|_| Err("a kill broke down".into())))
            .collect()
    });
    let parts = parts.into_iter().collect::<std::result::Result<Vec<_>, _>>()?;
    print_kills(&parts.into_iter().flatten().collect::<Vec<_>>());
    Ok(())
}

fn print_kills(killed: &[Killed]) {
    let logs: Vec<&Killed> = killed.iter().filter(|killed| killed.logged.is_some()).collect();
    let mut ages: Vec<f64> = logs.iter().map(|killed| killed.lost_age).collect();
    ages.sort_by(f64::total_cmp);
    println!("Kills (-9) at random moments of a recording\n");
    println!("| what | count |");
    println!("|---|---:|");
    println!("| kills | {} |", killed.len());
    println!("| before the first reading was written: no log | {} |", killed.len() - logs.len());
    println!(
        "| logs that load and hold what the supply showed | {} |",
        logs.iter().filter(|k| k.sound).count()
    );
    println!("| logs that do not | {} |", logs.iter().filter(|k| !k.sound).count());
    println!("| readings in the logs | {} |", logs.iter().filter_map(|k| k.logged).sum::<usize>());
    println!(
        "| kills that lost a reading older than 1 s | {} |",
        killed.iter().filter(|k| k.lost_age > 1.0).count()
    );
    println!(
        "| oldest reading lost, median, ms | {:.0} |",
        1e3 * ages.get(ages.len() / 2).copied().unwrap_or(0.0)
    );
    println!("| oldest reading lost, worst, ms | {:.0} |", 1e3 * ages.last().copied().unwrap_or(0.0));
}

/// The program that was built with this example.
fn beside() -> Result<PathBuf> {
    let example = std::env::current_exe()?;
    let folder = example.parent().and_then(Path::parent).ok_or("this example lies in no build folder")?;
    let program = folder.join("feedtale").with_extension(std::env::consts::EXE_EXTENSION);
    if program.is_file() { Ok(program) } else { Err(format!("{}: build it first", program.display()).into()) }
}

/// Starts a recording, kills it `after` its first measurement, and looks at what it left.
fn kill(program: &Path, after: Duration) -> Result<Killed> {
    let manners = Manners { device_s: 0.01, ..Manners::default() };
    let server = tcp(Setup { manners, ..setup()? })?;
    let folder = tempfile::tempdir()?;
    let mut child = Command::new(program)
        .args(["record", &server.address(), "--output", "run.csv"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()?;
    let patience = Instant::now() + Duration::from_secs(20);
    while server.look(|record| record.zero.is_none()) && Instant::now() < patience {
        std::thread::sleep(Duration::from_millis(2));
    }
    std::thread::sleep(after);
    let at = Instant::now();
    child.kill()?;
    child.wait()?;
    let truth = server.stop()?;
    Ok(left(&folder.path().join("run.csv"), &truth, at))
}

fn left(path: &Path, truth: &Record, killed_at: Instant) -> Killed {
    let age = |index: usize| {
        truth
            .exchanges
            .get(index)
            .map_or(0.0, |lost| killed_at.saturating_duration_since(lost.at).as_secs_f64())
    };
    if !path.metadata().is_ok_and(|file| file.len() > 0) {
        return Killed { logged: None, lost_age: age(0), sound: true };
    }
    let Ok(log) = trace::read_file(path) else {
        return Killed { logged: Some(0), lost_age: age(0), sound: false };
    };
    let shown = |(index, volts): (usize, &f64)| {
        truth.exchanges.get(index).is_some_and(|taken| (taken.reading.volts - volts).abs() < SAME)
    };
    let log = log.trace;
    let sound = log.volts().iter().enumerate().all(shown);
    Killed { logged: Some(log.len()), lost_age: age(log.len()), sound }
}
