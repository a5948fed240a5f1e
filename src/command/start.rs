//! `start`: a new ledger folder with a commented register.

use std::path::PathBuf;

use super::beside::write_beside;
use super::{CommandError, Fault, Outcome, Ui};
use crate::book::BOOKS;
use crate::quantity::trouble::{Trouble, shown};
use crate::register::FILE_NAME;

/// The register a new ledger begins with; a test holds it to be without fault.
pub const TEMPLATE: &str = include_str!("start.toml");

/// Make a new ledger folder with a commented register
///
/// The register is an example that loads as it is: put your own plant in its place
/// before you record. Nothing that is there already is overwritten.
#[derive(Debug, clap::Args)]
pub struct StartArgs {
    /// Folder to make (it may exist, but not hold a register)
    folder: PathBuf,
}

pub fn run(args: &StartArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let folder = &args.folder;
    let register = folder.join(FILE_NAME);
    let books = folder.join(BOOKS);
    let taken = |path: &std::path::Path| {
        CommandError::new(
            Fault::Use,
            Trouble::error("already-there", "already there, and not overwritten")
                .in_file(shown(path))
                .cured_by("name another folder, or edit what is there"),
        )
    };
    if register.symlink_metadata().is_ok() {
        return Err(taken(&register));
    }
    std::fs::create_dir_all(&books)
        .map_err(|error| CommandError::io(&books, "make the folder", &error))?;
    let write = || -> std::io::Result<bool> {
        match write_beside(folder, TEMPLATE.as_bytes())?.persist_noclobber(&register) {
            Ok(_) => Ok(true),
            Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => Ok(false),
            Err(error) => Err(error.error),
        }
    };
    match write() {
        Ok(true) => {}
        Ok(false) => return Err(taken(&register)),
        Err(error) => return Err(CommandError::io(&register, "write", &error)),
    }
    ui.result(&format!(
        "{} is ready: put your plant into {}",
        folder.display(),
        shown(&register)
    ))?;
    ui.remark(&format!(
        "then read a meter: wearbook record --ledger {} reading --machine TAG --meter hours --value N",
        folder.display()
    ));
    Ok(Outcome::Done)
}
