//! `plot` as a technician runs it: a picture of each kind, and what it says when it cannot draw one.

use crate::program::{Ended, feedtale};
use std::fmt::Write as _;

/// A minute at 13 V: off, then standby, then a boot to a steady 1.1 A.
fn log() -> String {
    let mut log = String::from("# log: 1\n# board: fenwick-14\n# serial: FE-0231\n# ticket: T-1042\n");
    log += "# set_v: 13\n# limit_a: 3\nt_s,volts,amps,mode,span_s,event\n";
    for tenth in 0..600 {
        let (volts, amps, mode) = match tenth {
            0..20 => (0.0, 0.0, "off"),
            20..80 => (13.0, 0.024, "cv"),
            80..200 => (12.95, 1.8, "cv"),
            _ => (12.97, 1.1, "cv"),
        };
        let event = match tenth {
            20 => "output-on",
            80 => "mark=power button",
            _ => "",
        };
        let _ = writeln!(log, "{:.1},{volts},{amps},{mode},0.02,{event}", f64::from(tenth) / 10.0);
    }
    log
}

fn plot(arguments: &[&str]) -> Ended {
    feedtale(["plot"]).with(arguments).file("run.csv", log()).end()
}

fn picture(ended: &Ended, name: &str) -> Vec<u8> {
    std::fs::read(ended.path(name)).expect("a picture")
}

#[test]
fn the_ending_of_the_file_chooses_png_or_svg() {
    let ended = plot(&["run.csv", "--output", "run.PNG"]).code(0).mentions("run.PNG: ").complained("");
    let png = picture(&ended, "run.PNG");
    // The signature and the header chunk are those of the PNG specification (W3C, third edition, 5.2 and 11.2.1).
    assert_eq!(png[..8], [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n']);
    let side = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().expect("four bytes"));
    assert_eq!((side(16), side(20)), (1600, 900));

    let ended = plot(&["run.csv", "--output", "run.svg", "--theme", "dark", "--size", "phone"]).code(0);
    let svg = String::from_utf8(picture(&ended, "run.svg")).expect("text");
    assert!(
        svg.contains("<svg") && svg.contains("fenwick-14") && svg.contains("width=\"1080\""),
        "{svg:.400}"
    );

    let ended = plot(&["run.csv", "--output", "run.jpg"]).code(2);
    let ended = ended.complained(
        "feedtale: run.jpg: a figure is a .png or a .svg file; end the name with one of the two\n",
    );
    assert!(!ended.path("run.jpg").exists());
}

#[test]
fn a_picture_is_written_over_only_when_told_to() {
    let there = || {
        feedtale(["plot", "run.csv", "--output", "old.png"]).file("run.csv", log()).file("old.png", "mine")
    };
    let ended =
        there().end().code(3).complained("feedtale: old.png is there already; --force writes over it\n");
    assert_eq!(picture(&ended, "old.png"), b"mine");
    let ended = there().with(&["--force"]).end().code(0);
    assert_ne!(picture(&ended, "old.png"), b"mine");
}

#[test]
fn a_log_comes_from_standard_input_too() {
    let ended = feedtale(["plot", "-", "--output", "run.svg"]).input(log()).end().code(0);
    assert!(!picture(&ended, "run.svg").is_empty());
}

#[test]
fn a_stretch_is_cut_out_and_one_that_is_not_there_is_refused() {
    let svg = |arguments: &[&str]| {
        let ended = plot(&[&["run.csv", "--output", "run.svg"], arguments].concat()).code(0);
        String::from_utf8(picture(&ended, "run.svg")).expect("text")
    };
    let marked = |svg: &str| svg.contains("● power button");
    assert!(marked(&svg(&["--from", "7s", "--to", "10s"])) && !marked(&svg(&["--from", "20s"])));
    plot(&["run.csv", "--output", "run.svg", "--from", "2min"])
        .code(2)
        .complained("feedtale: no readings from 120 s to 59.9 s; the log runs from 0 s to 59.9 s\n");
    plot(&["run.csv", "--output", "run.svg", "--zoom", "firmwear"])
        .code(2)
        .warns("no phase \"firmwear\" to zoom to");
}

#[test]
fn what_cannot_be_read_is_named_and_nothing_is_written() {
    let refused = |arguments: &[&str], part: &str| {
        let ended = feedtale(["plot", "--output", "run.png"])
            .with(arguments)
            .file("run.csv", log())
            .file("header.csv", "# log: 1\nt_s,volts,amps,mode,span_s,event\n")
            .file("word.csv", "# log: 1\nt_s,volts,amps\n0,13,ERROR\n")
            .file("typo.toml", "bord = \"fenwick-14\"\n")
            .end()
            .code(3)
            .warns(part);
        assert!(!ended.path("run.png").exists() && ended.stdout().is_empty());
    };
    refused(&["nowhere.csv"], "nowhere.csv");
    refused(&["."], ".");
    refused(&["header.csv"], "header.csv");
    refused(&["word.csv"], "line 3");
    refused(&["run.csv", "--profile", "nowhere.toml"], "nowhere.toml: the profile cannot be read");
    refused(&["run.csv", "--profile", "typo.toml"], "bord");
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    plot(&["run.csv", "--output", "nowhere/run.png"]).code(3).warns("cannot write nowhere/run.png");
}

const SHORT: &str = include_str!("../logs/samples/harrow-13-hard-short.csv");
const NO_DRAW: &str = include_str!("../logs/samples/harrow-13-no-draw.csv");

/// Two boards, the first of them logged twice.
fn several(arguments: &[&str]) -> Ended {
    let run = feedtale(["plot", "--profile", "harrow-13.toml"]);
    let run = run.with(arguments).file("harrow-13.toml", include_str!("../profiles/harrow-13.toml"));
    run.file("short.csv", SHORT).file("again.csv", SHORT).file("nothing.csv", NO_DRAW).end()
}

fn text(ended: &Ended, name: &str) -> String {
    String::from_utf8(picture(ended, name)).expect("text")
}

#[test]
fn the_line_of_two_logs_has_the_place_of_the_tries_as_their_picture_has_it() {
    let profile = include_str!("../profiles/harrow-13.toml");
    let ended =
        feedtale(["plot", "off.csv", "good.csv", "--profile", "harrow-13.toml", "--output", "two.svg"])
            .file("harrow-13.toml", profile)
            .file("off.csv", include_str!("../logs/samples/harrow-13-latch-off.csv"))
            .file("good.csv", include_str!("../logs/samples/harrow-13-full-boot.csv"))
            .end()
            .code(0);
    let said = "Before: latches off (in rails or firmware). After: full boot";
    assert!(text(&ended, "two.svg").contains(said));
    ended.mentions(&format!("two.svg: {said}"));
}

#[test]
fn two_logs_are_before_and_after() {
    let ended = several(&["nothing.csv", "short.csv", "--output", "two.svg"]).code(0);
    let svg = text(&ended, "two.svg");
    for part in ["before: no draw", "after: hard short", "logs of two boards: HB-0040 before, HB-0041 after"]
    {
        assert!(svg.contains(part), "{part} in {svg:.900}");
    }
    ended.mentions("two.svg: Before: no draw. After: hard short");
    several(&["nothing.csv", "short.csv", "--output", "two.png", "--from", "3s", "--to", "9s"]).code(0);
    several(&["nothing.csv", "short.csv", "--output", "two.png", "--zoom", "picture"])
        .code(2)
        .warns("no phase \"picture\" to zoom to");
}

#[test]
fn three_logs_are_laid_over_one_another_and_two_when_asked() {
    let ended = several(&["short.csv", "nothing.csv", "again.csv", "--output", "all.svg"]).code(0);
    assert!(text(&ended, "all.svg").contains("odd: HB-0040"));
    ended.mentions("all.svg: 1 of 3 is odd: HB-0040 no draw");
    several(&["short.csv", "again.csv", "--overlay", "--output", "all.svg"])
        .code(0)
        .mentions("All 2 alike: hard short");
}

#[test]
fn the_card_of_a_profile_needs_no_log() {
    let profile = include_str!("../profiles/harrow-13.toml");
    let card = |arguments: &[&str]| {
        let run = feedtale(["plot", "--card", "harrow-13.toml", "--output", "card.svg"]);
        run.with(arguments).file("harrow-13.toml", profile).file("run.csv", log()).end()
    };
    let ended = card(&[]).code(0).mentions("card.svg: what good boards do, harrow-13 from 5 boards");
    let svg = text(&ended, "card.svg");
    assert!(svg.contains("battery connector") && svg.contains("3.50 A"), "{svg:.600}");
    card(&["run.csv"]).code(2).warns("cannot be used with");
    feedtale(["plot", "--output", "x.png"]).end().code(2).warns("required");
}

/// The words of an SVG.
fn words(svg: &str) -> Vec<String> {
    let texts = svg.split("<text").skip(1).filter_map(|part| Some(part.split_once('>')?.1));
    texts.filter_map(|part| Some(part.split_once("</text>")?.0.trim().to_owned())).collect()
}

#[test]
fn picture_and_text_count_the_same_tries() {
    for name in ["harrow-13-cycling", "kiln-24-cycling", "wren-4-latch-off", "harrow-13-feed-limited"] {
        let log = format!("{}/logs/samples/{name}.csv", env!("CARGO_MANIFEST_DIR"));
        let board = ["harrow-13", "kiln-24", "wren-4"].into_iter().find(|board| name.starts_with(board));
        let profile = format!(
            "{}/profiles/{}.toml",
            env!("CARGO_MANIFEST_DIR"),
            board.expect("a profile of the board")
        );
        let text = feedtale(["diagnose", log.as_str(), "--profile", profile.as_str()]).end().code(0);
        let plotted = feedtale(["plot", log.as_str(), "--profile", profile.as_str(), "--output", "run.svg"])
            .end()
            .code(0);
        let svg = String::from_utf8(picture(&plotted, "run.svg")).expect("text");
        let bracket = words(&svg).into_iter().find(|text| {
            let counted = text.split_once(" tries, ").is_some_and(|(count, _)| count.parse::<u32>().is_ok());
            counted && !text.contains('·')
        });
        let bracket = bracket.expect("a bracket over the tries");
        let (count, every) = bracket.split_once(", ").expect("a count and a period");
        let text = text.stdout();
        let fact = text.lines().find(|line| line.contains(&format!("- {count} from")));
        assert!(fact.is_some_and(|fact| fact.contains(every)), "{name}: {bracket:?} in {text}");
    }
}

#[test]
fn a_log_is_never_written_over_by_its_picture() {
    let arguments = ["plot", "run.png", "--output", "run.png", "--force"];
    let ended = feedtale(arguments).file("run.png", log()).end().code(2);
    let ended = ended.warns("run.png is what is read from and is not written over; give another name");
    assert_eq!(picture(&ended, "run.png"), log().as_ref() as &[u8]);
}

#[test]
fn a_starved_board_has_the_reason_first_under_its_headline() {
    let root = env!("CARGO_MANIFEST_DIR");
    let log = format!("{root}/logs/samples/harrow-13-feed-limited.csv");
    let profile = format!("{root}/profiles/harrow-13.toml");
    for size in ["480x360", "1000x700"] {
        let ended = feedtale(["plot", &log, "--profile", &profile, "--size", size, "--output", "run.svg"]);
        let svg = String::from_utf8(picture(&ended.end().code(0), "run.svg")).expect("text");
        let said = words(&svg).join(" ");
        let reason = said.find("none could boot under this limit").expect("the reason");
        assert!(said.find(" tries from").is_none_or(|tries| reason < tries), "{size}: {said}");
        // The note says it again, with the number of the text.
        let told = said[..reason].rsplit_once("peak at ").and_then(|(_, peaks)| peaks.split_once(" to "));
        let need =
            format!("good boards peak at {} A or more, limit", told.expect("from what to what they peak").0);
        // The smallest figure leaves the note out, which would hide the tries.
        assert!(said.contains(&need) || size == "480x360", "{size}: {need:?} in {said}");
    }
}
