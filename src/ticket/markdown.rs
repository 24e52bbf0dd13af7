//! The note in Markdown (`CommonMark`, with the tables that most ticket systems know), the picture linked.

use super::document::{Body, Document};
use std::fmt::Write as _;

pub(super) fn write(document: &Document, picture: &str) -> String {
    let mut text = format!("# {}\n\n", escape(&document.title));
    let _ = writeln!(text, "**{}**\n\n{}\n", escape(&document.headline), escape(&document.standing));
    let _ = writeln!(text, "![{}]({picture})", escape(&document.picture_in_words()));
    for section in &document.sections {
        let _ = writeln!(text, "\n## {}\n", section.heading);
        body(&mut text, &section.body);
    }
    text
}

fn body(text: &mut String, body: &Body) {
    match body {
        Body::Quote(paragraphs) => {
            let quoted: Vec<String> = paragraphs.iter().map(|line| format!("> {}\n", escape(line))).collect();
            text.push_str(&quoted.join(">\n"));
        }
        Body::List(lines) => {
            for line in lines {
                let _ = writeln!(text, "- {}", escape(line));
            }
        }
        Body::Facts(facts) => {
            for (what, value) in facts {
                let _ = writeln!(text, "- {what}: **{}**", escape(value));
            }
        }
        Body::Table { head, rows, rest } => table(text, head, rows, rest.as_deref()),
    }
}

fn table(text: &mut String, head: &[&str], rows: &[Vec<String>], rest: Option<&str>) {
    let _ = writeln!(text, "| {} |\n|{}", head.join(" | "), " --- |".repeat(head.len()));
    for row in rows {
        let cells: Vec<String> = row.iter().map(|cell| escape(cell)).collect();
        let _ = writeln!(text, "| {} |", cells.join(" | "));
    }
    if let Some(rest) = rest {
        let _ = writeln!(text, "\n{}", escape(rest));
    }
}

/// Text that Markdown shows as it is: a backslash before what could be markup (`CommonMark` 0.31.2, section 2.4), and
/// before what would start a list or underline a heading. `-`, `+` and `.` amid words and numbers stay bare.
fn escape(text: &str) -> String {
    let mut escaped = String::new();
    let mut only_digits = true;
    for (at, letter) in text.char_indices() {
        let ends_word = text[at + letter.len_utf8()..].chars().next().is_none_or(char::is_whitespace);
        let bullet = at == 0 && "-+=".contains(letter);
        let numbered = at > 0 && only_digits && ".)".contains(letter) && ends_word;
        if bullet || numbered || "\\`*_{}[]<>#|!~&".contains(letter) {
            escaped.push('\\');
        }
        escaped.push(letter);
        only_digits &= letter.is_ascii_digit();
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn nothing_that_was_typed_turns_into_markup() {
        let cases = [
            ("*last* _week_", "\\*last\\* \\_week\\_"),
            ("<script>&amp;", "\\<script\\>\\&amp;"),
            ("- item", "\\- item"),
            ("12. item", "12\\. item"),
            ("0.31 to 0.42 A", "0.31 to 0.42 A"),
            ("7)", "7\\)"),
            ("a | b", "a \\| b"),
            ("![x](y)", "\\!\\[x\\](y)"),
            ("# title", "\\# title"),
        ];
        for (typed, expected) in cases {
            assert_eq!(escape(typed), expected);
        }
    }
}
