//! Does a fit hold: Anderson-Darling for censored data, with a bootstrap p-value.
