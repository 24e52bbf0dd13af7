//! Dialects from good and bad files.

use super::*;

const LEAST: &str = "name = \"least\"\n[ask]\nvolts = \"MEAS:VOLT?\"\namps = \"MEAS:CURR?\"\n";

fn parse(text: &str) -> Result<Dialect, DialectError> {
    Dialect::parse("bench.toml", text)
}

fn refused(text: &str) -> String {
    parse(text).unwrap_err().to_string()
}

#[test]
fn the_built_in_dialect_asks_for_both_in_one_message() {
    let plain = Dialect::plain();
    assert_eq!(plain.readings.len(), 1);
    assert_eq!(plain.readings[0].query.text(), "MEAS:VOLT?;CURR?");
    assert_eq!(plain.settings[0].query.text(), "VOLT?;CURR?;OUTP?");
    assert!(plain.can_drive());
}

/// The built-in file with every key that it explains made real, but for those that exclude others.
fn every_key() -> String {
    PLAIN
        .lines()
        .filter(|line| !line.starts_with("both") && !line.contains("both ="))
        .map(|line| match line.strip_prefix("# ") {
            Some(key) if key.contains(" = ") || key.starts_with('[') => format!("{key}\n"),
            _ => format!("{line}\n"),
        })
        .filter(|line| !line.starts_with("silence_ms") && !line.starts_with("fields"))
        .collect()
}

#[test]
fn a_bad_value_under_any_key_is_refused_with_its_line_and_key() {
    let text = every_key();
    let lines: Vec<&str> = text.lines().collect();
    let (mut section, mut keys) = (String::new(), 0);
    for (index, line) in lines.iter().enumerate() {
        if let Some(name) = line.strip_prefix('[') {
            section = format!("{}.", name.split(']').next().unwrap());
        }
        let Some((key, _)) = line.split_once(" = ").filter(|_| !line.starts_with('#')) else { continue };
        // A date is a value of no key.
        let slip = format!("{key} = 2026-03-02");
        let spoilt: Vec<&str> =
            lines.iter().enumerate().map(|(i, line)| if i == index { slip.as_str() } else { line }).collect();
        let error = refused(&spoilt.join("\n"));
        let expected = format!("bench.toml:{}: key '{section}{key}': 2026-03-02; expected ", index + 1);
        assert!(error.starts_with(&expected), "{expected}…: {error}");
        keys += 1;
    }
    assert!(keys > 50, "{keys} keys");
}

#[test]
fn every_key_that_the_built_in_file_explains_is_known() {
    // A key named there but not read would be refused.
    let commented = every_key();
    let full = parse(&commented).unwrap();
    assert_eq!(full.line.baud, Some(9600));
    assert_eq!(full.channel.as_ref().map(|channel| channel.number), Some(2));
    assert_eq!(full.status.unwrap().constant_voltage, Some(2));
    assert_eq!(full.readback.slowest_update, Some(Duration::from_millis(100)));
    let orders = full.orders.all(Volts::constant(12.8), Amps::constant(3.0));
    for order in ["SYST:REM", "INST:NSEL 2", "VOLT 12.800", "CURR 3.000", "OUTP ON", "VOLT:PROT 12.800"] {
        assert!(orders.contains(&order.to_owned()), "{order} in {orders:?}");
    }
    assert!(orders.contains(&"SYST:WATC:TIME 5".to_owned()), "{orders:?}");
}

#[test]
fn a_supply_without_compound_messages_is_asked_one_by_one() {
    let dialect = parse(&format!("{LEAST}[line]\ncompound = false\n")).unwrap();
    let texts: Vec<_> = dialect.readings.iter().map(|ask| ask.query.text()).collect();
    assert_eq!(texts, ["MEAS:VOLT?", "MEAS:CURR?"]);
    assert!(!dialect.can_drive());
}

#[test]
fn a_misspelt_key_is_named_with_its_line_and_the_nearest_one() {
    assert_eq!(
        refused(&format!("{LEAST}[line]\nehco = true\n")),
        "bench.toml:6: unknown key 'line.ehco'; did you mean 'line.echo'?"
    );
    assert_eq!(refused(&format!("{LEAST}[lin]\n")), "bench.toml:5: unknown key 'lin'; did you mean 'line'?");
    assert_eq!(refused(&format!("colour = 1\n{LEAST}")), "bench.toml:1: unknown key 'colour'");
}

#[test]
fn a_wrong_value_is_named_with_what_it_may_be() {
    let error = refused(&format!("{LEAST}[line]\nsend_end = \"LFCR\"\n"));
    assert_eq!(error, "bench.toml:6: key 'line.send_end': 'LFCR'; expected 'lf', 'crlf', 'cr', 'none'");
    let error = refused(&format!("{LEAST}[line]\ndelay_ms = \"50\"\n"));
    assert_eq!(error, "bench.toml:6: key 'line.delay_ms': '50'; expected a number");
    let error = refused(&format!("{LEAST}[line]\ndelay_ms = 90000\n"));
    assert_eq!(error, "bench.toml:6: key 'line.delay_ms': 90000; expected a number from 0 to 60000");
    let error = refused("name = \"x\"\n[ask\n");
    assert!(error.starts_with("bench.toml:2: not valid TOML"), "{error}");
}

#[test]
fn what_is_asked_must_only_ask() {
    let error = refused("name = \"x\"\n[ask]\nvolts = \"OUTP ON\"\namps = \"MEAS:CURR?\"\n");
    assert_eq!(
        error,
        "bench.toml:3: key 'ask.volts': 'OUTP ON' sets something; expected a query, with '?' behind its header"
    );
    for smuggled in ["OUTP ON;MEAS:VOLT?", "MEAS:VOLT?;OUTP ON", "MEAS:VOLT?\\nOUTP ON"] {
        let error = refused(&format!("name = \"x\"\n[ask]\nvolts = \"{smuggled}\"\namps = \"MEAS:CURR?\"\n"));
        assert!(error.starts_with("bench.toml:3: key 'ask.volts': character"), "{error}");
    }
    let error = refused(&format!("{LEAST}[drive]\nset_volts = \"VOLT? {{volts}}\"\n"));
    assert!(error.contains("only asks"), "{error}");
}

#[test]
fn what_is_driven_must_be_readable_back() {
    let drive = "[drive]\nset_volts = \"VOLT {volts}\"\nlimit = \"CURR {amps}\"\noutput_on = \"OUTP ON\"\noutput_off = \"OUTP OFF\"\n";
    let error = refused(&format!("{LEAST}{drive}"));
    assert_eq!(error, "bench.toml:2: key 'ask.set_volts' is missing: what [drive] sets must be read back");
    let error = refused(&format!("{LEAST}[drive]\nset_volts = \"VOLT 5\"\n"));
    assert_eq!(error, "bench.toml:6: key 'drive.set_volts': 'VOLT 5'; expected a command with {volts} in it");
}

#[test]
fn contradictions_are_refused() {
    for (addition, key) in [
        ("[status]\nquery = \"STAT:QUES:COND?\"\ncv_bit = 1\ncc_bit = 1\n", "status.cc_bit"),
        ("[status]\ncv_bit = 1\n", "status.query"),
        ("[status]\nquery = \"STAT:QUES:COND?\"\n", "status.cc_bit"),
        ("[readback]\nfastest_update_ms = 100\nslowest_update_ms = 50\n", "readback.slowest_update_ms"),
        ("[reply]\nfields = [\"amps\", \"volts\"]\n", "reply.fields"),
        ("[line]\nsilence_ms = 5\n", "line.silence_ms"),
        ("[channel]\nselect = \"INST:NSEL {channel}\"\n", "channel.number"),
        ("[watchdog]\narm = \"A ON\"\ndisarm = \"A OFF\"\nseconds = 5\n", "drive"),
    ] {
        let error = refused(&format!("{LEAST}{addition}"));
        assert!(error.contains(&format!("'{key}'")), "{addition} → {error}");
    }
    let both = refused(&format!("{LEAST}both = \"MEAS?\"\n"));
    assert!(both.contains("'ask.both'"), "{both}");
    let unnumbered = refused("name = \"x\"\n[ask]\nvolts = \"MEAS:VOLT? (@{channel})\"\namps = \"A?\"\n");
    assert!(unnumbered.contains("'ask.volts'") && unnumbered.contains("{channel}"), "{unnumbered}");
}

#[test]
fn status_bits_say_what_the_dialect_says_they_say() {
    let bits = StatusBits { constant_voltage: Some(1), constant_current: Some(2), off: Some(4) };
    assert_eq!(bits.mode(1), Some(Mode::ConstantVoltage));
    assert_eq!(bits.mode(2), Some(Mode::ConstantCurrent));
    assert_eq!(bits.mode(5), Some(Mode::Off));
    assert_eq!(bits.mode(3), None);
    assert_eq!(bits.mode(0), None);
    let only_cc = StatusBits { constant_current: Some(1), ..StatusBits::default() };
    assert_eq!([0, 1].map(|r| only_cc.mode(r)), [Some(Mode::ConstantVoltage), Some(Mode::ConstantCurrent)]);
}

/// Every dialect file that comes with the program.
fn examples() -> Vec<Dialect> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles/dialects");
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| Dialect::read(&path).unwrap_or_else(|error| panic!("{error}"))).collect()
}

#[test]
fn every_example_loads_under_its_own_name_and_asks_only() {
    let examples = examples();
    let mut names: Vec<_> = examples.iter().map(|dialect| dialect.name.as_str()).collect();
    names.sort_unstable();
    assert_eq!(names, ["console", "endless", "list-with-status", "one-at-a-time", "plain", "second-output"]);
    for dialect in &examples {
        for query in dialect.all_queries() {
            let asks = |unit: &str| unit.split(' ').next().is_some_and(|header| header.ends_with('?'));
            assert!(query.split(';').all(asks), "{}: {query}", dialect.name);
        }
    }
}

#[test]
fn headers_are_shortened_along_the_path() {
    let asked: Vec<_> = examples()
        .iter()
        .filter(|dialect| dialect.name == "second-output")
        .map(|dialect| dialect.readings[0].query.text().to_owned())
        .collect();
    assert_eq!(asked, ["MEAS:SCAL:VOLT:DC?;:MEAS:SCAL:CURR:DC?;:STAT:OPER:COND?"]);
}
