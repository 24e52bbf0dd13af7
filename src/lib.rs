//! feedtale reads how far a repaired board boots from the volts and amps of the lab supply that feeds it.
//!
//! The way of the data: a [`supply`] is polled over a [`link`] by [`capture`] into a [`trace`] (a log, in memory or
//! on disk); [`segment`] cuts the trace at its changes; [`verdict`] gives the pieces a meaning against a
//! [`reference`](mod@reference) profile and ends in one [`verdict::Finding`], from which [`render`] and [`ticket`]
//! make what a person keeps. A log alone gives the verdict: nothing from `trace` to `ticket` knows of supplies.
//!
//! The library returns values and never prints, reads the environment or exits; that is the part of [`cli`].

pub mod capture;
pub mod cli;
pub mod link;
pub mod reference;
pub mod render;
pub mod scpi;
pub mod segment;
mod share;
pub mod simulator;
pub mod stats;
pub mod supply;
pub mod ticket;
pub mod trace;
pub mod units;
pub mod verdict;
