//! Partial pooling: groups that lean on their siblings as far as the data say.
