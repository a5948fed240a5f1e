//! `amend`: an entry is withdrawn and stated anew with other values, in one step.

use chrono::Utc;
use chrono_tz::Tz;

use super::record::{Writing, confirm, json_value, tell_set_aside, to_the_second};
use super::withdraw::{digits, reason, withdrawal};
use super::{CommandError, Fault, Outcome, Ui};
use crate::book::{
    Change, Conflict, Entry, Kind, LineFault, LineFaultKind, Sha, Witness, amendable_keys,
    conflict_trouble, differences, parse_line, restate,
};
use crate::quantity::nearest;
use crate::quantity::text::lines;
use crate::quantity::trouble::{Place, Trouble};

/// Amend an entry: withdraw it and state it anew
///
/// Two lines are added, both or neither: one withdraws the entry and says why, the other
/// states it with the values given here. What is not named stays as it was, also who
/// recorded it; who amends it stands on the line that withdraws.
///
/// Example: wearbook amend 7c19e0b2a4f1 value=12840 --why 'digits swapped'
#[derive(Debug, clap::Args)]
pub struct AmendArgs {
    /// Name of the entry: its SHA-256, or the first 12 or more digits
    sha: String,
    /// New value of a key (can be repeated); `key=` leaves the key out, `age=unknown` says so
    #[arg(value_name = "KEY=VALUE", required = true)]
    changes: Vec<String>,
    /// Why it does not hold as it stands
    #[arg(long, value_name = "TEXT")]
    why: String,
    #[command(flatten)]
    writing: Writing,
}

pub fn run(args: &AmendArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let now = to_the_second(Utc::now());
    let digits = digits(&args.sha)?;
    let why = reason(&args.why)?;
    let who = args.writing.who()?;
    let mut appender = args.writing.open(ui)?;
    let zone = appender.register().plant.time_zone;
    let found = appender
        .standing(&digits)
        .map_err(|conflict| refused(*conflict, zone))?;
    let text = appender.text_of(&found)?;
    let Ok((_, before)) = parse_line(&text) else {
        return Err(unreadable(&found, &text));
    };
    let kind = before.event.kind();
    let changes = changes(&args.changes, kind)?;
    // The line was read as an entry, so it is text.
    let text = String::from_utf8_lossy(&text);
    let after = restate(&text, &changes, zone, now)
        .map_err(|(_, faults)| unfit(&faults))
        .map(|after| Entry {
            source: before.source.clone(),
            ..after
        })?;
    let same = Entry {
        logged: before.logged,
        ..after.clone()
    };
    if same == before {
        return Err(CommandError::wrong_use(
            "nothing would change: the entry states all of this already",
            "name the keys that are wrong, with the values that hold",
        ));
    }
    let withdrawn = withdrawal(found.sha.to_string(), why, who, now);
    let both = [withdrawn, after];
    if args.writing.dry_run {
        appender.rehearse(&both, now)?;
        ui.result(&lines(&compared(&before, &both[1])))?;
        return Ok(Outcome::Done);
    }
    let recorded = appender.append_all(&both, now);
    tell_set_aside(&mut appender, ui);
    for (recorded, entry) in recorded?.iter().zip(&both) {
        confirm(Some(recorded), entry, appender.register(), ui)?;
    }
    Ok(Outcome::Done)
}

/// Reads `key=value` words as keys of this kind of entry.
fn changes(given: &[String], kind: Kind) -> Result<Vec<Change>, CommandError> {
    let known = amendable_keys(kind);
    let mut changes: Vec<Change> = Vec::new();
    let mut troubles = Vec::new();
    let wrong = |what: String, cure: String| Trouble::error("wrong-use", what).cured_by(cure);
    for word in given {
        let Some((key, value)) = word.split_once('=') else {
            troubles.push(wrong(
                format!("`{word}` is not KEY=VALUE"),
                "write for example value=12840, or note= to leave a note out".to_owned(),
            ));
            continue;
        };
        // As the flags of `record` are written too.
        let key = key.trim().trim_start_matches("--").replace('-', "_");
        if key == "entry" || key == "source" {
            let what = if key == "entry" {
                "the kind of an entry cannot be amended"
            } else {
                "where an entry was imported from cannot be amended"
            };
            let cure = "withdraw it, and record what holds".to_owned();
            troubles.push(wrong(what.to_owned(), cure));
        } else if !known.contains(&key.as_str()) {
            let cure = match nearest(&key, known.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("keys known here: {}", known.join(", ")),
            };
            let what = format!("unknown key `{key}` in a `{}` entry", kind.word());
            troubles.push(wrong(what, cure));
        } else if changes.iter().any(|change| change.key == key) {
            let what = format!("key `{key}` is given twice");
            troubles.push(wrong(what, "give it once".to_owned()));
        } else {
            let value = Some(value.trim()).filter(|value| !value.is_empty());
            changes.push(Change {
                value: value.map(|value| json_value(&key, value)),
                key,
            });
        }
    }
    if troubles.is_empty() {
        Ok(changes)
    } else {
        Err(CommandError::all(Fault::Use, troubles))
    }
}

fn refused(conflict: Conflict, zone: Tz) -> CommandError {
    let mut trouble = conflict_trouble(&conflict, zone);
    match &conflict {
        Conflict::NotWithdrawable { kind, .. } => {
            trouble.what = format!("entries of kind `{kind}` cannot be amended");
        }
        Conflict::WithdrawnTwice { .. } => {
            trouble = trouble.cured_by("amend the entry that took its place, or record what holds");
        }
        _ => {}
    }
    CommandError::new(Fault::Data, trouble)
}

fn unreadable(found: &Witness, text: &[u8]) -> CommandError {
    let place = Place {
        file: found.file.clone(),
        line: Some(found.line),
        excerpt: Some(String::from_utf8_lossy(text).into_owned()),
        span: None,
    };
    let name = found.sha.short();
    CommandError::new(
        Fault::Data,
        Trouble::error(
            "amend-unreadable",
            "the line cannot be read, so there are no values to amend",
        )
        .placed(place)
        .cured_by(format!("withdraw it: wearbook withdraw {name} --why …"))
        .cured_by("and record anew what it was to state"),
    )
}

/// What is wrong with the entry as it would be.
fn unfit(faults: &[LineFault]) -> CommandError {
    let troubles = faults.iter().map(|fault| {
        let mut trouble = Trouble::error(fault.kind.name(), fault.kind.to_string());
        trouble.cure.extend(fault.kind.cure());
        if let LineFaultKind::MissingKey { key, .. } = fault.kind {
            trouble = trouble.cured_by(format!("it cannot do without: give {key}=…"));
        }
        trouble
    });
    CommandError::all(Fault::Use, troubles.collect())
}

/// The entry before and after, and what differs.
fn compared(before: &Entry, after: &Entry) -> String {
    let (then, now) = (before.line(Sha::ZERO), after.line(Sha::ZERO));
    // The name of the line before says nothing of the entry.
    let bare = |line: &str| match line.find("\"entry\"") {
        Some(at) => format!("{{{}", &line[at..]),
        None => line.to_owned(),
    };
    let mut text = format!("before: {}\nafter:  {}\n", bare(&then), bare(&now));
    for (key, then, now) in differences(&then, &now) {
        let word = |value: Option<String>| value.unwrap_or_else(|| "(not stated)".to_owned());
        text.push_str(&format!("{key}: {} → {}\n", word(then), word(now)));
    }
    text.push_str("could be amended so (dry run, nothing written)\n");
    text
}
