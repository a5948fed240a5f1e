//! `record`: append entries, from flags, from answers, or from JSON lines.

use std::fs::File;
use std::io::{BufRead, BufReader, IsTerminal, Read};
use std::path::PathBuf;

use chrono::{DateTime, SubsecRound, Utc};

use super::{CommandError, Fault, Outcome, Ui};
use crate::book::{
    Appender, BookError, Entry, Event, Kind, LineFault, LineFaultKind, Recorded, conflict_trouble,
    line_trouble, parse_given_line, place_of,
};
use crate::quantity::time::show;
use crate::quantity::trouble::Trouble;
use crate::register::Register;

mod args;
mod ask;
mod sheet;
mod verdict;
mod writing;

pub use args::json_value;
use args::{Keys, KindArgs};
pub use writing::{Hand, Writing, patience};

/// Record entries in a book
///
/// The entry is checked against the register and the record, written as one line, and
/// synced to disk before success is told; a refused entry leaves the book as it was.
/// On a terminal, what the flags leave out is asked for. A reading is told how it stands
/// against its limit.
///
/// With --from, JSON lines are recorded: the keys of a book's line without `prev` and
/// `logged`; `time` may be plant time. A file is recorded whole or not at all. Lines
/// from `-` (standard input) are recorded one by one as they come, each told once it
/// is on disk; the first refused line ends it.
///
/// With --sheet, the CSV file that `wearbook sheet` wrote is recorded as far as it is
/// filled in: whole or not at all, and nothing twice.
#[derive(Debug, clap::Args)]
#[command(subcommand_value_name = "KIND", subcommand_help_heading = "Kinds")]
#[command(disable_help_subcommand = true)]
pub struct RecordArgs {
    #[command(flatten)]
    writing: Writing,
    /// Record JSON lines of this file; `-` for standard input
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// Record what was filled in in the CSV file of a work sheet, all or nothing
    #[arg(long, value_name = "FILE.csv", conflicts_with = "from")]
    sheet: Option<PathBuf>,
    /// Record all lines or none, also from standard input
    #[arg(long, requires = "from", conflicts_with = "one_by_one")]
    all_or_nothing: bool,
    /// Record line by line, also from a file
    #[arg(long, requires = "from")]
    one_by_one: bool,
    #[command(subcommand)]
    kind: Option<KindArgs>,
}

/// Books count whole seconds.
pub fn to_the_second(time: DateTime<Utc>) -> DateTime<Utc> {
    time.trunc_subsecs(0)
}

pub fn run(args: &RecordArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let Some(sheet) = &args.sheet {
        return match &args.kind {
            Some(_) => Err(CommandError::wrong_use(
                "either a kind of entry or --sheet, not both",
                "see: wearbook record --help",
            )),
            None => sheet::record_sheet(&args.writing, sheet, ui),
        };
    }
    match (&args.kind, &args.from) {
        (Some(_), Some(_)) => Err(CommandError::wrong_use(
            "either a kind of entry or --from, not both",
            "see: wearbook record --help",
        )),
        (None, None) => Err(CommandError::wrong_use(
            "what is to be recorded?",
            format!(
                "name a kind ({}), or give --from FILE or --sheet FILE.csv",
                Kind::WORDS.join(", ")
            ),
        )),
        (Some(kind), None) => record_flags(args, kind, ui),
        (None, Some(from)) => {
            let stdin = from.as_os_str() == "-";
            let name = if stdin {
                "standard input".to_owned()
            } else {
                from.display().to_string()
            };
            let input: Box<dyn Read> = if stdin {
                Box::new(std::io::stdin())
            } else {
                Box::new(File::open(from).map_err(|error| CommandError::io(from, "read", &error))?)
            };
            let given = GivenLines {
                name,
                input: BufReader::new(input),
                line: 0,
            };
            let whole = args.all_or_nothing || args.writing.dry_run || !(stdin || args.one_by_one);
            if whole {
                record_whole(args, given, ui)
            } else {
                record_one_by_one(args, given, ui)
            }
        }
    }
}

fn record_flags(args: &RecordArgs, kind: &KindArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let now = to_the_second(Utc::now());
    let (kind, mut keys) = kind.keys();
    if kind == Kind::Opened {
        return open_book(args, now, ui);
    }
    let mut appender = args.writing.open(ui)?;
    let who = args.writing.who_if();
    let entry = entry_from(kind, &mut keys, appender.register(), now, who.as_deref())?;
    let recorded = record_one(&mut appender, &entry, now, args.writing.dry_run, ui)?;
    confirm(recorded.as_ref(), &entry, appender.register(), ui)?;
    let ledger = args.writing.ledger();
    let of = std::iter::once(&entry);
    for (_, verdict) in verdict::verdicts_on(of, ledger, appender.register()) {
        ui.result(&verdict)?;
    }
    Ok(Outcome::Done)
}

fn open_book(args: &RecordArgs, now: DateTime<Utc>, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let who = args.writing.who()?;
    let mut appender = args.writing.open(ui)?;
    if args.writing.dry_run {
        return Err(CommandError::wrong_use(
            "a book is opened or not: there is nothing to check",
            "leave --dry-run out",
        ));
    }
    let recorded = appender.open_book(&who, now)?;
    ui.result(&format!(
        "{} {} opened",
        recorded.sha.short(),
        recorded.file
    ))?;
    Ok(Outcome::Done)
}

/// Reads the flags as an entry; on a terminal, asks for what they leave out.
fn entry_from(
    kind: Kind,
    keys: &mut Keys,
    register: &Register,
    now: DateTime<Utc>,
    who: Option<&str>,
) -> Result<Entry, CommandError> {
    let terminal = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    let zone = register.plant.time_zone;
    let mut asked = false;
    loop {
        let line = keys.line();
        let faults = match parse_given_line(line.as_bytes(), zone, now, who) {
            Ok(mut entry) if !asked => {
                // A job written up later happened when it was done, not when it was written up.
                if let Event::Job { stop, .. } = entry.event
                    && keys.get("time").is_none()
                {
                    entry.time = stop;
                }
                return Ok(entry);
            }
            Ok(_) => {
                asked = false;
                ask::ask_mode(keys, register)?;
                continue;
            }
            Err(faults) => faults,
        };
        let missing: Vec<&'static str> = faults
            .iter()
            .filter_map(|fault| match fault.kind {
                LineFaultKind::MissingKey { key, .. } => Some(key),
                _ => None,
            })
            .collect();
        if missing.len() < faults.len() || !terminal {
            let words = |key: &str| ask::choices(keys, key, register);
            return Err(flag_faults(kind, &faults, &missing, words));
        }
        for key in missing {
            ask::ask(keys, key, register)?;
        }
        asked = true;
    }
}

/// As many words as are read at a glance.
const FEW_WORDS: usize = 12;

/// Faults of an entry given by flags, told in terms of the flags.
/// `words` are what a key may say, where the register knows.
fn flag_faults(
    kind: Kind,
    faults: &[LineFault],
    missing: &[&str],
    words: impl Fn(&str) -> Option<Vec<String>>,
) -> CommandError {
    let flag = |key: &str| format!("--{}", key.replace('_', "-"));
    let mut troubles: Vec<Trouble> = faults
        .iter()
        .filter(|fault| !matches!(fault.kind, LineFaultKind::MissingKey { .. }))
        .map(|fault| {
            let mut trouble = Trouble::error(fault.kind.name(), fault.kind.to_string());
            trouble.cure.extend(fault.kind.cure());
            trouble
        })
        .collect();
    if !missing.is_empty() {
        let flags: Vec<String> = missing.iter().map(|key| flag(key)).collect();
        let what = format!("`record {}` lacks {}", kind.word(), flags.join(", "));
        let mut trouble = Trouble::error("wrong-use", what);
        for key in missing {
            match words(key) {
                Some(words) if (1..=FEW_WORDS).contains(&words.len()) => {
                    trouble = trouble.cured_by(format!("{}: {}", flag(key), words.join(", ")));
                }
                _ => {}
            }
        }
        troubles.push(trouble.cured_by(format!("see: wearbook record {} --help", kind.word())));
    }
    CommandError::all(Fault::Use, troubles)
}

/// Records one entry, or checks it only; tells of lines set aside on the way.
pub fn record_one(
    appender: &mut Appender,
    entry: &Entry,
    now: DateTime<Utc>,
    dry_run: bool,
    ui: &mut Ui,
) -> Result<Option<Recorded>, CommandError> {
    if dry_run {
        appender.rehearse(std::slice::from_ref(entry), now)?;
        return Ok(None);
    }
    let recorded = appender.append(entry, now);
    tell_set_aside(appender, ui);
    Ok(Some(recorded?))
}

/// Tells of lines cut short that were set aside on the way.
pub fn tell_set_aside(appender: &mut Appender, ui: &mut Ui) {
    for set_aside in appender.take_set_aside() {
        ui.trouble(&set_aside.trouble());
    }
}

/// Tells in one line what was recorded, the name of the line first.
pub fn confirm(
    recorded: Option<&Recorded>,
    entry: &Entry,
    register: &Register,
    ui: &mut Ui,
) -> Result<(), CommandError> {
    let what = describe(entry, register);
    match recorded {
        Some(recorded) => ui.result(&format!(
            "{} {what} ({}:{})",
            recorded.sha.short(),
            recorded.file,
            recorded.line
        )),
        None => ui.result(&format!(
            "could be recorded: {what} (dry run, nothing written)"
        )),
    }
}

fn describe(entry: &Entry, register: &Register) -> String {
    let mut words = vec![entry.event.kind().word().to_owned()];
    words.extend(entry.machine.clone());
    if let Some(slot) = entry.event.slot() {
        words.push(slot.component.clone());
        words.push(slot.position.clone());
    }
    words.extend(details(entry, register));
    words.push(show(entry.time, register.plant.time_zone));
    words.join(" ")
}

/// What an entry states beside its kind, machine, slot and time.
pub fn details(entry: &Entry, register: &Register) -> Option<String> {
    Some(match &entry.event {
        Event::Reading {
            meter,
            value,
            reset,
        } => {
            let unit = register.usage(meter).map_or("", |usage| &usage.unit);
            let reading = format!("{meter} {value} {unit}");
            let reset = if *reset { " (reset)" } else { "" };
            format!("{}{reset}", reading.trim_end())
        }
        Event::Inspected { finding, .. } => finding.word().to_owned(),
        Event::Measured {
            quantity,
            value,
            unit,
            ..
        } => format!("{quantity} {value} {unit}"),
        Event::Job { .. } => entry.job.clone()?,
        Event::Expense { cost, what } => {
            format!("{what}: {}", register.plant.currency.show(*cost))
        }
        Event::Withdrawn { entry_sha, .. } => entry_sha.get(..12).unwrap_or(entry_sha).to_owned(),
        event => event.ending()?.reason.word().to_owned(),
    })
}

/// JSON lines on their way in.
struct GivenLines {
    name: String,
    input: BufReader<Box<dyn Read>>,
    line: usize,
}

/// A line as given, with its number.
struct Given {
    line: usize,
    text: Vec<u8>,
}

impl GivenLines {
    /// The next line that is not blank.
    fn next(&mut self) -> Result<Option<Given>, CommandError> {
        loop {
            let mut text = Vec::new();
            let read = self.input.read_until(b'\n', &mut text).map_err(|error| {
                CommandError::io(std::path::Path::new(&self.name), "read", &error)
            })?;
            if read == 0 {
                return Ok(None);
            }
            self.line += 1;
            while matches!(text.last(), Some(b'\n' | b'\r')) {
                text.pop();
            }
            if !text.trim_ascii().is_empty() {
                let line = self.line;
                return Ok(Some(Given { line, text }));
            }
        }
    }

    fn troubles(&self, given: &Given, faults: &[LineFault]) -> Vec<Trouble> {
        faults
            .iter()
            .map(|fault| line_trouble(&self.name, given.line, &given.text, fault))
            .collect()
    }

    /// A refusal, placed at the lines it is about.
    fn refused(&self, all: &[Given], error: BookError) -> CommandError {
        let BookError::Refused { refusals, zone } = &error else {
            return error.into();
        };
        let mut troubles = Vec::new();
        for refusal in refusals {
            let Some(given) = all.get(refusal.index) else {
                continue;
            };
            for conflict in &refusal.conflicts {
                let mut conflict = conflict.clone();
                for witness in conflict.witnesses_mut() {
                    if let Some(other) = witness.given.and_then(|index| all.get(index)) {
                        witness.file = self.name.clone();
                        witness.line = other.line;
                    }
                }
                let place = place_of(&self.name, given.line, &given.text, conflict.key());
                troubles.push(conflict_trouble(&conflict, *zone).placed(place));
            }
        }
        CommandError::all(Fault::Data, troubles)
    }
}

fn record_whole(
    args: &RecordArgs,
    mut lines: GivenLines,
    ui: &mut Ui,
) -> Result<Outcome, CommandError> {
    let now = to_the_second(Utc::now());
    let mut appender = args.writing.open(ui)?;
    let who = args.writing.who_if();
    let zone = appender.register().plant.time_zone;
    let (mut given, mut entries, mut troubles) = (Vec::new(), Vec::new(), Vec::new());
    while let Some(line) = lines.next()? {
        match parse_given_line(&line.text, zone, now, who.as_deref()) {
            Ok(entry) => entries.push(entry),
            Err(faults) => troubles.extend(lines.troubles(&line, &faults)),
        }
        given.push(line);
    }
    if !troubles.is_empty() {
        return Err(CommandError::all(Fault::Data, troubles));
    }
    if args.writing.dry_run {
        appender
            .rehearse(&entries, now)
            .map_err(|error| lines.refused(&given, error))?;
        ui.result(&format!(
            "{} entries could be recorded (dry run, nothing written)",
            entries.len()
        ))?;
        return Ok(Outcome::Done);
    }
    let recorded = appender.append_all(&entries, now);
    tell_set_aside(&mut appender, ui);
    let recorded = recorded.map_err(|error| lines.refused(&given, error))?;
    let mut text = String::new();
    for line in &recorded {
        text.push_str(&acknowledged(line));
    }
    ui.result(&text)?;
    ui.remark(&format!("{} entries recorded", recorded.len()));
    Ok(Outcome::Done)
}

fn record_one_by_one(
    args: &RecordArgs,
    mut lines: GivenLines,
    ui: &mut Ui,
) -> Result<Outcome, CommandError> {
    let mut appender = args.writing.open(ui)?;
    let who = args.writing.who_if();
    let zone = appender.register().plant.time_zone;
    let mut count = 0;
    while let Some(line) = lines.next()? {
        let now = to_the_second(Utc::now());
        let outcome = match parse_given_line(&line.text, zone, now, who.as_deref()) {
            Ok(entry) => {
                let recorded = appender.append(&entry, now);
                tell_set_aside(&mut appender, ui);
                recorded.map_err(|error| lines.refused(std::slice::from_ref(&line), error))
            }
            Err(faults) => Err(CommandError::all(
                Fault::Data,
                lines.troubles(&line, &faults),
            )),
        };
        match outcome {
            Ok(recorded) => {
                count += 1;
                ui.result(&acknowledged(&recorded))?;
            }
            Err(mut error) => {
                let told = format!(
                    "{count} entries recorded; line {} and what follows it is not.",
                    line.line
                );
                if let Some(last) = error.troubles.last_mut() {
                    last.evidence.push(told);
                }
                return Err(error);
            }
        }
    }
    ui.remark(&format!("{count} entries recorded"));
    Ok(Outcome::Done)
}

fn acknowledged(recorded: &Recorded) -> String {
    format!(
        "{} {}:{}\n",
        recorded.sha.short(),
        recorded.file,
        recorded.line
    )
}
