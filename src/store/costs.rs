//! Typed rows of money: what was paid or lost, and the jobs behind it.
//!
//! In: Arrow batches of DuckDB. Out: [`CostItem`], [`Job`].
//! Never: sharing or adding up money; the queries do the one, the cost room the other.

use super::cursor::{Cursor, Kind, QueryRow};
use super::error::StoreError;
use crate::life::{CostClass, CostItem, CostKind, Job, RenewalKind};

impl QueryRow for CostItem {
    const QUERY: &'static str = "costs";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("ledger", Kind::Text),
        ("machine", Kind::Text),
        ("component", Kind::Text),
        ("position", Kind::Text),
        ("part", Kind::Text),
        ("mode", Kind::Text),
        ("kind", Kind::Text),
        ("class", Kind::Text),
        ("time", Kind::Time),
        ("job", Kind::Text),
        ("cause", Kind::Text),
        ("shared", Kind::Truth),
        ("amount", Kind::Money),
        ("what", Kind::Text),
        ("sha", Kind::Text),
    ];
    const ORDER: &'static str = "ledger, \"time\", machine, component, \"position\", class, sha";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(CostItem {
            ledger: row.need_text()?,
            machine: row.text()?,
            component: row.text()?,
            position: row.text()?,
            part: row.text()?,
            mode: row.text()?,
            kind: row.word(CostKind::from_word)?,
            class: row.word(CostClass::from_word)?,
            time: row.need_time()?,
            job: row.text()?,
            cause: match row.text()? {
                None => None,
                Some(word) => Some(
                    RenewalKind::from_word(&word)
                        .ok_or_else(|| row.error("a known cause", format!("`{word}`")))?,
                ),
            },
            shared: row.truth()?,
            amount: row.money()?,
            what: row.text()?,
            sha: row.need_text()?,
        })
    }
}

impl QueryRow for Job {
    const QUERY: &'static str = "jobs";
    const COLUMNS: &'static [(&'static str, Kind)] = &[
        ("ledger", Kind::Text),
        ("machine", Kind::Text),
        ("job", Kind::Text),
        ("kind", Kind::Text),
        ("time", Kind::Time),
        ("start", Kind::Time),
        ("stop", Kind::Time),
        ("labour_h", Kind::Money),
        ("downtime_h", Kind::Money),
        ("labour", Kind::Money),
        ("downtime", Kind::Money),
        ("extra", Kind::Money),
        ("sha", Kind::Text),
    ];
    const ORDER: &'static str = "ledger, job, machine";

    fn take(row: &mut Cursor<'_>) -> Result<Self, StoreError> {
        Ok(Job {
            ledger: row.need_text()?,
            machine: row.text()?,
            job: row.need_text()?,
            corrective: row.need_text()? == "corrective",
            time: row.need_time()?,
            start: row.time()?,
            stop: row.time()?,
            labour_h: row.money()?,
            downtime_h: row.money()?,
            labour: row.need_money()?,
            downtime: row.money()?,
            extra: row.need_money()?,
            sha: row.need_text()?,
        })
    }
}
