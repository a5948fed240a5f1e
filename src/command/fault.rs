//! What stops a command: kinds of fault with their exit codes, and the troubles behind them.
//!
//! In: errors of the rooms, as [`Trouble`]s. Out: [`CommandError`].
//! Never: printing (see `ui`).

use std::io;

use crate::book::BookError;
use crate::intake::FileError;
use crate::intake::import::map::MapError;
use crate::quantity::trouble::{Trouble, shown};
use crate::register::RegisterError;
use crate::store::{StoreError, StoreFault};

/// The kind of fault decides the exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Wrong use of the command.
    Use,
    /// Bad data, register or ledger.
    Data,
    /// A file or folder could not be read or written.
    Io,
    /// The computation has no answer for these data.
    NoAnswer,
}

impl Fault {
    pub fn exit_code(self) -> u8 {
        match self {
            Fault::Use => 2,
            Fault::Data => 3,
            Fault::Io => 4,
            Fault::NoAnswer => 5,
        }
    }
}

/// Why a command did not do its work: all the troubles found, not only the first.
#[derive(Debug, Clone)]
pub struct CommandError {
    pub fault: Fault,
    pub troubles: Vec<Trouble>,
    closed_pipe: bool,
}

impl CommandError {
    pub fn new(fault: Fault, trouble: Trouble) -> Self {
        Self::all(fault, vec![trouble])
    }

    pub fn all(fault: Fault, troubles: Vec<Trouble>) -> Self {
        CommandError {
            fault,
            troubles,
            closed_pipe: false,
        }
    }

    /// Wrong use, told in one line and mended in another.
    pub fn wrong_use(what: impl Into<String>, cure: impl Into<String>) -> Self {
        Self::new(Fault::Use, Trouble::error("wrong-use", what).cured_by(cure))
    }

    /// A file or folder that could not be read or written.
    pub fn io(path: &std::path::Path, doing: &str, error: &io::Error) -> Self {
        Self::new(
            Fault::Io,
            Trouble::error("io", format!("could not {doing}: {error}")).in_file(shown(path)),
        )
    }

    /// The reader of stdout went away (`… | head`): end quietly.
    pub fn is_closed_pipe(&self) -> bool {
        self.closed_pipe
    }
}

/// For writes to stdout and stderr.
impl From<io::Error> for CommandError {
    fn from(error: io::Error) -> Self {
        CommandError {
            closed_pipe: error.kind() == io::ErrorKind::BrokenPipe,
            ..Self::new(
                Fault::Io,
                Trouble::error("io", format!("could not write the result: {error}")),
            )
        }
    }
}

impl From<BookError> for CommandError {
    fn from(error: BookError) -> Self {
        let fault = match &error {
            BookError::BookName { .. } => Fault::Use,
            error if error.is_io() => Fault::Io,
            _ => Fault::Data,
        };
        Self::all(fault, error.troubles())
    }
}

impl From<RegisterError> for CommandError {
    fn from(error: RegisterError) -> Self {
        let fault = if error.is_io() {
            Fault::Io
        } else {
            Fault::Data
        };
        Self::all(fault, error.troubles())
    }
}

impl From<StoreError> for CommandError {
    fn from(error: StoreError) -> Self {
        let fault = match error.fault() {
            StoreFault::Use => Fault::Use,
            StoreFault::Data => Fault::Data,
            StoreFault::Io => Fault::Io,
            StoreFault::NoAnswer => Fault::NoAnswer,
        };
        Self::all(fault, error.troubles())
    }
}

impl From<MapError> for CommandError {
    fn from(error: MapError) -> Self {
        let fault = if error.is_io() {
            Fault::Io
        } else {
            Fault::Data
        };
        Self::all(fault, error.troubles())
    }
}

impl From<FileError> for CommandError {
    fn from(error: FileError) -> Self {
        let fault = if error.is_io() {
            Fault::Io
        } else {
            Fault::Data
        };
        Self::all(fault, error.troubles())
    }
}
