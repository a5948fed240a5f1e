//! Gathers the report's part on where the money goes.
//!
//! In: a store and its evidence. Out: [`MoneyPart`]; `None` where the record tells of none.
//! Never: printing, words.

use super::CommandError;
use super::evidence::ComponentEvidence;
use crate::report::money::MoneyPart;
use crate::store::Store;

pub(super) fn money(
    _store: &Store,
    _evidence: &[ComponentEvidence],
    _confidence: f64,
) -> Result<Option<MoneyPart>, CommandError> {
    Ok(None)
}
