//! One page that carries everything: no script, nothing fetched, made to be read, printed and read out.

use super::base64;
use super::document::{Body, Document, Section};
use crate::render::words;
use std::fmt::Write as _;

/// Nothing is fetched or run, whatever words came into the page.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'";

/// Dark on white with contrast above 7:1 (WCAG 2.2, 1.4.6), and A4 paper; the caution has a border, not only a colour.
const STYLE: &str = "
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem; max-width: 62rem; background: #fff; color: #1a1a1a;
  font: 0.95rem/1.4 system-ui, sans-serif; }
.board { margin: 0; font-weight: 600; color: #444; }
h1 { margin: 0.2rem 0 0; font-size: 1.7rem; line-height: 1.2; }
.standing { margin: 0.3rem 0 0.8rem; }
h2 { margin: 1.1rem 0 0.3rem; padding-bottom: 0.1rem; border-bottom: 1px solid #bbb; font-size: 1.05rem; }
img { display: block; width: 100%; height: auto; border: 1px solid #bbb; }
p, ul, dl, blockquote { margin: 0.3rem 0; }
ul { padding-left: 1.2rem; }
blockquote { padding-left: 0.8rem; border-left: 4px solid #767676; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0.15rem 1rem; }
dt { color: #444; }
@media screen and (max-width: 36rem) { dl { display: block; } dd { margin: 0 0 0.4rem; } }
@media screen and (max-width: 44rem) { body { padding: 0.8rem; } table { font-size: 0.8rem; } }
dd { margin: 0; font-weight: 600; overflow-wrap: anywhere; }
.table { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { padding: 0.2rem 0.5rem 0.2rem 0; border-bottom: 1px solid #ddd; text-align: left; vertical-align: top; }
@media (min-width: 44rem) { td { white-space: nowrap; } }
thead th { color: #444; font-weight: 600; border-bottom-color: #767676; }
.caution { margin-top: 1.1rem; padding: 0.2rem 0.9rem 0.5rem; border: 2px solid #9a3b00; }
.caution h2 { margin-top: 0.3rem; border: 0; color: #8a3400; }
@page { size: A4; margin: 12mm; }
@media print {
  body { padding: 0; max-width: none; font-size: 9.5pt; line-height: 1.3; }
  h1 { font-size: 15pt; }
  h2 { margin-top: 0.7rem; font-size: 10.5pt; break-after: avoid; }
  td { white-space: normal; }
  tr, li, img, .caution, section:has(table) { break-inside: avoid; }
  li:first-child:not(:last-child) { break-after: avoid; }
  li:last-child:not(:first-child) { break-before: avoid; }
}
";

/// Up to this width of the page the smallest words of the wide picture are some 7 pixels high, which nobody reads: the upright
/// one takes its place.
const NARROW: &str = "48rem";

/// On every page of paper but the first, which has them in its heading, board and serial; loose leaves get mixed up. Letters as
/// numbers, so that no word of a log can end the text (CSS Syntax Level 3, section 4.3.7).
fn running_head(title: &str) -> String {
    let mut text = String::new();
    for letter in title.chars() {
        let _ = write!(text, "\\{:06x}", u32::from(letter));
    }
    format!(
        "@page {{ @top-left {{ content: \"{text}\"; font: 8pt system-ui, sans-serif; }}\n\
         @top-right {{ content: counter(page) \" of \" counter(pages); font: 8pt system-ui, sans-serif; }} }}\n\
         @page :first {{ @top-left {{ content: none; }} @top-right {{ content: none; }} }}\n"
    )
}

/// The page with its picture, and the same upright for a narrow screen.
pub(super) fn write(document: &Document, picture: &[u8], upright: &[u8]) -> String {
    let (title, headline) = (escape(&document.title), escape(&document.headline));
    let mut page = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}: {headline}</title>\n<style>{STYLE}{}</style>\n</head>\n<body>\n<main>\n<header>\n\
         <p class=\"board\">{title}</p>\n<h1>{headline}</h1>\n<p class=\"standing\">{}</p>\n</header>\n",
        running_head(&document.title),
        escape(&document.standing)
    );
    let (alternative, data) = (escape(&document.picture_in_words()), base64::encode(picture));
    let upright = base64::encode(upright);
    let _ = writeln!(
        page,
        "<picture>\n<source media=\"screen and (max-width: {NARROW})\" srcset=\"data:image/png;base64,{upright}\">\n\
         <img src=\"data:image/png;base64,{data}\" alt=\"{alternative}\">\n</picture>"
    );
    document.sections.iter().for_each(|part| section(&mut page, part));
    page.push_str("</main>\n</body>\n</html>\n");
    page
}

fn section(page: &mut String, section: &Section) {
    let class = if section.heading == words::CAUTION { " class=\"caution\"" } else { "" };
    let _ = writeln!(page, "<section{class}>\n<h2>{}</h2>", escape(section.heading));
    match &section.body {
        Body::Quote(paragraphs) => each(page, "blockquote", "p", paragraphs),
        Body::List(lines) => each(page, "ul", "li", lines),
        Body::Facts(facts) => {
            page.push_str("<dl>\n");
            for (what, value) in facts {
                let _ = writeln!(page, "<dt>{}</dt><dd>{}</dd>", escape(what), escape(value));
            }
            page.push_str("</dl>\n");
        }
        Body::Table { head, rows, rest } => table(page, head, rows, rest.as_deref()),
    }
    page.push_str("</section>\n");
}

/// Every line in an element of its own, all of them in one.
fn each(page: &mut String, around: &str, of_each: &str, lines: &[String]) {
    let _ = writeln!(page, "<{around}>");
    for line in lines {
        let _ = writeln!(page, "<{of_each}>{}</{of_each}>", escape(line));
    }
    let _ = writeln!(page, "</{around}>");
}

fn table(page: &mut String, head: &[&str], rows: &[Vec<String>], rest: Option<&str>) {
    // Wide tables scroll on a phone, by keys too.
    page.push_str("<div class=\"table\" tabindex=\"0\">\n<table>\n<thead><tr>");
    for name in head {
        let _ = write!(page, "<th scope=\"col\">{}</th>", escape(name));
    }
    page.push_str("</tr></thead>\n<tbody>\n");
    for row in rows {
        let _ = writeln!(page, "<tr>{}</tr>", cells(row));
    }
    page.push_str("</tbody>\n</table>\n</div>\n");
    if let Some(rest) = rest {
        let _ = writeln!(page, "<p>{}</p>", escape(rest));
    }
}

/// The first cell names its row.
fn cells(row: &[String]) -> String {
    let cell = |(index, text): (usize, &String)| match index {
        0 => format!("<th scope=\"row\">{}</th>", escape(text)),
        _ => format!("<td>{}</td>", escape(&with_units(text))),
    };
    row.iter().enumerate().map(cell).collect()
}

/// The same with each number and its unit on one line: `20.0` at the end of one and `V` on the next is hard to read.
fn with_units(text: &str) -> String {
    const NO_BREAK: char = '\u{a0}';
    let mut joined = String::new();
    for word in text.split(' ') {
        if !joined.is_empty() {
            let after_number = joined.ends_with(|c: char| c.is_ascii_digit());
            joined.push(if after_number && word.starts_with(char::is_alphabetic) && word != "to" {
                NO_BREAK
            } else {
                ' '
            });
        }
        joined.push_str(word);
    }
    joined
}

/// Text that is nothing but text in an element and in a quoted attribute (HTML Standard, section 13.3, and quotes).
fn escape(text: &str) -> String {
    let mut escaped = String::new();
    for letter in text.chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            other => escaped.push(other),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_and_its_unit_stay_on_one_line() {
        assert_eq!(with_units("0.19 to 0.24 A"), "0.19 to 0.24\u{a0}A");
        assert_eq!(with_units("under 1 mA"), "under 1\u{a0}mA");
        assert_eq!(with_units("30 to 223 mA"), "30 to 223\u{a0}mA");
    }

    #[test]
    fn no_word_of_a_log_ends_the_running_head() {
        let head = running_head("a\"</style>\\\n");
        assert!(head.contains("content: \"\\000061\\000022\\00003c\\00002f"), "{head}");
        assert!(!head.contains('<') && head.contains("@page :first"), "{head}");
    }
}
