//! A first map from the headings and values of a file.

use std::path::Path;

use super::{ImportArgs, already_there, folder};
use crate::command::beside::write_beside;
use crate::command::{CommandError, Fault, Outcome, Ui};
use crate::intake::import::sketch::sketch;
use crate::quantity::trouble::shown;
use crate::register::{FILE_NAME, Register};

pub(super) fn run(args: &ImportArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let register = register(args)?;
    if let Some(out) = args
        .out
        .as_deref()
        .filter(|out| out.symlink_metadata().is_ok())
    {
        return Err(already_there(out));
    }
    let text = sketch(&args.file, register.as_ref()).map_err(|error| {
        let fault = if error.is_io() {
            Fault::Io
        } else {
            Fault::Data
        };
        CommandError::new(fault, error.trouble())
    })?;
    let Some(out) = &args.out else {
        ui.result(&text)?;
        return Ok(Outcome::Done);
    };
    let written = write_beside(folder(out), text.as_bytes())
        .and_then(|file| file.persist_noclobber(out).map_err(|error| error.error));
    match written {
        Ok(_) => {}
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(already_there(out));
        }
        Err(error) => return Err(CommandError::io(out, "write", &error)),
    }
    ui.result(&format!("{} is sketched: look at every line", shown(out)))?;
    ui.remark(&format!(
        "then try it: wearbook import {} --map {}",
        shown(&args.file),
        shown(out)
    ));
    Ok(Outcome::Done)
}

/// The register to look names up in: of the ledger named, else of this folder if it is
/// one.
fn register(args: &ImportArgs) -> Result<Option<Register>, CommandError> {
    let named = args.ledger.as_deref();
    let file = named.unwrap_or(Path::new(".")).join(FILE_NAME);
    if named.is_none() && !file.exists() {
        return Ok(None);
    }
    Ok(Some(Register::load(&file)?))
}
