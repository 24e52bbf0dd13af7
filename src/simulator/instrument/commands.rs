//! What each command does.

use super::message::{Complaint, Datum, Unit};
use super::tree::Command;
use super::{Course, Instrument};

/// Highest protection level, in what the output can give: a tenth above (common practice, no source).
const MOST_PROTECTION: f64 = 1.1;
/// Longest time that the watchdog can wait, in seconds (common practice, no source).
const LONGEST_WATCHDOG_S: f64 = 3600.0;

/// Does `command`, and gives back its answer if it is a query.
pub(super) fn run(
    device: &mut Instrument,
    command: Command,
    unit: &Unit,
    course: &mut Course,
) -> Result<Option<String>, Complaint> {
    if unit.query {
        return query(device, command, unit, course).map(Some);
    }
    act(device, command, unit, course).map(|()| None)
}

fn act(device: &mut Instrument, command: Command, unit: &Unit, course: &mut Course) -> Result<(), Complaint> {
    let takes_data = matches!(
        command,
        Command::EventEnable
            | Command::ServiceEnable
            | Command::Volts
            | Command::Amps
            | Command::Output
            | Command::VoltsProtection
            | Command::AmpsProtection
            | Command::Watchdog
            | Command::WatchdogTime
            | Command::WatchdogState
            | Command::Channel
            | Command::QuestionableEnable
            | Command::OperationEnable
    );
    match (takes_data, unit.data.as_slice()) {
        (false, []) => act_plainly(device, command, course),
        (true, []) => return Err(Complaint::MISSING_PARAMETER),
        (true, [datum]) => set(device, command, datum, course)?,
        (false | true, _) => return Err(Complaint::PARAMETER_NOT_ALLOWED),
    }
    Ok(())
}

fn act_plainly(device: &mut Instrument, command: Command, course: &mut Course) {
    match command {
        Command::Reset => {
            device.reset();
            course.changed = true;
        }
        Command::ClearStatus => device.status.clear(),
        Command::OperationComplete => device.status.operation_complete(),
        Command::Remote => device.remote = true,
        Command::Local => device.remote = false,
        Command::ClearProtection => device.bench.protection.tripped = None,
        Command::PresetStatus => device.status.preset(),
        // *WAI: every command here is done before the next one begins.
        _ => {}
    }
}

fn set(
    device: &mut Instrument,
    command: Command,
    datum: &Datum,
    course: &mut Course,
) -> Result<(), Complaint> {
    let (most_volts, most_amps) = (device.bench.supply().most_volts, device.bench.supply().most_amps);
    let bare = device.selected != device.manners.board_at;
    let of_output = matches!(command, Command::Volts | Command::Amps | Command::Output);
    if bare && of_output {
        return set_bare(device, command, datum);
    }
    match command {
        Command::EventEnable => device.status.event_enable = whole(datum, u8::MAX)?,
        Command::ServiceEnable => device.status.service_enable = whole(datum, u8::MAX)?,
        Command::QuestionableEnable => device.status.questionable.enable = whole(datum, u16::MAX)?,
        Command::OperationEnable => device.status.operation.enable = whole(datum, u16::MAX)?,
        Command::Volts => device.bench.set_volts_to(quantity(datum, 'V', most_volts)?),
        Command::Amps => device.bench.set_limit_to(quantity(datum, 'A', most_amps)?),
        Command::Output => switch(device, boolean(datum)?)?,
        Command::VoltsProtection => {
            device.bench.protection.volts = Some(quantity(datum, 'V', MOST_PROTECTION * most_volts)?);
        }
        Command::AmpsProtection => {
            device.bench.protection.amps = Some(quantity(datum, 'A', MOST_PROTECTION * most_amps)?);
        }
        Command::Watchdog => {
            let seconds = quantity(datum, 'S', LONGEST_WATCHDOG_S)?;
            device.watchdog_s = (seconds > 0.0).then_some(seconds);
        }
        Command::WatchdogTime => device.watchdog_time_s = quantity(datum, 'S', LONGEST_WATCHDOG_S)?,
        Command::WatchdogState => device.watchdog_s = boolean(datum)?.then_some(device.watchdog_time_s),
        Command::Channel => {
            let number = whole(datum, u8::MAX)?;
            if !(1..=device.manners.board_at).contains(&number) {
                return Err(Complaint::OUT_OF_RANGE);
            }
            device.selected = number;
            course.busy_s += device.manners.select_s;
        }
        _ => {}
    }
    course.changed |= of_output;
    Ok(())
}

/// Sets the output that has no board on it.
fn set_bare(device: &mut Instrument, command: Command, datum: &Datum) -> Result<(), Complaint> {
    let supply = device.bench.supply();
    match command {
        Command::Volts => device.bare.volts = quantity(datum, 'V', supply.most_volts)?,
        Command::Amps => device.bare.amps = quantity(datum, 'A', supply.most_amps)?,
        _ => device.bare.on = boolean(datum)?,
    }
    Ok(())
}

/// An output whose protection has tripped stays off until that is cleared.
fn switch(device: &mut Instrument, on: bool) -> Result<(), Complaint> {
    if on && device.bench.protection.tripped.is_some() {
        return Err(Complaint::SETTINGS_CONFLICT);
    }
    device.bench.switch(on || device.manners.stuck_on && device.bench.is_on());
    Ok(())
}

fn query(
    device: &mut Instrument,
    command: Command,
    unit: &Unit,
    course: &mut Course,
) -> Result<String, Complaint> {
    let setting = matches!(
        command,
        Command::Volts | Command::Amps | Command::VoltsProtection | Command::AmpsProtection
    );
    let names_output = device.manners.channel_word && unit.data == [Datum::Word("CH1".to_owned())];
    if !unit.data.is_empty() && !names_output {
        return if setting {
            extreme(device, command, &unit.data)
        } else {
            Err(Complaint::PARAMETER_NOT_ALLOWED)
        };
    }
    course.measured |= matches!(
        command,
        Command::MeasureVolts | Command::MeasureAmps | Command::MeasureWatts | Command::MeasureBoth
    );
    if let Some(answer) = query_quantity(device, command)? {
        return Ok(answer);
    }
    Ok(query_status(device, command, !course.answers.is_empty()))
}

/// `VOLT? MIN`, `VOLT? MAX`: the bounds of a setting.
fn extreme(device: &Instrument, command: Command, data: &[Datum]) -> Result<String, Complaint> {
    let kind = device.bench.supply();
    let (most, is_volts) = match command {
        Command::Volts => (kind.most_volts, true),
        Command::VoltsProtection => (MOST_PROTECTION * kind.most_volts, true),
        Command::AmpsProtection => (MOST_PROTECTION * kind.most_amps, false),
        _ => (kind.most_amps, false),
    };
    match data {
        [Datum::Word(word)] if is_word(word, "MIN", "MINIMUM") => Ok(shown(device, 0.0, is_volts)),
        [Datum::Word(word)] if is_word(word, "MAX", "MAXIMUM") => Ok(shown(device, most, is_volts)),
        [Datum::Word(_)] => Err(Complaint::INVALID_CHARACTER_DATA),
        [_] => Err(Complaint::DATA_TYPE),
        _ => Err(Complaint::PARAMETER_NOT_ALLOWED),
    }
}

fn query_quantity(device: &Instrument, command: Command) -> Result<Option<String>, Complaint> {
    let bench = &device.bench;
    let reading = bench.reading();
    if device.selected != device.manners.board_at
        && let Some(answer) = query_bare(device, command)
    {
        return Ok(Some(answer));
    }
    let both = || {
        let list = format!("{},{}", shown(device, reading.volts, true), shown(device, reading.amps, false));
        let watts = || format!("{list},{:.3}", reading.volts * reading.amps);
        if device.manners.watts_in_list { watts() } else { list.clone() }
    };
    Ok(Some(match command {
        Command::MeasureBoth | Command::MeasureVolts | Command::MeasureAmps if device.manners.both_always => {
            both()
        }
        // Only a supply that answers in lists has a query for the list.
        Command::MeasureBoth => return Err(Complaint::UNDEFINED_HEADER),
        Command::MeasureVolts => shown(device, reading.volts, true),
        Command::MeasureAmps => shown(device, reading.amps, false),
        Command::MeasureWatts => format!("{:.3}", reading.volts * reading.amps),
        Command::Volts => shown(device, bench.set_volts(), true),
        Command::Amps => shown(device, bench.limit(), false),
        Command::VoltsProtection => {
            shown(device, bench.protection.volts.unwrap_or(MOST_PROTECTION * bench.supply().most_volts), true)
        }
        Command::AmpsProtection => {
            shown(device, bench.protection.amps.unwrap_or(MOST_PROTECTION * bench.supply().most_amps), false)
        }
        _ => return Ok(None),
    }))
}

/// What the output with nothing connected says; its display shows what it is set to.
fn query_bare(device: &Instrument, command: Command) -> Option<String> {
    let bare = device.bare;
    Some(match command {
        Command::MeasureVolts => shown(device, if bare.on { bare.volts } else { 0.0 }, true),
        Command::MeasureAmps => shown(device, 0.0, false),
        Command::Volts => shown(device, bare.volts, true),
        Command::Amps => shown(device, bare.amps, false),
        Command::Output => u8::from(bare.on).to_string(),
        _ => return None,
    })
}

fn query_status(device: &mut Instrument, command: Command, answer_waits: bool) -> String {
    use crate::simulator::supply::Trip;
    let tripped = device.bench.protection.tripped;
    match command {
        Command::Identify => device.bench.supply().identity.to_owned(),
        Command::EventEnable => device.status.event_enable.to_string(),
        Command::EventStatus => device.status.take_events().to_string(),
        Command::ServiceEnable => device.status.service_enable.to_string(),
        Command::StatusByte => device.status.byte(answer_waits).to_string(),
        // Every command here is done at once, and the self-test of numbers never fails.
        Command::OperationComplete => "1".to_owned(),
        Command::Channel => device.selected.to_string(),
        Command::SelfTest => "0".to_owned(),
        Command::NextError => {
            let complaint = device.status.next_error();
            format!("{},\"{}\"", complaint.0, complaint.text())
        }
        Command::ErrorCount => device.status.error_count().to_string(),
        Command::Version => "1999.0".to_owned(),
        Command::Output => u8::from(device.bench.is_on()).to_string(),
        Command::VoltsTripped => u8::from(tripped == Some(Trip::Volts)).to_string(),
        Command::AmpsTripped => u8::from(tripped == Some(Trip::Amps)).to_string(),
        Command::Watchdog => device.watchdog_s.unwrap_or_default().to_string(),
        Command::WatchdogTime => device.watchdog_time_s.to_string(),
        Command::WatchdogState => u8::from(device.watchdog_s.is_some()).to_string(),
        Command::QuestionableEvent => device.status.questionable.take_event().to_string(),
        Command::QuestionableCondition => device.status.questionable.condition.to_string(),
        Command::QuestionableEnable => device.status.questionable.enable.to_string(),
        Command::OperationEvent => device.status.operation.take_event().to_string(),
        Command::OperationCondition => device.status.operation.condition.to_string(),
        Command::OperationEnable => device.status.operation.enable.to_string(),
        _ => String::new(),
    }
}

/// A quantity as this supply writes it: NR2 with its own decimals, or NR3, with or without the unit.
fn shown(device: &Instrument, value: f64, is_volts: bool) -> String {
    let readback = device.bench.supply().readback;
    let (volts, amps) = device.manners.decimals.unwrap_or((readback.volts_decimals, readback.amps_decimals));
    let (decimals, unit) = if is_volts { (volts, 'V') } else { (amps, 'A') };
    let mut text = if device.manners.scientific { nr3(value) } else { format!("{value:.decimals$}") };
    if device.manners.unit_suffix {
        text.push(unit);
    }
    text
}

/// `1.2345E+01` (IEEE 488.2 §8.7.4 wants the sign of the exponent).
fn nr3(value: f64) -> String {
    let text = format!("{value:.5E}");
    match text.split_once('E') {
        Some((mantissa, exponent)) => {
            let exponent: i32 = exponent.parse().unwrap_or_default();
            format!("{mantissa}E{exponent:+03}")
        }
        None => text,
    }
}

/// A quantity from 0 to `most`, with an optional unit and its multipliers, or MIN or MAX.
fn quantity(datum: &Datum, unit: char, most: f64) -> Result<f64, Complaint> {
    let value = match datum {
        Datum::Number(value, suffix) => value * multiplier(suffix, unit)?,
        Datum::Word(word) if is_word(word, "MIN", "MINIMUM") => 0.0,
        Datum::Word(word) if is_word(word, "MAX", "MAXIMUM") => most,
        Datum::Word(_) => return Err(Complaint::INVALID_CHARACTER_DATA),
        Datum::Text(_) => return Err(Complaint::DATA_TYPE),
    };
    if (0.0..=most).contains(&value) { Ok(value) } else { Err(Complaint::OUT_OF_RANGE) }
}

/// The factor of a suffix: none, the unit, or the unit after M (milli), U (micro) or K (IEEE 488.2 §7.7.3).
fn multiplier(suffix: &str, unit: char) -> Result<f64, Complaint> {
    if suffix.is_empty() {
        return Ok(1.0);
    }
    match suffix.strip_suffix(unit) {
        Some("") => Ok(1.0),
        Some("M") => Ok(1e-3),
        Some("U") => Ok(1e-6),
        Some("K") => Ok(1e3),
        _ => Err(Complaint::INVALID_SUFFIX),
    }
}

fn boolean(datum: &Datum) -> Result<bool, Complaint> {
    match datum {
        Datum::Word(word) if word == "ON" => Ok(true),
        Datum::Word(word) if word == "OFF" => Ok(false),
        Datum::Word(_) => Err(Complaint::INVALID_CHARACTER_DATA),
        // SCPI-1999 volume 1 §7.3: a number is rounded, and what is not zero is on.
        Datum::Number(value, suffix) if suffix.is_empty() => Ok(value.round() != 0.0),
        Datum::Number(..) => Err(Complaint::SUFFIX_NOT_ALLOWED),
        Datum::Text(_) => Err(Complaint::DATA_TYPE),
    }
}

/// A register value from 0 to `most`; a decimal number is rounded (IEEE 488.2 §10.10).
fn whole<T: TryFrom<i64> + Into<i64> + Copy>(datum: &Datum, most: T) -> Result<T, Complaint> {
    match datum {
        Datum::Number(value, suffix) if suffix.is_empty() => {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "a float saturates, and the range is checked after"
            )]
            let rounded = value.round() as i64;
            if rounded > most.into() {
                return Err(Complaint::OUT_OF_RANGE);
            }
            T::try_from(rounded).map_err(|_| Complaint::OUT_OF_RANGE)
        }
        Datum::Number(..) => Err(Complaint::SUFFIX_NOT_ALLOWED),
        Datum::Word(_) | Datum::Text(_) => Err(Complaint::DATA_TYPE),
    }
}

fn is_word(word: &str, short: &str, long: &str) -> bool {
    word == short || word == long
}
