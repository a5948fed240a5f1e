//! Where the money went: cost items added up by what they belong to, over the usage run.
//!
//! In: [`CostItem`]s, what to keep apart, usage of each machine. Out: [`Breakdown`]: groups whose
//! amounts add up to the total, exactly. Never: rounding money, dates, SQL, printing.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::life::{CostClass, CostItem, CostKind, RenewalKind};

/// What groups are kept apart by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum By {
    Machine,
    Component,
    Position,
    Part,
    Mode,
    Kind,
}

impl By {
    pub fn word(self) -> &'static str {
        match self {
            By::Machine => "machine",
            By::Component => "component",
            By::Position => "position",
            By::Part => "part",
            By::Mode => "mode",
            By::Kind => "kind",
        }
    }

    /// What the item has of this; `None` where it has none.
    fn of(self, item: &CostItem) -> Option<String> {
        match self {
            By::Machine => item.machine.clone(),
            By::Component => item.component.clone(),
            By::Position => item.position.clone(),
            By::Part => item.part.clone(),
            By::Mode => item.mode.clone(),
            By::Kind => Some(item.kind.word().to_owned()),
        }
    }
}

/// Money by what it went for, exact.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Amounts {
    pub parts: Decimal,
    pub labour: Decimal,
    /// Lost production.
    pub downtime: Decimal,
    pub extra: Decimal,
    pub expense: Decimal,
}

impl Amounts {
    pub fn of(&self, class: CostClass) -> Decimal {
        match class {
            CostClass::Parts => self.parts,
            CostClass::Labour => self.labour,
            CostClass::Downtime => self.downtime,
            CostClass::Extra => self.extra,
            CostClass::Expense => self.expense,
        }
    }

    pub fn total(&self) -> Decimal {
        self.parts + self.labour + self.downtime + self.extra + self.expense
    }

    fn add(&mut self, class: CostClass, amount: Decimal) {
        *match class {
            CostClass::Parts => &mut self.parts,
            CostClass::Labour => &mut self.labour,
            CostClass::Downtime => &mut self.downtime,
            CostClass::Extra => &mut self.extra,
            CostClass::Expense => &mut self.expense,
        } += amount;
    }
}

/// What belongs together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Group {
    /// In the order of what was kept apart; `None`: it belongs to no such thing.
    pub keys: Vec<Option<String>>,
    pub amounts: Amounts,
    pub renewals: u64,
    /// Of the renewals those that a failure forced.
    pub failures: u64,
    /// Items whose cost is not known: the amounts are too low by theirs.
    pub unpriced: u64,
    /// Usage run in the period by the machines it is set against; `None`: unknown, or money of
    /// no machine.
    pub usage: Option<f64>,
}

impl Group {
    /// Cost for each unit of usage; `None` where no usage is known.
    pub fn rate(&self) -> Option<f64> {
        let usage = self.usage.filter(|usage| *usage > 0.0)?;
        Some(self.amounts.total().to_f64()? / usage)
    }

    /// Share of a whole; `None` where that is 0.
    pub fn share(&self, whole: &Group) -> Option<f64> {
        let whole = whole.amounts.total();
        if whole.is_zero() {
            return None;
        }
        (self.amounts.total() / whole).to_f64()
    }

    fn add(&mut self, item: &CostItem) {
        match item.amount {
            Some(amount) => self.amounts.add(item.class, amount),
            None => self.unpriced += 1,
        }
        // A renewal has one row for its parts, whatever they cost.
        if item.class == CostClass::Parts {
            self.renewals += 1;
            self.failures += u64::from(item.cause == Some(RenewalKind::Failed));
        }
    }
}

/// Groups, the dearest first, and all of them together.
#[derive(Debug, Clone, PartialEq)]
pub struct Breakdown {
    pub groups: Vec<Group>,
    pub total: Group,
}

/// Adds items up by what they belong to.
///
/// `usage` holds what each machine ran in the period, `None` where its meter tells nothing. A
/// group of one machine is set against that machine's usage, any other against that of all.
/// Where a machine that cost something has no usage, no usage of all is known.
pub fn breakdown<'a>(
    items: impl IntoIterator<Item = &'a CostItem>,
    by: &[By],
    usage: &BTreeMap<String, Option<f64>>,
) -> Breakdown {
    let mut groups: BTreeMap<Vec<Option<String>>, Group> = BTreeMap::new();
    let mut total = Group::default();
    let mut costly: BTreeSet<&str> = BTreeSet::new();
    for item in items {
        let keys: Vec<Option<String>> = by.iter().map(|by| by.of(item)).collect();
        groups.entry(keys).or_default().add(item);
        total.add(item);
        costly.extend(item.machine.as_deref());
    }
    let ran = |machine: &str| usage.get(machine).copied().flatten();
    let known = costly.iter().all(|machine| ran(machine).is_some());
    let all = usage.values().flatten().copied().reduce(|a, b| a + b);
    total.usage = all.filter(|_| known);
    let machine = by.iter().position(|by| *by == By::Machine);
    let mut groups: Vec<Group> = groups
        .into_iter()
        .map(|(keys, group)| {
            let usage = match machine.map(|at| keys[at].as_deref()) {
                Some(Some(name)) => ran(name),
                Some(None) => None,
                None => total.usage,
            };
            Group {
                keys,
                usage,
                ..group
            }
        })
        .collect();
    groups.sort_by(|a, b| {
        let dearest = b.amounts.total().cmp(&a.amounts.total());
        dearest.then_with(|| a.keys.cmp(&b.keys))
    });
    Breakdown { groups, total }
}

/// Things that happened and were paid for, of one kind: jobs, renewals outside jobs, expenses.
pub fn events<'a>(items: impl IntoIterator<Item = &'a CostItem>, kind: CostKind) -> u64 {
    let seen: BTreeSet<(&str, Option<&str>, &str)> = items
        .into_iter()
        .filter(|item| item.kind == kind)
        .map(|item| match (&item.job, item.kind) {
            (Some(job), CostKind::Corrective | CostKind::Preventive) => {
                (item.ledger.as_str(), item.machine.as_deref(), job.as_str())
            }
            _ => (item.ledger.as_str(), None, item.sha.as_str()),
        })
        .collect();
    seen.len() as u64
}
