//! The one integration binary: the program and the library as their users meet them.

mod any_trace;
mod arrows;
mod bench;
mod cable;
mod convert;
mod dialects;
mod disk;
mod drive;
mod laptop;
mod learn;
mod noise;
mod partitions;
mod peer;
mod plot;
mod profiles;
mod program;
mod record;
mod scpi_device;
mod segment;
mod simulate;
mod stream;
mod tap;
mod ticket;
mod ticket_folder;
mod trace;
mod usage;
