//! Peaks of good boards that the strip of amps does not hold: in the legend, for a line of theirs is nowhere to be seen.

use super::super::super::words;
use super::super::Subject;
use super::super::legend::{Sample, Swatch};
use super::super::readings::Readings;
use super::{Expected, ValueAxis, expected, is_cut};
use crate::units::Amps;

/// How high good boards may peak in a stage.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::render) struct Peak {
    stage: String,
    amps: f64,
    /// Whether nothing but the current limit holds it down.
    at_limit: bool,
    /// Of which panel alone it is, where another shows the line of that stage.
    panel: Option<&'static str>,
    /// The step of the readings beside which it is said.
    step: Option<Amps>,
}

/// The peaks that one of two panels does not hold.
#[derive(Debug)]
pub(in crate::render) struct Panel {
    pub(in crate::render) name: &'static str,
    pub(in crate::render) peaks: Vec<Peak>,
    /// All stages whose envelopes it shows.
    pub(in crate::render) stages: Vec<String>,
}

impl Panel {
    /// Whether it shows the line of that stage's peaks.
    fn shows(&self, stage: &String) -> bool {
        self.stages.contains(stage) && !self.peaks.iter().any(|peak| peak.stage == *stage)
    }
}

impl Peak {
    fn value(&self) -> String {
        let panel = self.panel.map(|panel| format!(" ({panel})")).unwrap_or_default();
        let limit = if self.at_limit { ", the limit" } else { "" };
        self.said() + limit + &panel
    }

    /// No finer than the readings, but for the limit, which was set: the strip has nothing that such a number is held to.
    fn said(&self) -> String {
        words::amps(self.amps, self.step.filter(|_| !self.at_limit))
    }
}

/// The peaks above what the strip shows, each stage once.
pub(super) fn peaks(subject: &Subject, expected: &[Expected], axis: ValueAxis) -> Vec<Peak> {
    let limit = subject.limit().map_or(f64::INFINITY, Amps::value);
    let stages = subject.profile.iter().flat_map(|profile| profile.phases.iter().enumerate());
    let cut = |place: usize| {
        expected.iter().find(|stage| stage.place == place).filter(|stage| is_cut(axis, stage.peak))
    };
    let step = subject.resolution();
    let peak = |stage: String, amps: f64| Peak { stage, amps, at_limit: amps >= limit, panel: None, step };
    stages.filter_map(|(place, stage)| Some(peak(stage.name.clone(), cut(place)?.peak))).collect()
}

/// The stages whose envelopes a panel shows.
pub(in crate::render) fn stages(subject: &Subject, readings: &Readings) -> Vec<String> {
    let profile = subject.profile.map_or(&[][..], |profile| &profile.phases);
    let name = |stage: Expected| Some(profile.get(stage.place)?.name.clone());
    expected(subject, readings).into_iter().filter_map(name).collect()
}

/// Those of two panels, each stage once: of one alone with its name, where the other has a line for it.
pub(in crate::render) fn of_both(panels: &[Panel; 2]) -> Vec<Peak> {
    let named = |own: usize| {
        let (own, other) = (&panels[own], &panels[1 - own]);
        let named =
            |peak: &Peak| Peak { panel: other.shows(&peak.stage).then_some(own.name), ..peak.clone() };
        own.peaks.iter().map(named).collect::<Vec<_>>()
    };
    let [mut one, other] = [0, 1].map(named);
    for peak in other {
        match one.iter_mut().find(|known| known.stage == peak.stage) {
            Some(known) if known.amps >= peak.amps => {}
            Some(known) => *known = peak,
            None => one.push(peak),
        }
    }
    one
}

/// What the legend says of them, in more words and in fewer; where there is little room, in fewer from the first.
pub(in crate::render::parts) fn samples(peaks: &[Peak], short: bool) -> Vec<Sample> {
    // A sign would be looked for in the picture, which has no place for what it does not hold.
    let of = |words: String| (Swatch::None, words.into());
    let Some(highest) = peaks.iter().max_by(|a, b| a.amps.total_cmp(&b.amps)) else { return Vec::new() };
    if short { in_short(peaks, highest).map(of).into() } else { vec![of(in_full(peaks, highest))] }
}

/// The highest of them with its stage; of one that nothing but the limit holds down, that: its amps are none that were seen.
fn in_short(peaks: &[Peak], highest: &Peak) -> [String; 3] {
    let most = if highest.at_limit { "the limit".into() } else { highest.said() };
    let stages: Vec<&str> =
        peaks.iter().filter(|peak| peak.value() == highest.value()).map(|peak| peak.stage.as_str()).collect();
    let stage = match stages[..] {
        [first, _, _, ..] => format!("{first} and {} more", stages.len() - 1),
        _ => stages.join(", "),
    };
    let panel = highest.panel.map(|panel| format!("{panel}: ")).unwrap_or_default();
    ["good boards' peak at most", "good peak to", "peak to"]
        .map(|peak| format!("{panel}{peak} {most} ({stage})"))
}

fn in_full(peaks: &[Peak], highest: &Peak) -> String {
    /// Of more nobody reads on.
    const MOST: usize = 3;
    let mut values: Vec<(String, String)> = Vec::new();
    for peak in peaks {
        match values.last_mut() {
            Some((names, value)) if *value == peak.value() => names.extend([", ", peak.stage.as_str()]),
            _ => values.push((peak.stage.clone(), peak.value())),
        }
    }
    let each: Vec<String> = values.iter().map(|(names, value)| format!("{names} {value}")).collect();
    if each.len() <= MOST {
        return format!("good boards' peaks off the scale, at most: {}", each.join("; "));
    }
    format!("good boards' peaks off the scale, of {} stages: to {}", peaks.len(), highest.value())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(peaks: &[(&str, f64)], short: bool) -> Vec<String> {
        let peak = |(stage, amps): &(&str, f64)| Peak {
            stage: (*stage).into(),
            amps: *amps,
            at_limit: *amps >= 2.0,
            panel: None,
            step: None,
        };
        let samples = samples(&peaks.iter().map(peak).collect::<Vec<_>>(), short);
        samples.into_iter().map(|(_, words)| words.into_owned()).collect()
    }

    #[test]
    fn one_note_stands_for_all_peaks_off_the_scale() {
        let two = [("loader", 1.5), ("firmware", 2.0), ("system", 2.0)];
        assert_eq!(
            said(&two, false),
            ["good boards' peaks off the scale, at most: loader 1.50 A; firmware, system 2.00 A, the limit"]
        );
        let many = [("a", 1.1), ("b", 1.2), ("c", 1.3), ("d", 1.4)];
        assert_eq!(said(&many, false), ["good boards' peaks off the scale, of 4 stages: to 1.40 A"]);
    }

    #[test]
    fn in_few_words_too_a_peak_has_its_stage_and_the_limit_is_none_that_was_seen() {
        let short = |peaks: &[(&str, f64)]| said(peaks, true);
        assert_eq!(
            short(&[("loader", 1.5), ("firmware", 1.2)]),
            [
                "good boards' peak at most 1.50 A (loader)",
                "good peak to 1.50 A (loader)",
                "peak to 1.50 A (loader)"
            ]
        );
        assert_eq!(short(&[("loader", 1.5), ("system", 2.0)])[2], "peak to the limit (system)");
        assert_eq!(short(&[("firmware", 2.0), ("system", 2.0)])[2], "peak to the limit (firmware, system)");
        let three = [("loader", 2.0), ("firmware", 2.0), ("system", 2.0)];
        assert_eq!(short(&three)[2], "peak to the limit (loader and 2 more)");
        assert!(short(&[]).is_empty());
    }

    #[test]
    fn what_is_said_of_peaks_off_the_scale_has_no_sign_that_the_picture_has_nowhere() {
        for short in [true, false] {
            let samples = samples(&[peak("rails", 1.0)], short);
            assert!(!samples.is_empty());
            assert!(samples.iter().all(|(swatch, _)| matches!(swatch, Swatch::None)), "{samples:?}");
        }
    }

    #[test]
    fn a_peak_off_the_scale_is_told_no_finer_than_what_was_read() {
        let said = |step: f64| {
            let peak = Peak {
                stage: "standby".into(),
                amps: 0.00784,
                at_limit: false,
                step: Amps::new(step).ok(),
                panel: None,
            };
            samples(&[peak], true)[2].1.to_string()
        };
        assert_eq!([0.001, 0.0001].map(said), ["peak to 8 mA (standby)", "peak to 7.8 mA (standby)"]);
    }

    #[test]
    fn of_two_panels_the_higher_peak_is_told() {
        let both = of_both(&[
            panel("before", vec![peak("rails", 1.0), peak("loader", 2.0)], &["rails", "loader"]),
            panel(
                "after",
                vec![peak("rails", 1.2), peak("loader", 1.0), peak("system", 3.0)],
                &["rails", "loader", "system"],
            ),
        ]);
        assert_eq!(both, [peak("rails", 1.2), peak("loader", 2.0), peak("system", 3.0)]);
    }

    fn peak(stage: &str, amps: f64) -> Peak {
        Peak { stage: stage.into(), amps, at_limit: false, panel: None, step: None }
    }

    fn panel(name: &'static str, peaks: Vec<Peak>, stages: &[&str]) -> Panel {
        Panel { name, peaks, stages: stages.iter().map(|stage| (*stage).to_owned()).collect() }
    }

    #[test]
    fn a_peak_that_one_of_two_panels_has_a_line_for_is_said_to_be_of_the_other() {
        // With other volts the amps are others; the upper one shows no line for the system, which it does not get to.
        let both = of_both(&[
            panel("before", Vec::new(), &["standby"]),
            panel("after", vec![peak("standby", 0.1), peak("system", 0.2)], &["standby", "system"]),
        ]);
        let said = |short| samples(&both, short)[0].1.clone().into_owned();
        assert_eq!(
            said(false),
            "good boards' peaks off the scale, at most: standby 0.100 A (after); system 0.200 A"
        );
        assert_eq!(said(true), "good boards' peak at most 0.200 A (system)");
        let alone = samples(&both[..1], true);
        assert_eq!(alone[2].1, "after: peak to 0.100 A (standby)");
    }
}
