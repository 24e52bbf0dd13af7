//! The short text: plain lines for a ticket system that knows no markup.

use super::document::{Body, Document};
use std::fmt::Write as _;

pub(super) fn write(document: &Document) -> String {
    let mut text = format!("{}\n\n{}\n{}\n", document.title, document.headline, document.standing);
    for section in document.sections.iter().filter(|section| !section.detail) {
        let _ = writeln!(text, "\n{}:", section.heading);
        for line in lines(&section.body) {
            let _ = writeln!(text, "{line}");
        }
    }
    text
}

fn lines(body: &Body) -> Vec<String> {
    match body {
        Body::Quote(paragraphs) => paragraphs.iter().map(|line| format!("> {line}")).collect(),
        Body::List(lines) => lines.iter().map(|line| format!("- {line}")).collect(),
        Body::Facts(facts) => facts.iter().map(|(what, value)| format!("- {what}: {value}")).collect(),
        Body::Table { head, rows, rest } => {
            rows.iter().map(|row| in_one_line(head, row)).chain(rest.clone()).collect()
        }
    }
}

/// A row of a table: its name, and what stands in its columns.
fn in_one_line(head: &[&str], row: &[String]) -> String {
    let named: Vec<String> =
        head.iter().zip(row).skip(1).map(|(column, value)| format!("{column} {value}")).collect();
    format!("- {}: {}", row.first().map_or("", String::as_str), named.join(", "))
}
