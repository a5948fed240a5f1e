//! A ledger folder with the register of the sample, and files laid beside it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use chrono::{DateTime, TimeZone, Utc};
use wearbook::book::{Appender, Ledger};
use wearbook::intake::import::map::Map;
use wearbook::intake::import::plan::{Plan, plan};
use wearbook::intake::import::sheet::Sheet;

/// A folder that goes away with the value.
pub struct Desk {
    room: tempfile::TempDir,
}

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

impl Desk {
    /// With nothing in it.
    pub fn bare() -> Desk {
        let room = tempfile::tempdir().expect("temporary folder");
        Desk { room }
    }

    /// With the register of the invented plant in `oat-works/`.
    pub fn new() -> Desk {
        let desk = Desk::bare();
        let ledger = desk.ledger();
        std::fs::create_dir(&ledger).expect("ledger");
        let register = root().join("sample-ledger/plant.toml");
        std::fs::copy(register, ledger.join("plant.toml")).expect("register");
        desk
    }

    pub fn folder(&self) -> &Path {
        self.room.path()
    }

    pub fn ledger(&self) -> PathBuf {
        self.folder().join("oat-works")
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder().join(name)
    }

    pub fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), text).expect("write");
    }

    pub fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).expect(name)
    }

    /// Lays an example of `tests/import` here.
    pub fn lay(&self, names: &[&str]) {
        for name in names {
            std::fs::copy(root().join("tests/import").join(name), self.path(name)).expect(name);
        }
    }

    /// The binary, in this folder, with an empty environment.
    pub fn run(&self, args: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_wearbook"));
        command.args(args).env_clear().current_dir(self.folder());
        command.output().expect("wearbook")
    }

    /// What a run says on stdout, with its exit code.
    pub fn told(&self, args: &[&str]) -> (i32, String) {
        let output = self.run(args);
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!errors.contains("panicked"), "{errors}");
        let code = output.status.code().expect("exit code");
        let mut text = String::from_utf8(output.stdout).expect("text");
        if code > 1 {
            text.push_str(&errors);
        }
        (code, text)
    }

    /// Every entry of the ledger as JSON lines, without what differs from run to run.
    pub fn lines(&self) -> Vec<String> {
        let ledger = Ledger::read(&self.ledger()).expect("ledger");
        let mut lines = Vec::new();
        for book in &ledger.books {
            for n in 1..=book.lines.len() {
                let text = String::from_utf8_lossy(book.text(n)).into_owned();
                let mut line: serde_json::Value = serde_json::from_str(&text).expect("line");
                let object = line.as_object_mut().expect("object");
                object.remove("prev");
                object.remove("logged");
                if object["entry"] != "opened" {
                    lines.push(line.to_string());
                }
            }
        }
        lines
    }
}

/// The clock of tests that go past the binary.
pub fn now() -> DateTime<Utc> {
    let time = Utc.with_ymd_and_hms(2026, 1, 1, 0, 0, 0);
    time.single().expect("one time")
}

/// Plans the import of a text.
pub fn planned(appender: &mut Appender, map: &Map, csv: &str) -> Plan {
    let sheet = Sheet::of_text("rows.csv", csv.to_owned(), map.file.delimiter);
    let made = plan(&sheet, map, appender, Some("Me"), now(), &mut |_, _, _| {});
    made.unwrap_or_else(|error| panic!("{error:?}"))
}

/// Plans and writes what can stand; the plan, and how many entries were written.
pub fn imported(ledger: &Path, map: &Map, csv: &str) -> (Plan, usize) {
    let mut appender = Appender::open_for_import(ledger, "main").expect("ledger");
    let plan = planned(&mut appender, map, csv);
    let entries: Vec<_> = plan.entries().collect();
    let recorded = appender.append_new(&entries, now()).expect("append");
    let written = recorded.iter().flatten().count();
    assert_eq!(written, plan.fresh(), "what was planned was written");
    (plan, written)
}
