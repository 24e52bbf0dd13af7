//! From when on a board is fed: the first reading that shows the output on, by its mode, its amps or its volts.

use super::*;

/// How a supply tells of its output in the readings before the volts rise, and while they do.
const TOLD: (Mode, Mode) = (Mode::Off, Mode::ConstantVoltage);

/// A log of a supply that reads in steps of 2 mA: 1.5 s of no output, the readings of a `rise`, and so many
/// `readings` of `amps` at the set volts.
fn risen((off, on): (Mode, Mode), rise: &[(f64, f64)], (readings, amps): (u32, f64)) -> Finding {
    let mut builder = TraceBuilder::new(header());
    let mut index = 0;
    let mut read = |(volts, amps): (f64, f64), mode| {
        let time = Seconds::constant(f64::from(index) * PERIOD_S);
        let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
        builder.sample(Sample { time, volts, amps, mode, span: None }).expect("in order");
        index += 1;
    };
    for _ in 0..15 {
        read((0.0, 0.0), off);
    }
    for reading in rise {
        read(*reading, on);
    }
    for index in 0..readings {
        read((SET_V, amps + if index % 7 == 3 { 0.002 } else { 0.0 }), on);
    }
    diagnose(&builder.finish(), Some(&profile()), &Sources::default())
}

/// When the time without feed ends, in seconds.
fn off_until(finding: &Finding) -> f64 {
    assert_eq!(finding.phases[0].name, "off");
    finding.phases[0].end_s.value()
}

#[test]
fn the_mode_the_amps_or_rising_volts_tell_the_switch_on_before_the_volts_are_up() {
    let unknown = (Mode::Unknown, Mode::Unknown);
    for (told, rise) in [
        (TOLD, &[(0.02, 0.0), (0.02, 0.0)][..]),
        (unknown, &[(0.02, 0.012), (0.02, 0.012)]),
        (unknown, &[(1.1, 0.0), (4.2, 0.0)]),
    ] {
        let brief = risen(told, rise, (6, 0.024));
        assert!((off_until(&brief) - 1.5).abs() < 1e-9, "{rise:?}: {:?}", brief.phases);
        assert_eq!(brief.phases[1].start_s, brief.phases[0].end_s);
        assert!(because(&brief).contains("it ends 0.7 s after switch-on"), "{}", because(&brief));
        // The level is that of the feed that is up.
        assert!(because(&brief).contains(" mA at 12.8 V"), "{}", because(&brief));
    }
}

#[test]
fn a_supply_that_tells_the_same_mode_with_its_output_off_is_on_when_its_volts_are() {
    let always = (Mode::ConstantVoltage, Mode::ConstantVoltage);
    for told in [always, (Mode::Unknown, Mode::Unknown)] {
        let brief = risen(told, &[(0.0, 0.0), (0.0, 0.0)], (6, 0.024));
        assert!((off_until(&brief) - 1.7).abs() < 1e-9, "{told:?}: {:?}", brief.phases);
        assert!(because(&brief).contains("it ends 0.5 s after switch-on"), "{}", because(&brief));
    }
}

#[test]
fn amps_at_low_volts_are_a_charge_of_capacitors_and_no_sign_of_an_open_lead() {
    let charged = risen(TOLD, &[(1.07, 0.012), (1.07, 0.012)], (200, 0.0));
    class(&charged, Class::NoDraw);
    let said = because(&charged);
    assert!(said.contains("12 mA at switch-on only: the feed reaches some capacitors"), "{said}");
    assert!(!said.contains("open lead") && said.contains("from 1.5 s on"), "{said}");
    // Three steps, which may be the supply's own, are still the most that is read.
    let faint = risen(TOLD, &[(3.24, 0.006), (3.24, 0.006)], (200, 0.0));
    class(&faint, Class::NoDraw);
    let said = because(&faint);
    assert!(said.contains("6 mA as the volts rise, more than at any time after that"), "{said}");
    assert!(!said.contains("open lead"), "{said}");
    let open = risen(TOLD, &[(1.07, 0.002), (1.07, 0.0)], (200, 0.0));
    class(&open, Class::NoDraw);
    assert!(because(&open).contains("that points to an open lead or inlet"), "{}", because(&open));
}
