//! Which ledgers are meant by the folders given, and what they are called together.
//!
//! In: folders as a user names them. Out: ledger folders;
//! what keeps the ledgers in them from being read as one. Never: reading books.

use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};

use super::error::BookError;
use super::ledger::{BOOKS, copied};
use super::sha::Sha;
use super::survey::Survey;
use crate::quantity::trouble::{Trouble, shown};
use crate::register::{FILE_NAME, Register, clash_troubles};

/// The ledgers meant by these folders (none named: the present one), in their order.
///
/// A folder with a register is a ledger. One without, whose subfolders hold registers,
/// stands for those ledgers, by name; a subfolder that has books and lost its register is
/// among them, so that it is missed aloud. Any other folder is taken for a ledger, and
/// reading it will tell what it lacks. A ledger named twice is read once.
///
/// Errors: a folder that cannot be listed.
pub fn ledger_folders(given: &[PathBuf]) -> Result<Vec<PathBuf>, BookError> {
    let here = [PathBuf::from(".")];
    let given = if given.is_empty() { &here } else { given };
    let mut seen = BTreeSet::new();
    let mut folders = Vec::new();
    for folder in given {
        for ledger in within(folder)? {
            let full = std::fs::canonicalize(&ledger).unwrap_or_else(|_| ledger.clone());
            if seen.insert(full) {
                folders.push(ledger);
            }
        }
    }
    Ok(folders)
}

fn within(folder: &Path) -> Result<Vec<PathBuf>, BookError> {
    let itself = || Ok(vec![folder.to_owned()]);
    if folder.join(FILE_NAME).exists() || !folder.is_dir() {
        return itself();
    }
    let io = |error: std::io::Error| BookError::Io {
        file: shown(folder),
        doing: "read the folder",
        reason: error.to_string(),
    };
    let mut subfolders = Vec::new();
    for item in std::fs::read_dir(folder).map_err(io)? {
        let item = item.map_err(io)?;
        let hidden = item.file_name().to_string_lossy().starts_with('.');
        let path = if folder == Path::new(".") {
            PathBuf::from(item.file_name())
        } else {
            item.path()
        };
        if !hidden && path.is_dir() {
            subfolders.push(path);
        }
    }
    if !subfolders.iter().any(|sub| sub.join(FILE_NAME).exists()) {
        return itself();
    }
    subfolders.retain(|sub| sub.join(FILE_NAME).exists() || sub.join(BOOKS).is_dir());
    subfolders.sort();
    Ok(subfolders)
}

/// Names for ledgers: their folders' names; with a number where two folders share one.
pub fn ledger_names(folders: &[PathBuf]) -> Vec<String> {
    let mut taken = BTreeSet::new();
    folders
        .iter()
        .map(|folder| {
            let full = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.clone());
            let base = full.file_name().map_or_else(
                || "ledger".to_owned(),
                |name| name.to_string_lossy().into_owned(),
            );
            let mut name = base.clone();
            let mut number = 2;
            while !taken.insert(name.clone()) {
                name = format!("{base}-{number}");
                number += 1;
            }
            name
        })
        .collect()
}

/// What keeps ledgers from being read as one, found while they are looked at in turn.
#[derive(Debug, Default)]
pub struct Together {
    registers: Vec<(PathBuf, Register)>,
    /// The file in which a book, known by its first line, was seen.
    books: HashMap<Sha, String>,
    twins: Vec<Trouble>,
}

impl Together {
    /// Looks at one more ledger; `prefix` goes before its books' names.
    pub fn look(&mut self, prefix: &str, ledger: &Survey) {
        // Words of a faulty register are not to be relied on.
        if ledger.register_faults.is_empty() {
            let file = ledger.folder.join(FILE_NAME);
            self.registers.push((file, ledger.register.clone()));
        }
        for (n, book) in ledger.books.iter().enumerate() {
            let Some(first) = ledger.shas_of(n).first() else {
                continue;
            };
            if book.copy_of.is_some() {
                continue;
            }
            let file = format!("{prefix}{}", book.file);
            match self.books.get(first) {
                Some(other) => self.twins.push(copied(&file, other)),
                None => {
                    self.books.insert(*first, file);
                }
            }
        }
    }

    /// Words that registers use differently, and books that lie in two ledgers.
    pub fn troubles(&self) -> Vec<Trouble> {
        let registers = self.registers.iter();
        let registers: Vec<_> = registers.map(|(file, r)| (file.clone(), r)).collect();
        let mut all = clash_troubles(&registers);
        all.extend(self.twins.iter().cloned());
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(files: &[&str]) -> tempfile::TempDir {
        let room = tempfile::tempdir().expect("folder");
        for file in files {
            let path = room.path().join(file);
            std::fs::create_dir_all(path.parent().expect("parent")).expect("folder");
            std::fs::write(path, "").expect("file");
        }
        room
    }

    fn names(room: &tempfile::TempDir, given: &[&str]) -> Vec<String> {
        let given: Vec<PathBuf> = given.iter().map(|name| room.path().join(name)).collect();
        let found = ledger_folders(&given).expect("read");
        let shown = found.iter().map(|path| {
            let inside = path.strip_prefix(room.path()).expect("inside");
            inside.display().to_string()
        });
        shown.collect()
    }

    #[test]
    fn a_folder_of_ledgers_stands_for_them() {
        let room = made(&[
            "fleet/south/plant.toml",
            "fleet/north/plant.toml",
            "fleet/lost/books/main.jsonl",
            "fleet/notes/readme",
            "fleet/.old/plant.toml",
            "fleet/deep/one/plant.toml",
            "alone/plant.toml",
            "alone/inner/plant.toml",
            "bare/books/main.jsonl",
        ]);
        assert_eq!(
            names(&room, &["fleet"]),
            ["fleet/lost", "fleet/north", "fleet/south"]
        );
        // A register makes a folder a ledger, whatever lies within.
        assert_eq!(names(&room, &["alone"]), ["alone"]);
        assert_eq!(names(&room, &["bare"]), ["bare"]);
        assert_eq!(names(&room, &["nowhere"]), ["nowhere"]);
        assert_eq!(
            names(&room, &["alone", "fleet/south", "fleet", "alone"]),
            ["alone", "fleet/south", "fleet/lost", "fleet/north"]
        );
    }

    #[test]
    fn folders_of_one_name_are_told_apart() {
        let room = made(&["a/site/plant.toml", "b/site/plant.toml"]);
        let given = ["a/site", "b/site"].map(|name| room.path().join(name));
        assert_eq!(ledger_names(&given), ["site", "site-2"]);
    }
}
