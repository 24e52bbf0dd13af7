//! Runs of more pieces than the alignment looks at in full.

use super::{LOADING, OFF, RAILS, SET_V, STANDBY, profile, trace};
use crate::segment::{Settings, segment};
use crate::units::Volts;
use crate::verdict::align::{SIDE_BY_SIDE, Scores, search, search_beside};
use crate::verdict::model::Model;
use crate::verdict::piece::pieces;
use crate::verdict::readout::Readout;
use crate::verdict::run::runs;

/// A run of more pieces than are searched in full is explained as a run of as many as are: pruning bounds the work, and
/// not what is found.
#[test]
fn a_run_of_a_thousand_tries_is_explained_as_one_that_is_searched_in_full() {
    let tries: Vec<_> =
        std::iter::repeat_n([(1.5, SET_V, 0.0234), RAILS, (0.5, LOADING.1, LOADING.2)], 300).collect();
    let levels: Vec<_> = [OFF, STANDBY].into_iter().chain(tries.into_iter().flatten()).collect();
    let trace = trace(&levels);
    let profile = profile();
    let segmentation = segment(&trace, &Settings::default()).expect("a trace with readings");
    let readout = Readout::of(&trace, Readout::timing(&trace), &segmentation);
    let run = runs(&trace, &readout).into_iter().next().expect("one run");
    let model = Model::from_profile(&profile, Volts::constant(SET_V));
    let pieces = pieces(&trace, &segmentation, &run, &readout);
    let scores = Scores::new(&model, &run, &readout, 0.0);
    let in_full = search_beside(&scores, &pieces, usize::MAX);
    assert!(pieces.len() > 4 * SIDE_BY_SIDE, "{} pieces", pieces.len());
    assert_eq!(search(&scores, &pieces), in_full);
}

#[test]
fn hours_that_fit_no_explanation_are_still_told_as_what_was_read() {
    use crate::verdict::{Sources, diagnose};
    // Bursts of twenty seconds every ten minutes, which nothing that is known without a reference explains.
    let hour = [(580.0, SET_V, 0.92), (20.0, SET_V, 1.52)].repeat(6);
    let hours = hour.repeat(3);
    let levels: Vec<_> = [OFF, (15.0, SET_V, 0.03)].into_iter().chain(hours).collect();
    let finding = diagnose(&trace(&levels), None, &Sources::default());
    assert!(finding.phases.iter().any(|phase| phase.name != "off"), "{:?}", finding.phases);
    let because = finding.verdict.because.join("; ");
    assert!(!because.contains("no reading with feed"), "{because}");
}
