//! `record --sheet`: a filled work sheet, whole or not at all.

use std::path::Path;

use chrono::Utc;

use super::verdict::verdicts_on;
use super::writing::Writing;
use super::{acknowledged, tell_set_aside, to_the_second};
use crate::book::{BookError, Entry, Event, SlotName};
use crate::command::{CommandError, Fault, Outcome, Ui};
use crate::intake::work_sheet::{Filled, read};

/// Records what was filled in. What the ledger states already is passed over, so that a sheet
/// may be entered again once more of it is filled.
pub(super) fn record_sheet(
    writing: &Writing,
    file: &Path,
    ui: &mut Ui,
) -> Result<Outcome, CommandError> {
    let now = to_the_second(Utc::now());
    let mut appender = writing.open_for_import(ui)?;
    let who = writing.who_if();
    let zone = appender.register().plant.time_zone;
    let sheet = read(file, zone, now, who.as_deref())?;
    if sheet.entries.is_empty() {
        ui.remark(&format!("nothing is filled in in {}", sheet.name));
        return Ok(Outcome::Done);
    }
    let known = sheet
        .entries
        .iter()
        .filter(|entry| appender.stated(entry) > 0)
        .count();
    if writing.dry_run {
        let new: Vec<_> = sheet.entries.iter().collect();
        let new: Vec<_> = new
            .into_iter()
            .filter(|entry| appender.stated(entry) == 0)
            .cloned()
            .collect();
        let index: Vec<usize> = (0..sheet.entries.len())
            .filter(|n| appender.stated(&sheet.entries[*n]) == 0)
            .collect();
        appender
            .rehearse(&new, now)
            .map_err(|error| refused(&sheet, in_terms_of(error, &index)))?;
        ui.result(&format!(
            "{} entries could be recorded (dry run, nothing written)",
            new.len()
        ))?;
    } else {
        let recorded = appender.append_new(&sheet.entries, now);
        tell_set_aside(&mut appender, ui);
        let recorded = recorded.map_err(|error| refused(&sheet, error))?;
        let mut text = String::new();
        let mut count = 0;
        for line in recorded.iter().flatten() {
            text.push_str(&acknowledged(line));
            count += 1;
        }
        let new: Vec<&Entry> = sheet
            .entries
            .iter()
            .zip(&recorded)
            .filter_map(|(entry, line)| line.as_ref().map(|_| entry))
            .collect();
        let readings = new.iter().copied();
        for (n, verdict) in verdicts_on(readings, writing.ledger(), appender.register()) {
            if let (Some(machine), Event::Measured { slot, quantity, .. }) =
                (&new[n].machine, &new[n].event)
            {
                let SlotName {
                    component,
                    position,
                } = slot;
                text.push_str(&format!(
                    "{machine} {component} {position} {quantity}: {verdict}\n"
                ));
            }
        }
        ui.result(&text)?;
        ui.remark(&format!("{count} entries recorded"));
    }
    if known > 0 {
        ui.remark(&format!(
            "{known} of the sheet are in the ledger already and were not recorded again"
        ));
    }
    Ok(Outcome::Done)
}

/// The refusals of some of the entries by their places among all.
fn in_terms_of(mut error: BookError, places: &[usize]) -> BookError {
    if let BookError::Refused { refusals, .. } = &mut error {
        for refusal in refusals {
            let place = |index: usize| places.get(index).copied();
            refusal.index = place(refusal.index).unwrap_or(refusal.index);
            for conflict in &mut refusal.conflicts {
                for witness in conflict.witnesses_mut() {
                    witness.given = witness.given.map(|given| place(given).unwrap_or(given));
                }
            }
        }
    }
    error
}

fn refused(sheet: &Filled, error: BookError) -> CommandError {
    match error {
        BookError::Refused { .. } => CommandError::all(Fault::Data, sheet.refused(&error)),
        error => error.into(),
    }
}
