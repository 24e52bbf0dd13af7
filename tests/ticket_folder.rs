//! `ticket` as a technician runs it: a folder that goes on the repair ticket.

use crate::program::{Run, feedtale};
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
