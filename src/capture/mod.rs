//! The poll loop, its clock, stop rules, the journal on disk.
