//! A lab supply and a board made of numbers, speaking bytes.
//!
//! From the inside out: a [`Board`] takes power as its state asks, a [`SupplyKind`] feeds it and reads back what it
//! feeds, a [`Bench`] is the two with a person who switches the output on and presses the button. On top there are
//! two ways in: [`capture()`] returns the rows that a poller would log, with no wire and thousands of times faster
//! than real time; the instrument and its servers speak the message syntax of IEEE 488.2 and SCPI-1999 over a
//! pseudo-terminal or TCP.
//!
//! Nothing here shares code with the client side of the program: a bug in both would cancel out and never be seen.
//! Every run is drawn from two numbers, one for the unit of the board and one for the run, and repeats exactly.

mod bench;
mod board;
mod capture;
mod fault;
mod instrument;
mod noise;
mod scenario;
mod serve;
mod supply;

pub use bench::{Bench, Truth, TruthEvent};
pub use board::{Alteration, Board, BoardModel, Case, ModelError, Wake};
pub use capture::{Capture, Polling, Row, capture};
pub use fault::{FaultError, TROUBLES, Trouble, When, WireFault};
pub use instrument::{Answer, Instrument, Manners, ModeBits, QUIRKS, QuirkError, Terminator};
pub use scenario::{Operator, Scenario, ScenarioError};
pub use serve::{DEFAULT_REWIND_S, Exchange, Record, Server, Setup};
pub use supply::{Mode, ReadbackKind, Reading, SupplyKind};
