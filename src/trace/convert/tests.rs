use super::*;

fn with(text: &str, options: &ConvertOptions) -> Result<Converted, ConvertError> {
    convert(text.as_bytes(), options)
}

fn plain(text: &str) -> Converted {
    with(text, &ConvertOptions::default()).unwrap()
}

fn error(text: &str) -> String {
    with(text, &ConvertOptions::default()).unwrap_err().to_string()
}

#[test]
fn a_log_needs_no_converting_but_one_with_a_slip_may_be_had_through_it() {
    let log = "# log: 1\n# board: larch-7\nt_s,volts,amps\n0,12.8,0.024\n0.5,12.8,0.025\n1,12.7,1.1\n";
    assert_eq!(error(log), "it is a log already: give it to the other commands as it is");
    let (slip, right) =
        (log.replace("# board: larch-7\n", "larch-7\n"), plain(&log.replacen("# log: 1\n", "", 1)));
    assert_eq!(plain(&slip).trace.amps(), right.trace.amps());
}

/// The same three readings as every kind of logger writes them.
#[test]
fn one_run_in_every_notation_is_one_trace() {
    let notations = [
        "time_s,volts,amps\n0,12.8,0.024\n0.5,12.8,0.025\n1,12.7,1.1\n",
        "t_ms;U [V];I [mA]\n0;12,8;24\n500;12,8;25\n1000;12,7;1100\n",
        "Time\tVoltage\tCurrent\n(ms)\t(mV)\t(A)\n10\t12800\t0.024\n510\t12800\t0.025\n1010\t12700\t1.1\n",
        "\u{feff}\"No\",\"Date\",\"Time\",\"Voltage (V)\",\"Current (A)\"\r\n1,2026-03-02,09:00:00.0,\"12,8\",\"0,024\"\r\n2,2026-03-02,09:00:00.5,\"12,8\",\"0,025\"\r\n3,2026-03-02,09:00:01.0,\"12,7\",\"1,1\"\r\n",
        "Timestamp,V,Current\n1772442000.0,12.8V,24mA\n1772442000.5,12.8V,25 mA\n1772442001.0,12.7V,1.1A\n",
    ];
    for text in notations {
        let trace = plain(text).trace;
        assert_eq!(trace.time(), [0.0, 0.5, 1.0], "{text}");
        assert_eq!(trace.volts(), [12.8, 12.8, 12.7], "{text}");
        assert_eq!(trace.amps(), [0.024, 0.025, 1.1], "{text}");
    }
}

#[test]
fn what_was_assumed_is_said_and_kept() {
    let converted = plain("Time,U,I\n0,12.8,0.024\n1,12.8,0.025\n");
    for expected in ["time is in s", "volts is column 2 \"U\" in V", "cells are separated by commas"] {
        assert!(converted.assumed.iter().any(|said| said == expected), "{:?}", converted.assumed);
    }
    assert_eq!(converted.trace.header().other[0], ("assumed".to_owned(), converted.assumed.join("; ")));
}

#[test]
fn a_burst_with_one_stamp_is_spread_and_a_pause_of_days_is_a_gap() {
    let rows = "0,12,1\n0,12,1\n1,12,1\n1,12,1\n2,12,1\n2,12,1\n200000,12,1\n200001,12,1\n";
    let converted = plain(&format!("t_s,volts,amps\n{rows}"));
    assert_eq!(converted.trace.time(), [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 200_000.0, 200_001.0]);
    let events: Vec<_> = converted.trace.events().iter().map(|event| (event.sample, &event.kind)).collect();
    assert_eq!(events, [(5, &EventKind::Gap)]);
    assert!(
        converted.assumed.iter().any(|said| said.contains("the longest 55 h 33 min")),
        "{:?}",
        converted.assumed
    );
}

#[test]
fn empty_values_are_left_out_and_marked() {
    let converted = plain("t,v,i\n0,12,1\n1,,\n2,OL,1\n3,12,1\n");
    assert_eq!(converted.trace.time(), [0.0, 3.0]);
    assert_eq!(converted.trace.events().len(), 1);
    assert!(converted.assumed.iter().any(|said| said.starts_with("2 rows without a reading")));
}

#[test]
fn power_and_given_volts_stand_in_for_what_is_missing() {
    let volts = ConvertOptions { volts: Some(Volts::constant(12.0)), ..ConvertOptions::default() };
    assert_eq!(with("t,power\n0,6\n1,12\n", &volts).unwrap().trace.amps(), [0.5, 1.0]);
    assert_eq!(with("t,amps\n0,6\n1,12\n", &volts).unwrap().trace.volts(), [12.0, 12.0]);
    assert_eq!(plain("t,volts,mW\n0,12,1500\n1,12,6000\n").trace.amps(), [0.125, 0.5]);
    assert_eq!(plain("t,amps,watts\n0,0.5,6\n1,1,12\n").trace.volts(), [12.0, 12.0]);
    assert!(error("t,amps\n0,6\n1,12\n").contains("--volts"));
}

#[test]
fn the_user_can_say_which_column_holds_what() {
    let columns = Some("time=1:ms,volts=3,amps=4:mA".to_owned());
    let options = ConvertOptions { columns, ..ConvertOptions::default() };
    let trace = with("0,x,12.8,24\n500,x,12.8,25\n", &options).unwrap().trace;
    assert_eq!((trace.time(), trace.amps()), (&[0.0, 0.5][..], &[0.024, 0.025][..]));
}

#[test]
fn what_could_be_meant_in_two_ways_is_refused() {
    assert!(error("t,I,I2\n0,1,2\n1,1,2\n").contains("several columns could be amps"));
    assert!(error("0,1,2\n1,1,2\n").contains("columns without names"));
    assert!(error("t,v,i\n0,12,on\n1,12,1\n2,12,1\n").contains("line 2: amps \"on\" is not a number of A"));
    assert!(error("t,v,i\n5,12,1\n4,12,1\n6,1,1\n").starts_with("line 3: time goes back by 1.00 s"));
    assert!(error("some words\nand more\n").starts_with("no table found"));
    assert!(error("t,v,i\nyesterday,12,1\nnow,12,1\n").contains("is no time"));
}

#[test]
fn the_start_is_kept_with_its_offset_or_as_local_time() {
    let header = |date: &str| plain(&format!("time,v,i\n{date},1,1\n{date},1,1\n")).trace.header().clone();
    assert_eq!(
        header("2026-03-02T09:00:00+01:00").started.unwrap().to_rfc3339(),
        "2026-03-02T09:00:00+01:00"
    );
    let local = header("2026-03-02 09:00:00");
    assert_eq!(local.started, None);
    assert!(local.other.contains(&("started_local".into(), "2026-03-02T09:00:00".into())));
}
