//! The ticket folder: picture, log, finding, texts.
