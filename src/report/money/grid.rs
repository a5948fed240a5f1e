//! A table of the part as the template sets it, and how its figures are written.
//!
//! In: text. Out: [`Grid`]. Never: what is said.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::Serialize;

use crate::chart::{number, significant};
use crate::policy::decide::Saving;

/// One column's heading.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Head {
    pub text: String,
    /// Figures stand to the right, under each other.
    pub figure: bool,
}

/// One cell.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Cell {
    pub text: String,
    /// In smaller words beneath.
    pub sub: Option<String>,
}

/// One row; its first cell names it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Row {
    pub cells: Vec<Cell>,
    /// The sum of the rows above.
    pub total: bool,
}

/// A table.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Grid {
    pub title: String,
    /// How to read it.
    pub caption: String,
    pub heads: Vec<Head>,
    pub rows: Vec<Row>,
}

impl Grid {
    /// A heading that begins with `>` is one of figures.
    pub(super) fn new(title: &str, caption: String, heads: &[&str]) -> Grid {
        Grid {
            title: title.to_owned(),
            caption,
            heads: heads
                .iter()
                .map(|head| Head {
                    text: head.trim_start_matches('>').to_owned(),
                    figure: head.starts_with('>'),
                })
                .collect(),
            rows: Vec::new(),
        }
    }

    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = Cell>) {
        self.rows.push(Row {
            cells: cells.into_iter().collect(),
            total: false,
        });
    }

    pub(super) fn total(&mut self, cells: impl IntoIterator<Item = Cell>) {
        self.row(cells);
        if let Some(last) = self.rows.last_mut() {
            last.total = true;
        }
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell { text, sub: None }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        text.to_owned().into()
    }
}

impl Cell {
    pub(super) fn with(text: impl Into<String>, sub: impl Into<String>) -> Cell {
        Cell {
            text: text.into(),
            sub: Some(sub.into()),
        }
    }

    pub(super) fn none() -> Cell {
        "–".into()
    }
}

/// An exact amount in smallest units: "1,234.50".
pub(super) fn exact(amount: Decimal, decimals: u32) -> String {
    let rounded = amount.round_dp_with_strategy(decimals, RoundingStrategy::MidpointAwayFromZero);
    let plain = format!("{:.1$}", rounded.abs(), decimals as usize);
    let sign = if rounded.is_sign_negative() && !rounded.is_zero() {
        "−"
    } else {
        ""
    };
    format!("{sign}{}", crate::quantity::group(&plain))
}

/// An amount in whole units: "1,235".
pub(super) fn whole(amount: Decimal) -> String {
    exact(amount, 0)
}

/// A whole amount with its sign: "+1,235", "−20".
pub(super) fn signed(amount: Decimal) -> String {
    let text = whole(amount);
    if text.starts_with('−') || text == "0" {
        text
    } else {
        format!("+{text}")
    }
}

/// An estimate to three digits, whole at least.
pub(super) fn about(value: f64) -> String {
    if value.abs() < 100.0 {
        number(value, 0)
    } else {
        significant(value, 3)
    }
}

/// Limits of an estimate, or of a saving: "8,020 to 17,100".
pub(super) fn between(found: &Saving) -> String {
    format!("{} to {}", about(found.lower), about(found.upper))
}

/// Money for each unit of usage: two decimals, more where it is small.
pub(super) fn rate(value: f64) -> String {
    let decimals = match value.abs() {
        v if v >= 1.0 || v == 0.0 => 2,
        v if v >= 0.1 => 3,
        _ => 4,
    };
    number(value, decimals)
}

/// A share: "41 %".
pub(super) fn share(part: Decimal, whole: Decimal) -> Option<String> {
    if whole.is_zero() {
        return None;
    }
    let share = (part / whole).to_f64()?;
    Some(percent(share))
}

pub(super) fn percent(share: f64) -> String {
    match share {
        s if s > 0.0 && s < 0.005 => "under 1 %".to_owned(),
        s if s > 0.995 && s < 1.0 => "over 99 %".to_owned(),
        s => format!("{} %", number(100.0 * s, 0)),
    }
}
