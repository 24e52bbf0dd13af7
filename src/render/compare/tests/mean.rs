//! Means of stages of few readings.

use super::super::differences::differences;
use super::*;

#[test]
fn of_a_stage_of_few_readings_the_mean_is_that_of_all_that_are_drawn() {
    // Of seven readings those over the edges are 25 and 55 mA; between these are 50 and 90 mA.
    let read = [0.025, 0.025, 0.05, 0.05, 0.09, 0.09, 0.055];
    let (mut before, after) = (booted(), booted());
    let rails = before.1.phases.iter().position(|phase| phase.name == "rails").unwrap();
    before.1.phases[rails].mean_a = Amps::constant(0.07);
    let first = before.0.time().partition_point(|t| *t < before.1.phases[rails].start_s.value());
    let of_rails = |index: u32| (index as usize).checked_sub(first).and_then(|index| read.get(index));
    before.0 = trace(600, 60.0, |index| of_rails(index).copied().unwrap_or(0.033));
    before.1.log.renewed_s = Seconds::new(0.05).ok();
    let row = |before: &(Trace, Finding)| differences(subjects(before, &after, None))[1].before.clone();
    assert!(row(&before).starts_with("70 mA"), "{}", row(&before));
    // Renewed four times a second these are three.
    before.1.log.renewed_s = Seconds::new(0.25).ok();
    assert!(row(&before).starts_with("55 mA"), "{}", row(&before));
    // What begins with the feed has the rise of it in its readings.
    before.1.phases[rails - 1].name = "off".into();
    let rails = differences(subjects(&before, &after, None));
    let rails = rails.into_iter().find(|row| row.stage == "rails").unwrap().before;
    assert!(rails.starts_with("70 mA"), "{rails}");
}
