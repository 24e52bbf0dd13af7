//! Which column of a foreign file holds what, by the words and units in its name.

use super::ConvertError;

/// What a column can hold that a log needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Date,
    Time,
    Volts,
    Amps,
    Watts,
}

impl Role {
    const ALL: [Self; 5] = [Self::Date, Self::Time, Self::Volts, Self::Amps, Self::Watts];

    /// Its name on the command line and in messages.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Date => "date",
            Self::Time => "time",
            Self::Volts => "volts",
            Self::Amps => "amps",
            Self::Watts => "watts",
        }
    }

    fn words(self) -> &'static [&'static str] {
        match self {
            Self::Date => &["date", "datum", "fecha", "data"],
            Self::Time => &[
                "time",
                "t",
                "timestamp",
                "datetime",
                "elapsed",
                "uptime",
                "zeit",
                "temps",
                "tiempo",
                "tempo",
                "clock",
            ],
            Self::Volts => &[
                "volts", "volt", "voltage", "v", "u", "vout", "uout", "vbus", "spannung", "tension",
                "voltaje", "tensione",
            ],
            Self::Amps => &[
                "amps",
                "amp",
                "amperes",
                "ampere",
                "current",
                "i",
                "a",
                "iout",
                "strom",
                "courant",
                "corriente",
                "corrente",
            ],
            Self::Watts => {
                &["watts", "watt", "power", "p", "w", "pout", "leistung", "puissance", "potencia", "potenza"]
            }
        }
    }

    fn quantity(self) -> Quantity {
        match self {
            Self::Date | Self::Time => Quantity::Time,
            Self::Volts => Quantity::Voltage,
            Self::Amps => Quantity::Current,
            Self::Watts => Quantity::Power,
        }
    }
}

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Quantity {
    Time,
    Voltage,
    Current,
    Power,
}

/// A unit, with what it is in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unit {
    pub(super) quantity: Quantity,
    pub(super) factor: f64,
    pub(super) symbol: &'static str,
}

const fn unit(quantity: Quantity, factor: f64, symbol: &'static str) -> Unit {
    Unit { quantity, factor, symbol }
}

/// Units by symbol; capitals matter only where a prefix could be meant either way (`MW`, `mW`).
const UNITS: [Unit; 20] = [
    unit(Quantity::Time, 1.0, "s"),
    unit(Quantity::Time, 1e-3, "ms"),
    unit(Quantity::Time, 1e-6, "µs"),
    unit(Quantity::Time, 1e-6, "us"),
    unit(Quantity::Time, 1e-9, "ns"),
    unit(Quantity::Time, 60.0, "min"),
    unit(Quantity::Time, 3600.0, "h"),
    unit(Quantity::Voltage, 1.0, "V"),
    unit(Quantity::Voltage, 1e-3, "mV"),
    unit(Quantity::Voltage, 1e-6, "µV"),
    unit(Quantity::Voltage, 1e-6, "uV"),
    unit(Quantity::Current, 1.0, "A"),
    unit(Quantity::Current, 1e-3, "mA"),
    unit(Quantity::Current, 1e-6, "µA"),
    unit(Quantity::Current, 1e-6, "uA"),
    unit(Quantity::Current, 1e-9, "nA"),
    unit(Quantity::Power, 1.0, "W"),
    unit(Quantity::Power, 1e-3, "mW"),
    unit(Quantity::Power, 1e-6, "µW"),
    unit(Quantity::Power, 1e-6, "uW"),
];

/// Units by word.
const UNIT_WORDS: [(&str, &str); 19] = [
    ("sec", "s"),
    ("secs", "s"),
    ("second", "s"),
    ("seconds", "s"),
    ("millis", "ms"),
    ("milliseconds", "ms"),
    ("msec", "ms"),
    ("usec", "us"),
    ("microseconds", "us"),
    ("minutes", "min"),
    ("hours", "h"),
    ("volts", "V"),
    ("volt", "V"),
    ("millivolts", "mV"),
    ("amps", "A"),
    ("milliamps", "mA"),
    ("microamps", "uA"),
    ("watts", "W"),
    ("milliwatts", "mW"),
];

impl Unit {
    /// The unit of that symbol or word.
    pub(super) fn named(name: &str) -> Option<Self> {
        let name = name.trim().replace('\u{3bc}', "µ");
        let symbol = UNIT_WORDS
            .iter()
            .find(|(word, _)| name.eq_ignore_ascii_case(word))
            .map_or(name.as_str(), |(_, symbol)| symbol);
        let exact = UNITS.iter().find(|unit| unit.symbol == symbol);
        // Megas are no bench quantities, so only the case of the letter after the prefix may differ.
        let loose =
            || UNITS.iter().find(|unit| !symbol.starts_with('M') && unit.symbol.eq_ignore_ascii_case(symbol));
        exact.or_else(loose).copied()
    }

    fn si(quantity: Quantity) -> Self {
        *UNITS.iter().find(|unit| unit.quantity == quantity).unwrap_or(&UNITS[0])
    }
}

/// Words that say that a column is not what the supply delivered.
const NOT_THE_FEED: [&str; 16] = [
    "set",
    "setpoint",
    "target",
    "limit",
    "max",
    "min",
    "avg",
    "mean",
    "marker",
    "trigger",
    "trig",
    "ref",
    "reference",
    "ovp",
    "ocp",
    "peak",
];

/// A column that was chosen.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chosen {
    pub(super) role: Role,
    pub(super) index: usize,
    pub(super) unit: Unit,
    /// Whether the unit was given, in the name or by the user.
    pub(super) unit_given: bool,
}

/// A column's name, taken apart.
#[derive(Debug, PartialEq)]
struct Name {
    words: Vec<String>,
    unit: Option<Unit>,
}

fn take_apart(name: &str) -> Name {
    let is_separator = |c: char| !(c.is_alphanumeric() || c == '%');
    let mut words: Vec<&str> = name.split(is_separator).filter(|word| !word.is_empty()).collect();
    let unit = words.last().filter(|_| words.len() > 1).and_then(|word| Unit::named(word));
    if unit.is_some() {
        words.pop();
    }
    let lower = words.iter().map(|word| word.trim_end_matches(|c: char| c.is_ascii_digit()).to_lowercase());
    Name { words: lower.collect(), unit }
}

/// How well a name fits a role: by word and unit, by word, by unit alone.
fn fit(name: &Name, role: Role) -> u8 {
    if name.words.iter().any(|word| NOT_THE_FEED.contains(&word.as_str())) {
        return 0;
    }
    let by_word = name.words.iter().any(|word| role.words().contains(&word.as_str()));
    let by_unit = name.unit.map(|unit| unit.quantity == role.quantity());
    let alone = name.words.len() == 1
        && name
            .words
            .first()
            .and_then(|word| Unit::named(word))
            .is_some_and(|unit| unit.quantity == role.quantity());
    match (by_word, by_unit) {
        (true, Some(true) | None) => 3,
        (false, Some(true)) if role != Role::Date => 1,
        _ if alone && role != Role::Date => 2,
        _ => 0,
    }
}

/// The columns by their names.
pub(super) fn by_name(names: &[String]) -> Result<Vec<Chosen>, ConvertError> {
    let apart: Vec<Name> = names.iter().map(|name| take_apart(name)).collect();
    let mut chosen = Vec::new();
    for role in Role::ALL {
        let fits: Vec<u8> = apart.iter().map(|name| fit(name, role)).collect();
        let best = fits.iter().copied().max().unwrap_or(0);
        let candidates: Vec<usize> =
            (0..names.len()).filter(|index| best > 0 && fits[*index] == best).collect();
        match candidates.as_slice() {
            [] => {}
            [index] => chosen.push(choose(role, *index, &apart[*index])),
            several => {
                let names =
                    several.iter().map(|index| format!("{:?} ({})", names[*index], index + 1)).collect();
                return Err(ConvertError::Ambiguous { role: role.name(), names });
            }
        }
    }
    Ok(chosen)
}

fn choose(role: Role, index: usize, name: &Name) -> Chosen {
    let alone = name.words.last().and_then(|word| Unit::named(word)).filter(|_| name.words.len() == 1);
    let own = name.unit.or(alone).filter(|unit| unit.quantity == role.quantity());
    Chosen { role, index, unit: own.unwrap_or_else(|| Unit::si(role.quantity())), unit_given: own.is_some() }
}

/// The columns by the user's word: `time=1:ms,volts=Voltage,amps=Current:mA`.
pub(super) fn by_choice(choice: &str, names: &[String], count: usize) -> Result<Vec<Chosen>, ConvertError> {
    choice.split(',').map(|part| one_choice(part, names, count)).collect()
}

fn one_choice(part: &str, names: &[String], count: usize) -> Result<Chosen, ConvertError> {
    let slip = |why: String| ConvertError::Choice { part: part.to_owned(), why };
    let (role, column) = part.split_once('=').ok_or_else(|| slip("expected ROLE=COLUMN".into()))?;
    let role = Role::ALL.into_iter().find(|known| known.name() == role.trim());
    let role = role.ok_or_else(|| slip("the roles are date, time, volts, amps and watts".into()))?;
    let whole = position(column.trim(), names, count);
    let (index, unit) = match (whole, column.rsplit_once(':')) {
        (Some(index), _) => (Some(index), None),
        (None, Some((column, unit))) => {
            let known = Unit::named(unit).filter(|unit| unit.quantity == role.quantity());
            let known = known.ok_or_else(|| slip(format!("{unit:?} is no unit of {}", role.name())))?;
            (position(column.trim(), names, count), Some(known))
        }
        (None, None) => (None, None),
    };
    let index =
        index.ok_or_else(|| slip(format!("there is no such column; there are {}", list(names, count))))?;
    let own = names.get(index).map(|name| choose(role, index, &take_apart(name)));
    let own = own.unwrap_or(Chosen { role, index, unit: Unit::si(role.quantity()), unit_given: false });
    Ok(unit.map_or(own.clone(), |unit| Chosen { unit, unit_given: true, ..own }))
}

/// A column by its name, else by its number from 1.
fn position(column: &str, names: &[String], count: usize) -> Option<usize> {
    let by_word = names.iter().position(|name| name.eq_ignore_ascii_case(column));
    by_word.or_else(|| {
        column.parse::<usize>().ok().filter(|number| (1..=count).contains(number)).map(|number| number - 1)
    })
}

/// Column names for a message; numbers where there are no names.
pub(super) fn list(names: &[String], count: usize) -> String {
    if names.is_empty() {
        return format!("{count} columns without names; give them by number");
    }
    names.iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(names: &[&str]) -> Vec<(Role, usize, &'static str, bool)> {
        let names: Vec<String> = names.iter().map(ToString::to_string).collect();
        by_name(&names).unwrap().into_iter().map(|c| (c.role, c.index, c.unit.symbol, c.unit_given)).collect()
    }

    #[test]
    fn columns_are_known_by_words_and_units() {
        assert_eq!(
            found(&["Timestamp", "Set Voltage (V)", "Voltage (mV)", "Current [mA]", "Temp (°C)"]),
            [(Role::Time, 0, "s", false), (Role::Volts, 2, "mV", true), (Role::Amps, 3, "mA", true)]
        );
        assert_eq!(
            found(&["t_ms", "U/V", "I/A", "P/W"]),
            [
                (Role::Time, 0, "ms", true),
                (Role::Volts, 1, "V", true),
                (Role::Amps, 2, "A", true),
                (Role::Watts, 3, "W", true)
            ]
        );
        assert_eq!(
            found(&["time_s", "amps", "fw_loaded_marker_V"]),
            [(Role::Time, 0, "s", true), (Role::Amps, 1, "A", true)]
        );
        assert_eq!(
            found(&["s", "V", "mA"]),
            [(Role::Time, 0, "s", true), (Role::Volts, 1, "V", true), (Role::Amps, 2, "mA", true)]
        );
        assert_eq!(found(&["Datum", "Zeit", "Spannung", "Strom"]).len(), 4);
    }

    #[test]
    fn two_columns_for_one_role_are_not_chosen_between() {
        let names = ["t", "Voltage 1", "Voltage 2"].map(String::from);
        let error = by_name(&names).unwrap_err().to_string();
        assert!(error.contains(r#""Voltage 1" (2)"#) && error.contains("--columns"), "{error}");
    }

    #[test]
    fn the_user_chooses_by_name_or_number() {
        let names = ["When", "A: out", "B"].map(String::from);
        let chosen = by_choice("time=When:ms,volts=3,amps=A: out", &names, 3).unwrap();
        assert_eq!(
            chosen.iter().map(|c| (c.index, c.unit.symbol)).collect::<Vec<_>>(),
            [(0, "ms"), (2, "V"), (1, "A")]
        );
        for slip in ["time", "speed=1", "volts=4", "volts=3:mA"] {
            assert!(by_choice(slip, &names, 3).is_err(), "{slip}");
        }
    }
}
