//! A disk that fails where the test says, and one that loses what was not synced when the power
//! is cut. Both write to real files, so that what is left can be read as a user's would.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearbook::book::{Disk, DiskFile, Lock, Opening, SystemDisk};

/// What goes wrong at the chosen operation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum How {
    /// It fails, and everything after it works.
    Once(ErrorKind),
    /// It fails, and so does everything after it.
    FromThen(ErrorKind),
    /// A write or a copy brings only half of its bytes, then fails; everything after works.
    Half,
    /// The same, and everything after fails too.
    HalfFromThen,
    /// Nothing fails, but every write brings a byte or two at a time.
    ShortWrites,
    /// The power is cut: what was not synced is lost, in part or whole, and nothing works any more.
    PowerCut { seed: u64 },
}

/// What was done, and what is to fail.
#[derive(Debug)]
pub struct Script {
    how: How,
    /// Counted from 1; 0: nothing fails.
    fail_at: usize,
    pub done: Vec<(&'static str, PathBuf)>,
    pub tripped: bool,
    /// What each file held when it was last synced; `None`: it was not there.
    safe: BTreeMap<PathBuf, Option<Vec<u8>>>,
    /// Files whose names are not on disk yet.
    nameless: BTreeSet<PathBuf>,
    /// Renames whose folder was not synced yet.
    renamed: Vec<(PathBuf, PathBuf)>,
}

#[derive(Debug, Clone)]
pub struct Faulty(Arc<Mutex<Script>>);

impl Faulty {
    /// A disk whose `fail_at`th operation goes wrong.
    pub fn new(how: How, fail_at: usize) -> Faulty {
        Faulty(Arc::new(Mutex::new(Script {
            how,
            fail_at,
            done: Vec::new(),
            tripped: false,
            safe: BTreeMap::new(),
            nameless: BTreeSet::new(),
            renamed: Vec::new(),
        })))
    }

    pub fn script<T>(&self, look: impl FnOnce(&mut Script) -> T) -> T {
        look(&mut self.0.lock().expect("no panic under it"))
    }

    /// From now on everything works.
    pub fn mend(&self) {
        self.script(|script| script.fail_at = 0);
    }

    /// Counts an operation; tells whether it is the one, or fails as those after it do.
    fn step(&self, what: &'static str, path: &Path) -> io::Result<Option<How>> {
        self.script(|script| {
            script.done.push((what, path.to_owned()));
            let n = script.done.len();
            if script.fail_at == 0 || n < script.fail_at {
                return Ok(None);
            }
            if n > script.fail_at {
                return match script.how {
                    How::FromThen(kind) => Err(kind.into()),
                    How::HalfFromThen => Err(ErrorKind::StorageFull.into()),
                    How::PowerCut { .. } => Err(io::Error::other("no power")),
                    How::Once(_) | How::Half | How::ShortWrites => Ok(None),
                };
            }
            match script.how {
                How::ShortWrites => Ok(None),
                How::Once(kind) | How::FromThen(kind) => {
                    script.tripped = true;
                    Err(kind.into())
                }
                How::Half | How::HalfFromThen => {
                    let halves = matches!(what, "write" | "copy");
                    script.tripped |= halves;
                    Ok(halves.then_some(script.how))
                }
                How::PowerCut { seed } => {
                    script.tripped = true;
                    Ok(Some(How::PowerCut { seed }))
                }
            }
        })
    }

    /// Does an operation, or does not.
    fn act<T>(
        &self,
        what: &'static str,
        path: &Path,
        act: impl FnOnce() -> io::Result<T>,
    ) -> io::Result<T> {
        match self.step(what, path)? {
            Some(How::PowerCut { seed }) => {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                // Its own effect may have reached the disk or not.
                if rng.random() {
                    let _ = act();
                }
                self.script(|script| script.lose(&mut rng));
                Err(io::Error::other("no power"))
            }
            _ => act(),
        }
    }

    fn full<T>() -> io::Result<T> {
        Err(ErrorKind::StorageFull.into())
    }

    /// Remembers what a file holds before it is first changed.
    fn before(&self, path: &Path) {
        self.script(|script| {
            let held = || fs::read(path).ok();
            script.safe.entry(path.to_owned()).or_insert_with(held);
        });
    }
}

impl Script {
    /// Takes away what was not synced: each file holds what it held at its last sync, or what it
    /// holds now, or something between; each name that was not synced is there or not.
    fn lose(&mut self, rng: &mut impl Rng) {
        for (from, to) in self.renamed.drain(..).rev().collect::<Vec<_>>() {
            if rng.random() {
                // As if it had not been: the old file has its name, the new one its own.
                let new = fs::read(&to).ok();
                put(&to, self.safe.get(&to).cloned().flatten());
                put(&from, new.clone());
                self.safe.insert(from, new);
            } else {
                let now = fs::read(&to).ok();
                self.safe.insert(to, now);
            }
        }
        for (path, safe) in &self.safe {
            let now = fs::read(path).ok();
            let kept = match (safe, now) {
                (safe, now) if *safe == now => now,
                (None, Some(mut now)) => {
                    now.truncate(rng.random_range(0..=now.len()));
                    let gone = self.nameless.contains(path) && rng.random();
                    (!gone).then_some(now)
                }
                (Some(safe), Some(mut now)) => {
                    if now.starts_with(safe) {
                        now.truncate(rng.random_range(safe.len()..=now.len()));
                        Some(now)
                    } else if rng.random() {
                        Some(safe.clone())
                    } else {
                        Some(now)
                    }
                }
                (safe, None) => safe.clone().filter(|_| rng.random()),
            };
            put(path, kept);
        }
        // A synced file whose name, or whose folder's name, was not.
        for path in &self.nameless {
            if rng.random() {
                drop(fs::remove_file(path));
                drop(fs::remove_dir_all(path));
            }
        }
    }
}

fn put(path: &Path, bytes: Option<Vec<u8>>) {
    match bytes {
        Some(bytes) => fs::write(path, bytes).expect("put"),
        None => drop(fs::remove_file(path)),
    }
}

impl Disk for Faulty {
    fn try_lock(&self, path: &Path) -> io::Result<Option<Box<dyn Lock>>> {
        self.act("lock", path, || SystemDisk.try_lock(path))
    }

    fn open(&self, path: &Path, how: Opening) -> io::Result<Box<dyn DiskFile>> {
        if how != Opening::Read {
            self.before(path);
        }
        let new = !path.exists();
        let file = self.act("open", path, || SystemDisk.open(path, how))?;
        self.script(|script| {
            if new {
                script.nameless.insert(path.to_owned());
            }
        });
        Ok(Box::new(FaultyFile {
            disk: self.clone(),
            path: path.to_owned(),
            file,
        }))
    }

    fn exists(&self, path: &Path) -> bool {
        SystemDisk.exists(path)
    }

    fn make_folder(&self, path: &Path) -> io::Result<()> {
        let new = !path.exists();
        self.act("make folder", path, || SystemDisk.make_folder(path))?;
        self.script(|script| {
            if new {
                script.nameless.insert(path.to_owned());
            }
        });
        Ok(())
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.act("sync folder", path, || SystemDisk.sync_folder(path))?;
        self.script(|script| {
            script.nameless.retain(|file| file.parent() != Some(path));
            for (from, to) in script
                .renamed
                .extract_if(.., |(_, to)| to.parent() == Some(path))
            {
                let now = fs::read(&to).ok();
                script.safe.insert(to, now);
                script.safe.remove(&from);
            }
        });
        Ok(())
    }

    fn copy(&self, from: &Path, to: &Path) -> io::Result<u64> {
        self.before(to);
        match self.step("copy", to)? {
            Some(How::PowerCut { seed }) => {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                let bytes = fs::read(from)?;
                fs::write(to, &bytes[..rng.random_range(0..=bytes.len())])?;
                self.script(|script| {
                    script.nameless.insert(to.to_owned());
                    script.lose(&mut rng);
                });
                Err(io::Error::other("no power"))
            }
            Some(_) => {
                let bytes = fs::read(from)?;
                fs::write(to, &bytes[..bytes.len() / 2])?;
                Faulty::full()
            }
            None => {
                self.script(|script| script.nameless.insert(to.to_owned()));
                SystemDisk.copy(from, to)
            }
        }
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.before(to);
        let rename = || {
            SystemDisk.rename(from, to)?;
            self.script(|script| script.renamed.push((from.to_owned(), to.to_owned())));
            Ok(())
        };
        self.act("rename", to, rename)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.before(path);
        self.act("remove", path, || SystemDisk.remove(path))
    }
}

#[derive(Debug)]
struct FaultyFile {
    disk: Faulty,
    path: PathBuf,
    file: Box<dyn DiskFile>,
}

impl DiskFile for FaultyFile {
    fn len(&self) -> io::Result<u64> {
        self.disk.act("len", &self.path, || self.file.len())
    }

    fn read_from(&mut self, byte: u64) -> io::Result<Vec<u8>> {
        let file = &mut self.file;
        self.disk.act("read", &self.path, || file.read_from(byte))
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let file = &mut self.file;
        match self.disk.step("write", &self.path)? {
            Some(How::PowerCut { seed }) => {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                let _ = file.write(&bytes[..rng.random_range(0..=bytes.len())]);
                self.disk.script(|script| script.lose(&mut rng));
                Err(io::Error::other("no power"))
            }
            Some(_) => {
                // A disk that fills up takes what it can; the next write tells.
                let half = bytes.len() / 2;
                file.write(&bytes[..half])?;
                Faulty::full()
            }
            None => {
                let short = self.disk.script(|script| script.how == How::ShortWrites);
                let most = if short { 2 } else { bytes.len() };
                file.write(&bytes[..most.min(bytes.len())])
            }
        }
    }

    fn sync(&mut self) -> io::Result<()> {
        let (file, path) = (&mut self.file, &self.path);
        self.disk.act("sync", path, || file.sync())?;
        let now = fs::read(path).ok();
        self.disk
            .script(|script| script.safe.insert(path.clone(), now));
        Ok(())
    }

    fn set_len(&mut self, len: u64) -> io::Result<()> {
        let file = &mut self.file;
        self.disk.act("set_len", &self.path, || file.set_len(len))
    }
}
