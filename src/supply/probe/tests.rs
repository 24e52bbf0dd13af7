//! Probing supplies of several dialects, and devices that are none.

use super::super::fake::Fake;
use super::*;
use crate::link::memory;
use std::io::{Read, Write};

/// A device on a link in memory: what it answers to a line (without its end), as bytes.
fn device(answer: fn(&str) -> Option<String>) -> impl FnMut(Option<u32>) -> Result<Link, LinkError> {
    move |_| {
        let (link, mut end) = memory("bench");
        std::thread::spawn(move || {
            let (mut heard, mut byte) = (String::new(), [0]);
            while matches!(end.read(&mut byte), Ok(1)) {
                if byte[0] != b'\n' {
                    heard.push(char::from(byte[0]));
                    continue;
                }
                if let Some(answer) = answer(heard.trim_end()) {
                    let _ = end.write_all(answer.as_bytes());
                }
                heard.clear();
            }
        });
        Ok(link)
    }
}

fn found(answer: fn(&str) -> Option<String>) -> Result<Found, ProbeError> {
    probe("bench", false, Duration::from_millis(50), device(answer), |_| {})
}

#[test]
fn a_plain_supply_is_found_plain_and_only_asked() {
    let fake = Fake::new();
    fake.state().on = true;
    let found = probe("bench", false, Duration::from_millis(50), |_| Ok(fake.link()), |_| {}).unwrap();
    assert_eq!(found.dialect.readings[0].query.text(), "MEAS:VOLT?;CURR?");
    assert_eq!(found.dialect.settings[0].query.text(), "VOLT?;CURR?;OUTP?");
    assert_eq!(found.identity.unwrap().serial, "0007");
    assert_eq!((found.measured.decimals, found.measured.fixed_decimals), ((3, 4), true));
    assert!(!found.dialect.can_drive());
    let asks = |message: &String| message.split(';').all(|unit| unit.ends_with('?'));
    let stray: Vec<_> = fake.state().heard.iter().filter(|message| !asks(message)).cloned().collect();
    assert!(stray.is_empty(), "{stray:?}");
}

#[test]
fn echo_prompt_and_units_without_compound_messages_are_found() {
    let found = found(|line| {
        let reply = match line {
            "*IDN?" => "BENCH,ECHOING,1,1",
            "MEAS:VOLT?" => "12.80V",
            "MEAS:CURR?" => "0.02A",
            _ => "ERR",
        };
        Some(format!("{line}\r\n{reply}\r\n> "))
    })
    .unwrap();
    let rules = &found.dialect.line;
    assert_eq!((rules.echo, rules.prompt.as_str(), rules.compound), (true, ">", false));
    assert_eq!(found.dialect.next_error, None);
    assert!(found.dialect.settings.is_empty());
}

#[test]
fn replies_without_an_end_are_found_to_end_in_silence() {
    let found = found(|line| match line {
        "MEAS:VOLT?" => Some("12.80".into()),
        "MEAS:CURR?" => Some("0.02".into()),
        _ => None,
    })
    .unwrap();
    assert!(found.dialect.line.quiet.is_some());
    assert_eq!(found.dialect.identify, None);
}

#[test]
fn a_device_that_never_answers_is_silent() {
    assert!(matches!(found(|_| None), Err(ProbeError::Silent { .. })));
}

#[test]
fn a_device_that_answers_something_else_is_no_supply() {
    let shell = found(|line| Some(format!("{line}\r\nsh: command not found: {line}\r\n$ ")));
    assert!(matches!(shell, Err(ProbeError::NoSupply { .. })), "{shell:?}");
}

#[test]
fn noise_is_survived() {
    assert!(found(|_| Some("\u{fffd}\u{1}\u{2}".into())).is_err());
}
