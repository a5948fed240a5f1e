//! Models: life distributions, their likelihood, and what the data say of them.
