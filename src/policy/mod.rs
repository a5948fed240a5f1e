//! Policies: when to renew.
