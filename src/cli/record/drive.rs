//! Driving a supply from the command line: what to ask the person, and setting up in the right order.

use super::super::Failure;
use super::super::console::Console;
use super::super::output::remark;
use super::super::signals;
use super::{GuardedSource, Prepared};
use crate::capture::{DrivePlan, Elsewhere, Settings, TripLevels, USUAL_COLLAPSE};
use crate::reference::Profile;
use crate::supply::Supply;
use crate::supply::guard::{
    Bounds, Feed, Guard, GuardError, Load, OffOutcome, Permission, Request, ShortCheck, ShortCheckResult,
};
use crate::units::{Amps, Ohms, Seconds, Volts};
use clap::Args;
use std::io::{BufRead, IsTerminal};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

/// How long to read before switching on, so that the log shows the feed before it.
const LEAD_IN: Seconds = Seconds::constant(0.5);
/// How often a prompt looks whether a signal came.
const LOOK_FOR_SIGNALS: Duration = Duration::from_millis(50);
/// Resistance below which no board is fed: at 1 Ω a volt already drives an ampere, far more than any standby.
/// Common practice among board repairers, no source.
const SHORT_BELOW: Ohms = Ohms::constant(1.0);
/// Share of the set volts below which the current limit would hold the full feed into a resistance: the run would only
/// trip on its collapse. From Ohm's law.
const COLLAPSE_SHARE: f64 = 0.5;

/// Resistance below which a board is not given this feed.
fn short_below(feed: Feed) -> Ohms {
    let ohms = COLLAPSE_SHARE * feed.volts.value() / feed.limit.value();
    Ohms::new(ohms.max(SHORT_BELOW.value())).unwrap_or(SHORT_BELOW)
}

/// Driving the output.
#[derive(Debug, Args)]
#[expect(clippy::struct_excessive_bools, reason = "each is a switch of its own on the command line")]
#[command(next_help_heading = "Driving the supply")]
pub(super) struct DriveArgs {
    /// Set the supply from the profile and switch its output on and off
    #[arg(long)]
    drive: bool,
    /// Volts to set [default: the profile's usual feed]
    #[arg(long, value_name = "VOLTS", requires = "drive", allow_negative_numbers = true)]
    volts: Option<f64>,
    /// Current limit to set [default: the profile's]
    #[arg(long, value_name = "AMPS", requires = "drive", allow_negative_numbers = true)]
    limit: Option<f64>,
    /// Go beyond what the profile allows; this can destroy the board
    #[arg(long, requires = "drive")]
    beyond_profile: bool,
    /// The cautions are known; do not ask
    #[arg(long, requires = "drive")]
    yes: bool,
    /// First look for a short at about 1 V and a small limit; go on only if there is none
    #[arg(long, requires = "drive")]
    short_check: bool,
    /// Switch off above this many amps
    #[arg(long, value_name = "AMPS", requires = "drive", allow_negative_numbers = true)]
    trip_amps: Option<f64>,
    /// How long the amps may stay above --trip-amps
    #[arg(long, value_name = "TIME", requires = "trip_amps", default_value = "500ms")]
    trip_after: Seconds,
    /// How long the output may sit in current limit with the feed collapsed
    #[arg(long, value_name = "TIME", requires = "drive")]
    trip_collapse: Option<Seconds>,
    /// Leave the output on at the end of a run that did not trip
    #[arg(long, requires = "drive")]
    leave_on: bool,
}

impl DriveArgs {
    pub(super) fn is_asked_for(&self) -> bool {
        self.drive
    }

    /// What the parser cannot see.
    pub(super) fn check(&self) -> Result<(), String> {
        let numbers = [("--volts", self.volts), ("--limit", self.limit), ("--trip-amps", self.trip_amps)];
        match numbers
            .into_iter()
            .find(|(_, value)| value.is_some_and(|value| !value.is_finite() || value <= 0.0))
        {
            Some((name, Some(value))) => Err(format!("{name} {value}: expected a number above 0")),
            _ => Ok(()),
        }
    }

    fn feed(&self, profile: Option<&Profile>) -> Result<Feed, Failure> {
        let volts = self.volts.map(Volts::new).transpose().map_err(Failure::input)?;
        let limit = self.limit.map(Amps::new).transpose().map_err(Failure::input)?;
        let volts = volts.or_else(|| profile.map(|profile| profile.feed.nominal));
        let limit = limit.or_else(|| profile.map(|profile| profile.feed.limit));
        match (volts, limit) {
            (Some(volts), Some(limit)) => Ok(Feed { volts, limit }),
            _ => Err(Failure::Usage(
                "--drive needs to know what the board stands: give --profile, or --volts and --limit with --beyond-profile".into(),
            )),
        }
    }
}

/// Asks the person, takes the supply in guard, checks for a short if asked to, and sets it up with its output off.
pub(super) fn prepare(
    supply: Supply,
    places: Elsewhere,
    args: &DriveArgs,
    profile: Option<&Profile>,
    console: &mut Console,
) -> Result<Prepared, Failure> {
    let request = Request {
        feed: args.feed(profile)?,
        bounds: profile.map(bounds),
        beyond_profile: args.beyond_profile,
        cautions: cautions(profile),
    };
    let permission = Permission::obtain(&request, |request| confirmed(request, args.yes, console))
        .map_err(|refusal| Failure::Usage(refusal.to_string()))?;
    let mut guard = Guard::new(supply, permission).map_err(|error| failure(&error))?;
    guard.report_drop_to(report_drop);
    let identity = guard.supply().identify().map_err(super::link)?;
    if args.short_check {
        refuse_a_short(&mut guard, console)?;
    }
    let found = guard.set_up().map_err(|error| failure(&error))?;
    if signals::asked_to_end() {
        return Err(Failure::Safety("stopped before switching on; the output is confirmed off".into()));
    }
    if let Some(watchdog) = guard.watchdog() {
        console.line(&format!(
            "the supply's own watchdog switches off after {:.1} s of silence",
            watchdog.as_secs_f64()
        ));
    }
    let settings = Settings { volts: found.set_volts, limit: found.limit, output_on: Some(false) };
    let drive = DrivePlan { lead_in: LEAD_IN, trips: trips(args, guard.feed())?, leave_on: args.leave_on };
    let source = Box::new(GuardedSource::looking(guard, places));
    Ok(Prepared { identity, source, settings, drive: Some(drive) })
}

/// What became of the output when the guard had to let go of it in the middle of a run.
fn report_drop(outcome: &OffOutcome) {
    if let OffOutcome::Unknown { why } = outcome {
        // A panic here, on a terminal that was closed, would end the program before the guard has gone.
        remark(&format!("{}\nfeedtale: {why}", super::summary::BANNER.join("\n")));
    }
}

fn refuse_a_short(guard: &mut Guard, console: &mut Console) -> Result<(), Failure> {
    let threshold = short_below(guard.feed());
    let check = ShortCheck::with_threshold(threshold);
    let result = guard.short_check(&check, || !signals::asked_to_end()).map_err(|error| failure(&error))?;
    judge(result, threshold, console)
}

fn bounds(profile: &Profile) -> Bounds {
    let feed = &profile.feed;
    Bounds { lowest: feed.lowest, highest: feed.highest, limit: feed.limit }
}

fn cautions(profile: Option<&Profile>) -> Vec<String> {
    let own = profile.map(|profile| profile.feed.cautions.clone()).unwrap_or_default();
    let always =
        "check polarity and feed point before the output goes on; keep hands and probes clear while it is on";
    own.into_iter().chain([always.to_owned()]).collect()
}

fn trips(args: &DriveArgs, feed: Feed) -> Result<TripLevels, Failure> {
    let most = args.trip_amps.map(Amps::new).transpose().map_err(Failure::input)?;
    Ok(TripLevels {
        set_volts: feed.volts,
        limit: feed.limit,
        most_amps: most.map(|amps| (amps, args.trip_after)),
        collapse: args.trip_collapse.unwrap_or(USUAL_COLLAPSE),
    })
}

/// Shows what is to be done and what to mind, and asks for a yes; without a person to ask the answer is no.
fn confirmed(request: &Request, yes: bool, console: &mut Console) -> bool {
    console.line(&format!("about to feed {} at a limit of {}", request.feed.volts, request.feed.limit));
    for caution in &request.cautions {
        console.line(&format!("caution: {caution}"));
    }
    if yes {
        return true;
    }
    if !std::io::stdin().is_terminal() {
        console.line("nobody at the terminal to confirm this; scripts say --yes");
        return false;
    }
    console.line("type yes to go on:");
    typed_line().is_some_and(|answer| answer.trim().eq_ignore_ascii_case("yes"))
}

/// What the person types; `None` if a signal (Ctrl-C) comes before the end of the line. A read of the terminal goes on
/// through signals, so it gets a thread of its own.
fn typed_line() -> Option<String> {
    let (send, lines) = channel();
    std::thread::spawn(move || {
        let mut line = String::new();
        if std::io::stdin().lock().read_line(&mut line).is_ok() {
            // Nobody waits any more after a signal.
            let _ = send.send(line);
        }
    });
    while !signals::asked_to_end() {
        match lines.recv_timeout(LOOK_FOR_SIGNALS) {
            Ok(line) => return Some(line),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return None,
        }
    }
    None
}

/// Goes on only if the check carries that there is no short.
fn judge(result: Option<ShortCheckResult>, threshold: Ohms, console: &mut Console) -> Result<(), Failure> {
    let Some(result) = result else {
        return Err(Failure::Safety(
            "short check: too few readings to tell; the output is confirmed off. Is the supply's readback slow? Check by ohmmeter".into(),
        ));
    };
    let found = match result.load {
        Load::Open => "no current to speak of".to_owned(),
        Load::Resistance(ohms) => ohms.to_string(),
        Load::Charging { at_least, .. } => format!("a capacitor charging, over {at_least}"),
    };
    if !result.may_go_on {
        return Err(Failure::Safety(format!(
            "short check: {found}, below {threshold}; the output is confirmed off and the board was not fed. Find the short first"
        )));
    }
    console.line(&format!("short check: {found}; going on"));
    Ok(())
}

fn failure(error: &GuardError) -> Failure {
    match error {
        GuardError::NotOff(why) => Failure::Safety(format!("{}\n{why}", super::summary::BANNER.join("\n"))),
        GuardError::CannotDrive { .. } => Failure::Usage(error.to_string()),
        other => Failure::Link(other.to_string()),
    }
}
