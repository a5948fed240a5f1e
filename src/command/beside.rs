//! Files written beside their places, to be renamed into them once whole.
//!
//! In: a folder, names and text. Out: synced files; none is put in place before all are whole.
//! Never: saying what a failure means (the caller knows what was being written).

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::{CommandError, Fault};
use crate::quantity::trouble::Trouble;

/// What could not be done, and where.
#[derive(Debug)]
pub(super) struct Cannot {
    pub(super) path: PathBuf,
    /// E.g. "make the folder".
    pub(super) doing: &'static str,
    error: io::Error,
}

impl Cannot {
    fn new(path: &Path, doing: &'static str, error: io::Error) -> Cannot {
        Cannot {
            path: path.to_owned(),
            doing,
            error,
        }
    }

    /// The system's own words: a library between adds the passing name of a file beside.
    pub(super) fn why(&self) -> io::Error {
        match self.error.raw_os_error() {
            Some(code) => io::Error::from_raw_os_error(code),
            None => io::Error::from(self.error.kind()),
        }
    }
}

impl Cannot {
    /// What to tell; the caller adds what it means and how to mend it.
    pub(super) fn told(&self, more: impl FnOnce(Trouble) -> Trouble) -> CommandError {
        let what = format!("could not {}: {}", self.doing, self.why());
        let trouble = Trouble::error("io", what).in_file(self.path.display().to_string());
        CommandError::new(Fault::Io, more(trouble))
    }
}

/// The folder a file is to stand in: the present one where its name says none.
pub(super) fn folder_of(file: &Path) -> &Path {
    file.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// Makes the folder and a file in it, which goes again: before any work is done.
pub(super) fn prove_writable(folder: &Path) -> Result<(), Cannot> {
    std::fs::create_dir_all(folder)
        .map_err(|error| Cannot::new(folder, "make the folder", error))?;
    NamedTempFile::new_in(folder)
        .map(drop)
        .map_err(|error| Cannot::new(folder, "write to the folder", error))
}

/// Writes every file (name, bytes) beside its place and syncs it, then renames all in their
/// order: a reader finds each old file or the new one, whole.
pub(super) fn write_all<'a, B: AsRef<[u8]>>(
    folder: &Path,
    files: impl IntoIterator<Item = (&'a str, B)>,
) -> Result<(), Cannot> {
    let mut ready = Vec::new();
    for (name, bytes) in files {
        let path = folder.join(name);
        let beside = write_beside(folder, bytes.as_ref())
            .map_err(|error| Cannot::new(&path, "write", error))?;
        ready.push((path, beside));
    }
    for (path, beside) in ready {
        beside
            .persist(&path)
            .map_err(|error| Cannot::new(&path, "write", error.error))?;
    }
    Ok(())
}

/// Writes the bytes to a new file in the folder and syncs it to disk.
pub(super) fn write_beside(folder: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let mut beside = NamedTempFile::new_in(folder)?;
    // Not through the temporary file itself: it would put its passing name into the error.
    beside.as_file_mut().write_all(bytes)?;
    open_to_all(beside.as_file())?;
    beside.as_file().sync_all()?;
    Ok(beside)
}

/// A file made beside is readable by its maker alone; what is written here is for everyone
/// who may read the folder.
#[cfg(unix)]
fn open_to_all(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_all(_: &File) -> io::Result<()> {
    Ok(())
}
