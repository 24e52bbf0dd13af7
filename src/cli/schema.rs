//! `feedtale schema`: the JSON Schema of a finding.

use super::output::print;
use super::{Failure, Outcome};
use crate::ticket;

/// Print the JSON Schema (2020-12) of a finding, as `diagnose --json` prints it and a ticket holds it.
pub(super) fn run() -> Result<Outcome, Failure> {
    let schema = serde_json::to_string_pretty(&ticket::finding_schema()).map_err(Failure::input)?;
    print(format!("{schema}\n").as_bytes())?;
    Ok(Outcome::Done)
}
