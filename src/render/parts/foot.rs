//! The foot: on what the verdict stands.

use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::Anchor;
use super::super::sheet::{Sheet, em};
use super::super::words;
use super::Subject;
use crate::units::{counted, figures, volts_as_set};

/// A fact: what it is, and what it says.
pub(in crate::render) type Entry = (&'static str, String);

/// The facts of a run, in the order in which a person asks for them; what the log does not say is left out.
pub(in crate::render) fn entries(subject: &Subject) -> Vec<Entry> {
    let log = &subject.finding.log;
    let given = |text: &Option<String>| text.clone().filter(|text| !text.trim().is_empty());
    let limit = log.limit_a.map(|limit| format!(", limit {limit}")).unwrap_or_default();
    let feed = log.set_v.map(|volts| format!("{}{limit}", volts_as_set(volts.value())));
    let profile = subject.finding.profile.as_ref().map(|profile| {
        let boards = counted(profile.boards, "board");
        format!("{} ({boards}, {})", profile.name, counted(profile.captures, "capture"))
    });
    let all: [(&'static str, Option<String>); 12] = [
        ("board", given(&log.board)),
        ("serial", given(&log.serial)),
        ("ticket", given(&log.ticket)),
        ("fed at", given(&log.feed_point)),
        ("set", feed),
        ("supply", given(&log.supply)),
        ("read", rates(subject)),
        ("in steps of", log.resolution_a.map(|step| words::amps(step.value(), Some(step)))),
        ("good boards", profile.or(Some("none to compare with".into()))),
        ("started", given(&log.started).map(|started| moment(&started))),
        ("log", Some(file_name(&log.path))),
        ("drawn by", Some(format!("{} {}", subject.finding.tool.name, subject.finding.tool.version))),
    ];
    all.into_iter().filter_map(|(key, value)| Some((key, clean(&value?)))).collect()
}

/// Poll rate and update rate of the readback.
fn rates(subject: &Subject) -> Option<String> {
    let log = &subject.finding.log;
    let rate = |hertz: f64| figures(hertz, 2);
    let parts: Vec<String> = [
        log.poll_hz.map(|hz| format!("{} times a second", rate(hz))),
        log.changed_hz.map(|hz| format!("{} of them new", rate(hz))),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Date and time of day to the minute; what is no RFC 3339 date stays as it is.
fn moment(started: &str) -> String {
    let parsed = chrono::DateTime::parse_from_rfc3339(started);
    parsed.map_or_else(|_| started.to_owned(), |moment| moment.format("%Y-%m-%d %H:%M").to_string())
}

/// The last part of a path.
pub(in crate::render) fn file_name(path: &str) -> String {
    path.rsplit(['/', '\\']).next().unwrap_or(path).to_owned()
}

/// Draws the facts in as few rows as they need and returns where the foot begins.
pub(in crate::render) fn draw(sheet: &mut Sheet, entries: &[Entry]) -> i32 {
    let area = sheet.inside();
    let key_style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let value_style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.text);
    let space = sheet.u(22.0);
    let mut rows: Vec<Vec<(i32, i32, &'static str, String)>> = vec![Vec::new()];
    let mut x = area.left;
    for (key, value) in entries {
        let key_width = key_style.width(&format!("{key} "));
        // One fact may take half a row, so that a long name leaves room for another.
        let room = (area.width() / 2).max(sheet.u(460.0)).min(area.width()) - key_width;
        let Some(value) = value_style.fit(value, room) else { continue };
        let width = key_width + value_style.width(&value);
        if x > area.left && x + width > area.right {
            rows.push(Vec::new());
            x = area.left;
        }
        if let Some(row) = rows.last_mut() {
            row.push((x, x + key_width, key, value));
        }
        x += width + space;
    }
    let height = sheet.u(20.0);
    let count = i32::try_from(rows.len()).unwrap_or(1);
    let top = area.bottom - count * height;
    for (index, row) in (0..).zip(rows) {
        let baseline = top + index * height + sheet.u(15.0);
        for (key_x, value_x, key, value) in row {
            sheet.scene.text(key, (key_x, baseline), Anchor::Start, key_style);
            sheet.scene.text(value, (value_x, baseline), Anchor::Start, value_style);
        }
    }
    let line = top - sheet.u(4.0);
    let rule = Rect::new(area.left, line, area.right, line + sheet.u(1.0));
    sheet.scene.fill(rule, sheet.palette.grid);
    line - sheet.u(4.0)
}
