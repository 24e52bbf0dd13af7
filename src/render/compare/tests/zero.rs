//! The zero that both runs have in common.

use super::*;

#[test]
fn the_runs_are_aligned_where_they_wake() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let of = |before, after| align::before_and_after(&subjects(before, after, Some(&profile)), NAMES);
    let (zeros, said) = of(&before, &after);
    assert_eq!(zeros, [9.0, 5.0].map(|at| Zero { moment: align::Moment::Wake, at }));
    assert_eq!(said, "the board wakes");
    // A board that never wakes is set by the press that should have woken it: the fixture's is at 60 s / 7, where the other
    // has long woken by itself, and so both by their switch-on, which is at the same time.
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    let (zeros, said) = of(&asleep, &after);
    assert_eq!(zeros.map(|zero| zero.moment), [align::Moment::AsOthers, align::Moment::Wake]);
    assert!(zeros.iter().all(|zero| (zero.at - 5.0).abs() < 0.1), "{zeros:?}");
    assert_eq!(said, "after wakes; before does not, and is set beside it by its switch-on");
    let (late, said) = of(&asleep, &before);
    assert_eq!(said, "after wakes; before does not, and is set beside it by its press");
    assert!((late[0].at - late[1].at).abs() < 1e-9, "both are pressed at one time: {late:?}");
    let (zeros, said) = of(&asleep, &asleep);
    assert_eq!((zeros[0].moment, said.as_str()), (align::Moment::Press, "the button is pressed"));
}

#[test]
fn what_the_zero_of_both_runs_is_stands_in_the_figure_once() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    for size in sizes() {
        for before in [&before, &asleep] {
            let options = Options { size, ..Options::default() };
            let scene = draw(subjects(before, &after, Some(&profile)), &options).unwrap();
            let said = scene.labels().filter(|label| label.text.contains("wakes")).count();
            assert_eq!(said, 1, "{size}");
        }
    }
}

#[test]
fn a_stretch_counts_from_the_wake() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let runs = subjects(&before, &after, Some(&profile));
    let zeros = align::align(&runs);
    let options =
        |from, to| Options { from: Seconds::new(from).ok(), to: Seconds::new(to).ok(), ..Options::default() };
    assert_eq!(align::window(&runs, &zeros, &options(0.0, 12.0)).unwrap(), (0.0, 12.0));
    assert!(align::window(&runs, &zeros, &options(70.0, 80.0)).is_err());
    let zoom = Options { zoom: Some("loading".into()), ..Options::default() };
    let (from, to) = align::window(&runs, &zeros, &zoom).unwrap();
    // From 9.6 s to 18 s of a log that wakes at 5 s, and 15 % on either side.
    assert!((from - (4.6 - 1.26)).abs() < 1e-9 && (to - (13.0 + 1.26)).abs() < 1e-9, "{from} {to}");
    let misnamed = Options { zoom: Some("load".into()), ..Options::default() };
    assert!(matches!(align::window(&runs, &zeros, &misnamed), Err(RenderError::NoSuchPhase { .. })));
}

#[test]
fn a_board_that_starts_by_itself_wakes_after_its_standby() {
    // Its standby lasts a second and waits for nobody.
    let text = include_str!("../../../../profiles/kiln-24.toml");
    let profile = Profile::from_bytes(std::path::Path::new("kiln-24.toml"), text.as_bytes()).unwrap();
    let finding =
        finding(vec![phase("off", 0.0, 2.0), phase("standby", 2.0, 3.0), phase("rails", 3.0, 60.0)]);
    let trace = trace(600, 60.0, |_| 0.1);
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
    let zeros = align::align(&[subject, subject]);
    assert!(zeros.iter().all(|zero| zero.moment == align::Moment::Wake), "{zeros:?}");
    assert!(zeros.iter().all(|zero| (zero.at - 3.0).abs() < 1e-9), "{zeros:?}");
}

#[test]
fn a_short_has_no_wake_whatever_its_first_readings_are_called() {
    let (after, profile) = (booted(), profile());
    let shorted =
        run(0.0, &[("off", 2.0, 0.0), ("standby", 2.4, 0.1), ("heavy load", 60.0, 0.4)], Class::PartialShort);
    let (_, said) = align::before_and_after(&subjects(&shorted, &after, Some(&profile)), NAMES);
    assert_eq!(said, "after wakes; before does not, and is set beside it by its switch-on");
    // Among many it is said of the one that does not wake, and not that it does as the others.
    assert_eq!(align::Moment::AsOthers.of_one(), "no wake, placed by its switch-on");
}
