//! Do successive lives get shorter or longer.
