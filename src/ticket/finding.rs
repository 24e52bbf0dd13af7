//! The finding as a file, and the schema that other programs can hold it to.

use crate::verdict::Finding;
use serde_json::Value;

/// Names the form of a finding; the number goes up when a program that reads findings would have to change.
pub const FINDING_SCHEMA: &str = "urn:feedtale:finding:1";

/// The finding as JSON, which says by `$schema` what form it has; ends in a line feed.
#[must_use]
pub fn finding_json(finding: &Finding) -> Vec<u8> {
    // Every part of a finding has a form in JSON: strings for keys, finite numbers.
    let mut document = serde_json::to_value(finding).unwrap_or_default();
    if let Value::Object(keys) = &mut document {
        keys.insert("$schema".into(), FINDING_SCHEMA.into());
    }
    format!("{document:#}\n").into_bytes()
}

/// The JSON Schema (2020-12) of what [`finding_json`] writes.
#[must_use]
pub fn finding_schema() -> Value {
    let mut schema = schemars::schema_for!(Finding);
    schema.insert("$id".into(), FINDING_SCHEMA.into());
    schema.to_value()
}
