//! `ticket` as a technician runs it: a folder that goes on the repair ticket.

use crate::program::{Run, feedtale};
use feedtale::render::words;
use feedtale::verdict::{Class, Finding};
use std::fs;
use std::path::Path;

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/logs/samples");

fn sample(name: &str) -> Vec<u8> {
    fs::read(Path::new(SAMPLES).join(name)).expect("a sample log")
}

fn ticket(arguments: &[&str]) -> Run {
    feedtale(["ticket", "run.csv", "--output", "tickets"])
        .with(arguments)
        .file("run.csv", sample("harrow-13-hard-short.csv"))
}

/// The one folder or file in `tickets`.
fn made(tickets: &Path) -> std::path::PathBuf {
    let found: Vec<_> = fs::read_dir(tickets).expect("a folder").map(|entry| entry.unwrap().path()).collect();
    assert_eq!(found.len(), 1, "{found:?}");
    found[0].clone()
}

#[test]
fn the_folder_holds_everything_and_the_log_byte_for_byte() {
    let ended =
        ticket(&["--symptom", "smells <burnt>", "--note", "liquid near J4"]).end().code(0).complained("");
    let folder = made(&ended.path("tickets"));
    let mut names: Vec<String> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["finding.json", "picture.png", "run.csv", "ticket.html", "ticket.md", "ticket.txt"]);
    assert_eq!(fs::read(folder.join("run.csv")).unwrap(), sample("harrow-13-hard-short.csv"));
    let finding: Finding = serde_json::from_slice(&fs::read(folder.join("finding.json")).unwrap()).unwrap();
    assert_eq!(finding.verdict.class, Class::HardShort);
    let text = fs::read_to_string(folder.join("ticket.txt")).unwrap();
    for part in ["Hard short", "> smells <burnt>", "> liquid near J4", &finding.log.sha256, "Caution:"] {
        assert!(text.contains(part), "{part} in\n{text}");
    }
    let page = fs::read_to_string(folder.join("ticket.html")).unwrap();
    assert!(page.contains("smells &lt;burnt&gt;") && !page.contains("<burnt>"));
    assert!(ended.stdout().starts_with("tickets"), "{}", ended.stdout());
}

#[test]
fn the_verdict_is_that_of_diagnose() {
    let ended = ticket(&[]).end().code(0);
    let ours = fs::read(made(&ended.path("tickets")).join("finding.json")).unwrap();
    let printed = feedtale(["diagnose", "run.csv", "--json"])
        .file("run.csv", sample("harrow-13-hard-short.csv"))
        .end()
        .code(0)
        .stdout();
    let theirs: Finding = serde_json::from_str(&printed).unwrap();
    assert_eq!(serde_json::from_slice::<Finding>(&ours).unwrap(), theirs);
}

#[test]
fn a_ticket_from_standard_input_can_be_one_file() {
    let ended = feedtale(["ticket", "-", "--output", "out/of/the/way", "--zip"])
        .input(sample("wren-4-full-boot.csv"))
        .end()
        .code(0);
    let packed = fs::File::open(made(&ended.path("out/of/the/way"))).unwrap();
    let mut archive = zip::ZipArchive::new(packed).unwrap();
    let names: Vec<String> =
        (0..archive.len()).map(|n| archive.by_index(n).unwrap().name().unwrap().into_owned()).collect();
    let log = names.iter().find(|name| name.ends_with("/log.csv")).expect("the log");
    let mut bytes = Vec::new();
    std::io::Read::read_to_end(&mut archive.by_name(log).unwrap(), &mut bytes).unwrap();
    assert_eq!(bytes, sample("wren-4-full-boot.csv"));
}

#[test]
fn a_ticket_that_is_there_is_kept_unless_told_otherwise() {
    let name = {
        let ended = ticket(&[]).end().code(0);
        made(&ended.path("tickets")).file_name().unwrap().to_str().unwrap().to_owned()
    };
    let kept = format!("tickets/{name}/ticket.txt");
    let again =
        ticket(&[]).file(&kept, "kept").end().code(3).warns("is there already; --force writes over it");
    assert_eq!(fs::read_to_string(again.path(&kept)).unwrap(), "kept");
    let forced = ticket(&["--force"]).file(&kept, "old").end().code(0);
    assert!(fs::read_to_string(forced.path(&kept)).unwrap().contains("Hard short"));
}

#[test]
fn what_cannot_become_a_ticket_says_why() {
    feedtale(["ticket", "none.csv", "--output", "tickets"]).end().code(3).warns("none.csv");
    let empty = "# log: 1\nt_s,volts,amps\n";
    feedtale(["ticket", "empty.csv", "--output", "tickets"])
        .file("empty.csv", empty)
        .end()
        .code(3)
        .complained("feedtale: empty.csv: the log has a header but not one reading\n");
    ticket(&["--profile", "none.toml"]).end().code(3).warns("none.toml");
    ticket(&[]).file("tickets", "a file in the way").end().code(3).warns("cannot make the folder tickets");
}

/// The files of a ticket as text, by name.
fn texts(folder: &Path) -> [String; 4] {
    ["ticket.txt", "ticket.md", "ticket.html", "finding.json"]
        .map(|name| fs::read_to_string(folder.join(name)).expect("a text"))
}

#[test]
fn the_ticket_of_every_class_says_one_thing_in_all_its_files() {
    let schema = feedtale(["schema"]).end().code(0).stdout();
    let schema = serde_json::from_str(&schema).expect("JSON");
    // The independent validator: the crate jsonschema, draft 2020-12.
    let validator = jsonschema::draft202012::new(&schema).expect("a schema");
    for class in Class::ALL {
        let log = sample(&format!("harrow-13-{class}.csv"));
        let profile = include_bytes!("../profiles/harrow-13.toml").to_vec();
        let run = feedtale(["ticket", "run.csv", "--output", "tickets", "--profile", "p.toml"]);
        let ended = run.file("run.csv", log).file("p.toml", profile).end().code(0);
        let [text, markdown, page, json] = texts(&made(&ended.path("tickets")));
        let document = serde_json::from_str(&json).expect("JSON");
        let errors: Vec<String> = validator.iter_errors(&document).map(|error| error.to_string()).collect();
        assert_eq!(errors, Vec::<String>::new(), "{class}");
        let finding: Finding = serde_json::from_str(&json).expect("a finding");
        let headline = words::headline_of(&finding);
        assert!(
            text.contains(&format!("\n{headline}")) && markdown.contains(&format!("**{headline}")),
            "{class}"
        );
        assert!(page.contains(&format!("<h1>{headline}")), "{class}: the verdict is the heading");
        let alternative = page.split("alt=\"").nth(1).unwrap_or_default();
        assert!(alternative.split('"').next().unwrap_or_default().contains(&headline), "{class}");
        for said in finding.verdict.because.iter().chain(&finding.cautions) {
            assert!(text.contains(said.as_str()), "{class}: {said}");
        }
        for check in &finding.next_checks {
            // Where they come from is said once, in a heading.
            let said = check.strip_suffix(" (common practice)");
            assert!(text.contains(said.unwrap_or(check)), "{class}: {check}");
            assert!(said.is_none() || text.contains(" (common practice):\n"), "{class}: {check}");
        }
        assert!(!text.contains("(common practice)\n"), "{class}: {text}");
        let undecided = finding.verdict.class == Class::Inconclusive;
        let standing = text
            .lines()
            .find(|line| line.contains(&format!("Verdict {}", words::kind(finding.verdict.class))))
            .expect("a verdict");
        assert_eq!(!standing.contains('%'), undecided, "{class}: {standing}");
        for departure in &finding.departures {
            assert!(text.contains(&words::departure(departure)), "{class}: {departure:?}");
        }
        let odd = ["(s)", "NaN", "inf ", "1 attempts", "1 boards", "1 gaps", "  "];
        assert!(!odd.iter().any(|odd| text.contains(odd)), "{class}: {text}");
        let cautions = text.find("\nCaution:").expect("cautions");
        let work = text.find("\nCheck next").expect("what to probe");
        assert!(cautions < work, "{class}: what can hurt stands before the work");
    }
}
