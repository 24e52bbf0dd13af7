//! Any bytes are another logger's table or are refused; what was converted is a log that is read back as it was.
#![no_main]

use feedtale::trace::{ConvertOptions, convert, read, write};
use feedtale::units::Volts;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    // The first byte chooses what the user says; the rest is the file.
    let (choice, bytes) = bytes.split_first().unwrap_or((&0, bytes));
    let columns = [None, Some("time=1,volts=2,amps=3"), Some("time=1:ms,amps=2:mA"), Some("date=1,time=2,watts=3")];
    let options = ConvertOptions {
        columns: columns[usize::from(choice % 4)].map(str::to_owned),
        volts: (choice & 4 > 0).then(|| Volts::constant(5.0)),
        ..ConvertOptions::default()
    };
    if let Ok(converted) = convert(bytes, &options) {
        let again = read(&write(&converted.trace)).expect("a converted log is read");
        assert_eq!(again.trace, converted.trace);
    }
});
