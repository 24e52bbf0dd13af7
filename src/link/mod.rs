//! A byte link to an instrument: serial, TCP, in memory; deadlines; nothing about supplies.
