//! Any bytes are a log or are refused; what was read is written and read back as it was.
#![no_main]

use feedtale::trace::{read, write};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(log) = read(bytes) {
        let again = read(&write(&log.trace)).expect("a written log is read");
        assert_eq!(again.trace, log.trace);
    }
});
