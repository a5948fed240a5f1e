//! Commands: one file each; read, compute, show.
//!
//! In: the command line. Out: text on stdout, everything else on stderr, an exit code.
//! Never: statistics, SQL, layout of a report. Only this room prints and reads the clock.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

mod amend;
mod apart;
mod backtest;
mod backtest_judge;
mod beside;
mod check;
mod compare;
mod completions;
mod cost;
mod cost_change;
mod cost_explain;
mod cost_frame;
mod cost_indicators;
mod cost_saved;
mod curves;
mod dress;
mod evidence;
mod export;
mod fault;
mod fit;
mod fit_ask;
mod fit_charts;
mod fit_modes;
mod forecast;
mod forecast_ledger;
mod forecast_parts;
mod group_inputs;
pub mod group_machine;
mod histories;
mod history;
mod import;
mod interval;
mod interval_file;
mod interval_grouped;
mod interval_ledger;
mod interval_look;
mod interval_words;
mod lives;
mod man;
mod merge;
mod on_offer;
mod plan;
mod plan_inputs;
mod progress;
mod query;
mod record;
mod recur;
mod report;
mod report_engineer;
mod report_money;
mod report_since;
mod report_stops;
mod seal;
mod select;
mod sheet;
mod sheet_stop;
mod simulate;
mod start;
mod trend_note;
mod ui;
mod usage;
mod wear;
mod wear_charts;
mod wear_ledger;
mod wear_now;
mod withdraw;

pub use fault::{CommandError, Fault};
pub use start::TEMPLATE;
pub use ui::{Format, Ui};

/// How a command that did its work came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Done; exit code 0.
    Done,
    /// Done, and there is something to look at; exit code 1.
    Findings,
    /// What a child of this program came out with: its exit code.
    Child(u8),
}

/// Keeps the record of wearing parts on high-pressure plunger machines and says when to renew them
#[derive(Debug, Parser)]
#[command(name = "wearbook", version, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
    /// Say nothing but the result and errors
    // Without a place of its own it would wander with the number of commands.
    #[arg(long, short, global = true, display_order = 900)]
    quiet: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    Start(start::StartArgs),
    Record(Box<record::RecordArgs>),
    Import(Box<import::ImportArgs>),
    Withdraw(withdraw::WithdrawArgs),
    Amend(amend::AmendArgs),
    Check(check::CheckArgs),
    Seal(seal::SealArgs),
    Merge(merge::MergeArgs),
    History(history::HistoryArgs),
    Wear(wear::WearArgs),
    Sheet(sheet::SheetArgs),
    Lives(lives::LivesArgs),
    Fit(fit::FitArgs),
    Compare(Box<compare::CompareArgs>),
    Recur(recur::RecurArgs),
    Interval(interval::IntervalArgs),
    Plan(plan::PlanArgs),
    Forecast(Box<forecast::ForecastArgs>),
    Backtest(backtest::BacktestArgs),
    Cost(Box<cost::CostArgs>),
    Report(report::ReportArgs),
    Query(query::QueryArgs),
    Export(export::ExportArgs),
    Simulate(simulate::SimulateArgs),
    Completions(completions::CompletionsArgs),
    Man(man::ManArgs),
}

/// Parses the command line, runs one command and tells its exit code:
/// 0 done; 1 done, with findings; 2 wrong use; 3 bad data or ledger;
/// 4 could not read or write; 5 a computation that has no answer.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) if error.use_stderr() => {
            let words = std::env::args_os().map(|word| word.to_string_lossy().into_owned());
            let error = usage::wrong_use(&error, words);
            Ui::new(false).complain(&error);
            return ExitCode::from(error.fault.exit_code());
        }
        Err(help) => {
            // Help and version are results.
            let _ = help.print();
            return ExitCode::SUCCESS;
        }
    };
    let mut ui = Ui::new(cli.quiet);
    let outcome: Result<Outcome, CommandError> = match &cli.command {
        Command::Start(args) => start::run(args, &mut ui),
        Command::Record(args) => record::run(args, &mut ui),
        Command::Import(args) => import::run(args, &mut ui),
        Command::Withdraw(args) => withdraw::run(args, &mut ui),
        Command::Amend(args) => amend::run(args, &mut ui),
        Command::Check(args) => check::run(args, &mut ui),
        Command::Seal(args) => seal::run(args, &mut ui),
        Command::Merge(args) => merge::run(args, &mut ui),
        Command::History(args) => history::run(args, &mut ui),
        Command::Lives(args) => lives::run(args, &mut ui),
        Command::Fit(args) => fit::run(args, &mut ui),
        Command::Compare(args) => compare::run(args, &mut ui),
        Command::Interval(args) => interval::run(args, &mut ui),
        Command::Plan(args) => plan::run(args, &mut ui),
        Command::Forecast(args) => forecast::run(args, &mut ui),
        Command::Backtest(args) => backtest::run(args, &mut ui),
        Command::Cost(args) => cost::run(args, &mut ui),
        Command::Recur(args) => recur::run(args, &mut ui),
        Command::Sheet(args) => sheet::run(args, &mut ui),
        Command::Wear(args) => wear::run(args, &mut ui),
        Command::Report(args) => report::run(args, &mut ui),
        Command::Query(args) => query::run(args, &mut ui),
        Command::Export(args) => export::run(args, &mut ui),
        Command::Simulate(args) => simulate::run(args, &mut ui),
        Command::Completions(args) => completions::run(args, &mut ui),
        Command::Man(args) => man::run(args, &mut ui),
    };
    match outcome {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Findings) => ExitCode::from(1),
        Ok(Outcome::Child(code)) => ExitCode::from(code),
        Err(error) if error.is_closed_pipe() => ExitCode::SUCCESS,
        Err(error) => {
            ui.complain(&error);
            ExitCode::from(error.fault.exit_code())
        }
    }
}
