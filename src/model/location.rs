//! The three-parameter Weibull: a life that cannot fail before its location.
