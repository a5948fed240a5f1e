//! Estimates without a model: product limit, hazard sums, windows, incidence.
