//! Rank regression: a line through median ranks on probability paper.
