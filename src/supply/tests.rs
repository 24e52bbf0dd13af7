//! Reading a supply over a line on which everything goes wrong.

use super::fake::{Fake, Fault};
use super::*;
use std::time::Duration;

/// How long a reply may take in these tests: far above what the fake needs, short enough to wait out.
const WITHIN_MS: u64 = 150;

fn dialect() -> Dialect {
    let mut dialect = Dialect::plain();
    dialect.line.reply_within = Duration::from_millis(WITHIN_MS);
    dialect
}

/// A supply at 5 V into 100 Ω with its output on.
fn bench() -> (Fake, Supply) {
    let fake = Fake::new();
    fake.state().on = true;
    let mut supply = Supply::over(fake.link(), dialect());
    supply.identify().unwrap();
    (fake, supply)
}

fn right(reading: &Reading) -> bool {
    (reading.volts, reading.amps) == (Volts::constant(5.0), Amps::constant(0.05))
}

#[test]
fn a_poll_is_one_message_and_its_stamp_spans_the_exchange() {
    let (fake, mut supply) = bench();
    let before = Instant::now();
    let reading = supply.read().unwrap();
    assert!(right(&reading), "{reading:?}");
    assert_eq!((reading.volts_decimals, reading.amps_decimals), (3, 4));
    assert!(before <= reading.start && reading.start <= reading.middle() && reading.middle() <= reading.end);
    assert_eq!(fake.state().heard, ["*IDN?", "MEAS:VOLT?;CURR?"]);
}

#[test]
fn settings_are_read_back_and_give_the_mode() {
    let (fake, mut supply) = bench();
    assert_eq!(supply.read().unwrap().mode, None);
    let settings = supply.settings().unwrap();
    assert_eq!((settings.set_volts, settings.output_on), (Some(Volts::constant(5.0)), Some(true)));
    assert_eq!(supply.read().unwrap().mode, Some(Mode::ConstantVoltage));
    fake.state().load_ohms = 0.5;
    assert_eq!(supply.read().unwrap().mode, Some(Mode::ConstantCurrent));
}

#[test]
fn a_late_reply_is_never_taken_for_the_next_question() {
    let (fake, mut supply) = bench();
    fake.faults([Fault::Late(Duration::from_millis(WITHIN_MS + 40))]);
    assert!(supply.read().unwrap_err().is_silence());
    // What is late says 5 V; by now the truth is another.
    fake.state().set_volts = 7.0;
    for _ in 0..5 {
        assert_eq!(supply.read().unwrap().volts, Volts::constant(7.0));
    }
}

#[test]
fn several_late_replies_are_all_thrown_away() {
    let (fake, mut supply) = bench();
    let late = |more| Fault::Late(Duration::from_millis(WITHIN_MS + more));
    // A poll, then two identifications that were to bring the line in step again.
    fake.faults([late(100), late(60), late(30)]);
    let mut understood = 0;
    for poll in 0..8 {
        if poll == 1 {
            fake.state().set_volts = 7.0;
        }
        if let Ok(reading) = supply.read() {
            assert_eq!(reading.volts, Volts::constant(7.0));
            understood += 1;
        }
    }
    assert!(understood >= 4, "{understood} of 8 polls understood");
}

#[test]
fn trouble_on_the_wire_is_an_error_and_the_next_reading_is_right() {
    for (fault, what) in [
        (Fault::Silent, "no answer to 'MEAS:VOLT?;CURR?'"),
        (Fault::Cut, "was cut"),
        (Fault::Doubled, "two answers"),
        (Fault::Instead(b"ERR\n"), "1 values instead of 2"),
        (Fault::Instead(b"ERROR;ERROR\n"), "'ERROR' is not a number"),
        (Fault::Instead(b"9.91E37;0.05\n"), "stands for not-a-number"),
        (Fault::Instead(b"5.000;-9.9E37\n"), "stands for minus infinity"),
        (Fault::Instead(b"5.000\n"), "1 values instead of 2"),
        (Fault::Instead(b"5.0\xff0;0.0500\n"), "not text"),
        (Fault::Instead(b"5.000V;0.0500A\n"), "expected no unit"),
        (Fault::Instead(b"500000000;0.05\n"), "beyond any bench supply"),
        (Fault::Instead(b"\n\r\0\n"), "no answer"),
        (Fault::Before(b"4.000;0.0400\n"), "two answers"),
        (Fault::Before(b"OK\n"), "two answers"),
    ] {
        let (fake, mut supply) = bench();
        fake.faults([fault.clone()]);
        let error = supply.read().unwrap_err().to_string();
        assert!(error.starts_with("bench: ") && error.contains(what), "{fault:?}: {error}");
        assert!(right(&supply.read().unwrap()), "{fault:?}");
    }
}

#[test]
fn what_devices_put_around_replies_does_no_harm() {
    for fault in [
        Fault::Before(b"\0"),
        Fault::Before(b"\r\n\r\n"),
        Fault::Before(b"MEAS:VOLT?;CURR?\r\n"),
        Fault::Instead(b"5.000;0.0500\r\n"),
        Fault::Instead(b"5.000;0.0500\r"),
        Fault::Instead(b" +5.000E0 ; 5.0E-2 \n\r"),
        Fault::Instead(b"5.000;0.0500\0\n"),
    ] {
        let (fake, mut supply) = bench();
        fake.faults([fault.clone()]);
        assert!(right(&supply.read().unwrap()), "{fault:?}");
        assert!(right(&supply.read().unwrap()), "{fault:?}");
    }
}

#[test]
fn what_comes_unasked_is_thrown_away_before_the_next_question() {
    let (fake, mut supply) = bench();
    fake.faults([Fault::Instead(b"5.000;0.0500\n9.000;9.0000\n")]);
    assert!(supply.read().is_err());
    assert!(right(&supply.read().unwrap()));
}

#[test]
fn a_supply_that_gives_no_end_of_line_is_read_by_silence() {
    let fake = Fake::new();
    fake.state().on = true;
    let mut rules = dialect();
    rules.line.quiet = Some(Duration::from_millis(20));
    let mut supply = Supply::over(fake.link(), rules);
    fake.faults([Fault::Instead(b"5.000;0.0500")]);
    assert!(right(&supply.read().unwrap()));
}

#[test]
fn a_supply_that_always_gives_so_many_decimals_is_held_to_them() {
    let fake = Fake::new();
    let mut rules = dialect();
    rules.numbers.amps_decimals = Some(4);
    let mut supply = Supply::over(fake.link(), rules);
    fake.faults([Fault::Instead(b"5.000;0.05\n")]);
    let error = supply.read().unwrap_err().to_string();
    assert!(error.contains("a cut reply"), "{error}");
}

#[test]
fn units_and_lists_are_read_as_the_dialect_says() {
    let text = "name = \"list\"\n[line]\nreply_within_ms = 150\n[ask]\nboth = \"MEAS:VOLT?\"\n[reply]\nsuffix = \"always\"\nfields = [\"amps\", \"skip\", \"volts\"]\n";
    let fake = Fake::new();
    let mut supply = Supply::over(fake.link(), Dialect::parse("list.toml", text).unwrap());
    fake.faults([Fault::Instead(b"50.0mA,CV,5.000V\n"), Fault::Instead(b"50.0mA,5.000V\n")]);
    assert!(right(&supply.read().unwrap()));
    let error = supply.read().unwrap_err().to_string();
    assert!(error.contains("a list of 2 instead of 3"), "{error}");
}

#[test]
fn a_pulled_plug_is_a_link_lost() {
    let (fake, mut supply) = bench();
    fake.state().plugged = false;
    assert!(supply.read().unwrap_err().is_link_lost());
}

#[test]
fn endless_babble_ends() {
    let (fake, mut supply) = bench();
    fake.faults([Fault::Instead(&[b'x'; 5000])]);
    assert!(matches!(supply.read(), Err(SupplyError::Babble { .. })));
}

#[test]
fn the_error_queue_is_read_to_its_end() {
    let (fake, mut supply) = bench();
    fake.state().errors.extend(["-113,\"Undefined header\"", "-222,\"Data out of range\""]);
    let codes: Vec<_> = supply.errors().unwrap().iter().map(|entry| entry.code).collect();
    assert_eq!(codes, [-113, -222]);
    // A device that never says that there is none.
    fake.state().errors.extend(["-350,\"Queue overflow\""; 1000]);
    assert_eq!(supply.errors().unwrap().len(), LONGEST_ERROR_QUEUE);
}

#[test]
fn reading_sends_nothing_but_the_dialects_queries() {
    let (fake, mut supply) = bench();
    fake.faults([Fault::None, Fault::Silent, Fault::Cut, Fault::None, Fault::Doubled]);
    for _ in 0..6 {
        let _ = (supply.read(), supply.settings(), supply.output_on(), supply.errors());
    }
    let queries = supply.dialect().all_queries();
    let heard = fake.state().heard.clone();
    assert!(heard.len() > 20, "{heard:?}");
    let stray: Vec<_> = heard.iter().filter(|message| !queries.contains(&message.as_str())).collect();
    assert!(stray.is_empty(), "{stray:?}");
}
