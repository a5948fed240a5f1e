//! The earlier report that this one is held against.
//!
//! In: its twin's file, the stays of items. Out: [`Twin`], [`Renewed`]. Never: comparing.

use std::path::Path;

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::{CommandError, Fault, Ui};
use crate::quantity::time::day;
use crate::quantity::trouble::{Severity, Trouble, shown};
use crate::report::since::Renewed;
use crate::report::twin::{Twin, read};
use crate::report::words;
use crate::store::SlotStay;

/// Reads the twin of an earlier report, which must not be newer than this one's day.
pub(super) fn earlier(
    file: &Path,
    plant: &str,
    as_of: NaiveDate,
    ui: &mut Ui,
) -> Result<Twin, CommandError> {
    let bytes =
        std::fs::read(file).map_err(|error| CommandError::io(file, "read the report", &error))?;
    let text = String::from_utf8_lossy(&bytes);
    let twin =
        read(&text).map_err(|error| CommandError::new(Fault::Data, error.told(&shown(file))))?;
    if twin.as_of > as_of {
        return Err(CommandError::new(
            Fault::Use,
            Trouble::error(
                "since-newer",
                format!(
                    "that report is as of {}, later than this one, as of {}",
                    words::day(twin.as_of),
                    words::day(as_of)
                ),
            )
            .in_file(shown(file))
            .cured_by("give an earlier report to --since, or a later day to --as-of"),
        ));
    }
    if twin.plant != plant {
        ui.trouble(
            &Trouble::error(
                "since-other-plant",
                format!("that report is of “{}”, this one of “{plant}”", twin.plant),
            )
            .with_severity(Severity::Warning)
            .in_file(shown(file))
            .because("Machines and components of the same name are taken for the same.")
            .cured_by("give an earlier report of this plant to --since, unless it was renamed"),
        );
    }
    Ok(twin)
}

/// What was put in after a day, by slot.
pub(super) fn renewed(stays: &[SlotStay], zone: Tz, after: NaiveDate) -> Renewed {
    let mut renewed = Renewed::new();
    for stay in stays {
        let start = day(stay.start_time, zone);
        if start > after {
            let slot = [
                stay.machine.clone(),
                stay.component.clone(),
                stay.position.clone(),
            ];
            renewed.entry(slot).or_default().push(start);
        }
    }
    for days in renewed.values_mut() {
        days.sort();
    }
    renewed
}
