//! `simulate`: a ledger from a stated truth and a seed.

use std::path::PathBuf;

use super::{CommandError, Fault, Outcome, Ui};
use crate::quantity::group;
use crate::register::Register;
use crate::simulate::{self, Place, Size, WriteError};

/// Make a ledger from a stated truth and a seed
///
/// Runs the plant of a register through the years: parts live and fail as the truth says,
/// a crew renews, inspects and errs. The result is a ledger like any other. The same
/// register, truth and seed give the same books, byte for byte.
#[derive(Debug, clap::Args)]
pub struct SimulateArgs {
    /// What is true of the plant and stands in none of its books
    #[arg(long, value_name = "FILE")]
    truth: PathBuf,
    /// The plant to run
    #[arg(long, value_name = "FILE")]
    register: PathBuf,
    /// Number that stands for the whole of chance
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    seed: u64,
    /// Ledger folder to make; it must not exist yet, or be empty
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Length of the record in years (default: as the truth says)
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..=100))]
    years: Option<u32>,
    /// Machines in all; those beyond the register's behave like its own, in turn
    #[arg(long, value_name = "NUMBER")]
    machines: Option<usize>,
    /// Entries in all: as many machines as it takes (unless stated), cut after so many
    #[arg(long, value_name = "NUMBER")]
    entries: Option<usize>,
}

pub fn run(args: &SimulateArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let register_text = read(&args.register)?;
    let truth_text = read(&args.truth)?;
    let register = Register::load(&args.register).map_err(|error| {
        let fault = if error.is_io() {
            Fault::Io
        } else {
            Fault::Data
        };
        CommandError::all(fault, error.troubles())
    })?;
    let file = args.truth.display().to_string();
    let unfit = |error: simulate::SimulateError| {
        let fault = match error {
            simulate::SimulateError::TooFewMachines { .. } => Fault::Use,
            _ => Fault::Data,
        };
        CommandError::all(fault, error.troubles(&file))
    };
    let truth = simulate::parse_truth(&truth_text).map_err(unfit)?;
    let size = Size {
        years: args.years,
        machines: args.machines,
        entries: args.entries,
    };
    let made = simulate::simulate(&register, &truth, args.seed, size).map_err(unfit)?;
    let place = Place {
        folder: &args.out,
        register: &simulate::register_text(&register_text, &register, &made.more),
        job_book: &truth.record.job_book,
        reading_book: &truth.record.reading_book,
    };
    simulate::write(&place, &made.entries).map_err(|error| {
        let fault = match &error {
            WriteError::Taken { .. } => Fault::Use,
            error if error.is_io() => Fault::Io,
            _ => Fault::Data,
        };
        CommandError::all(fault, error.troubles())
    })?;
    ui.remark(&format!(
        "{} entries of {} machines in {}",
        group(&made.entries.len().to_string()),
        register.machines.len() + made.more.len(),
        args.out.display()
    ));
    Ok(Outcome::Done)
}

fn read(path: &std::path::Path) -> Result<String, CommandError> {
    std::fs::read_to_string(path).map_err(|error| CommandError::io(path, "read it", &error))
}
