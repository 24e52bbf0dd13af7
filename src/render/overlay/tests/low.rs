//! Small figures, and what the picture of a run by itself says of the same moments.

use super::*;

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
