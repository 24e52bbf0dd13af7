//! The same engine on a growing trace.

use super::{Finding, Sources, diagnose};
use crate::reference::Profile;
use crate::trace::{EventKind, Header, Sample, Trace, TraceBuilder, TraceError};
use crate::units::Seconds;

/// A run that is still going on. Its final word is that of [`diagnose`] on the whole trace, by the same code.
#[derive(Debug, Clone)]
pub struct Live {
    builder: TraceBuilder,
    profile: Option<Profile>,
    sources: Sources,
}

impl Live {
    /// A run under `header`, to be compared with `profile`.
    #[must_use]
    pub fn new(header: Header, profile: Option<Profile>, sources: Sources) -> Self {
        Self { builder: TraceBuilder::new(header), profile, sources }
    }

    /// Adds a reading.
    ///
    /// # Errors
    /// [`TraceError`] if its time is not after every row so far.
    pub fn sample(&mut self, sample: Sample) -> Result<(), TraceError> {
        self.builder.sample(sample)
    }

    /// Adds an event.
    ///
    /// # Errors
    /// [`TraceError`] if a later row was already added.
    pub fn event(&mut self, time: Seconds, kind: EventKind) -> Result<(), TraceError> {
        self.builder.event(time, kind)
    }

    /// The trace so far.
    #[must_use]
    pub fn trace(&self) -> &Trace {
        self.builder.trace()
    }

    /// The finding so far: a verdict is said as soon as the evidence carries it, and withdrawn when it no longer does.
    #[must_use]
    pub fn finding(&self) -> Finding {
        diagnose(self.trace(), self.profile.as_ref(), &self.sources)
    }
}
