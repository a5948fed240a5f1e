//! Views: results as tables, JSON and CSV.
//!
//! In: typed results of the rooms below. Out: text; its keys are a contract.
//! Never: computation, printing.

pub mod answer;
pub mod backtest;
pub mod cautions;
pub mod compare;
mod compare_table;
mod compare_words;
pub mod cost;
pub mod cost_change;
pub mod cost_explain;
pub mod cost_saved;
pub mod curves;
mod curves_table;
pub mod findings;
pub mod fit;
pub mod fit_notes;
pub mod forecast;
pub mod group;
pub mod history;
mod history_words;
pub mod import;
pub mod indicators;
pub mod interval;
mod interval_merge;
mod interval_modes;
pub mod lives;
pub mod merge;
pub mod modes;
pub mod plan;
mod plan_table;
mod plan_words;
pub mod recur;
mod recur_table;
mod recur_words;
pub mod seal;
pub mod sheet;
pub mod stated;
pub mod table;
pub mod wear;
mod wear_table;
