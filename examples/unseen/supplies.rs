//! Supplies that the program's own samples are not made with.

use feedtale::simulator::{ReadbackKind, SupplyKind};

/// Readings a second, share of the time that a reading is averaged over, and steps of volts and amps.
const READBACKS: [(f64, f64, f64, f64); 5] = [
    (25.0, 0.9, 0.001, 0.0001),
    (12.0, 0.6, 0.001, 0.0005),
    (8.0, 0.9, 0.005, 0.001),
    (5.0, 0.8, 0.01, 0.002),
    (4.0, 0.9, 0.01, 0.005),
];

/// One kind of supply for each of the readbacks.
pub(crate) fn kinds() -> Vec<SupplyKind> {
    READBACKS.into_iter().map(kind).collect()
}

fn kind((rate_hz, share, volts_step, amps_step): (f64, f64, f64, f64)) -> SupplyKind {
    let fine = SupplyKind::default();
    let period_s = 1.0 / rate_hz;
    SupplyKind {
        most_amps: 10.0,
        limit_response_s: 0.004,
        limit_overshoot: 0.8,
        readback: ReadbackKind {
            period_s,
            window_s: share * period_s,
            volts_step,
            amps_step,
            volts_decimals: decimals(volts_step),
            amps_decimals: decimals(amps_step),
            volts_noise: 0.6 * volts_step,
            amps_noise: 0.5 * amps_step,
            amps_noise_share: 0.001,
            gain_share: 0.002,
            amps_offset: 0.4 * amps_step,
        },
        ..fine
    }
}

fn decimals(step: f64) -> usize {
    (0..6)
        .find(|places| (step * 10_f64.powi(*places)).fract().min(1.0) < 1e-9)
        .map_or(6, |places| usize::try_from(places).unwrap_or_default())
}
