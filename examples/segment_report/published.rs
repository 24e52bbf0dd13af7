//! Published series whose changes others have stated; what they are and where they are from stands in
//! `tests/data/series/SOURCES.md` and `tests/data/real/SOURCES.md`.

use std::path::Path;

/// A column of numbers and the time of each.
#[derive(Debug, Clone)]
pub(crate) struct Series {
    pub(crate) time: Vec<f64>,
    pub(crate) values: Vec<f64>,
}

/// Annotated changes of the well log, one list for each of the five annotators of the Turing Change Point Dataset.
pub(crate) fn well_log_annotations() -> Vec<Vec<usize>> {
    vec![
        vec![179, 255, 281, 311, 343, 402, 413, 422, 432, 462, 464],
        vec![179, 255, 281, 312, 343, 402, 412, 422, 432],
        vec![179, 255, 282, 312, 343, 402, 413, 422, 432],
        vec![177, 467],
        vec![4, 179, 255, 281, 311, 344, 402, 412, 422, 432, 462, 464, 521, 526, 620, 643, 661],
    ]
}

/// What most of the annotators agree on; Ó Ruanaidh & Fitzgerald 1996 treat the same.
pub(crate) const WELL_LOG: [usize; 11] = [179, 255, 281, 311, 343, 402, 412, 422, 432, 462, 464];

/// Real captures: name, time of the authors' marker (firmware loaded, ready line) and time of the step that the samples
/// themselves have next to it. In neither does a reading of volts or amps move at the marker: the current rises 24 and
/// 30 ms later, and no change of level can be found where none is.
pub(crate) const CAPTURES: [(&str, Option<f64>, Option<f64>); 3] = [
    ("usrp_coldboot", Some(1.964), Some(1.9884)),
    ("usdr_coldboot", Some(0.2592), Some(0.2894)),
    ("noise_floor_52mA", None, None),
];

/// A series in `tests/data/series`, one value a second.
pub(crate) fn series(name: &str) -> Series {
    let values = column(&format!("series/{name}.csv"), 1);
    let time = (0..u32::try_from(values.len()).expect("a short series")).map(f64::from).collect();
    Series { time, values }
}

/// Amps of a real capture in `tests/data/real`, at its own times.
pub(crate) fn capture(name: &str) -> Series {
    let file = format!("real/{name}.csv");
    Series { time: column(&file, 0), values: column(&file, 2) }
}

fn column(file: &str, column: usize) -> Vec<f64> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let cell = |line: &str| line.split(',').nth(column).and_then(|cell| cell.trim().parse().ok());
    text.lines().skip(1).map(|line| cell(line).expect("a number in each row")).collect()
}
