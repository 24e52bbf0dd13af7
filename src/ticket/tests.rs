//! A ticket made of a small log and a finding written by hand.

use super::*;
use crate::trace::read;
use crate::units::{Amps, Joules, Seconds, Volts, Watts};
use crate::verdict::{
    Attempt, Class, Departure, Direction, LogFacts, Phase, ProfileFacts, RunnerUp, SectionProof,
    SectionState, Tool, Verdict,
};
use proptest::prelude::*;
use std::sync::LazyLock;

pub(super) const LOG: &str =
    "# log: 1\n# board: fenwick-14\nt_s,volts,amps\n0,12.8,0.024\n4,12.8,0.3\n9,12.8,0.84\n";

fn phase(name: &str, from: f64, to: f64, amps: f64) -> Phase {
    Phase {
        name: name.into(),
        start_s: Seconds::constant(from),
        end_s: Seconds::constant(to),
        mean_a: Amps::constant(amps),
        min_a: Amps::constant(amps * 0.9),
        max_a: Amps::constant(amps * 1.2),
        mean_v: Volts::constant(12.8),
        mean_w: Watts::constant(amps * 12.8),
        energy_j: Joules::constant(amps * 12.8 * (to - from)),
        activity_w: Watts::constant(0.1),
        period_s: None,
    }
}

pub(super) fn finding() -> Finding {
    let section = |section: &str, state| SectionProof { section: section.into(), state, why: None };
    Finding {
        tool: Tool { name: "feedtale".into(), version: "0.1.0".into() },
        log: LogFacts {
            path: "logs/run.csv".into(),
            sha256: sha256(LOG.as_bytes()),
            board: Some("fenwick-14".into()),
            serial: Some("FE-0231".into()),
            ticket: Some("T-1042".into()),
            feed_point: Some("battery connector".into()),
            started: Some("2026-03-02T09:00:00Z".into()),
            supply: Some("Example,Bench,0,1".into()),
            set_v: Some(Volts::constant(12.8)),
            limit_a: Some(Amps::constant(3.0)),
            samples: 3,
            duration_s: Some(Seconds::constant(9.0)),
            poll_hz: Some(0.33),
            changed_hz: Some(0.33),
            renewed_s: None,
            zero_a: None,
            resolution_a: Some(Amps::constant(0.001)),
            gaps: Vec::new(),
        },
        profile: Some(ProfileFacts {
            name: "fenwick-14".into(),
            path: "profiles/fenwick-14.toml".into(),
            sha256: "00".into(),
            boards: 6,
            captures: 14,
        }),
        verdict: Verdict {
            class: Class::Stalled,
            confidence: 0.934,
            reached: Some("firmware".into()),
            usually_in: None,
            stalled_in: Some("firmware".into()),
            step_into: None,
            asked: None,
            tries: None,
            stays_down_s: None,
            none_could_boot: None,
            because: vec!["firmware held 5 s, good boards 1.1 to 2.4 s".into()],
            runner_up: Some(RunnerUp { class: Class::FullBoot, confidence: 0.04 }),
        },
        runs: Vec::new(),
        phases: vec![phase("standby", 0.0, 4.0, 0.0241), phase("firmware", 4.0, 9.0, 0.84)],
        attempts: Vec::new(),
        fall: None,
        departures: vec![Departure {
            phase: "firmware".into(),
            quantity: "mean power".into(),
            direction: Direction::Above,
            measured: 0.841_2,
            low: 0.31,
            high: 0.42,
            unit: "A".into(),
            starts_s: Seconds::constant(4.0),
        }],
        power_path: vec![
            section("adapter inlet", SectionState::NotExercised),
            section("charger", SectionState::NotExercised),
            section("main rail", SectionState::Proved),
            section("firmware memory", SectionState::Suspect),
        ],
        next_checks: vec!["look for activity on the firmware memory's bus".into()],
        cautions: vec!["the heat sink is at feed volts".into()],
        limits: vec!["the log begins after switch-on".into()],
    }
}

pub(super) fn notes() -> Notes {
    Notes {
        symptom: Some("Hangs at the <logo> & goes dark.\nSince *last* week.".into()),
        note: Some("Liquid near J4\u{202e}.".into()),
    }
}

pub(super) fn made(finding: &Finding, notes: &Notes) -> Folder {
    let trace = read(LOG.as_bytes()).unwrap().trace;
    let log_name = &finding.log.path;
    let material = Material { log: LOG.as_bytes(), log_name, trace: &trace, profile: None, finding, notes };
    folder(&material).unwrap()
}

pub(super) fn text_of(folder: &Folder, name: &str) -> String {
    let file = folder.files.iter().find(|file| file.name == name).unwrap();
    String::from_utf8(file.bytes.clone()).unwrap()
}

#[test]
fn a_folder_holds_the_picture_the_log_the_finding_and_the_text() {
    let folder = made(&finding(), &notes());
    assert_eq!(folder.name, "T-1042_fenwick-14");
    let bytes = |name: &str| folder.files.iter().find(|file| file.name == name).unwrap().bytes.clone();
    assert_eq!(folder.files[0].name, PICTURE);
    // The signature of a PNG file: PNG specification, section 5.2.
    assert_eq!(bytes(PICTURE)[..8], [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a]);
    assert_eq!(bytes("run.csv"), LOG.as_bytes());
    let back: Finding = serde_json::from_slice(&bytes("finding.json")).unwrap();
    let mut beside = finding();
    beside.log.path = "run.csv".into();
    beside.profile.as_mut().unwrap().path = "fenwick-14.toml".into();
    assert_eq!(back, beside);
}

#[test]
fn the_text_says_what_a_colleague_needs() {
    insta::assert_snapshot!(text_of(&made(&finding(), &notes()), "ticket.txt"));
}

#[test]
fn no_two_files_share_a_name_whatever_the_log_is_called() {
    for path in ["picture.png", "FINDING.json", "a/Ticket.txt", "ticket.html", "-", "", "..", "con"] {
        let mut finding = finding();
        finding.log.path = path.into();
        let folder = made(&finding, &Notes::default());
        let mut names: Vec<String> = folder.files.iter().map(|file| file.name.to_lowercase()).collect();
        let count = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), count, "{path}: {names:?}");
    }
}

#[test]
fn a_folder_without_ticket_is_named_by_what_tells_the_board_from_the_next() {
    let name = |ticket: Option<&str>, board: Option<&str>, serial: Option<&str>| {
        let mut finding = finding();
        finding.log.ticket = ticket.map(Into::into);
        finding.log.board = board.map(Into::into);
        finding.log.serial = serial.map(Into::into);
        made(&finding, &Notes::default()).name
    };
    assert_eq!(name(None, Some("fenwick-14"), Some("FE-1")), "fenwick-14_FE-1");
    assert_eq!(name(None, Some("fenwick-14"), None), "fenwick-14_run");
    assert_eq!(name(Some("../T 1"), None, Some("/")), "T-1_run");
    assert_eq!(name(None, None, None), "run");
}

#[test]
fn a_finding_does_not_go_beside_another_log() {
    let mut finding = finding();
    finding.log.sha256 = sha256(b"another");
    let trace = read(LOG.as_bytes()).unwrap().trace;
    let material = Material {
        log: LOG.as_bytes(),
        log_name: "run.csv",
        trace: &trace,
        profile: None,
        finding: &finding,
        notes: &Notes::default(),
    };
    assert!(matches!(folder(&material), Err(TicketError::AnotherLog { .. })));
}

#[test]
fn the_markdown_shows_what_was_typed_and_links_the_picture() {
    insta::assert_snapshot!(text_of(&made(&finding(), &notes()), "ticket.md"));
}

#[test]
fn the_page_carries_everything_and_fetches_and_runs_nothing() {
    let mut hostile = finding();
    hostile.log.board = Some("<script>alert(1)</script>".into());
    hostile.phases[0].name = "\" onload='x'><img src=//e>".into();
    hostile.next_checks = vec!["</main><iframe src=x>".into()];
    let page = text_of(&made(&hostile, &notes()), "ticket.html");
    for tag in ["<script", "<iframe", "<img src=//", "<link", "<a ", "href=", "url(", "<logo>"] {
        assert!(!page.contains(tag), "{tag}");
    }
    assert_eq!((page.matches("<img ").count(), page.matches("<source ").count()), (1, 1));
    assert!(page.contains("<img src=\"data:image/png;base64,iVBORw0KGgo"));
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; FE-0231, ticket T-1042"));
    assert!(page.contains("Hangs at the &lt;logo&gt; &amp; goes dark."));
}

#[test]
fn the_stage_of_the_headline_comes_before_the_furthest() {
    let mut cycling = finding();
    cycling.verdict.class = Class::Cycling;
    cycling.verdict.stalled_in = None;
    cycling.verdict.usually_in = Some("rails".into());
    let folder = made(&cycling, &notes());
    let page = folder.files.iter().find(|file| file.name == "ticket.html").unwrap();
    let page = String::from_utf8_lossy(&page.bytes);
    assert!(page.contains("<h1>Cycling in rails: "));
    assert!(page.contains("\">Most tries end in rails, the furthest in firmware. Verdict cycling, "));
}

#[test]
fn the_start_of_a_phase_and_its_length_add_up_to_the_start_of_the_next() {
    let mut finding = finding();
    finding.phases = vec![phase("running", 21.249, 29.874, 0.8), phase("standby", 29.874, 52.9, 0.03)];
    finding.log.renewed_s = Seconds::new(0.205).ok();
    let document::Body::Table { rows, .. } = document::phases(&finding) else { panic!("a table") };
    assert_eq!([&rows[0][1], &rows[0][2], &rows[1][1]], ["21.2 s", "8.7 s", "29.9 s"]);
}

#[test]
fn phases_of_many_tries_are_taken_together() {
    let mut cycling = finding();
    let of = cycling.phases[1].clone();
    let phase = |name: &str, start: f64, length: f64, amps: f64| Phase {
        name: name.into(),
        start_s: Seconds::constant(start),
        end_s: Seconds::constant(start + length),
        mean_a: Amps::constant(amps),
        min_a: Amps::constant(amps / 2.0),
        max_a: Amps::constant(amps * 2.0),
        ..of.clone()
    };
    let starts = [4.0, 10.0, 16.0];
    cycling.phases = vec![phase("standby", 0.0, 4.0, 0.02)];
    for (start, length) in starts.into_iter().zip([1.0, 2.0, 3.0]) {
        // The mean over 6 s: 0.1 A for 1 s, 0.2 A for 2 s, 0.3 A for 3 s.
        cycling.phases.push(phase("attempt", start, length, length / 10.0));
        cycling.phases.push(phase("rest", start + length, 6.0 - length, 0.04));
    }
    cycling.phases.push(phase("standby", 22.0, 9.0, 0.02));
    cycling.attempts = starts
        .map(|start| Attempt {
            start_s: Seconds::constant(start),
            end_s: Seconds::constant(start + 3.0),
            ended_in: None,
            likely_in: None,
            earliest_in: None,
            peak_a: Amps::constant(0.6),
            lowest_v: Volts::constant(12.8),
            given_up: true,
        })
        .to_vec();
    let document::Body::Table { rows, rest, .. } = document::phases(&cycling) else { panic!("a table") };
    let lines: Vec<String> = rows.iter().map(|row| row[..5].join(" | ")).collect();
    insta::assert_snapshot!(lines.join("\n"), @"
    standby | 0 s | 4 s | 20 mA | 10 to 40 mA
    3 tries | 4 s | 2 s each | 0.233 A | 50 to 600 mA
    rest between tries, 2 times | 5 s | 5 s each | 40 mA | 20 to 80 mA
    rest | 19 s | 3 s | 40 mA | 20 to 80 mA
    standby | 22 s | 9 s | 20 mA | 10 to 40 mA
    ");
    assert_eq!(rest, None);
    // Tries whose stages show have rows of their own.
    cycling.phases[3].name = "firmware".into();
    let document::Body::Table { rows, .. } = document::phases(&cycling) else { panic!("a table") };
    assert_eq!([1, 3].map(|row: usize| rows[row][0].as_str()), ["2 of 3 tries", "firmware"]);
    cycling.phases[3].name = "attempt".into();
    // Few tries are told one by one.
    cycling.attempts.truncate(2);
    let document::Body::Table { rows, .. } = document::phases(&cycling) else { panic!("a table") };
    assert_eq!([1, 3].map(|row: usize| rows[row][0].as_str()), ["try", "try"]);
}

#[test]
fn the_page_can_be_read_out() {
    let page = text_of(&made(&finding(), &notes()), "ticket.html");
    assert!(page.contains("<html lang=\"en\">"));
    let alternative = page.split("alt=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
    assert!(
        alternative.contains("Stalled in firmware") && alternative.contains("93 % sure"),
        "{alternative}"
    );
    assert_eq!(page.matches("<h1>").count(), 1);
    assert!(page.contains("<h1>Stalled in firmware</h1>"), "the verdict is the heading");
    let headings: Vec<&str> =
        page.split("<h2>").skip(1).filter_map(|rest| rest.split("</h2>").next()).collect();
    assert_eq!(headings.first(), Some(&"Customer says"));
    let place = |wanted: &str| headings.iter().position(|heading| *heading == wanted).unwrap();
    assert!(place("Caution") < place("Check next"), "what can hurt stands before the work");
    // Every column and every row of both tables has its header cell.
    assert_eq!(page.matches("<th scope=\"col\">").count(), 4 + 7);
    assert_eq!(page.matches("<th scope=\"row\">").count(), 1 + 2);
}

#[test]
fn a_board_that_tries_for_ever_leaves_the_tables_short() {
    let mut finding = finding();
    finding.phases = (0..300).map(|n| phase("attempt", f64::from(n), f64::from(n) + 0.5, 0.3)).collect();
    let page = text_of(&made(&finding, &Notes::default()), "ticket.html");
    assert!(page.contains("280 more are in finding.json."));
    assert_eq!(page.matches("<tr>").count(), 2 + 1 + 20);
}

#[test]
fn the_packed_folder_is_the_folder() {
    let folder = made(&finding(), &notes());
    let packed = folder.zip().unwrap();
    assert_eq!(packed, folder.zip().unwrap());
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(packed)).unwrap();
    assert_eq!(archive.len(), folder.files.len());
    for file in &folder.files {
        let mut bytes = Vec::new();
        let mut packed = archive.by_name(&format!("T-1042_fenwick-14/{}", file.name)).unwrap();
        std::io::Read::read_to_end(&mut packed, &mut bytes).unwrap();
        assert_eq!(bytes, file.bytes, "{}", file.name);
    }
}

/// Every kind of character that can turn a text into something else: markup, quotes, line ends, control characters,
/// and those that turn the direction of writing (Unicode 16, bidirectional algorithm, table 4).
fn hostile() -> impl Strategy<Value = String> {
    let pieces = [
        "<script>",
        "</style>",
        "]]>",
        "<!--",
        "&lt;",
        "\"",
        "'",
        "`",
        "|",
        "\n",
        "\r\n",
        "\u{0}",
        "\u{7}",
        "\u{1b}[31m",
        "\u{85}",
        "\u{2028}",
        "\u{202e}",
        "\u{2067}",
        "\u{61c}",
        "\u{200f}",
        "# ",
        "- ",
        "1. ",
        "![a](b)",
        "~~~",
        "| --- |",
        "a",
        " ",
    ];
    prop::collection::vec(
        prop_oneof![prop::sample::select(pieces.to_vec()).prop_map(String::from), any::<String>()],
        0..12,
    )
    .prop_map(|pieces| pieces.concat())
}

/// The page of a run about which nobody typed anything odd.
static PLAIN: LazyLock<String> =
    LazyLock::new(|| text_of(&made(&finding(), &Notes::default()), "ticket.html"));

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20))]
    #[test]
    fn whatever_people_type_stays_text(symptom in hostile(), note in hostile(), board in hostile(), stage in hostile()) {
        let mut finding = finding();
        finding.log.board = Some(board);
        finding.phases[0].name = stage;
        let folder = made(&finding, &Notes { symptom: Some(symptom), note: Some(note) });
        for name in ["ticket.txt", "ticket.md", "ticket.html"] {
            let text = text_of(&folder, name);
            let turns = |c: char| matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
            prop_assert!(!text.chars().any(|c| (c.is_control() && c != '\n') || turns(c)), "{name}: {text:?}");
        }
        let page = text_of(&folder, "ticket.html");
        let plain = PLAIN.as_str();
        for tag in ["<script", "<style", "<img ", "<h1", "<table", "<tr>", "<!", "</main>"] {
            let count = |page: &str| page.to_lowercase().matches(tag).count();
            prop_assert_eq!(count(&page), count(plain), "{}", tag);
        }
        let markdown = text_of(&folder, "ticket.md");
        prop_assert_eq!(markdown.matches("\n# ").count(), 0);
        prop_assert_eq!(markdown.lines().filter(|line| line.starts_with("![")).count(), 1);
    }
}

/// What a ticket of that class says first, and what it makes of the customer's words.
fn front(class: Class) -> String {
    let mut finding = finding();
    finding.verdict.class = class;
    finding.verdict.reached = Some("firmware".into());
    finding.verdict.stalled_in = (class == Class::Stalled).then(|| "firmware".into());
    let notes = Notes { symptom: Some("Does not start, does not charge.".into()), note: None };
    let text = Document::new(&finding, &notes, "run.csv", "00");
    let of_symptom =
        |section: &&document::Section| section.heading.starts_with("With what the customer says");
    let sharpened = text.sections.iter().find(of_symptom);
    let sharpened = match sharpened.map(|section| &section.body) {
        Some(document::Body::List(lines)) => lines.join("\n  "),
        _ => "nothing".into(),
    };
    format!("{}\n  {}\n  {sharpened}", text.headline, text.standing)
}

#[test]
fn each_class_reads_as_a_ticket_should() {
    insta::assert_snapshot!(Class::ALL.map(front).join("\n"));
}

#[test]
fn the_table_calls_a_short_as_the_headline_does() {
    let mut short = finding();
    (short.verdict.class, short.verdict.stalled_in) = (Class::HardShort, None);
    short.phases = vec![phase("off", 0.0, 4.0, 0.0), phase("short", 4.0, 60.0, 2.0)];
    let names = |finding: &Finding| match super::document::phases(finding) {
        super::document::Body::Table { rows, .. } => {
            rows.into_iter().map(|row| row[0].clone()).collect::<Vec<_>>()
        }
        other => panic!("{other:?}"),
    };
    assert_eq!(names(&short), ["off", "hard short"]);
    short.verdict.class = Class::PartialShort;
    short.phases[1].name = "heavy load".into();
    assert_eq!(names(&short), ["off", "partial short"]);
}

#[test]
fn the_words_for_the_picture_speak_of_tables_that_are_there() {
    let text = |finding: &Finding| text_of(&made(finding, &notes()), "ticket.md");
    assert!(text(&finding()).contains("The phases and the departures are in the tables."));
    let alike = Finding { departures: Vec::new(), ..finding() };
    assert!(text(&alike).contains("The phases are in the table.") && !text(&alike).contains("the tables"));
    let bare = text(&Finding { phases: Vec::new(), ..alike });
    assert!(!bare.contains("in the table"), "{bare}");
}

#[test]
fn the_finding_names_the_log_beside_it_and_not_where_it_lay() {
    let mut finding = finding();
    finding.log.path = "/home/bench/private/Ticket.csv".into();
    let folder = made(&finding, &notes());
    let beside: Finding = serde_json::from_str(&text_of(&folder, "finding.json")).unwrap();
    assert_eq!(beside.log.path, "log-Ticket.csv");
    assert!(folder.files.iter().any(|file| file.name == beside.log.path));
    assert_eq!(beside.profile.unwrap().path, "fenwick-14.toml");
}

#[test]
fn a_page_of_middling_width_has_the_upright_picture_and_further_sheets_name_the_board() {
    let page = text_of(&made(&finding(), &notes()), "ticket.html");
    assert!(page.contains("<source media=\"screen and (max-width: 48rem)\""));
    // FE of the serial number.
    assert!(page.contains("@top-left") && page.contains("\\000046\\000045"));
}
