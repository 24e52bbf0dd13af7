//! The client side of the message syntax of IEEE 488.2 and SCPI-1999.
