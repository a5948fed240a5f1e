//! Merging: what the ledgers hold together does not depend on order or on repetition;
//! forks leave everything as it was, and so does a disk that fails.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use proptest::prelude::*;
use wearbook::book::{
    Appender, BookError, Disk, DiskFile, Ledger, Lock, Merge, MergeHow, Merging, Opening, Patience,
    SystemDisk, merge, read_chain,
};

use crate::bench::{Bench, at, now, reading};

fn merged_on(disk: &dyn Disk, from: &[&Path], into: &Path) -> Result<Merge, BookError> {
    let from: Vec<PathBuf> = from.iter().map(|path| path.to_path_buf()).collect();
    let how = MergeHow {
        dry_run: false,
        now: now(),
        disk,
        patience: Patience::default(),
    };
    merge(&from, into, how)
}

fn merged(from: &[&Path], into: &Path) -> Result<Merge, BookError> {
    merged_on(&SystemDisk, from, into)
}

fn outcomes(merge: &Merge) -> Vec<Merging> {
    merge.books.iter().map(|book| book.outcome).collect()
}

/// One more reading a call, at any value: whether it fits is another matter.
fn grow(bench: &Bench, book: &str, readings: std::ops::Range<usize>) {
    let mut appender = Appender::open(bench.folder(), book).expect("open");
    let entries: Vec<_> = readings.map(|n| reading(n as i64, n as i32)).collect();
    appender.append_all(&entries, now()).expect("append");
}

/// Every file of the folder of books, by name.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let listing = match std::fs::read_dir(folder.join("books")) {
        Ok(listing) => listing,
        Err(_) => return BTreeMap::new(),
    };
    listing
        .map(|item| {
            let path = item.expect("item").path();
            let name = path
                .file_name()
                .expect("name")
                .to_string_lossy()
                .into_owned();
            (name, std::fs::read(path).expect("file"))
        })
        .collect()
}

/// The books as a set: what they hold, whatever they are called.
fn held(folder: &Path) -> BTreeSet<Vec<u8>> {
    let files = files(folder).into_iter();
    files
        .filter(|(name, _)| name.ends_with(".jsonl"))
        .map(|(_, bytes)| bytes)
        .collect()
}

/// What was once one book, as it stood after so many of its lines.
type Version = (usize, usize);

/// Ledgers that hold versions of the same few books.
fn ledger(versions: &[Version], story: &[Vec<u8>]) -> Bench {
    let bench = Bench::new();
    let books = bench.folder().join("books");
    std::fs::create_dir(&books).expect("books");
    for (book, lines) in versions {
        let whole = &story[*book];
        let chain = read_chain(whole);
        let end = chain.lines[lines - 1].bytes.end + 1;
        // Two of the books have the same file name.
        let name = ["one", "two", "one"][*book];
        let free = !books.join(format!("{name}.jsonl")).exists();
        let name = if free {
            name.to_owned()
        } else {
            format!("{name}-{book}")
        };
        std::fs::write(books.join(format!("{name}.jsonl")), &whole[..end]).expect("book");
    }
    bench
}

/// Three books of ten lines.
fn story() -> Vec<Vec<u8>> {
    (0..3)
        .map(|n| {
            let bench = Bench::new();
            let mut appender = Appender::open(bench.folder(), "main").expect("open");
            let entries: Vec<_> = (0..9)
                .map(|i| {
                    let mut entry = reading(1000 * n + i, (1000 * n + i) as i32);
                    entry.logged = at(1000 * n + i);
                    entry
                })
                .collect();
            appender.append_all(&entries, now()).expect("append");
            bench.bytes()
        })
        .collect()
}

fn versions() -> impl Strategy<Value = Vec<Version>> {
    prop::collection::vec(prop::option::of(1usize..=10), 3).prop_map(|lines| {
        let pairs = lines.into_iter().enumerate();
        pairs.filter_map(|(n, lines)| Some((n, lines?))).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn merging_again_changes_nothing(a in versions(), b in versions()) {
        let story = story();
        let (a, b) = (ledger(&a, &story), ledger(&b, &story));
        merged(&[a.folder()], b.folder()).expect("merged");
        let once = files(b.folder());
        let again = merged(&[a.folder()], b.folder()).expect("merged");
        prop_assert!(outcomes(&again).iter().all(|o| matches!(o, Merging::Same | Merging::Ahead(_))));
        prop_assert_eq!(files(b.folder()), once);
    }

    #[test]
    fn order_and_direction_do_not_matter(a in versions(), b in versions(), c in versions()) {
        let story = story();
        let made = || [&a, &b, &c].map(|versions| ledger(versions, &story));
        // The longest of each, and all of them.
        let expected: BTreeSet<Vec<u8>> = (0..3)
            .filter_map(|n| {
                let all = a.iter().chain(&b).chain(&c);
                let lines = all.filter(|(book, _)| *book == n).map(|(_, lines)| *lines).max()?;
                let end = read_chain(&story[n]).lines[lines - 1].bytes.end + 1;
                Some(story[n][..end].to_vec())
            })
            .collect();
        let [x, y, z] = made();
        merged(&[x.folder(), y.folder()], z.folder()).expect("merged");
        prop_assert_eq!(&held(z.folder()), &expected);
        let [x, y, z] = made();
        merged(&[y.folder()], x.folder()).expect("merged");
        merged(&[z.folder()], x.folder()).expect("merged");
        prop_assert_eq!(&held(x.folder()), &expected);
        let [x, y, z] = made();
        merged(&[x.folder()], z.folder()).expect("merged");
        merged(&[z.folder()], y.folder()).expect("merged");
        prop_assert_eq!(&held(y.folder()), &expected);
        prop_assert_eq!(Ledger::read(y.folder()).expect("read").broken(), []);
    }

    /// However far two went apart, whichever is merged into the other.
    #[test]
    fn a_fork_is_refused_and_leaves_no_trace(same in 1usize..5, ours in 1usize..4, theirs in 1usize..4) {
        let (a, b) = (Bench::new(), Bench::new());
        grow(&a, "main", 0..same);
        std::fs::create_dir(b.folder().join("books")).expect("books");
        std::fs::copy(a.book(), b.book()).expect("copy");
        grow(&a, "main", 100..100 + ours);
        grow(&b, "main", 200..200 + theirs);
        // What could be merged is not either.
        grow(&a, "alone-a", 300..301);
        grow(&b, "alone-b", 400..402);
        for (from, into) in [(&a, &b), (&b, &a)] {
            let before = files(into.folder());
            let error = merged(&[from.folder()], into.folder()).expect_err("a fork");
            let troubles = error.troubles();
            prop_assert_eq!(troubles.len(), 1);
            prop_assert_eq!(troubles[0].kind, "fork");
            let place = troubles[0].place.as_ref().expect("place");
            prop_assert_eq!(place.line, Some(same + 2));
            prop_assert!(place.file.starts_with(&from.folder().display().to_string()));
            prop_assert_eq!(files(into.folder()), before);
        }
    }
}

#[test]
fn torn_ends_stay_behind_and_are_set_aside_here() {
    let (a, b) = (Bench::new(), Bench::new());
    grow(&a, "main", 0..3);
    std::fs::create_dir(b.folder().join("books")).expect("books");
    std::fs::copy(a.book(), b.book()).expect("copy");
    grow(&a, "main", 10..12);
    let whole = a.bytes();
    let torn = |bench: &Bench, text: &str| {
        let mut bytes = bench.bytes();
        bytes.extend_from_slice(text.as_bytes());
        std::fs::write(bench.book(), bytes).expect("tear");
    };
    torn(&a, "{\"prev\":\"torn there");
    torn(&b, "{\"prev\":\"torn here");
    let merge = merged(&[a.folder()], b.folder()).expect("merged");
    assert_eq!(outcomes(&merge), [Merging::Extended(2)]);
    assert_eq!((merge.set_aside.len(), merge.torn.len()), (1, 1));
    assert_eq!(b.bytes(), whole);
    let aside = b.folder().join(&merge.set_aside[0].file);
    assert_eq!(
        std::fs::read(aside).expect("kept"),
        b"{\"prev\":\"torn here"
    );
    // Recording goes on in the merged book.
    grow(&b, "main", 20..21);
    assert_eq!(read_chain(&b.bytes()).lines.len(), 7);
}

#[test]
fn a_lock_that_is_held_is_waited_for() {
    let (a, b) = (Bench::new(), Bench::new());
    grow(&a, "main", 0..3);
    let held = std::fs::File::create(b.folder().join(".lock")).expect("lock file");
    held.lock().expect("lock");
    let how = |dry_run| MergeHow {
        dry_run,
        now: now(),
        disk: &SystemDisk,
        patience: Patience::silent(std::time::Duration::ZERO),
    };
    let from = [a.folder().to_owned()];
    let error = merge(&from, b.folder(), how(false)).expect_err("held");
    assert!(matches!(error, BookError::Busy { .. }));
    // Looking needs no lock.
    let dry = merge(&from, b.folder(), how(true)).expect("dry run");
    assert_eq!(outcomes(&dry), [Merging::Copied]);
    assert!(!b.folder().join("books").exists());
}

/// A disk on which everything from one act on fails, or only that one.
#[derive(Debug)]
struct Faulty {
    acts: Arc<AtomicUsize>,
    fails_at: usize,
    /// As when the program is killed there: nothing after it is done either.
    for_ever: bool,
}

impl Faulty {
    fn act(&self) -> io::Result<()> {
        let act = self.acts.fetch_add(1, Ordering::Relaxed);
        if act == self.fails_at || (self.for_ever && act > self.fails_at) {
            return Err(io::Error::other("the disk failed"));
        }
        Ok(())
    }
}

#[derive(Debug)]
struct FaultyFile {
    file: Box<dyn DiskFile>,
    disk: Faulty,
}

impl DiskFile for FaultyFile {
    fn len(&self) -> io::Result<u64> {
        self.file.len()
    }
    fn read_from(&mut self, byte: u64) -> io::Result<Vec<u8>> {
        self.file.read_from(byte)
    }
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if let Err(error) = self.disk.act() {
            // Half of it gets there.
            self.file.write(&bytes[..bytes.len() / 2])?;
            return Err(error);
        }
        self.file.write(bytes)
    }
    fn sync(&mut self) -> io::Result<()> {
        self.disk.act()?;
        self.file.sync()
    }
    fn set_len(&mut self, len: u64) -> io::Result<()> {
        self.disk.act()?;
        self.file.set_len(len)
    }
}

impl Disk for Faulty {
    fn try_lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>> {
        self.act()?;
        SystemDisk.try_lock(path)
    }
    fn open(&self, path: &Path, how: Opening) -> io::Result<Box<dyn DiskFile>> {
        self.act()?;
        let disk = Faulty {
            acts: self.acts.clone(),
            ..*self
        };
        let file = SystemDisk.open(path, how)?;
        Ok(Box::new(FaultyFile { file, disk }))
    }
    fn exists(&self, path: &Path) -> bool {
        SystemDisk.exists(path)
    }
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.act()?;
        SystemDisk.make_folder(path)
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.act()?;
        SystemDisk.sync_folder(path)
    }
    fn copy(&self, from: &Path, to: &Path) -> io::Result<u64> {
        if let Err(error) = self.act() {
            let bytes = std::fs::read(from)?;
            std::fs::write(to, &bytes[..bytes.len() / 2])?;
            return Err(error);
        }
        SystemDisk.copy(from, to)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.act()?;
        SystemDisk.rename(from, to)
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.act()?;
        SystemDisk.remove(path)
    }
}

/// Two books to extend, one of them with a torn end, and two new ones.
fn four_books() -> (Bench, Bench) {
    let (a, b) = (Bench::new(), Bench::new());
    grow(&a, "main", 0..3);
    grow(&a, "other", 100..102);
    std::fs::create_dir(b.folder().join("books")).expect("books");
    for book in ["main", "other"] {
        let file = format!("books/{book}.jsonl");
        std::fs::copy(a.folder().join(&file), b.folder().join(&file)).expect("copy");
    }
    let mut torn = b.bytes();
    torn.extend_from_slice(b"{\"prev\":\"torn");
    std::fs::write(b.book(), torn).expect("tear");
    grow(&a, "main", 10..13);
    grow(&a, "other", 110..111);
    grow(&a, "third", 200..204);
    grow(&a, "fourth", 300..301);
    (a, b)
}

/// Books by name, without a torn end, which may have been set aside or not.
fn whole_lines(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut books = files(folder);
    books.retain(|name, _| name.ends_with(".jsonl"));
    for bytes in books.values_mut() {
        let whole = read_chain(bytes).torn.start;
        bytes.truncate(whole);
    }
    books
}

#[test]
fn a_disk_that_fails_anywhere_leaves_all_books_or_none() {
    let mut at = 0;
    let mut refused = 0;
    loop {
        let (a, b) = four_books();
        let before = whole_lines(b.folder());
        let disk = Faulty {
            acts: Arc::default(),
            fails_at: at,
            for_ever: false,
        };
        let outcome = merged_on(&disk, &[a.folder()], b.folder());
        let after = whole_lines(b.folder());
        let done = held(a.folder());
        if disk.acts.load(Ordering::Relaxed) <= at {
            outcome.expect("nothing failed");
            assert_eq!(held(b.folder()), done);
            break;
        }
        match outcome {
            // What failed was not needed for it.
            Ok(_) => assert_eq!(held(b.folder()), done, "act {at}"),
            Err(BookError::Unsure { .. }) => assert_eq!(held(b.folder()), done, "act {at}"),
            Err(error) => {
                refused += 1;
                assert!(error.is_io(), "act {at}: {error}");
                assert_eq!(after, before, "act {at}: {error}");
            }
        }
        // Once the disk is well again, the merge is done after all.
        merged(&[a.folder()], b.folder()).expect("merged");
        assert_eq!(held(b.folder()), done, "act {at}");
        at += 1;
    }
    assert!(refused > 20, "only {refused} of {at} acts failed the merge");
}

#[test]
fn killed_anywhere_each_book_is_whole() {
    let mut at = 0;
    loop {
        let (a, b) = four_books();
        let (before, done) = (whole_lines(b.folder()), whole_lines(a.folder()));
        let disk = Faulty {
            acts: Arc::default(),
            fails_at: at,
            for_ever: true,
        };
        let _ = merged_on(&disk, &[a.folder()], b.folder());
        for (name, bytes) in whole_lines(b.folder()) {
            let whole = before.get(&name) == Some(&bytes) || done.get(&name) == Some(&bytes);
            assert!(whole, "act {at}: {name} is neither as before nor merged");
        }
        let finished = disk.acts.load(Ordering::Relaxed) <= at;
        merged(&[a.folder()], b.folder()).expect("merged");
        assert_eq!(whole_lines(b.folder()), done, "act {at}");
        if finished {
            break;
        }
        at += 1;
    }
    assert!(at > 20);
}
