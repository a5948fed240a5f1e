//! Is it one population: nested models over groups, and ratios of lives.
