//! Other loggers' files through the program, real captures among them (tests/data/real/SOURCES.md).

use crate::program::feedtale;
use feedtale::trace::read_file;
use std::path::Path;

fn real(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/real").join(name).display().to_string()
}

#[test]
fn real_captures_become_logs_with_every_row() {
    for name in ["usdr_coldboot.csv", "usrp_coldboot.csv", "ups_pi4_battery.csv"] {
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
