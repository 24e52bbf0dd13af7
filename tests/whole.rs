//! The one integration binary: the program and the library as their users meet them.

mod arrows;
mod bench;
mod convert;
mod laptop;
mod learn;
mod partitions;
mod peer;
mod plot;
mod profiles;
mod program;
mod record;
mod scpi_device;
mod simulate;
mod ticket;
mod ticket_folder;
mod trace;
mod usage;
