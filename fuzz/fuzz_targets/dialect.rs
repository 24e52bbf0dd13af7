//! Any text is a dialect or is refused by file and line; what is taken never asks by a command that sets something.
#![no_main]

use feedtale::supply::Dialect;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Dialect::parse("any.toml", text) {
        Ok(dialect) => assert!(dialect.all_queries().iter().all(|query| query.contains('?'))),
        Err(error) => assert!(error.to_string().starts_with("any.toml:"), "{error}"),
    }
});
