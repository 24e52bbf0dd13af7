//! Logs: whatever was recorded is read back as it was, wherever the file was cut, and nothing panics.

use feedtale::trace::{
    EventKind, Header, Mode, ReadError, RowWriter, Sample, Trace, TraceBuilder, read, write,
};
use feedtale::units::{Amps, Seconds, Volts};
use proptest::prelude::*;

/// Any number that can be a reading, the awkward ones among them.
fn reading() -> impl Strategy<Value = f64> {
    let any = any::<f64>().prop_filter("finite and below the sentinels", |x| x.abs() < 9.9e37);
    prop_oneof![4 => (-30_000_i32..30_000).prop_map(|x| f64::from(x) / 1000.0), 1 => any]
}

/// Any text at all, with the characters that the format itself uses made likely.
fn text() -> impl Strategy<Value = String> {
    prop_oneof!["[ -~]{0,12}", r#"[;:,"'\\#= \nru{}\r\t20]{0,12}"#, "\\PC{0,8}", any::<String>()]
}

fn kind() -> impl Strategy<Value = EventKind> {
    prop_oneof![
        Just(EventKind::OutputOn),
        Just(EventKind::OutputOff),
        Just(EventKind::Gap),
        Just(EventKind::LinkLost),
        Just(EventKind::LinkBack),
        text().prop_map(EventKind::Mark),
        text().prop_map(EventKind::Trip),
        reading().prop_map(|volts| EventKind::SetVolts(Volts::constant(volts))),
        reading().prop_map(|amps| EventKind::Limit(Amps::constant(amps))),
        text().prop_map(|word| EventKind::Other(format!("x{word}"))),
    ]
}

fn header() -> impl Strategy<Value = Header> {
    let word = || proptest::option::of(text().prop_filter("a value", |text| !text.is_empty()));
    let quantities = (proptest::option::of(reading()), proptest::option::of(reading()));
    let moment = proptest::option::of((0_i64..4_000_000_000, 0_u32..1_000_000_000));
    let other = proptest::collection::btree_map(text().prop_map(|key| format!("x{key}")), text(), 0..3);
    ([word(), word(), word(), word(), word()], quantities, moment, other).prop_map(
        |(words, set, moment, other)| {
            let [board, serial, ticket, feed_point, supply] = words;
            Header {
                board,
                serial,
                ticket,
                feed_point,
                supply,
                set_volts: set.0.map(Volts::constant),
                limit: set.1.map(Amps::constant),
                started: moment
                    .and_then(|(s, ns)| Some(chrono::DateTime::from_timestamp(s, ns)?.fixed_offset())),
                other: other.into_iter().collect(),
            }
        },
    )
}

/// One row to be: time steps are made positive when the trace is built.
type Row = (u32, Option<(f64, f64, u8, Option<u16>)>, Vec<EventKind>, String);

fn rows() -> impl Strategy<Value = Vec<Row>> {
    let span = proptest::option::of(1_u16..);
    let values = proptest::option::weighted(0.8, (reading(), reading(), 0_u8..4, span));
    proptest::collection::vec((1_u32.., values, proptest::collection::vec(kind(), 0..3), text()), 0..20)
}

fn sample(time: f64, (volts, amps, mode, span): (f64, f64, u8, Option<u16>)) -> Sample {
    let modes = [Mode::Unknown, Mode::ConstantVoltage, Mode::ConstantCurrent, Mode::Off];
    Sample {
        time: Seconds::constant(time),
        volts: Volts::constant(volts),
        amps: Amps::constant(amps),
        mode: modes[usize::from(mode)],
        span: span.map(|span| Seconds::constant(f64::from(span) / 1e4)),
    }
}

fn build(header: Header, rows: Vec<Row>) -> Trace {
    let mut builder = TraceBuilder::new(header);
    builder.text_column("note, or \"so\"").unwrap();
    let mut time = -1.0;
    for (step, values, kinds, note) in rows {
        time += f64::from(step) * 1e-6;
        if let Some(values) = values {
            builder.sample(sample(time, values)).unwrap();
            builder.sample_text(0, &note);
        }
        let first = builder.trace().events().len();
        let any = !kinds.is_empty();
        for kind in kinds {
            builder.event(Seconds::constant(time), kind).unwrap();
        }
        if values.is_none() && any {
            builder.event_text(first, 0, &note);
        }
    }
    builder.finish()
}

proptest! {
    #[test]
    fn any_trace_is_read_back_as_it_was_written(header in header(), rows in rows()) {
        let trace = build(header, rows);
        let log = write(&trace);
        match read(&log) {
            Ok(read) => prop_assert_eq!(read.trace, trace),
            Err(ReadError::NoReadings { cut: false }) => prop_assert!(trace.is_empty()),
            Err(error) => prop_assert!(false, "{}\n{}", error, String::from_utf8_lossy(&log)),
        }
    }

    #[test]
    fn a_log_cut_anywhere_keeps_every_whole_row(header in header(), rows in rows(), at in any::<prop::sample::Index>()) {
        let trace = build(header, rows);
        let log = write(&trace);
        let end = at.index(log.len() + 1);
        match read(&log[..end]) {
            Ok(read) => {
                let count = read.trace.len();
                prop_assert_eq!(read.trace.time(), &trace.time()[..count]);
                prop_assert_eq!(read.trace.amps(), &trace.amps()[..count]);
                prop_assert_eq!(read.cut.is_some(), log[end - 1] != b'\n');
                prop_assert_eq!(read.cut.map_or(0, |cut| cut.bytes), end - log[..end].iter().rposition(|b| *b == b'\n').unwrap() - 1);
            }
            Err(ReadError::NoReadings { .. } | ReadError::Empty) => {}
            Err(error) => prop_assert!(false, "{}", error),
        }
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        if let Err(error) = read(&bytes) {
            prop_assert!(!error.to_string().is_empty());
        }
    }

    #[test]
    fn a_damaged_log_is_read_or_names_a_line(rows in rows(), at in any::<prop::sample::Index>(), byte in any::<u8>()) {
        let mut log = write(&build(Header::default(), rows));
        let at = at.index(log.len());
        log[at] = byte;
        match read(&log) {
            Ok(read) => prop_assert!(read.trace.time().windows(2).all(|pair| pair[0] < pair[1])),
            Err(ReadError::Malformed { first, count }) => {
                let lines = log.split(|b| *b == b'\n').count() as u64;
                prop_assert!(count >= first.len() && first.iter().all(|fault| (1..=lines).contains(&fault.line)));
            }
            Err(_) => {}
        }
    }
}

#[test]
fn rows_written_one_by_one_are_a_log() {
    let writer = RowWriter::default();
    let mut log = writer.head(&Header { board: Some("fenwick-14".into()), ..Header::default() });
    writer.sample(&mut log, &sample(0.0, (12.8, 0.024, 1, Some(210))), &[&EventKind::OutputOn]);
    writer.event(&mut log, Seconds::constant(0.05), &EventKind::Mark("power; button".into()));
    writer.sample(&mut log, &sample(0.1, (12.8, 0.025, 0, None)), &[]);
    let expected = "# log: 1\n# board: fenwick-14\nt_s,volts,amps,mode,span_s,event\n\
        0,12.8,0.024,cv,0.021,output-on\n0.05,,,,,mark=power\\; button\n0.1,12.8,0.025,,,\n";
    assert_eq!(String::from_utf8(log.clone()).unwrap(), expected);
    let trace = read(&log).unwrap().trace;
    assert_eq!(
        (trace.len(), trace.events()[1].time, trace.events()[1].sample),
        (2, Seconds::constant(0.05), 1)
    );
}

/// Found by the fuzz target: an event row with text, at the time of a sample that has events too.
#[test]
fn events_at_one_time_keep_their_order() {
    let log = "t_s,volts,amps,event,x\n0,1,2,mark=a;gap,q\n0,,,trip=b,7\n0,,,gap,\n1,1,2,,\n";
    let trace = read(log.as_bytes()).unwrap().trace;
    assert_eq!(read(&write(&trace)).unwrap().trace, trace);
}
