//! `feedtale completions`: what a shell completes.

use super::output::print;
use super::{CommandLine, Failure, Outcome};
use clap::CommandFactory as _;
use clap_complete::Shell;

/// Print the completions for a shell; its manual says where they go.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The shell.
    shell: Shell,
}

pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut CommandLine::command(), "feedtale", &mut script);
    print(&script)?;
    Ok(Outcome::Done)
}
