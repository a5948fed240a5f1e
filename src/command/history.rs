//! `history`: everything that was recorded about one slot.

use std::path::PathBuf;

use chrono::NaiveDate;

use super::select::folders;
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::book::{SlotName, Survey, slot_entries, slots_beside_register};
use crate::quantity::nearest;
use crate::quantity::trouble::Trouble;
use crate::store::{Ledger, Options, Store};
use crate::view::history::{Facts, HistoryView};

/// Show everything recorded about one slot
///
/// Installed, replaced, removed, inspected, measured: in the order of time, with the
/// machine's usage where its meter tells, who wrote it down and when, and what each item
/// ran. Entries that were withdrawn stand among the others, marked, with who withdrew
/// them, when and why.
#[derive(Debug, clap::Args)]
pub struct HistoryArgs {
    /// Slot: H-01/packing-set/P1, or 'H-01 packing-set P1' as tables show it
    slot: String,
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

pub fn run(args: &HistoryArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let mut ledgers = Vec::new();
    for ledger in store.ledgers() {
        ledgers.push((ledger, Survey::read(&ledger.folder)?));
    }
    let slots: Vec<Slot<'_>> = ledgers
        .iter()
        .flat_map(|(ledger, survey)| slots_of(&store, ledger, survey))
        .collect();
    let slot = find(&args.slot, &slots)?;
    let mut entries = Vec::new();
    for (ledger, survey) in &ledgers {
        if ledger.name == slot.ledger.name {
            entries = slot_entries(survey, &slot.tag, &slot.name, store.as_of())?;
        }
    }
    let register = &slot.ledger.register;
    let component = register.component(&slot.name.component);
    let meter = component.map(|c| c.usage.clone()).unwrap_or_default();
    let meters = store.meters()?;
    let mut stays = store.slot_history()?;
    stays.retain(|stay| {
        stay.machine == slot.machine
            && stay.component == slot.name.component
            && stay.position == slot.name.position
    });
    let prefix = match ledgers.len() {
        1 => String::new(),
        _ => format!("{}/", slot.ledger.name),
    };
    let view = HistoryView::new(&Facts {
        machine: &slot.machine,
        slot: &slot.name,
        name: component.map(|c| c.name.as_str()),
        unit: register.usage(&meter).map(|usage| usage.unit.as_str()),
        as_of: (!store.is_empty()).then(|| store.as_of()),
        zone: register.plant.time_zone,
        entries: &entries,
        stays: &stays,
        usage: &|time| meters.usage(&slot.machine, &meter, time),
        extrapolated: &|time| meters.extrapolated(&slot.machine, &meter, time),
        prefix: &prefix,
    });
    let strike = ui.strikes();
    let text = args
        .format
        .lay_out(|| view.text(strike), || view.json(), || view.csv())?;
    ui.result(&text)?;
    Ok(Outcome::Done)
}

/// A slot of the fleet.
struct Slot<'a> {
    ledger: &'a Ledger,
    /// The machine's tag in its own ledger.
    tag: String,
    /// What tables call the machine.
    machine: String,
    name: SlotName,
}

impl Slot<'_> {
    fn shown(&self) -> String {
        let SlotName {
            component,
            position,
        } = &self.name;
        format!("{}/{component}/{position}", self.machine)
    }

    /// Whether a user may call it so.
    fn is_called(&self, asked: &str) -> bool {
        let SlotName {
            component,
            position,
        } = &self.name;
        let with_ledger = format!("{}/{}", self.ledger.name, self.tag);
        [&self.machine, &self.tag, &with_ledger]
            .iter()
            .any(|machine| {
                [' ', '/'].iter().any(|mark| {
                    squeezed(&format!("{machine}{mark}{component}{mark}{position}")) == asked
                })
            })
    }
}

/// With single blanks, as tables set words apart by several.
fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Those of the layouts in their order, then those that only entries know.
fn slots_of<'a>(store: &Store, ledger: &'a Ledger, survey: &Survey) -> Vec<Slot<'a>> {
    let slot = |tag: &str, component: &str, position: &str| Slot {
        ledger,
        tag: tag.to_owned(),
        machine: store.machine_name(ledger, tag),
        name: SlotName {
            component: component.to_owned(),
            position: position.to_owned(),
        },
    };
    let mut slots = Vec::new();
    for machine in &ledger.register.machines {
        for known in ledger.register.slots(&machine.tag) {
            slots.push(slot(&machine.tag, known.component, known.position));
        }
    }
    for (tag, component, position) in slots_beside_register(survey) {
        slots.push(slot(&tag, &component, &position));
    }
    slots
}

/// The one slot that is called so.
fn find<'a, 'b>(asked: &str, slots: &'a [Slot<'b>]) -> Result<&'a Slot<'b>, CommandError> {
    let asked = squeezed(asked);
    let found: Vec<&Slot<'_>> = slots.iter().filter(|s| s.is_called(&asked)).collect();
    match found[..] {
        [one] => return Ok(one),
        [] => {}
        _ => {
            let names: Vec<String> = found.iter().map(|slot| slot.shown()).collect();
            return Err(CommandError::wrong_use(
                format!("`{asked}` is the name of several slots"),
                format!("name one of: {}", names.join(", ")),
            ));
        }
    }
    let shown: Vec<String> = slots.iter().map(Slot::shown).collect();
    let mut trouble = Trouble::error("unknown-slot", format!("no slot `{asked}` here"));
    if let Some(near) = nearest(&asked.replace(' ', "/"), shown.iter().map(String::as_str)) {
        trouble = trouble.cured_by(format!("did you mean {near}?"));
    }
    trouble = trouble.cured_by(known(&asked, slots));
    Err(CommandError::new(Fault::Use, trouble))
}

/// What is known from as far as the name holds: positions, components or machines.
fn known(asked: &str, slots: &[Slot<'_>]) -> String {
    let distinct = |all: Vec<&str>| {
        let mut seen: Vec<&str> = Vec::new();
        for one in all {
            if !seen.contains(&one) {
                seen.push(one);
            }
        }
        seen.join(", ")
    };
    let begins = |start: &str| {
        let rest = asked.strip_prefix(start);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with([' ', '/']))
    };
    let of_machine: Vec<&Slot<'_>> = slots
        .iter()
        .filter(|slot| begins(&slot.machine) || begins(&slot.tag))
        .collect();
    let Some(first) = of_machine.first() else {
        let machines = slots.iter().map(|slot| slot.machine.as_str()).collect();
        return format!("machines: {}", distinct(machines));
    };
    let of_component: Vec<&&Slot<'_>> = of_machine
        .iter()
        .filter(|slot| {
            [' ', '/'].iter().any(|mark| {
                [&slot.machine, &slot.tag]
                    .iter()
                    .any(|machine| begins(&format!("{machine}{mark}{}", slot.name.component)))
            })
        })
        .collect();
    match of_component.first() {
        Some(slot) => {
            let positions = of_component.iter().map(|slot| slot.name.position.as_str());
            format!(
                "positions of {} on {}: {}",
                slot.name.component,
                slot.machine,
                distinct(positions.collect())
            )
        }
        None => {
            let components = of_machine.iter().map(|slot| slot.name.component.as_str());
            format!(
                "components on {}: {}",
                first.machine,
                distinct(components.collect())
            )
        }
    }
}
