//! What the note of a starved board says and points at.

use super::super::super::fixtures::trace_at;
use super::*;
use crate::trace::{Mode, Sample, Trace, TraceBuilder};

/// Tries at a limit of 1.2 A, the first of which dip to those volts.
fn starved(count: u32, lowest: &[f64]) -> Finding {
    let mut finding = cycling(count);
    finding.verdict.class = Class::FeedLimited;
    finding.log.limit_a = Amps::new(1.2).ok();
    for (attempt, lowest) in finding.attempts.iter_mut().zip(lowest) {
        attempt.lowest_v = Volts::constant(*lowest);
    }
    finding
}

/// When such a board was read, of tries that dip once, at the 80th reading, and the turn that is told of it.
fn turn_at_the_dip(amps: impl Fn(u32) -> f64) -> (Vec<f64>, crate::render::parts::notes::Note) {
    let trace = trace_at(501, 50.0, amps, |index| if index == 79 { 10.5 } else { 12.8 });
    let finding = starved(15, &[10.5]);
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let turn = super::super::super::parts::turning::turning(&subject).unwrap();
    (trace.time().to_vec(), turn)
}

#[test]
fn what_pulls_the_feed_down_unread_is_pointed_at_where_the_volts_dip() {
    // More is read earlier in the try: that is another place than that of the dip.
    let amps = |index: u32| match index.checked_sub(60).map(|index| index % 30) {
        _ if index < 20 => 0.0,
        Some(10) => 0.9,
        Some(0..20) => 0.7,
        _ => 0.03,
    };
    let (time, turn) = turn_at_the_dip(amps);
    // What met the limit was not read, and is no level of this board.
    assert_eq!((turn.amps, turn.point_at), (Some(0.7), Some(time[79])));
}

#[test]
fn the_rise_of_the_feed_to_a_first_try_is_no_dip_at_its_end() {
    let volts = |index: u32| match index {
        0..20 => 0.0,
        20..22 => 3.0,
        79 | 109 => 10.5,
        _ => 12.8,
    };
    let (trace, mut finding) = (run_of_tries(volts), starved(15, &[10.5, 10.5]));
    finding.attempts[0].start_s = Seconds::constant(2.0);
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let turn = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!((turn.at - 7.9).abs() < 0.15, "{turn:?}");
    // However narrow the picture, what happened is said.
    let scene = draw(&trace, None, &finding, &options(Size::PHONE, Theme::Light)).unwrap();
    assert!(scene.labels().any(|label| label.text == "the feed gives way in firmware"));
}

#[test]
fn a_starved_board_is_told_with_the_place_in_the_boot_that_its_tries_show() {
    let volts = |index: u32| if index == 79 { 10.5 } else { 12.8 };
    let (trace, mut finding) = (run_of_tries(volts), starved(4, &[10.5]));
    let lines = |finding: &Finding| {
        let subject = Subject { trace: &trace, profile: None, finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines
    };
    finding.verdict.step_into = Some("loading".into());
    let at_the_step = lines(&finding);
    assert_eq!(at_the_step[0], "the feed gives way at the end of firmware");
    assert_eq!(at_the_step.len(), 4, "the place is said once: {at_the_step:?}");
    (finding.verdict.step_into, finding.verdict.reached) = (None, None);
    for attempt in &mut finding.attempts {
        (attempt.ended_in, attempt.likely_in) = (None, Some("rails".into()));
    }
    assert_eq!(lines(&finding)[0], "the feed gives way (likely in rails)");
}

/// `trace` with the supply's mark of its limit at one reading.
fn marked(trace: &Trace, at: usize) -> Trace {
    let mut builder = TraceBuilder::new(trace.header().clone());
    for index in 0..trace.len() {
        let sample = Sample {
            time: Seconds::constant(trace.time()[index]),
            volts: Volts::constant(trace.volts()[index]),
            amps: Amps::constant(trace.amps()[index]),
            mode: if index == at { Mode::ConstantCurrent } else { Mode::ConstantVoltage },
            span: None,
        };
        builder.sample(sample).unwrap();
    }
    builder.finish()
}

#[test]
fn a_limit_that_the_supply_marks_was_met_though_less_is_read() {
    let (trace, finding) = (run_of_tries(|index| if index == 79 { 10.5 } else { 12.8 }), starved(4, &[10.5]));
    let line = |trace: &Trace| {
        let subject = Subject { trace, profile: None, finding: &finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines[2].clone()
    };
    assert_eq!(line(&trace), "limit 1.20 A likely met, too briefly for the meter");
    for at in [79, 80] {
        assert_eq!(
            line(&marked(&trace, at)),
            "limit 1.20 A met (the log has cc there), too briefly for its amps"
        );
    }
    assert_eq!(line(&marked(&trace, 109)), "limit 1.20 A met (the log has cc in 1 of 3 tries)");
    assert_eq!(line(&marked(&trace, 300)), line(&trace), "a mark between tries is none of theirs");
}

#[test]
fn dips_are_counted_as_the_text_counts_them() {
    // Between the tries the volts read 12.8 V: a dip of 0.5 % is none of 1 %, and is seen all the same.
    let volts = |index: u32| match index {
        79 => 10.5,
        109 => 12.73,
        _ => 12.8,
    };
    let (trace, finding) = (run_of_tries(volts), starved(4, &[10.5, 12.73]));
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert_eq!(note.lines[1], "volts dip to between 10.5 V and 12.7 V, seen in 2 of 3 tries");
}

#[test]
fn what_is_read_at_most_of_a_starved_try_is_its_peak_in_the_finding() {
    let volts = |index: u32| match index {
        79 => 10.5,
        109 | 139 => 11.0,
        _ => 12.8,
    };
    let (trace, mut finding) = (run_of_tries(volts), starved(4, &[10.5, 11.0, 11.0]));
    for attempt in &mut finding.attempts[..3] {
        attempt.peak_a = Amps::constant(0.95);
    }
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert_eq!(note.lines[1], "volts dip to between 10.5 V and 11.0 V in every try");
    assert_eq!(note.lines[2], "limit 1.20 A likely met, too briefly for the meter");
    assert_eq!(note.lines[3], "0.700 A read then, at most 0.950 A in any try");
    // The dot is at what was read then.
    assert_eq!(note.amps, Some(0.7));
    finding.attempts[2].peak_a = Amps::constant(1.15);
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!(note.lines[3].ends_with("0.700 A read then, at most 1.15 A in any try"), "{note:?}");
    let scene = draw(&trace, None, &finding, &options(Size::PHONE, Theme::Light)).unwrap();
    assert!(scene.labels().any(|label| label.text.contains("1.15 A")), "the numbers at its end are cut");
    // What the try reads that is on when the log ends is the most of none that ended.
    finding.attempts[3].peak_a = Amps::constant(1.18);
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!(note.lines[3].ends_with(", at most 1.15 A in any that ended"), "{note:?}");
}

#[test]
fn what_the_readback_scatters_down_to_before_the_first_try_is_no_dip() {
    // Noise of 0.6 % at rest: a try that goes down by as much shows no dip, one by a fifth does.
    let volts = |index: u32| match index {
        45 | 109 => 12.72,
        79 | 139 => 10.5,
        _ => 12.8,
    };
    let (trace, mut finding) = (run_of_tries(volts), starved(4, &[10.5, 12.72, 10.5]));
    finding.log.set_v = Volts::new(12.8).ok();
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert_eq!(note.lines[1], "volts dip to 10.5 V, seen in 2 of 3 tries");
}

#[test]
fn what_is_told_of_a_dip_is_read_in_it() {
    // Less is read in the dip than before it, as where its reading is an average; or next to nothing, once the board let go.
    for (read, told, at) in [(0.6, "0.600 A read then", 79), (0.05, "0.700 A read just before", 78)] {
        let amps = |index: u32| match index.checked_sub(60).map(|index| index % 30) {
            _ if index == 79 => read,
            _ if index < 20 => 0.0,
            Some(0..20) => 0.7,
            _ => 0.03,
        };
        let (time, turn) = turn_at_the_dip(amps);
        assert!(turn.lines[3].starts_with(told), "{:?}", turn.lines);
        assert_eq!(turn.point_at, Some(time[at]));
    }
}

#[test]
fn a_later_try_that_is_marked_says_why() {
    let head = |first: f64| {
        let volts = |index: u32| match index {
            79 => first,
            109 => 10.5,
            _ => 12.8,
        };
        let (trace, finding) = (run_of_tries(volts), starved(4, &[first, 10.5]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines.swap_remove(0)
    };
    assert_eq!(head(12.8), "the feed gives way in firmware (first seen in try 2)");
    assert_eq!(head(10.5), "the feed gives way in firmware");
}

#[test]
fn the_lowest_of_many_dips_is_not_named_beside_another() {
    let volts = |index: u32| match index {
        289 => 10.5,
        _ if index >= 200 && index % 30 == 19 => 11.0,
        0..20 => 0.0,
        _ => 12.8,
    };
    let lowest = |index: u32| match index {
        0..5 => 12.8,
        7 => 10.5,
        _ => 11.0,
    };
    let (trace, finding) = (run_of_tries(volts), starved(15, &(0..15).map(lowest).collect::<Vec<_>>()));
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let words = scene.labels().find(|label| label.text.starts_with("lowest")).unwrap();
    let limit = Theme::Light.palette().limit;
    let signs = scene.shapes.iter().filter_map(|shape| match shape {
        Shape::Line { from, color, .. } if *color == limit => Some(from.0),
        _ => None,
    });
    let (bounds, at) = (words.bounds(), signs.collect::<Vec<_>>());
    assert!(at.len() > 8, "{at:?}");
    // With its time, where no dip is near.
    assert!(words.text.contains(" at "), "{}", words.text);
    let near = bounds.left - 15..bounds.right + 15;
    assert!(!at.iter().any(|x| near.contains(x)), "{bounds:?} {at:?}");
}

#[test]
fn each_dip_has_its_whole_sign_on_a_small_figure_too() {
    // Six tries dip alike, down to the foot of the strip.
    let volts = |index: u32| if (60..240).contains(&index) && index % 30 == 19 { 10.5 } else { 12.8 };
    let (trace, finding) = (run_of_tries(volts), starved(15, &[10.5; 6]));
    for size in sizes() {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        assert_legible(&scene);
        let mut volts = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Steps { clip, .. } => Some(*clip),
            _ => None,
        });
        let (limit, strip) = (Theme::Light.palette().limit, volts.next_back().unwrap());
        let strokes = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Line { from, to, color, .. } if *color == limit => Some((*from, *to)),
            _ => None,
        });
        let within = |y: i32| (strip.top..strip.bottom).contains(&y);
        let (whole, other): (Vec<_>, Vec<_>) = strokes.partition(|(from, to)| within(from.1) && within(to.1));
        // Two strokes each; the others are those of the legend, where it has room for them.
        assert_eq!(whole.len(), 12, "{size}: {whole:?}");
        assert!(other.iter().all(|(_, to)| to.1 < strip.top), "{size}: {other:?}");
    }
}

#[test]
fn one_small_dip_of_which_the_text_says_steady_has_no_sign() {
    // A dip of half of 1 % in one try of three, in two of them, and one of more.
    for (lowest, is_told) in [([12.8, 12.73], false), ([12.73, 12.73], true), ([12.8, 12.6], true)] {
        let read = |index: u32| match index {
            79 => lowest[0],
            109 => lowest[1],
            _ => 12.8,
        };
        let (trace, finding) = (run_of_tries(read), starved(4, &lowest));
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        assert_eq!(scene.labels().any(|label| label.text == "volts dip"), is_told, "{lowest:?}");
    }
}
