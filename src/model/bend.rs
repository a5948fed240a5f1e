//! Does a probability plot bend, and which way.
