//! Figures; every renderer returns bytes.
