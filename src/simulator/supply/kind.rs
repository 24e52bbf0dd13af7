//! Kinds of lab supply, described by what they do.

/// What a kind of supply can do. SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplyKind {
    /// Name that the command line goes by.
    pub name: &'static str,
    /// What it is, for people.
    pub description: &'static str,
    /// The four identification fields.
    pub identity: &'static str,
    /// Highest volts that it can be set to.
    pub most_volts: f64,
    /// Highest current limit that it can be set to.
    pub most_amps: f64,
    /// Source resistance of the regulator and its terminals.
    pub source_ohms: f64,
    /// Capacitance across the terminals.
    pub output_farads: f64,
    /// How fast the volts rise after switch-on, in volts a second.
    pub rise_v_per_s: f64,
    /// How long the current limit takes to bite (time constant).
    pub limit_response_s: f64,
    /// How far the current goes beyond the limit before it bites, as a share.
    pub limit_overshoot: f64,
    /// Share of the limit that is left into a dead short (foldback); 1 is a straight limit.
    pub foldback: f64,
    /// How its readback works.
    pub readback: ReadbackKind,
}

/// How a supply measures itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadbackKind {
    /// From one renewal of the reading to the next.
    pub period_s: f64,
    /// How long before the renewal the reading is averaged over.
    pub window_s: f64,
    /// Step of the volts shown.
    pub volts_step: f64,
    /// Step of the amps shown.
    pub amps_step: f64,
    /// Decimals of the volts shown.
    pub volts_decimals: usize,
    /// Decimals of the amps shown.
    pub amps_decimals: usize,
    /// Standard deviation of the volts noise.
    pub volts_noise: f64,
    /// Standard deviation of the amps noise at no current.
    pub amps_noise: f64,
    /// What the noise grows by, as a share of the current.
    pub amps_noise_share: f64,
    /// Standard deviation of the gain error from one device to the next, as a share.
    pub gain_share: f64,
    /// Standard deviation of the amps offset from one device to the next.
    pub amps_offset: f64,
}

/// The kinds that come with the program.
const KINDS: [SupplyKind; 3] = [
    SupplyKind {
        name: "bench-fine",
        description: "1 mA, 10 readings a second",
        identity: "SALTMARSH BENCH,BENCH-FINE,0001,1.0",
        most_volts: 32.0,
        most_amps: 5.0,
        source_ohms: 0.004,
        output_farads: 470e-6,
        rise_v_per_s: 400.0,
        limit_response_s: 0.003,
        limit_overshoot: 0.6,
        foldback: 1.0,
        readback: ReadbackKind {
            period_s: 0.1,
            window_s: 0.08,
            volts_step: 0.001,
            amps_step: 0.001,
            volts_decimals: 3,
            amps_decimals: 4,
            volts_noise: 0.0012,
            amps_noise: 0.0004,
            amps_noise_share: 0.0006,
            gain_share: 0.001,
            amps_offset: 0.0004,
        },
    },
    SupplyKind {
        name: "bench-coarse",
        description: "10 mA, 4 readings a second",
        identity: "SALTMARSH BENCH,BENCH-COARSE,0002,1.0",
        most_volts: 30.0,
        most_amps: 10.0,
        source_ohms: 0.02,
        output_farads: 1000e-6,
        rise_v_per_s: 120.0,
        limit_response_s: 0.02,
        limit_overshoot: 1.0,
        foldback: 0.92,
        readback: ReadbackKind {
            period_s: 0.25,
            window_s: 0.2,
            volts_step: 0.01,
            amps_step: 0.01,
            volts_decimals: 2,
            amps_decimals: 2,
            volts_noise: 0.004,
            amps_noise: 0.002,
            amps_noise_share: 0.002,
            gain_share: 0.004,
            amps_offset: 0.002,
        },
    },
    SupplyKind {
        name: "bench-fast",
        description: "0.1 mA, 50 readings a second",
        identity: "SALTMARSH BENCH,BENCH-FAST,0003,1.0",
        most_volts: 36.0,
        most_amps: 6.0,
        source_ohms: 0.002,
        output_farads: 100e-6,
        rise_v_per_s: 2000.0,
        limit_response_s: 0.0005,
        limit_overshoot: 0.3,
        foldback: 1.0,
        readback: ReadbackKind {
            period_s: 0.02,
            window_s: 0.018,
            volts_step: 0.0005,
            amps_step: 0.0001,
            volts_decimals: 4,
            amps_decimals: 4,
            volts_noise: 0.0008,
            amps_noise: 0.00015,
            amps_noise_share: 0.0004,
            gain_share: 0.0004,
            amps_offset: 0.0001,
        },
    },
];

impl SupplyKind {
    /// The kinds that come with the program, in the order in which they are listed to people.
    #[must_use]
    pub fn built_in() -> &'static [Self] {
        &KINDS
    }

    /// The built-in kind of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        KINDS.iter().find(|kind| kind.name == name).cloned()
    }
}

impl Default for SupplyKind {
    /// The fine one.
    fn default() -> Self {
        KINDS[0].clone()
    }
}
