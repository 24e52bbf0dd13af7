//! What is drawn in a stage beside what good boards draw there.

use super::TIMES_FROM;
use crate::reference::PhaseReference;
use crate::stats::extent;
use crate::units::{figures, range};
use crate::verdict::align::Step;
use crate::verdict::model::Stage;
use crate::verdict::piece::RAMP_S;
use crate::verdict::seen::Seen;

/// `; good boards 15.0 W (12.4 to 18.0 W) in picture`, if there is a reference.
pub(super) fn against_good_boards(seen: &Seen, last: &Step) -> String {
    let stage = last.state.stage().map(|stage| &seen.analysis.model.stages[stage]);
    let Some((stage, (phase, factor))) =
        stage.and_then(|stage| Some((stage, seen.reference_at(&stage.name)?)))
    else {
        return String::new();
    };
    let (low, high) = (phase.mean_power.low * factor, phase.mean_power.high * factor);
    let beyond = match seen.level(last).watts {
        watts if watts > high => more(seen, watts, stage, (phase, factor)),
        watts if watts < low => ", so this is less".to_owned(),
        _ => String::new(),
    };
    let watts = |value: f64| seen.reference_watts(value);
    let band = range(&watts(low), &watts(high));
    format!("; good boards {} ({band}) in {}{beyond}", watts(stage.watts), stage.name)
}

/// How a level is said that is above what good boards draw on average in its stage: of one that is mostly a ramp, it may be
/// where that ends.
fn more(seen: &Seen, watts: f64, stage: &Stage, (phase, factor): (&PhaseReference, f64)) -> String {
    let ramp = stage.duration.is_some_and(|duration| duration.typical < RAMP_S);
    let peaks = good_peaks(seen, phase, factor).filter(|(_, most)| ramp && watts <= *most);
    match peaks {
        Some((low, high)) => {
            let [low, high] = [low, high].map(|watts| seen.reference_watts(watts));
            format!(" on average, with peaks of {}: this is no more than those", range(&low, &high))
        }
        None if watts >= TIMES_FROM * stage.watts => {
            format!(", so this is {} times as much", figures(watts / stage.watts, 2))
        }
        None => ", so this is more".to_owned(),
    }
}

/// The lowest and the highest of the peaks of good boards in a stage, in watts; `None` where the profile keeps no captures.
fn good_peaks(seen: &Seen, phase: &PhaseReference, factor: f64) -> Option<(f64, f64)> {
    let measured = seen.profile?.learned.logs.iter().flat_map(|log| &log.stages);
    let peaks = measured.filter(|stage| stage.phase == phase.name).map(|stage| stage.peak_power * factor);
    extent(&peaks.collect::<Vec<f64>>())
}
