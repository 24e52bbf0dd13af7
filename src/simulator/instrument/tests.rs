use super::*;
use crate::simulator::{BoardModel, Case, Scenario, SupplyKind};

fn device(quirks: &str) -> Instrument {
    let model = BoardModel::named("harrow-13").unwrap();
    let scenario = Scenario::new(model, Case::FullBoot, SupplyKind::default(), 1, 1);
    let mut device = Instrument::new(Bench::new(&scenario), quirks.parse().unwrap());
    device.bench_mut().leave_output_to_program();
    device
}

fn ask(device: &mut Instrument, message: &str) -> String {
    let answer = device.execute(message.as_bytes());
    String::from_utf8(answer.bytes).unwrap()
}

fn errors(device: &mut Instrument) -> Vec<i16> {
    std::iter::from_fn(|| {
        let answer = ask(device, "SYST:ERR?");
        let number: i16 = answer.split(',').next().unwrap().parse().unwrap();
        (number != 0).then_some(number)
    })
    .collect()
}

#[test]
fn a_compound_message_goes_on_from_the_path_of_the_unit_before() {
    // SCPI-1999 volume 1 §6.2.4, and its examples in words.
    let mut device = device("");
    for right in ["MEAS:VOLT?;CURR?", "MEAS:VOLT?;:MEAS:CURR?", "meas:volt?;*OPC?;curr?", "VOLT?;CURR?"] {
        let answer = ask(&mut device, right);
        assert_eq!(answer.matches(';').count(), right.matches(';').count(), "{right} gave {answer:?}");
        assert_eq!(errors(&mut device), Vec::<i16>::new(), "{right}");
    }
    for wrong in ["MEAS:VOLT?;MEAS:CURR?", "SYST:VERS?;MEAS:CURR?", "MEAS:VOLT:DC?;CURR?"] {
        ask(&mut device, wrong);
        assert_eq!(errors(&mut device), [-113], "{wrong}");
    }
}

#[test]
fn settings_are_read_back_as_they_were_set() {
    let mut device = device("");
    assert_eq!(ask(&mut device, "VOLT 12.8;CURR 500mA;VOLT?;CURR?"), "12.800;0.5000\n");
    assert_eq!(ask(&mut device, "SOUR:VOLT MAX;VOLT? MAX"), "32.000\n");
    assert_eq!(ask(&mut device, "OUTP 1;OUTP?"), "1\n");
    assert_eq!(ask(&mut device, ":outp:stat off;:OUTPUT:STATE?"), "0\n");
    assert_eq!(errors(&mut device), Vec::<i16>::new());
}

#[test]
fn slips_get_the_numbers_of_the_standard_and_change_nothing() {
    // SCPI-1999 volume 2 §21.8.
    let mut device = device("");
    ask(&mut device, "VOLT 5");
    for (message, number) in [
        ("VOLTS 5", -113),
        ("VOLT", -109),
        ("VOLT 1,2", -108),
        ("*RST 1", -108),
        ("VOLT 99", -222),
        ("VOLT -1", -222),
        ("VOLT 1.2.3", -121),
        ("VOLT 5A", -131),
        ("VOLT HIGH", -141),
        ("VOLT 'five'", -104),
        ("OUTP ON OFF", -141),
        ("OUTP MAYBE", -141),
        ("OUTP2 ON", -114),
        ("VOLT 'five", -151),
        ("*IDN?;*OPC?", -440),
    ] {
        ask(&mut device, message);
        assert_eq!(errors(&mut device), [number], "{message}");
    }
    assert_eq!(ask(&mut device, "VOLT?"), "5.000\n");
}

#[test]
fn an_execution_error_lets_the_rest_of_the_message_through_and_a_command_error_does_not() {
    let mut device = device("");
    assert_eq!(ask(&mut device, "VOLT 99;VOLT 7;VOLT?"), "7.000\n");
    assert_eq!(ask(&mut device, "VOLT 8;VOLTS 9;VOLT 9"), "");
    assert_eq!(ask(&mut device, "VOLT?"), "8.000\n");
    assert_eq!(errors(&mut device), [-222, -113]);
}

#[test]
fn the_mandatory_common_commands_answer() {
    // IEEE 488.2 §10: *CLS *ESE *ESR? *IDN? *OPC *OPC? *RST *SRE *STB? *TST? *WAI are mandatory.
    let mut device = device("");
    assert_eq!(ask(&mut device, "*IDN?").matches(',').count(), 3);
    assert_eq!(ask(&mut device, "*ESR?;*ESR?"), "128;0\n");
    assert_eq!(ask(&mut device, "*ESE 60;*ESE?;*SRE 32;*SRE?"), "60;32\n");
    assert_eq!(ask(&mut device, "*OPC;*ESR?;*OPC?;*TST?;*WAI"), "1;1;0\n");
    ask(&mut device, "NONSENSE");
    // Error in the queue 4, an enabled event 32, service asked for 64.
    assert_eq!(ask(&mut device, "*STB?"), "100\n");
    assert_eq!(ask(&mut device, "*CLS;*STB?;SYST:ERR?"), "0;0,\"No error\"\n");
    assert_eq!(ask(&mut device, "SYST:VERS?"), "1999.0\n");
    ask(&mut device, "VOLT 5;OUTP ON;*RST");
    assert_eq!(ask(&mut device, "OUTP?;VOLT?"), "0;0.000\n");
}

#[test]
fn the_measurement_follows_the_output() {
    let mut device = device("");
    device.advance(0.5);
    let measure = |device: &mut Instrument| -> Vec<f64> {
        ask(device, "MEAS:VOLT?;CURR?").trim().split(';').map(|number| number.parse().unwrap()).collect()
    };
    let off = measure(&mut device);
    assert!(off[0] < 0.01 && off[1] < 0.001, "{off:?}");
    ask(&mut device, "VOLT 13;CURR 3.5;OUTP ON");
    device.advance(1.5);
    let on = measure(&mut device);
    assert!((on[0] - 13.0).abs() < 0.05 && (on[1] - 0.032).abs() < 0.01, "{on:?}");
    ask(&mut device, "OUTP OFF");
    device.advance(3.0);
    assert_eq!(ask(&mut device, "MEAS:CURR?"), "0.0000\n");
}

#[test]
fn the_status_bits_say_what_regulates_in_the_way_that_was_chosen() {
    for (quirk, register, off, cv, cc) in [
        ("bits=cc-cv", "STAT:QUES:COND?", "0\n", "2\n", "1\n"),
        ("bits=cv-cc", "STAT:QUES:COND?", "0\n", "1\n", "2\n"),
        ("bits=oper", "STAT:OPER:COND?", "0\n", "256\n", "1024\n"),
        ("bits=none", "STAT:QUES:COND?", "0\n", "0\n", "0\n"),
    ] {
        let mut device = device(quirk);
        assert_eq!(ask(&mut device, register), off, "{quirk}");
        ask(&mut device, "VOLT 13;CURR 3.5;OUTP ON");
        device.advance(1.0);
        assert_eq!(ask(&mut device, register), cv, "{quirk}");
        // Less than standby takes.
        ask(&mut device, "CURR 0.005");
        device.advance(1.5);
        assert_eq!(ask(&mut device, register), cc, "{quirk}");
    }
}

#[test]
fn a_protection_that_tripped_keeps_the_output_off_until_it_is_cleared() {
    let mut device = device("");
    ask(&mut device, "VOLT 13;CURR 3.5;VOLT:PROT 9;:OUTP ON");
    device.advance(1.0);
    assert_eq!(ask(&mut device, "OUTP?;:VOLT:PROT:TRIP?;:CURR:PROT:TRIP?"), "0;1;0\n");
    ask(&mut device, "OUTP ON");
    assert_eq!(errors(&mut device), [-221]);
    assert_eq!(ask(&mut device, "VOLT:PROT 20;:OUTP:PROT:CLE;:OUTP ON;:OUTP?"), "1\n");
}

#[test]
fn the_watchdog_switches_off_when_nobody_asks() {
    let mut device = device("");
    ask(&mut device, "VOLT 13;CURR 3.5;OUTP:WATC 2;STAT ON");
    for second in 1..=5 {
        device.advance(f64::from(second));
        assert_eq!(ask(&mut device, "OUTP?"), "1\n");
    }
    device.advance(7.5);
    assert_eq!(ask(&mut device, "OUTP?"), "0\n");
}

#[test]
fn each_departure_shows() {
    assert_eq!(ask(&mut device("suffix"), "VOLT 12;VOLT?"), "12.000V\n");
    assert_eq!(ask(&mut device("scientific"), "VOLT 12.5;VOLT?"), "1.25000E+01\n");
    assert_eq!(ask(&mut device("list"), "MEAS:ALL?"), "0.000,0.0000\n");
    assert_eq!(ask(&mut device("list"), "MEAS:VOLT?"), "0.000,0.0000\n");
    assert_eq!(ask(&mut device(""), "MEAS:ALL?"), "");
    assert_eq!(ask(&mut device("end=crlf"), "OUTP?"), "0\r\n");
    assert_eq!(ask(&mut device("end=none"), "OUTP?"), "0");
    assert_eq!(ask(&mut device("echo"), "OUTP?"), "OUTP?\n0\n");
    assert_eq!(ask(&mut device("prompt"), "OUTP?"), "0\n> ");
    assert_eq!(ask(&mut device("ok"), "VOLT 5"), "OK\n");
    assert_eq!(ask(&mut device("err-word"), "NONSENSE"), "ERR\n");
    assert_eq!(ask(&mut device("no-compound"), "OUTP?;VOLT?"), "0\n");
    assert_eq!(ask(&mut device("no-queue"), "SYST:ERR?"), "");
    assert!((device("delay=30").execute(b"OUTP?").after_s - 0.03).abs() < 1e-12);
    assert!((device("select=200").execute(b"INST:NSEL 1").after_s - 0.2).abs() < 1e-12);
}

#[test]
fn a_supply_that_needs_remote_is_deaf_until_then() {
    let mut device = device("remote");
    assert_eq!(ask(&mut device, "MEAS:VOLT?"), "");
    assert!(ask(&mut device, "*IDN?").starts_with("SALTMARSH"));
    ask(&mut device, "SYST:REM");
    assert_eq!(ask(&mut device, "MEAS:VOLT?"), "0.000\n");
}

#[test]
fn bytes_become_messages_at_their_terminator() {
    let mut device = device("");
    assert_eq!(device.receive(b"OUTP?\r\nVOL"), [b"OUTP?\r".to_vec()]);
    assert_eq!(device.receive(b"T?\n"), [b"VOLT?".to_vec()]);
    assert_eq!(ask(&mut device, "OUTP?\r"), "0\n");
    let flood = vec![b'A'; 5000];
    assert!(device.receive(&flood).is_empty());
    device.receive(b"\n");
    assert!(errors(&mut device).contains(&-363));
    let mut device = self::device("cr-in");
    assert_eq!(device.receive(b"OUTP?\rX"), [b"OUTP?".to_vec()]);
}

proptest::proptest! {
    #[test]
    fn no_bytes_bring_it_down(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..200)) {
        let mut device = device("");
        for message in device.receive(&bytes) {
            device.execute(&message);
        }
        device.execute(&bytes);
        proptest::prop_assert_eq!(ask(&mut device, "*CLS;*OPC?"), "1\n");
    }
}
