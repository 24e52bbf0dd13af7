//! The one integration binary: the program and the library as their users meet them.

mod arrows;
mod profiles;
mod program;
mod record;
mod trace;
mod usage;
