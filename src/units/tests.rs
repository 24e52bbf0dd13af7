use super::*;

#[test]
fn nan_and_infinity_never_enter() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(Volts::new(bad).is_err() && Amps::new(bad).is_err() && Seconds::new(bad).is_err());
    }
    assert_eq!(
        Amps::new(f64::NAN).unwrap_err().to_string(),
        "NaN is not a finite number of amperes; a measurement must be finite"
    );
}

#[test]
fn people_read_three_figures() {
    let shown = [0.84, 0.0241, 1.1, 12.8, 0.000_05, 0.0, -0.0241, 1250.0, 0.0999, 9.996]
        .map(|amps| Amps::constant(amps).to_string());
    let expected = [
        "0.840 A", "24.1 mA", "1.10 A", "12.8 A", "50.0 µA", "0 A", "-24.1 mA", "1.25 kA", "99.9 mA",
        "10.0 A",
    ];
    assert_eq!(shown, expected);
}

#[test]
fn more_figures_than_are_meant_end_in_zeros() {
    let shown =
        [(1259.0, 3), (127.0, 2), (9996.0, 3), (123.0, 3)].map(|(value, count)| figures(value, count));
    assert_eq!(shown, ["1260", "130", "10000", "123"]);
}

#[test]
fn long_times_use_minutes_and_hours() {
    let shown = [0.042, 0.84, 12.34, 72.0, 132.4, 7500.0].map(|s| Seconds::constant(s).to_string());
    assert_eq!(shown, ["42.0 ms", "0.840 s", "12.3 s", "72.0 s", "2 min 12 s", "2 h 5 min"]);
}

#[test]
fn nothing_is_shown_finer_than_it_was_read() {
    let cases =
        [(0.8412, 0.01), (0.8412, 0.001), (0.0241, 0.001), (0.0241, 1e-4), (0.002, 0.01), (1.2345, 1e-4)];
    let shown = cases.map(|(value, step)| in_steps(value, step, "A"));
    assert_eq!(shown, ["0.84 A", "0.841 A", "24 mA", "24.1 mA", "under 10 mA", "1.23 A"]);
    assert_eq!(to_the_place_of("0.371 Ω", 0.3712, 0.0071), "0.008 Ω");
    assert_eq!(to_the_place_of("52 mA", 0.0521, 0.0008), "1 mA");
    assert_eq!([in_steps(0.0241, 0.0, "A"), in_steps(0.0, 0.01, "A")], ["24.1 mA", "0 A"]);
}

#[test]
fn a_time_is_no_finer_than_the_readings_show_it() {
    let cases = [
        (7.75, 0.25),
        (11.0, 0.25),
        (0.68, 0.25),
        (0.1, 0.25),
        (9.4, 0.25),
        (9.4, 0.7),
        (19.0, 3.0),
        (0.98, 0.2),
        (9.96, 0.1),
        (0.4, 0.25),
        (28.52, 0.1),
        (2.716, 0.02),
        (3.17, 0.04),
        (0.0424, 0.002),
        (80.8, 0.1),
        (132.4, 0.25),
        (2.004, 0.0),
    ];
    let shown = cases.map(|(time, step)| time_in_steps(time, step));
    let expected = [
        "7.8 s",
        "11.0 s",
        "0.7 s",
        "under 0.2 s",
        "9.4 s",
        "9.4 s",
        "19 s",
        "1.0 s",
        "10.0 s",
        "0.4 s",
        "28.5 s",
        "2.72 s",
        "3.2 s",
        "42 ms",
        "80.8 s",
        "2 min 12 s",
        "2.00 s",
    ];
    assert_eq!(shown, expected);
}

#[test]
fn a_mean_of_many_times_is_known_better_than_one() {
    let shown = [(2.25, 12.0), (2.26, 1.0), (7.683, 4.0), (132.4, 9.0)];
    let shown = shown.map(|(mean, count)| mean_time_in_steps(mean, 0.25, count));
    assert_eq!(shown, ["2.25 s", "2.3 s", "7.68 s", "2 min 12 s"]);
}

#[test]
fn a_start_and_a_length_add_up_to_the_end() {
    let [from, to] = [27.26, 38.54];
    let shown = [time_in_steps(from, 0.25), span_in_steps(from, to, 0.25), time_in_steps(to, 0.25)];
    assert_eq!(shown, ["27.3 s", "11.2 s", "38.5 s"]);
    // 4.86 s apart, but 4.8 s as both are said.
    assert_eq!(span_in_steps(1.19, 6.04, 0.25), "4.8 s");
    assert_eq!(span_in_steps(1.19, 1.22, 0.25), "under 0.2 s");
    assert_eq!(span_in_steps(2.0, 2.716, 0.02), "0.72 s");
}

#[test]
fn volts_are_no_finer_than_supplies_read_them() {
    let shown =
        [24.02, 3.98, 0.509, 0.041, 0.001, 0.0, -0.002].map(|volts| Volts::constant(volts).to_string());
    assert_eq!(shown, ["24.0 V", "3.98 V", "0.509 V", "41 mV", "1 mV", "0 V", "-2 mV"]);
}

#[test]
fn counts_read_as_people_say_them() {
    assert_eq!([0, 1, 2].map(|n| counted(n, "gap")), ["0 gaps", "1 gap", "2 gaps"]);
    assert_eq!([1, 2, 3].map(how_often), ["once", "twice", "3 times"]);
}

#[test]
fn lengths_of_time_are_read_with_their_unit() {
    let read = ["30s", "2min", "500ms", "1h30min", " 1 min 12 s ", "0.5s"]
        .map(|text| text.parse::<Seconds>().unwrap());
    assert_eq!(read, [30.0, 120.0, 0.5, 5400.0, 72.0, 0.5].map(Seconds::constant));
    for bad in ["", "30", "s", "-3s", "3 weeks", "3S", "1e3s", "1..2s", "nan s", "5s4"] {
        assert!(bad.parse::<Seconds>().is_err(), "{bad:?}");
    }
    assert_eq!(
        "30".parse::<Seconds>().unwrap_err().to_string(),
        "'30' is no length of time; expected a number with its unit, such as 30s, 500ms, 2min or 1h30min"
    );
}

#[test]
fn watts_are_volts_times_amps() {
    assert_eq!(Volts::constant(12.8) * Amps::constant(0.5), Watts::constant(6.4));
}

#[test]
fn volts_are_said_as_they_were_set() {
    let shown = [20.25, 19.45, 36.0, 5.0, 3.8, 12.5].map(volts_as_set);
    assert_eq!(shown, ["20.25 V", "19.45 V", "36.0 V", "5.00 V", "3.80 V", "12.5 V"]);
    let beside = |volts: f64| volts_beside(volts, Some(20.25));
    // A reading is said as it is, and not as what was set.
    assert_eq!([beside(20.2637), beside(20.4), beside(18.7)], ["20.26 V", "20.4 V", "18.7 V"]);
    let alike = [(18.6255, 18.62), (18.996, 19.0), (12.807, 12.8), (0.4996, 0.5)];
    let said = alike.map(|(read, set)| volts_beside(read, Some(set)));
    assert_eq!(said, ["18.63 V", "19.0 V", "12.8 V", "0.500 V"]);
    assert_eq!(volts_beside(20.26, None), "20.3 V");
}

#[test]
fn a_range_has_one_unit() {
    assert_eq!(range("0.31 A", "0.42 A"), "0.31 to 0.42 A");
    assert_eq!(range("14.0 mA", "0.175 A"), "14.0 to 175 mA");
    assert_eq!(range("24 mA", "0.12 A"), "24 to 120 mA");
    assert_eq!(range("1.20 A", "1.40 A"), "1.20 to 1.40 A");
    assert_eq!(range("14.0 mA", "14.0 mA"), "14.0 mA");
    assert_eq!(range("5.0 mA", "3.0 W"), "5.0 mA to 3.0 W");
}

#[test]
fn a_bound_of_good_boards_is_as_fine_as_the_readings_beside_it_or_as_it_is_known() {
    let bound = |value: f64| reference_in_steps(value, 0.001, "A");
    assert_eq!([bound(0.0167), bound(0.0359), bound(0.116)], ["17 mA", "36 mA", "0.116 A"]);
    assert_eq!(bound(0.0004), "0.40 mA");
}
