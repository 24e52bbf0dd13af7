//! What a capture cannot show, and why.

use super::Class;
use super::engine::Analysis;
use super::evidence::seconds;
use super::readout::Readout;
use crate::reference::Profile;
use crate::units::{Amps, counted, figures};

/// Boards from which an envelope rests on evidence: with fewer the tolerance factor is above 6 (ISO 16269-6, 0.95/0.95).
const FEW_BOARDS: usize = 5;

/// What the capture cannot show.
pub(super) fn limits(analysis: &Analysis, readout: &Readout, profile: Option<&Profile>) -> Vec<String> {
    let mut limits = Vec::new();
    limits.extend(reference(analysis, profile));
    limits.extend(resolution(analysis, readout));
    limits.extend(rate(analysis, readout));
    limits.extend(button(analysis));
    limits.extend(switch_on(analysis));
    limits.extend(limit(analysis));
    limits.extend(gaps(analysis, readout));
    limits
}

fn reference(analysis: &Analysis, profile: Option<&Profile>) -> Option<String> {
    match profile {
        None => {
            let kind = analysis.kind.map_or("a board of unknown kind", |kind| kind.name);
            Some(format!(
                "no reference profile: the feed volts suggest {kind}, and the verdict is a guess by kind; stages cannot be told"
            ))
        }
        Some(profile) if profile.learned.boards < FEW_BOARDS => Some(format!(
            "the reference rests on {} only; its envelopes are wide",
            counted(profile.learned.boards, "board")
        )),
        Some(_) => None,
    }
}

fn resolution(analysis: &Analysis, readout: &Readout) -> Option<String> {
    let standby_a = analysis.model.standby.watts? / analysis.run.set_v;
    let step = Amps::new(readout.step_a).ok()?;
    (readout.step_a > standby_a / 2.0).then(|| {
        let standby = Amps::new(standby_a).map_or_else(|_| "?".into(), |amps| amps.to_string());
        format!("amps are read in steps of {step}: a standby of {standby} is barely visible")
    })
}

fn rate(analysis: &Analysis, readout: &Readout) -> Option<String> {
    let short =
        |stage: &&super::model::Stage| stage.duration.is_some_and(|span| span.low < 2.0 * readout.update_s());
    let missed = analysis.model.stages.iter().find(short)?;
    Some(format!(
        "the reading is renewed every {} or so: {} may pass unseen",
        in_two_figures(readout.update_s()),
        missed.name
    ))
}

/// A time that is itself an estimate.
fn in_two_figures(seconds: f64) -> String {
    if seconds < 0.1 {
        format!("{} ms", figures(seconds * 1e3, 2))
    } else {
        format!("{} s", figures(seconds, 2))
    }
}

fn button(analysis: &Analysis) -> Option<String> {
    let waits = analysis.model.standby.waits && analysis.run.presses.is_empty();
    let asleep = matches!(analysis.class(), Class::StandbyOnly | Class::ExcessStandby | Class::NoDraw);
    (waits && asleep).then(|| {
        "no press of the power button is marked: whether the board was asked to wake is not known".to_string()
    })
}

fn switch_on(analysis: &Analysis) -> Option<String> {
    (!analysis.run.switch_on_seen)
        .then(|| "the log begins after switch-on: inrush and first stages are not seen".into())
}

fn limit(analysis: &Analysis) -> Option<String> {
    let (need, limit) = (analysis.model.need_w? / analysis.run.set_v, analysis.run.limit_a?);
    (need > limit).then(|| {
        let show = |amps| Amps::new(amps).map_or_else(|_| "?".into(), |amps: Amps| amps.to_string());
        format!("the limit of {} is below the {} that a good boot asks for", show(limit), show(need))
    })
}

fn gaps(analysis: &Analysis, readout: &Readout) -> Option<String> {
    let run = &analysis.run;
    let inside = |gap: &&super::Gap| gap.end_s.value() > run.start_s && gap.start_s.value() < run.end_s;
    let gaps: Vec<_> = readout.gaps.iter().filter(inside).collect();
    let longest = gaps.iter().max_by(|a, b| length(a).total_cmp(&length(b)))?;
    Some(format!(
        "{} without readings, the longest {} from {} on: what happened there is not known",
        counted(gaps.len(), "gap"),
        seconds(length(longest)),
        longest.start_s
    ))
}

fn length(gap: &super::Gap) -> f64 {
    gap.end_s.value() - gap.start_s.value()
}
