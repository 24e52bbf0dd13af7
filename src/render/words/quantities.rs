//! Measured and expected values as people write them.

use crate::units::{Amps, Seconds, figures, range, reference_in_steps, to_the_place_of};
use crate::verdict::Departure;

/// The numbers of a departure: `0.84 A, good boards 0.31 to 0.42 A`.
#[must_use]
pub fn departure_numbers(departure: &Departure, resolution: Option<Amps>) -> String {
    let (measured, good) = in_one_unit(measured(departure, resolution), envelope(departure, resolution));
    format!("{measured}, good boards {good}")
}

/// Both in milliamps where one is: nobody compares `91 mA` with `0.116 A` at a glance.
fn in_one_unit(measured: String, good: String) -> (String, String) {
    let is_small = |words: &str| words.split(' ').any(|word| word == "mA");
    match (is_small(&measured), is_small(&good)) {
        (true, false) => (measured, in_milliamps(&good)),
        (false, true) => (in_milliamps(&measured), good),
        _ => (measured, good),
    }
}

/// Every number of amps in thousandths, as fine as it was; other words as they are.
fn in_milliamps(words: &str) -> String {
    if !words.split(' ').any(|word| word == "A") {
        return words.to_owned();
    }
    let word = |word: &str| match word.parse::<f64>() {
        Ok(amps) => {
            let places = word.split_once('.').map_or(0, |(_, places)| places.len());
            format!("{:.*}", places.saturating_sub(3), amps * 1e3)
        }
        Err(_) => word.replace('A', "mA"),
    };
    words.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// What good boards do: `0.31 to 0.42 A`. A bound that this supply could not read is shown as the reference has it.
#[must_use]
pub fn envelope(departure: &Departure, resolution: Option<Amps>) -> String {
    let step = resolution.map_or(0.0, Amps::value);
    let show = |value: f64| match departure.unit.as_str() {
        "A" => reference_in_steps(value, step, "A"),
        unit => quantity(value, unit, None),
    };
    range(&show(departure.low), &show(departure.high))
}

/// What was measured, with its uncertainty where that is no longer small beside the distance to the envelope.
#[must_use]
pub fn measured(departure: &Departure, resolution: Option<Amps>) -> String {
    /// Farther away than this many uncertainties, the number alone says enough.
    const DECIDES_WITHIN: f64 = 5.0;
    let value = departure.measured;
    let beyond = (value - departure.high).max(departure.low - value).max(0.0);
    let shown = quantity(value, &departure.unit, resolution);
    match uncertainty(departure, resolution) {
        Some(uncertainty) if beyond < DECIDES_WITHIN * uncertainty => {
            format!("{shown} ± {}", to_the_place_of(&shown, value, uncertainty))
        }
        _ => shown,
    }
}

/// How far a mean in amps may be off: half a step of the readback, and the gain of the supply.
fn uncertainty(departure: &Departure, resolution: Option<Amps>) -> Option<f64> {
    /// Data sheets of bench supplies give 0.1 to 0.5 % of reading (common practice, no source).
    const GAIN: f64 = 0.005;
    let step = resolution.filter(|_| departure.unit == "A")?;
    Some(step.value() / 2.0 + GAIN * departure.measured.abs())
}

/// A number with its unit for people; amps never finer than the supply resolves.
#[must_use]
pub fn quantity(value: f64, unit: &str, resolution: Option<Amps>) -> String {
    match unit {
        "A" => super::amps(value, resolution),
        "s" => Seconds::new(value).map_or_else(|_| value.to_string(), |time| time.to_string()),
        _ => format!("{} {unit}", figures(value, 3)),
    }
}
