//! A file written beside its place, to be renamed into it once whole.
//!
//! In: a folder and text. Out: a synced file under a passing name.
//! Never: the final name; saying what went wrong (the caller knows what was being written).

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;

use tempfile::NamedTempFile;

/// Writes the text to a new file in the folder and syncs it to disk.
pub(super) fn write_beside(folder: &Path, text: &str) -> io::Result<NamedTempFile> {
    let mut beside = NamedTempFile::new_in(folder)?;
    // Not through the temporary file itself: it would put its passing name into the error.
    beside.as_file_mut().write_all(text.as_bytes())?;
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
