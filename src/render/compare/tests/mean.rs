//! Means of stages of few readings.

use super::super::differences::differences;
use super::*;

#[test]
fn a_row_has_the_mean_of_the_finding_and_what_only_edges_make_unlike_is_no_difference() {
    // Seven readings, renewed four times a second; the edges of the one are lower.
    let of = |read: [f64; 7]| {
        let mut run = booted();
        let rails = run.1.phases.iter().position(|phase| phase.name == "rails").unwrap();
        let first = run.0.time().partition_point(|t| *t < run.1.phases[rails].start_s.value());
        let there =
            |index: u32| (index as usize).checked_sub(first).and_then(|index| read.get(index)).copied();
        run.0 = trace(600, 60.0, |index| there(index).unwrap_or(0.033));
        run.1.phases[rails].mean_a = Amps::constant(read.iter().sum::<f64>() / 7.0);
        (run.1.phases[rails].min_a, run.1.phases[rails].max_a) =
            (Amps::constant(read[0]), Amps::constant(0.21));
        run.1.log.renewed_s = Seconds::new(0.25).ok();
        run
    };
    let row = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        differences(subjects(before, after, None))[1].clone()
    };
    let level = of([0.2; 7]);
    let edges = of([0.06, 0.1, 0.2, 0.2, 0.2, 0.2, 0.2]);
    let told = row(&level, &edges);
    assert!(told.before.starts_with("0.200 A") && told.after.starts_with("0.166 A"), "{told:?}");
    assert!(!told.words.contains("draws"), "{told:?}");
}
