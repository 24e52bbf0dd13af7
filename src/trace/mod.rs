//! A log in memory, and the reading and writing of logs.
//!
//! [`Trace`] is what every analysis works on: columns of time, volts and amps with equal lengths, finite values and
//! strictly increasing time, checked once by [`TraceBuilder`] and trusted from there on. What the header says and
//! what happened during the run ([`Event`]) travel with it. Nothing here knows of supplies or links: a log alone
//! gives the verdict.

mod model;

pub use model::{Event, EventKind, Header, Mode, Sample, Trace, TraceBuilder, TraceError};
