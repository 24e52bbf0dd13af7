//! Any bytes are a profile or are refused with a line; what was read is written and read back as it was.
#![no_main]

use feedtale::reference::{Profile, ProfileError};
use libfuzzer_sys::fuzz_target;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    match Profile::from_bytes(Path::new("fuzzed.toml"), bytes) {
        Ok(profile) => {
            assert_eq!(Profile::from_toml(&profile.to_toml()).expect("a written profile is read"), profile);
        }
        Err(ProfileError::Invalid { fault, .. }) => {
            let lines = bytes.iter().filter(|byte| **byte == b'\n').count() + 1;
            assert!((1..=lines).contains(&fault.line), "line {} of {lines}", fault.line);
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
