//! One-parameter fits: a Weibull whose shape is stated.
