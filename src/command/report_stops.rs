//! Gathers the report's part on the stops to come.
//!
//! In: a store and its evidence. Out: [`StopsPart`]; `None` where the record tells of none.
//! Never: printing, words.

use super::CommandError;
use super::evidence::ComponentEvidence;
use crate::report::stops::StopsPart;
use crate::store::Store;

pub(super) fn stops(
    _store: &Store,
    _evidence: &[ComponentEvidence],
) -> Result<Option<StopsPart>, CommandError> {
    Ok(None)
}
