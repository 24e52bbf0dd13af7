//! A lab supply and a board made of numbers, speaking bytes.
