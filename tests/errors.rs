//! What bad input gets: for each folder of `tests/errors`, the smallest input that
//! causes a trouble, and the exact text, streams and exit code it is answered with.
//! `tests/errors/README.md` tells how a case is written.
//!
//! Whatever is answered with an exit code of 2 or more must also have left every file
//! of the ledger byte for byte as it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn cases() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/errors");
    let mut cases: Vec<PathBuf> = fs::read_dir(root)
        .expect("tests/errors")
        .map(|item| item.expect("item").path())
        .filter(|path| path.join("command").is_file())
        .collect();
    cases.sort();
    cases
}

#[test]
fn every_bad_input_gets_its_exact_answer() {
    let bless = std::env::var_os("WEARBOOK_BLESS").is_some();
    let mut wrong = Vec::new();
    let cases = cases();
    for case in &cases {
        let name = case.file_name().expect("name").to_string_lossy();
        let (found, touched) = answer(case);
        if !touched.is_empty() {
            wrong.push(format!("{name}: changed {touched:?}"));
        }
        let path = case.join("expected");
        if bless {
            fs::write(&path, &found).expect("expected");
            continue;
        }
        let expected = fs::read_to_string(&path).unwrap_or_default();
        if expected != found {
            wrong.push(format!(
                "{name}\n--- expected\n{expected}\n--- found\n{found}"
            ));
        }
    }
    assert!(cases.len() >= 55, "only {} cases were found", cases.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

/// One layout for all: what is wrong, with its file and line; the line and a mark under
/// it; evidence; how to mend it.
#[test]
fn every_answer_has_one_layout() {
    let mut strange = Vec::new();
    for case in cases() {
        let text = fs::read_to_string(case.join("expected")).expect("expected");
        let (_, errors) = text.split_once("--- stderr\n").expect("stderr");
        let mut begun = false;
        for line in errors.lines() {
            let head = ["error: ", "warning: ", "note: "];
            begun |= head.iter().any(|word| line.starts_with(word));
            let excerpt = line
                .trim_start()
                .split_once('|')
                .is_some_and(|(n, _)| n.trim_end().bytes().all(|b| b.is_ascii_digit()));
            let fits = head.iter().any(|word| line.starts_with(word))
                || begun && (excerpt || line.starts_with("   "));
            if !fits {
                strange.push(format!("{}: {line}", case.display()));
            }
        }
        // An answer by exit code alone would leave its reader alone.
        let code = text.lines().next().unwrap_or_default();
        let told = begun || text.contains("error: ") || text.contains("warning: ");
        if ["exit 2", "exit 3", "exit 4", "exit 5"].contains(&code) && !told {
            strange.push(format!("{}: nothing told", case.display()));
        }
    }
    assert!(strange.is_empty(), "{}", strange.join("\n"));
}

/// Runs a case; returns what it was answered with, and the files it should not have
/// touched and did.
fn answer(case: &Path) -> (String, Vec<String>) {
    let room = tempfile::tempdir().expect("temporary folder");
    let ledger = room.path().join("ledger");
    fs::create_dir(&ledger).expect("ledger");
    let setup = fs::read_to_string(case.join("setup")).unwrap_or_default();
    let base = case.parent().expect("parent").join("base");
    if !setup.lines().any(|line| line == "bare") {
        copy_tree(&base, &ledger);
    }
    let input = case.join("in");
    if input.is_dir() {
        copy_tree(&input, &ledger);
    }
    let mut way = Way::Plain;
    // Held until the command is done.
    let mut held = None;
    for line in setup.lines().filter(|line| !line.is_empty()) {
        prepare(line, &ledger, &mut way, &mut held);
    }
    let before = files(&ledger);
    let command = fs::read_to_string(case.join("command")).expect("command");
    let output = way.run(&words(command.trim()), &ledger, room.path());
    let code = output.status.code().map_or(-1, i64::from);
    let mut touched = Vec::new();
    if code >= 2 {
        let after = files(&ledger);
        touched.extend(
            before
                .keys()
                .filter(|f| before.get(*f) != after.get(*f))
                .cloned(),
        );
        touched.extend(after.keys().filter(|f| !before.contains_key(*f)).cloned());
    }
    let out = String::from_utf8(output.stdout).expect("stdout in UTF-8");
    let err = String::from_utf8(output.stderr).expect("stderr in UTF-8");
    assert!(!err.contains("panicked"), "{}: {err}", case.display());
    let text = format!(
        "exit {code}\n--- stdout\n{}--- stderr\n{}",
        steady(&out),
        steady(&err)
    );
    (text, touched)
}

/// Replaces what differs from run to run: the time now, and names of new lines.
fn steady(text: &str) -> String {
    let mut lines = Vec::new();
    for line in text.lines() {
        let mut line = line.to_owned();
        if let Some(at) = line.find("after now, ") {
            let from = at + "after now, ".len();
            line.replace_range(from..from + "2026-01-01 00:00".len(), "[NOW]");
        }
        let name = line.get(..12).is_some_and(|head| {
            head.bytes().all(|b| b.is_ascii_hexdigit()) && line.as_bytes().get(12) == Some(&b' ')
        });
        if name {
            line.replace_range(..12, "[NAME]");
        }
        lines.push(line + "\n");
    }
    lines.concat()
}

/// How the binary is run.
enum Way {
    Plain,
    /// With this file as standard input.
    Stdin(PathBuf),
    /// As a user who may not write in the ledger.
    ReadOnly,
    /// With files limited to so many blocks of 512 bytes, as on a full disk.
    SmallDisk(u32),
}

impl Way {
    fn run(&self, args: &[String], ledger: &Path, room: &Path) -> Output {
        let binary = env!("CARGO_BIN_EXE_wearbook");
        let mut command = match self {
            Way::Plain | Way::Stdin(_) => Command::new(binary),
            Way::ReadOnly => as_stranger(binary, ledger, room),
            Way::SmallDisk(blocks) => {
                // A shell that ignores SIGXFSZ hands that on: writes beyond the limit
                // then fail as they do on a full disk, part of the bytes written.
                let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
                let mut command = Command::new("sh");
                command.args(["-c", &script, binary]);
                command
            }
        };
        let stdin = match self {
            Way::Stdin(file) => Stdio::from(fs::File::open(file).expect("stdin")),
            _ => Stdio::null(),
        };
        command
            .args(args)
            .env_clear()
            .current_dir(ledger)
            .stdin(stdin)
            .output()
            .expect("wearbook")
    }
}

/// Root may write anywhere, so root hands the run to a user who may not.
#[cfg(unix)]
fn as_stranger(binary: &str, ledger: &Path, room: &Path) -> Command {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    let root = fs::metadata(ledger).expect("ledger").uid() == 0;
    for folder in [ledger.to_owned(), ledger.join("books")] {
        fs::set_permissions(folder, fs::Permissions::from_mode(0o555)).expect("read only");
    }
    if !root {
        return Command::new(binary);
    }
    // The build folder may be closed to that user, so the binary comes along.
    fs::set_permissions(room, fs::Permissions::from_mode(0o755)).expect("open");
    let here = room.join("wearbook");
    if fs::hard_link(binary, &here).is_err() {
        fs::copy(binary, &here).expect("copy");
    }
    let mut command = Command::new(here);
    command.uid(65_534).gid(65_534);
    command
}

#[cfg(not(unix))]
fn as_stranger(binary: &str, _: &Path, _: &Path) -> Command {
    Command::new(binary)
}

/// Locks the ledger as a recording program does.
fn lock(ledger: &Path) -> fs::File {
    let file = fs::File::create(ledger.join(".lock")).expect("lock file");
    file.lock().expect("lock");
    file
}

/// One line of a case's `setup`.
fn prepare(line: &str, ledger: &Path, way: &mut Way, held: &mut Option<fs::File>) {
    let mut parts = line.splitn(3, ' ');
    let (verb, file, rest) = (
        parts.next().unwrap_or_default(),
        parts.next().unwrap_or_default(),
        parts.next().unwrap_or_default(),
    );
    let path = ledger.join(file);
    match verb {
        "bare" => {}
        "stdin" => *way = Way::Stdin(path),
        "read-only" => *way = Way::ReadOnly,
        "small-disk" => *way = Way::SmallDisk(file.parse().expect("blocks")),
        "edit" => {
            let (old, new) = rest.split_once(" => ").expect("OLD => NEW");
            let text = fs::read_to_string(&path).expect("file");
            assert_eq!(text.matches(old).count(), 1, "{old} stands once");
            fs::write(&path, text.replace(old, new)).expect("edit");
        }
        "drop" => {
            let number: usize = rest.parse().expect("line");
            let text = fs::read_to_string(&path).expect("file");
            let kept = text.lines().enumerate().filter(|(n, _)| n + 1 != number);
            let kept: String = kept.map(|(_, line)| format!("{line}\n")).collect();
            fs::write(&path, kept).expect("drop");
        }
        "tear" => {
            let bytes = fs::read(&path).expect("file");
            let cut: usize = rest.parse().expect("bytes");
            fs::write(&path, &bytes[..bytes.len() - cut]).expect("tear");
        }
        "copy" => {
            fs::copy(&path, ledger.join(rest)).expect("copy");
        }
        "remove" if path.is_dir() => fs::remove_dir_all(&path).expect("remove"),
        "remove" => fs::remove_file(&path).expect("remove"),
        "file" => fs::write(&path, rest).expect("file"),
        "folder" => fs::create_dir_all(&path).expect("folder"),
        "lock" => *held = Some(lock(ledger)),
        "byte" => {
            let mut bytes = fs::read(&path).expect("file");
            bytes.push(u8::from_str_radix(rest, 16).expect("hex"));
            fs::write(&path, bytes).expect("byte");
        }
        other => panic!("unknown setup `{other}`"),
    }
}

/// Splits a command line at blanks; single quotes keep blanks.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    let (mut quoted, mut any) = (false, false);
    for c in line.chars() {
        match c {
            '\'' => {
                quoted = !quoted;
                any = true;
            }
            ' ' | '\n' if !quoted => {
                if any || !word.is_empty() {
                    words.push(std::mem::take(&mut word));
                }
                any = false;
            }
            c => word.push(c),
        }
    }
    if any || !word.is_empty() {
        words.push(word);
    }
    words
}

fn copy_tree(from: &Path, to: &Path) {
    for item in fs::read_dir(from).expect("folder") {
        let path = item.expect("item").path();
        let target = to.join(path.file_name().expect("name"));
        if path.is_dir() {
            fs::create_dir_all(&target).expect("folder");
            copy_tree(&path, &target);
        } else {
            fs::copy(&path, &target).expect("copy");
        }
    }
}

/// Every file with its bytes; the lock file, which holds none, is passed over.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for item in fs::read_dir(next).expect("folder") {
            let path = item.expect("item").path();
            if path.is_dir() {
                folders.push(path);
            } else if !path.ends_with(".lock") {
                let name = path
                    .strip_prefix(folder)
                    .expect("inside")
                    .display()
                    .to_string();
                all.insert(name, fs::read(&path).expect("file"));
            }
        }
    }
    all
}
