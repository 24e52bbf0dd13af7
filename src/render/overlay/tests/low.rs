//! Small figures, and what the picture of a run by itself says of the same moments.

use super::*;
use crate::render::Theme;

/// A board that rests, or draws nothing, from its switch-on after two seconds.
fn asleep(class: Class, name: &str, amps: f64) -> (Trace, Finding) {
    let mut odd = run("S-2", class);
    odd.1.phases = vec![phase("off", 0.0, 2.0), phase(name, 2.0, 60.0)];
    odd.1.phases[1].mean_a = Amps::constant(amps);
    odd.0 = fixtures::trace_at(
        600,
        59.9,
        |index| if index < 20 { 0.0 } else { amps },
        |index| if index < 20 { 0.0 } else { 12.8 },
    );
    odd
}

/// A good board whose amps rise as it wakes after nine seconds.
fn good(serial: &str) -> (Trace, Finding) {
    let mut good = run(serial, Class::FullBoot);
    good.1.phases[0].mean_a = Amps::constant(0.02);
    good.0 = trace(600, 60.0, |index| if index < 90 { 0.02 } else { 1.0 });
    good
}

#[test]
fn on_a_low_figure_what_draws_nothing_has_a_strip_in_which_it_is_seen() {
    let low = Options { size: Size::new(480, 360).unwrap(), ..Options::default() };
    let magnified = |odd: (Trace, Finding)| {
        let runs = [good("S-1"), odd, good("S-3")];
        let scene = draw(&subjects(&runs), &low).unwrap();
        assert_legible(&scene);
        scene.labels().any(|label| label.text.starts_with("low current, magnified"))
    };
    assert!(magnified(asleep(Class::NoDraw, "no draw", 0.0)));
    assert!(magnified(asleep(Class::StandbyOnly, "standby", 0.02)));
    assert!(!magnified(run("S-2", Class::Stalled)), "the runs need the room more");
}

#[test]
fn the_magnified_strip_holds_the_steps_of_the_coarsest_readings() {
    let strip = |step: f64| {
        let mut runs = [good("S-1"), asleep(Class::StandbyOnly, "standby", 0.002), good("S-3")];
        for run in &mut runs {
            run.1.phases.iter_mut().find(|phase| phase.name == "standby").unwrap().mean_a =
                Amps::constant(0.002);
            run.1.log.resolution_a = Amps::new(0.001).ok();
        }
        runs[1].1.log.resolution_a = Amps::new(step).ok();
        let scene = draw(&subjects(&runs), &Options::default()).unwrap();
        let marks = scene.labels().filter_map(|label| label.text.strip_suffix(" mA")?.parse::<f64>().ok());
        marks.fold(0.0, f64::max)
    };
    assert!(strip(0.001) < 10.0, "{}", strip(0.001));
    assert!(strip(0.005) >= 10.0, "{}", strip(0.005));
}

#[test]
fn a_moment_is_as_long_after_the_wake_as_the_moments_that_are_said_are_apart() {
    let mut run = run("S-2", Class::Stalled);
    (run.1.phases[0].end_s, run.1.phases[1].start_s) = (Seconds::constant(9.04), Seconds::constant(9.04));
    let subject = Subject { trace: &run.0, profile: None, finding: &run.1 };
    let axis = TimeAxis { left: 0, right: 1000, from: -10.0, to: 50.0 };
    let zero = Zero { moment: Moment::Wake, at: 5.66 };
    let member = members(&[subject], &[zero], &[true], axis).remove(0);
    // 5.7 s and 9.0 s as these are said: 3.3 s between them, and not 3.4 s.
    let (at, words) = member.moment().unwrap();
    assert!((at - 3.38).abs() < 1e-9, "{at}");
    assert_eq!((words.as_str(), run.1.log.time(at).as_str()), ("3.3 s", "3.4 s"));
}

#[test]
fn on_a_low_figure_the_note_leaves_its_verdict_to_the_heading_before_it_hides_the_runs_or_stands_far_away() {
    // The good runs leave no room beside or below them.
    let busy = |serial: &str| {
        let mut busy = good(serial);
        busy.0 = trace(600, 60.0, |index| if index >= 90 && index % 4 < 2 { 1.0 } else { 0.02 });
        busy
    };
    let runs = [busy("S-1"), asleep(Class::StandbyOnly, "standby", 0.02), busy("S-3")];
    let note = |size: Size| {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        assert_legible(&scene);
        let said = |words: &str| scene.labels().any(|label| label.text == words);
        // Its name stands above what was read; the verdict is in heading and table with more words.
        [said("S-2"), said("standby only")]
    };
    assert_eq!(note(Size::WIDE), [true, true]);
    assert_eq!(note(Size::new(480, 360).unwrap()), [true, false]);
}

#[test]
fn a_run_without_a_wake_is_told_by_its_own_switch_on_and_not_by_the_wake_of_others() {
    let mut runs = [good("S-1"), asleep(Class::NoDraw, "no draw", 0.0), good("S-3")];
    for run in &mut runs {
        run.0 = trace_without_marks();
    }
    for (size, words) in
        [(Size::WIDE, ["at switch-on", "switch-on"]), (Size::PHONE, ["at switch-on", "switch-on"])]
    {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        assert_legible(&scene);
        let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
        assert!(words.iter().any(|words| said.contains(words)), "{size}: {said:?}");
        let before_the_wake = |text: &&&str| text.starts_with('-') && text.contains('.');
        assert_eq!(said.iter().find(before_the_wake), None, "{size}");
        assert!(size != Size::WIDE || words.iter().all(|words| said.contains(words)), "{said:?}");
    }
}

#[test]
fn where_tries_likely_end_is_said_by_the_verdict_and_not_again_by_what_was_read() {
    let mut latched = run("S-2", Class::LatchOff);
    let tries = fixtures::cycling(3);
    (latched.1.attempts, latched.1.phases) = (tries.attempts, tries.phases);
    latched.1.attempts.truncate(1);
    let attempt = &mut latched.1.attempts[0];
    (attempt.ended_in, attempt.likely_in) = (None, Some("rails".into()));
    latched.1.verdict.reached = None;
    let runs = [run("S-1", Class::FullBoot), latched, run("S-3", Class::FullBoot)];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let read: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(read.iter().any(|text| text.ends_with("latches off (likely in rails)")), "{read:?}");
    assert!(!read.iter().any(|text| text.contains("end") && text.contains("(likely in rails)")), "{read:?}");
}

#[test]
fn every_line_of_a_moment_has_its_word_on_the_axis_and_leaves_the_zero_its_own() {
    let mut later = asleep(Class::StandbyOnly, "standby", 0.02);
    (later.1.phases[0].end_s, later.1.phases[1].start_s) = [Seconds::constant(3.0); 2].into();
    let runs =
        [good("S-1"), asleep(Class::NoDraw, "no draw", 0.0), later, run("S-4", Class::Stalled), good("S-5")];
    for size in fixtures::sizes() {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let tip = |shape: &Shape| match shape {
            Shape::Polygon { points, .. } => match points[..] {
                [a, b, c] if a.1 == b.1 && c.1 > a.1 => Some(c.1),
                _ => None,
            },
            _ => None,
        };
        let tips: Vec<i32> = scene.shapes.iter().filter_map(tip).collect();
        let is_moment = |text: &str| ["switch-on", "press", " s"].iter().any(|end| text.ends_with(end));
        // Above the panel the key has them too, and the foot in another colour.
        let text = Options::default().theme.palette().text;
        let below = |label: &&crate::render::scene::Label| {
            let bold = label.style.weight == crate::render::font::Weight::Bold;
            bold && label.style.color != text
                && tips.iter().all(|tip| label.at.1 > *tip)
                && is_moment(&label.text)
        };
        let told: Vec<&str> = scene.labels().filter(below).map(|label| label.text.as_str()).collect();
        assert_eq!(tips.len(), told.len(), "{size}: {told:?}");
        assert!(scene.labels().any(|label| label.text == "0 s"), "{size}: {told:?}");
    }
}

#[test]
fn what_the_zero_is_calls_the_runs_as_the_key_does() {
    let runs = [good("S-1"), asleep(Class::NoDraw, "no draw", 0.0), run("S-4", Class::Stalled), good("S-5")];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.contains(&"the board wakes; A: no wake, placed by its press"), "{said:?}");
}

#[test]
fn on_a_phone_the_legend_has_the_line_of_the_odd_run() {
    let runs = [good("S-1"), asleep(Class::StandbyOnly, "standby", 0.02), good("S-3")];
    let scene = draw(&subjects(&runs), &Options { size: Size::PHONE, ..Options::default() }).unwrap();
    assert!(scene.labels().any(|label| label.text == "odd: S-2"));
}

#[test]
fn a_leader_among_runs_is_neutral_and_in_pieces_as_no_trace_is() {
    let mut runs = [good("S-1"), asleep(Class::StandbyOnly, "standby", 0.02), good("S-3")];
    for run in &mut runs {
        run.0 = trace_without_marks();
    }
    for theme in [Theme::Light, Theme::Dark] {
        for size in [Size::PHONE, Size::WIDE] {
            let scene = draw(&subjects(&runs), &Options { size, theme, ..Options::default() }).unwrap();
            let line = |shape: &Shape| match shape {
                Shape::Line { from, to, color, .. } => Some((*from, *to, *color)),
                _ => None,
            };
            let pieces: Vec<_> = scene.shapes.iter().filter_map(line).collect();
            let neutral = theme.palette().faint_text;
            assert!(pieces.len() > 1, "{size}: {pieces:?}");
            for pair in pieces.windows(2) {
                assert_eq!(pair[0].2, neutral, "{size}");
                assert_ne!(pair[0].1, pair[1].0, "{size}: in one piece");
            }
        }
    }
}
