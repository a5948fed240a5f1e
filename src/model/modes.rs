//! Competing failure modes: a fit a mode, and what they make together.
