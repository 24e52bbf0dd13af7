//! What is said of times in which nothing was read.

use super::*;

/// The trace of a bench without the readings between two times, so that a mark there falls on the row after them.
pub(super) fn with_gap(bench: &Bench, from: f64, to: f64) -> Finding {
    let plain = trace(&bench.levels);
    let mut builder = TraceBuilder::new(plain.header().clone());
    for sample in (0..plain.len()).filter_map(|i| plain.sample(i)) {
        if (from..to).contains(&sample.time.value()) {
            continue;
        }
        for press in &bench.presses {
            if (sample.time.value() - press).abs() < 1e-6 {
                builder.event(sample.time, EventKind::Mark("power button".into())).expect("in order");
            }
        }
        builder.sample(sample).expect("in order");
    }
    diagnose(&builder.finish(), bench.profile.as_ref(), &Sources::default())
}

#[test]
fn what_begins_in_a_gap_is_told_between_its_bounds() {
    // Loading begins at 5.8 s.
    let boot = bench(&BOOT);
    let hidden = because(&with_gap(&boot, 5.35, 6.35));
    assert!(hidden.contains("loading between 5.3 and 6.4 s (no readings)"), "{hidden}");
    let read = because(&with_gap(&boot, 8.05, 9.05));
    assert!(read.contains("loading at 5.8 s") && !read.contains("no readings"), "{read}");
}

#[test]
fn a_steady_load_is_said_with_what_of_it_nobody_read() {
    let short = bench(&[OFF, (20.0, 0.6, 3.0)]).with(|b| b.presses.clear());
    let told = because(&with_gap(&short, 8.05, 9.95));
    assert!(told.contains("steady for 19.9 s, 2.0 s of it without readings"), "{told}");
    assert!(!because(&short.find()).contains("without readings"));
}

#[test]
fn volts_that_rise_in_a_gap_tell_nothing_of_capacitors() {
    let open = bench(&[(2.0, 0.0, 0.0), (20.0, SET_V, 0.0)]).with(|b| b.presses.clear());
    let read = because(&open.find());
    assert!(read.contains("no charge of capacitors is read"), "{read}");
    let finding = with_gap(&open, 0.95, 2.45);
    let hidden = because(&finding);
    assert!(
        hidden.contains("the volts rise in a gap without readings") && !hidden.contains("open lead"),
        "{hidden}"
    );
    assert!(finding.limits.iter().any(|limit| limit.contains("without readings")), "{:?}", finding.limits);
}

#[test]
fn a_try_in_a_gap_is_told_of_and_is_no_longer_period() {
    let tries = bench(&[&[OFF, STANDBY][..], &[(0.8, SET_V, 0.172), REST].repeat(10)].concat());
    let whole = because(&tries.find());
    assert!(whole.starts_with("10 tries from 5.0 s to") && whole.contains("one every 2.8"), "{whole}");
    // The fourth, from 13.4 to 14.2 s.
    let cut = because(&with_gap(&tries, 13.35, 14.55));
    assert!(cut.starts_with("9 tries from 5.0 s to"), "{cut}");
    assert!(
        cut.contains("one every 2.8") && cut.contains("a gap of the readings seems to hide one more"),
        "{cut}"
    );
}
