//! Logs that lack what a bench's own logs have: noise, a head, a switch-on.

use super::*;

/// A trace under `header` of (seconds, volts, amps) levels that repeat to the digit.
fn even(header: Header, levels: &[(f64, f64, f64)], mode: Mode) -> Trace {
    let mut builder = TraceBuilder::new(header);
    let mut index = 0_u32;
    for (seconds, volts, amps) in levels {
        let end = f64::from(index) * PERIOD_S + seconds - PERIOD_S / 2.0;
        while f64::from(index) * PERIOD_S < end {
            let sample = Sample {
                time: Seconds::constant(f64::from(index) * PERIOD_S),
                volts: Volts::constant(*volts),
                amps: Amps::constant(*amps),
                mode,
                span: None,
            };
            builder.sample(sample).expect("in order");
            index += 1;
        }
    }
    builder.finish()
}

fn found(header: Header, levels: &[(f64, f64, f64)], mode: Mode) -> Finding {
    diagnose(&even(header, levels, mode), None, &Sources::default())
}

fn set(volts: f64, limit: f64) -> Header {
    Header {
        set_volts: Some(Volts::constant(volts)),
        limit: Some(Amps::constant(limit)),
        ..Header::default()
    }
}

#[test]
fn a_feed_that_stands_starves_nobody_however_evenly_the_readings_repeat() {
    let tries = [(1.0, 12.0, 1.0), (2.0, 12.0, 0.0)].repeat(20);
    let finding = found(set(12.0, 3.0), &[&[(5.0, 0.0, 0.0)][..], &tries].concat(), Mode::ConstantVoltage);
    assert_eq!(finding.verdict.class, Class::Cycling, "{:#?}", finding.verdict);
    assert_eq!(finding.attempts.len(), 20);
}

#[test]
fn a_board_at_work_when_the_log_begins_is_no_short() {
    let class = |header, levels: &[_], mode| found(header, levels, mode).verdict.class;
    let work = [(600.0, 3.79, 2.16)];
    assert_eq!(class(Header::default(), &work, Mode::Unknown), Class::Inconclusive);
    assert_eq!(class(set(3.79, 4.0), &work, Mode::Unknown), Class::Inconclusive);
    let switched_on = [(2.0, 0.0, 0.0), (60.0, 3.79, 2.16)];
    assert_eq!(class(set(3.79, 4.0), &switched_on, Mode::Unknown), Class::PartialShort);
    let in_limit = [(60.0, 2.2, 2.16)];
    assert_eq!(class(set(3.79, 2.16), &in_limit, Mode::ConstantCurrent), Class::PartialShort);
}

#[test]
fn of_volts_that_feed_no_board_nothing_is_said_unless_the_log_tells_what_was_set() {
    let low = [(20.0, 0.234, 0.0514)];
    let unknown = found(Header::default(), &low, Mode::Unknown);
    assert_eq!(unknown.verdict.class, Class::Inconclusive);
    let because = unknown.verdict.because.join("\n");
    assert!(
        because.starts_with("no reading shows more than 0.234 V, which feeds no board\nif a short"),
        "{because}"
    );
    let shorted = [(2.0, 0.0, 0.0), (20.0, 0.234, 1.0)];
    assert_eq!(found(set(3.7, 1.0), &shorted, Mode::Unknown).verdict.class, Class::HardShort);
    assert_eq!(found(Header::default(), &shorted, Mode::ConstantCurrent).verdict.class, Class::Inconclusive);
}

#[test]
fn a_reading_a_second_shows_a_running_level_whatever_the_busy_stage_before_it_did() {
    let busy = [1.40, 1.13, 0.76, 1.10, 0.44, 1.09, 1.69, 0.72, 1.15, 1.24];
    let idle =
        [0.60, 0.60, 0.60, 0.60, 0.60, 0.60, 0.67, 0.67, 0.67, 0.60, 0.60, 0.60, 0.60, 0.60, 0.59, 0.60];
    let amps = [0.0, 0.0, 0.02, 0.02, 0.17].into_iter().chain(busy).chain(idle);
    let header = Header { board: Some("larch-2".into()), ..set(SET_V, 3.0) };
    let mut builder = TraceBuilder::new(header);
    for (index, amps) in (0_u32..).zip(amps) {
        let sample = Sample {
            time: Seconds::constant(f64::from(index)),
            volts: Volts::constant(if index < 2 { 0.0 } else { SET_V }),
            amps: Amps::constant(amps),
            mode: Mode::Unknown,
            span: None,
        };
        builder.sample(sample).expect("in order");
    }
    let finding = diagnose(&builder.finish(), Some(&profile()), &Sources::default());
    assert_eq!(finding.verdict.class, Class::FullBoot, "{:#?}", finding.verdict);
}

#[test]
fn a_step_is_guessed_only_where_every_reading_of_the_log_lies_on_it() {
    let guess = |off: f64, fed: f64| {
        let finding = found(set(5.2, 3.0), &[(0.2, 0.0, off), (0.1, 5.2, fed)], Mode::ConstantVoltage);
        finding.limits.iter().any(|limit| limit.contains("all amps are multiples of"))
    };
    assert!(!guess(0.001, 0.011), "a thousandth is no multiple of ten");
}

#[test]
fn a_zero_of_less_than_a_step_is_told_where_it_is_taken_off_a_low_current() {
    let mut builder = TraceBuilder::new(Header { board: Some("larch-2".into()), ..set(SET_V, 3.0) });
    for index in 0_u32..400 {
        let fed = index >= 50;
        let codes = if fed { [2, 3, 3, 2, 3] } else { [0, 1, 0, 0, 1] };
        let sample = Sample {
            time: Seconds::constant(f64::from(index) * PERIOD_S),
            volts: Volts::constant(if fed { SET_V } else { 0.0 }),
            amps: Amps::constant(f64::from(codes[index as usize % 5]) / 100.0),
            mode: Mode::Unknown,
            span: None,
        };
        builder.sample(sample).expect("in order");
    }
    let finding = diagnose(&builder.finish(), Some(&profile()), &Sources::default());
    let limits = finding.limits.join("\n");
    assert!(limits.contains("the supply reads 4 mA with its output off: this is taken off"), "{limits}");
}

#[test]
fn a_log_that_ends_before_anybody_could_press_the_button_decides_nothing() {
    let class = |seconds: f64, presses: &[f64]| {
        let trace = trace_with(&[OFF, (seconds, SET_V, 0.0234)], presses);
        diagnose(&trace, Some(&profile()), &Sources::default()).verdict.class
    };
    assert_eq!(class(2.0, &[]), Class::Inconclusive);
    assert_eq!(class(30.0, &[]), Class::StandbyOnly, "somebody will have pressed it");
    assert_eq!(class(6.0, &[2.0]), Class::StandbyOnly, "it was pressed, and did not wake");
}

#[test]
fn a_board_that_starts_by_itself_is_given_the_time_that_good_ones_take() {
    let text = profile_text().replacen("waits_for_person = true", "waits_for_person = false", 1);
    let lasts = |seconds: f64| {
        format!("duration_s = {{ low = {}, typical = {seconds}, high = {} }}\n", 0.8 * seconds, 1.2 * seconds)
    };
    let class = |standby_s: f64| {
        let text =
            text.replacen("[[phase]]\norder = 2", &format!("{}[[phase]]\norder = 2", lasts(standby_s)), 1);
        let profile = Profile::from_toml(&text).expect("a valid profile");
        let trace = trace(&[OFF, (3.0, SET_V, 0.0234)]);
        diagnose(&trace, Some(&profile), &Sources::default()).verdict.class
    };
    assert_eq!(class(0.5), Class::StandbyOnly);
    assert_eq!(class(4.0), Class::Inconclusive);
}

#[test]
fn a_pulse_of_a_standby_that_good_boards_leave_at_once_is_no_try() {
    let text = profile_text().replacen("waits_for_person = true", "waits_for_person = false", 1);
    let duration = "duration_s = { low = 1.2, typical = 1.5, high = 1.8 }\n[[phase]]\norder = 2";
    let text = text.replacen("[[phase]]\norder = 2", duration, 1);
    let profile = Profile::from_toml(&text).expect("a valid profile");
    let class = |pulse_a: f64| {
        let levels = [(3.0, SET_V, 0.0234), (0.1, SET_V, pulse_a)].repeat(12);
        let trace = trace(&[&[OFF][..], &levels].concat());
        diagnose(&trace, Some(&profile), &Sources::default()).verdict.class
    };
    assert_eq!(class(0.08), Class::StandbyOnly, "less than its rails draw");
    assert_eq!(class(0.5), Class::Cycling, "more than they do");
}

#[test]
fn volts_that_dip_by_less_than_a_sag_as_each_try_ends_point_to_the_limit() {
    let starved = |lowest: f64| {
        let tries = [(1.5, SET_V, 0.0234), RAILS, (0.1, lowest, 0.3)].repeat(6);
        let mut trace = trace(&[&[OFF, STANDBY][..], &tries].concat());
        trace.header_mut().limit = Some(Amps::constant(0.9));
        let verdict = diagnose(&trace, Some(&profile()), &Sources::default()).verdict;
        let other = verdict.runner_up.map(|other| (other.class, other.confidence));
        let said = [Some((verdict.class, verdict.confidence)), other];
        said.into_iter()
            .flatten()
            .find(|(class, _)| *class == Class::FeedLimited)
            .map_or(0.0, |(_, said)| said)
    };
    // A supply goes down by half a per cent under any load.
    let (dipping, loaded) = (starved(0.98 * SET_V), starved(0.995 * SET_V));
    assert!(dipping > 0.8 && dipping > loaded + 0.1, "{dipping} {loaded}");
}

#[test]
fn a_current_that_is_the_limit_s_number_in_constant_voltage_is_just_below_it() {
    let said = |amps: f64| {
        let levels = [(2.0, 0.0, 0.0), (40.0, 12.0, amps)];
        let finding = found(set(12.0, 2.0), &levels, Mode::ConstantVoltage);
        assert_eq!(finding.verdict.class, Class::PartialShort, "{:#?}", finding.verdict);
        finding.verdict.because.join("\n")
    };
    assert!(said(1.993).contains("; just below the limit of 2.00 A"), "{}", said(1.993));
    assert!(said(1.9).contains("; below the limit of 2.00 A"), "{}", said(1.9));
}
