//! Two logs that are of two boards, and a figure that is low.

use super::*;
use crate::render::scene::Scene;

fn said(scene: &Scene) -> Vec<&str> {
    scene.labels().map(|label| label.text.as_str()).collect()
}

#[test]
fn logs_of_two_boards_show_no_repair() {
    let levels = [("off", 2.0, 0.0), ("partial short", 60.0, 2.0)];
    let (mut before, after, profile) = (run(0.0, &levels, Class::PartialShort), booted(), profile());
    let wide = Options::default();
    let scene = draw(subjects(&before, &after, Some(&profile)), &wide).unwrap();
    for text in ["✓", "gone", "now reached"] {
        assert!(said(&scene).contains(&text), "{text}: {:?}", said(&scene));
    }
    before.1.log.serial = Some("FE-0999".into());
    let scene = draw(subjects(&before, &after, Some(&profile)), &wide).unwrap();
    for text in ["?", "only before", "reached only after"] {
        assert!(said(&scene).contains(&text), "{text}: {:?}", said(&scene));
    }
    for text in ["✓", "gone", "now reached"] {
        assert!(!said(&scene).contains(&text), "{text}: {:?}", said(&scene));
    }
}

#[test]
fn a_column_in_which_no_row_says_anything_is_left_out() {
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("partial short", 60.0, 2.0)], Class::PartialShort);
    let (after, profile) = (booted(), profile());
    let scene = draw(subjects(&asleep, &after, Some(&profile)), &Options::default()).unwrap();
    assert!(said(&scene).contains(&"each as good boards"), "{:?}", said(&scene));
    // The foot says what they were compared with.
    let headings = |scene: &Scene| said(scene).iter().filter(|text| **text == "good boards").count() - 1;
    assert_eq!(headings(&scene), 0, "{:?}", said(&scene));
    let scene = draw(subjects(&stalled(), &after, Some(&profile)), &Options::default()).unwrap();
    assert_eq!(headings(&scene), 1, "{:?}", said(&scene));
}

#[test]
fn the_place_of_a_run_that_never_wakes_is_told_by_its_own_switch_on() {
    let shorted = run(0.0, &[("off", 2.0, 0.0), ("partial short", 60.0, 2.0)], Class::PartialShort);
    let zero = Zero { moment: align::Moment::AsOthers, at: 12.0 };
    let subject = Subject { trace: &shorted.0, profile: None, finding: &shorted.1 };
    let on = align::switch_on(&subject);
    assert_eq!(moment_in_words(&subject, zero, on + 0.1), "at switch-on");
    assert_eq!(moment_in_words(&subject, zero, on + 3.0), "3.0 s after switch-on");
    let woken = Zero { moment: align::Moment::Wake, at: 12.0 };
    assert_eq!(moment_in_words(&subject, woken, 15.0), "3.0 s");
}

#[test]
fn a_very_low_figure_has_one_scale_and_neither_table_nor_volts() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let of = |width, height| {
        let options = Options { size: Size::new(width, height).unwrap(), ..Options::default() };
        draw(subjects(&before, &after, Some(&profile)), &options).unwrap()
    };
    let volts = |scene: &Scene| {
        let color = Options::default().theme.palette().volts;
        let is_line = |shape: &&Shape| matches!(shape, Shape::Steps { color: of, .. } if *of == color);
        scene.shapes.iter().filter(is_line).count()
    };
    let (low, high) = (of(480, 360), of(1600, 900));
    assert_eq!((volts(&low), volts(&high)), (0, 2));
    assert!(said(&high).contains(&"difference") && !said(&low).contains(&"difference"));
    let scale = |high: f64| {
        let readings = Readings::new(
            &subjects(&before, &after, None)[0],
            TimeAxis { left: 0, right: 100, from: 0.0, to: 60.0 },
        );
        amps::Scale::whole(&subjects(&before, &after, None)[0], &readings).with_headroom(high)
    };
    let apart =
        |times: f64, low: bool| side_by_side([scale(1.0), scale(times)], low).1.iter().flatten().count();
    assert_eq!([apart(4.0, false), apart(4.0, true), apart(11.0, true)], [1, 0, 1]);
}
