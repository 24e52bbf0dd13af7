//! Other loggers' files through the program, real captures among them (tests/data/real/SOURCES.md).

use crate::program::feedtale;
use feedtale::trace::read_file;
use feedtale::verdict::{Class, Sources, diagnose};
use std::path::Path;

fn real(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/real").join(name).display().to_string()
}

#[test]
fn real_captures_become_logs_with_every_row() {
    for name in ["usdr_coldboot.csv", "usrp_coldboot.csv", "ups_pi4_battery.csv", "noise_floor_52mA.csv"] {
        let ended =
            feedtale(["convert", &real(name), "--output", "log.csv", "--board", "radio"]).end().code(0);
        let trace = read_file(ended.path("log.csv")).unwrap().trace;
        let text = std::fs::read_to_string(real(name)).unwrap();
        let rows: Vec<Vec<f64>> = text
            .lines()
            .skip(1)
            .map(|row| row.split(',').map(|cell| cell.parse().unwrap()).collect())
            .collect();
        assert_eq!(trace.len(), rows.len(), "{name}");
        for (index, row) in rows.iter().enumerate() {
            let read = [trace.time()[index], trace.volts()[index], trace.amps()[index]];
            assert_eq!(
                read.map(f64::to_bits).to_vec(),
                row.iter().map(|x| x.to_bits()).collect::<Vec<_>>(),
                "{name}"
            );
        }
        assert_eq!(trace.header().board.as_deref(), Some("radio"));
        ended.warns("assumed: amps is column 3 \"amps\" in A\n");
    }
}

/// The boards and instruments of these captures were sound (tests/data/real/SOURCES.md); none shows a switch-on with the
/// volts that were set, so that no fault can be read from it.
#[test]
fn no_real_capture_of_a_sound_board_is_called_faulty() {
    for name in ["usdr_coldboot.csv", "usrp_coldboot.csv", "ups_pi4_battery.csv", "noise_floor_52mA.csv"] {
        let log = feedtale(["convert", &real(name), "--output", "log.csv"]).end().code(0);
        let trace = read_file(log.path("log.csv")).unwrap().trace;
        let finding = diagnose(&trace, None, &Sources::default());
        assert_eq!(finding.verdict.class, Class::Inconclusive, "{name}: {:#?}", finding.verdict);
    }
}

#[test]
fn a_packed_capture_without_volts_needs_them_named_and_loses_no_row() {
    let name = "usrp_e100_run.csv.gz";
    feedtale(["convert", &real(name), "--output", "log.csv"]).end().code(3).warns("--volts");
    let ended = feedtale(["convert", &real(name), "--output", "log.csv", "--volts", "6"]).end().code(0);
    let trace = read_file(ended.path("log.csv")).unwrap().trace;
    // Length and means of the stages by the authors' labels: SOURCES.md, and the publication's figure.
    assert_eq!(trace.len(), 124_999);
    assert!((trace.duration().unwrap().value() - 10.0).abs() < 0.001);
    let mean = |from: f64, to: f64| {
        let within: Vec<f64> = trace
            .time()
            .iter()
            .zip(trace.amps())
            .filter(|(t, _)| (from..to).contains(*t))
            .map(|(_, a)| *a)
            .collect();
        within.iter().sum::<f64>() / f64::from(u32::try_from(within.len()).unwrap())
    };
    assert!((mean(0.2, 1.0) - 1.84).abs() < 0.03, "idle: {} A", mean(0.2, 1.0));
    assert!((mean(6.5, 8.0) - 2.04).abs() < 0.06, "transmitting: {} A", mean(6.5, 8.0));
    ended.warns("assumed: the file is packed with gzip and was unpacked\n").warns("the same in every row");
}

/// The same readings as instruments and spreadsheets write them.
#[test]
fn every_notation_of_the_same_readings_makes_the_same_log() {
    let utf16 = |text: &str| -> Vec<u8> {
        [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
    };
    let files: [(&[u8], &[&str]); 7] = [
        (b"time_s,volts,amps\n0,12.8,0.024\n0.5,12.8,0.025\n1,12.7,1.1\n", &[]),
        ("\u{feff}Zeit [ms];Spannung [V];Strom [mA]\r\n0;12,8;24\r\n500;12,8;25\r\n1000;12,7;1100\r\n".as_bytes(), &[]),
        (b"Date,Time,U/V,I/mA\n2026-03-02,09:00:00.0,12.8,24\n2026-03-02,09:00:00.5,12.8,25\n2026-03-02,09:00:01.0,12.7,1100\n", &[]),
        (b"\"When\",\"Out, volts\",\"Power (mW)\"\n\"2026-03-02T09:00:00Z\",\"12.8\",\"307.2\"\n\"2026-03-02T09:00:00.5Z\",\"12.8\",\"320\"\n\"2026-03-02T09:00:01Z\",\"12.7\",\"13970\"\n",
            &["--columns", "time=When,volts=2,watts=3"]),
        (&utf16("t\tV\tmA\r\n0\t12.8\t24\r\n0.5\t12.8\t25\r\n1\t12.7\t1100\r\n"), &[]),
        (b"7 24 x 12.8\n507 25 x 12.8\n1007 1100 x 12.7\n", &["--columns", "time=1:ms,volts=4,amps=2:mA"]),
        (b"t,volts,amps\n0,12.8,0.024\n0.5,12.8,0.025\n1,12.7,1.1\n1.5,12", &[]),
    ];
    for (file, more) in files {
        let story = String::from_utf8_lossy(file);
        let run = feedtale(["convert", "in.csv", "--output", "log.csv"]).with(more).file("in.csv", file);
        let ended = run.end().code(0);
        let trace = read_file(ended.path("log.csv")).unwrap().trace;
        assert_eq!(trace.time(), [0.0, 0.5, 1.0], "{story}");
        assert_eq!(trace.volts(), [12.8, 12.8, 12.7], "{story}");
        for (found, expected) in trace.amps().iter().zip([0.024, 0.025, 1.1]) {
            assert!((found - expected).abs() < 1e-12, "{story}: {found}");
        }
        assert!(ended.stderr().starts_with("assumed: "), "{}", ended.stderr());
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_device_without_end_is_given_up() {
    let ended = feedtale(["convert", "/dev/zero", "--output", "log.csv"]).end().code(3);
    ended.complained("feedtale: /dev/zero: it is a device; save what it sends to a file first\n");
}

#[test]
fn a_log_that_is_there_is_not_written_over_unless_told_to() {
    let table = "t,v,i\n0,12,1\n1,12,1\n";
    let run = |force: &[&str]| {
        let arguments = ["convert", "in.csv", "--output", "out.csv"].iter().chain(force).copied();
        feedtale(arguments).file("in.csv", table).file("out.csv", "kept").end()
    };
    let refused = run(&[]).code(3).warns("out.csv is there already; --force writes over it");
    assert_eq!(std::fs::read_to_string(refused.path("out.csv")).unwrap(), "kept");
    assert_eq!(read_file(run(&["--force"]).code(0).path("out.csv")).unwrap().trace.len(), 2);
}

#[test]
fn what_cannot_be_converted_is_named_with_its_file() {
    feedtale(["convert", "in.csv", "--output", "out.csv"])
        .file("in.csv", "t,v,i\n0,12,x\n1,2,3\n")
        .end()
        .code(3)
        .complained("feedtale: in.csv: line 2: amps \"x\" is not a number of A\n");
    feedtale(["convert", "none.csv", "--output", "out.csv"]).end().code(3).warns("none.csv: cannot read it");
    feedtale(["convert", "in.csv", "--output", "out.csv", "--volts", "nan"])
        .file("in.csv", "t,i\n")
        .end()
        .code(2);
}

#[test]
fn what_is_read_is_never_written_over() {
    let table = "t,v,i\n0,12,1\n1,12,1\n";
    for arguments in [
        ["convert", "in.csv", "--output", "./in.csv", "--force"].as_slice(),
        &["learn", "in.csv", "--board", "x", "--output", "in.csv", "--force"],
    ] {
        let ended = feedtale(arguments.iter().copied()).file("in.csv", table).end().code(2);
        let ended = ended.warns("in.csv is what is read from and is not written over; give another name");
        assert_eq!(std::fs::read_to_string(ended.path("in.csv")).unwrap(), table);
    }
}
