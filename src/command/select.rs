//! What several commands ask alike: which part of a ledger, at what confidence.
//!
//! In: arguments. Out: filters, checked against the register. Never: statistics.

use std::path::PathBuf;

use super::{CommandError, Fault};
use crate::book::{ledger_folders, ledger_names};
use crate::intake::lives_csv::FileLife;
use crate::life::LifeRow;
use crate::model::posterior::ShapePrior;
use crate::quantity::nearest;
use crate::quantity::trouble::Trouble;
use crate::register::UsageKind;
use crate::store::Store;

/// Which lives to look at.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Select {
    /// Component to look at (can be repeated; default: all)
    #[arg(long, value_name = "NAME")]
    component: Vec<String>,
    /// Position to look at (can be repeated; default: all)
    #[arg(long, value_name = "NAME")]
    position: Vec<String>,
    /// Machine to look at (can be repeated; default: all)
    #[arg(long, value_name = "TAG")]
    machine: Vec<String>,
}

impl Select {
    /// Everything of these machines; of all where none is named.
    pub fn of_machines(machines: &[String]) -> Select {
        Select {
            machine: machines.to_vec(),
            ..Select::default()
        }
    }

    /// True where nothing is left out.
    pub fn takes_all(&self) -> bool {
        !self.narrows_slots() && self.machine.is_empty()
    }

    /// The machines asked for; empty: all.
    pub fn machines(&self) -> &[String] {
        &self.machine
    }

    /// The components asked for; empty: all.
    pub fn components(&self) -> &[String] {
        &self.component
    }

    /// The positions asked for; empty: all.
    pub fn positions(&self) -> &[String] {
        &self.position
    }

    /// True where the row is asked for.
    pub fn takes(&self, row: &LifeRow) -> bool {
        self.takes_slot(&row.machine, &row.component, &row.position)
    }

    /// True where the slot is asked for.
    pub fn takes_slot(&self, machine: &str, component: &str, position: &str) -> bool {
        let asked = |list: &[String], name: &str| list.is_empty() || list.iter().any(|n| n == name);
        asked(&self.component, component)
            && asked(&self.position, position)
            && asked(&self.machine, machine)
    }

    /// True where all of this is asked for: what belongs to no machine, component or position
    /// only where none of them was named.
    pub fn takes_whole(
        &self,
        machine: Option<&str>,
        component: Option<&str>,
        position: Option<&str>,
    ) -> bool {
        let asked = |list: &[String], name: Option<&str>| {
            list.is_empty() || name.is_some_and(|name| list.iter().any(|n| n == name))
        };
        asked(&self.component, component)
            && asked(&self.position, position)
            && asked(&self.machine, machine)
    }

    /// True where only some components or positions are asked for.
    pub fn narrows_slots(&self) -> bool {
        !self.component.is_empty() || !self.position.is_empty()
    }

    /// True where the component is asked for.
    pub fn takes_component(&self, id: &str) -> bool {
        self.component.is_empty() || self.component.iter().any(|n| n == id)
    }

    /// True where the machine is asked for.
    pub fn takes_machine(&self, machine: &str) -> bool {
        self.machine.is_empty() || self.machine.iter().any(|n| n == machine)
    }

    /// The one component asked for, if it is one.
    pub fn only_component(&self) -> Option<&str> {
        match self.component.as_slice() {
            [one] => Some(one),
            _ => None,
        }
    }

    /// Refuses names that no register knows.
    pub fn check(&self, store: &Store) -> Result<(), CommandError> {
        let registers = || store.ledgers().iter().map(|ledger| &ledger.register);
        let components: Vec<&str> = registers()
            .flat_map(|r| &r.components)
            .map(|c| c.id.as_str())
            .collect();
        let positions: Vec<&str> = registers()
            .flat_map(|r| &r.layouts)
            .flat_map(|l| &l.slots)
            .flat_map(|s| &s.positions)
            .map(String::as_str)
            .collect();
        let rows = store.machines();
        let machines: Vec<&str> = rows.iter().map(String::as_str).collect();
        for (what, asked, known) in [
            ("component", &self.component, &components),
            ("position", &self.position, &positions),
            ("machine", &self.machine, &machines),
        ] {
            for name in asked {
                if !known.contains(&name.as_str()) {
                    return Err(unknown(what, name, known));
                }
            }
        }
        Ok(())
    }

    /// Refuses a failure mode that none of the components asked for has.
    pub fn check_mode(&self, store: &Store, mode: &str) -> Result<(), CommandError> {
        let modes: Vec<&str> = store
            .ledgers()
            .iter()
            .flat_map(|ledger| &ledger.register.components)
            .filter(|c| self.takes_component(&c.id))
            .flat_map(|c| &c.modes)
            .map(String::as_str)
            .collect();
        if modes.contains(&mode) {
            Ok(())
        } else {
            Err(unknown("failure mode", mode, &modes))
        }
    }
}

pub fn unknown(what: &str, name: &str, known: &[&str]) -> CommandError {
    let mut names: Vec<&str> = Vec::new();
    for name in known {
        if !names.contains(name) {
            names.push(name);
        }
    }
    let cure = match nearest(name, names.iter().copied()) {
        Some(near) => format!("did you mean {near}?"),
        None => format!("the register knows: {}", names.join(", ")),
    };
    CommandError::wrong_use(format!("no {what} \"{name}\" in the register"), cure)
}

/// The ledger folders asked for; this one by default.
pub fn folders(asked: &[PathBuf]) -> Vec<PathBuf> {
    if asked.is_empty() {
        vec![PathBuf::from(".")]
    } else {
        asked.to_vec()
    }
}

/// The ledgers meant by the folders asked for, each with what goes before the names of its
/// books: nothing where there is one ledger, else its own name.
pub fn fleet(asked: &[PathBuf]) -> Result<Vec<(PathBuf, String)>, CommandError> {
    let folders = ledger_folders(asked)?;
    let several = folders.len() > 1;
    let names = ledger_names(&folders);
    let prefix = |name| {
        if several {
            format!("{name}/")
        } else {
            String::new()
        }
    };
    Ok(folders
        .into_iter()
        .zip(names.into_iter().map(prefix))
        .collect())
}

/// Where a component stands in the register: results follow its order.
pub fn rank(store: &Store, component: &str) -> usize {
    store
        .ledgers()
        .iter()
        .flat_map(|ledger| &ledger.register.components)
        .position(|c| c.id == component)
        .unwrap_or(usize::MAX)
}

/// The unit in which a component's usage counts.
pub fn unit(store: &Store, component: &str) -> String {
    usage(store, component)
        .map(|usage| usage.unit.clone())
        .unwrap_or_default()
}

/// The usage that ages a component, as the first register that knows it says.
pub fn usage<'a>(store: &'a Store, component: &str) -> Option<&'a UsageKind> {
    store.ledgers().iter().find_map(|ledger| {
        let register = &ledger.register;
        register.usage(&register.component(component)?.usage)
    })
}

/// The folders of all ledgers, as a trouble names its place.
pub fn folders_of(store: &Store) -> String {
    let folders = store.ledgers().iter().map(|l| l.folder.display());
    let names: Vec<String> = folders.map(|folder| folder.to_string()).collect();
    names.join(", ")
}

/// The ledger has no life to work on.
pub fn no_lives(store: &Store) -> CommandError {
    CommandError::new(
        Fault::Data,
        Trouble::error(
            "no-lives",
            "no life of any item that was asked for is on record",
        )
        .in_file(folders_of(store))
        .because("a life begins with an entry installed and may end with replaced or removed")
        .cured_by("record what is in place: wearbook record installed …")
        .cured_by("or look at a later date (--as-of), or at more components"),
    )
}

/// Parses a share strictly between 0 and 1.
pub fn confidence(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value > 0.0 && value < 1.0 => Ok(value),
        _ => Err("write a share between 0 and 1, as 0.9 for 90 %".into()),
    }
}

/// Parses a prior for the shape: `none`, or its 5 % and 95 % points.
pub fn shape_prior(text: &str) -> Result<ShapePrior, String> {
    if text == "none" {
        return Ok(ShapePrior::Flat);
    }
    text.split_once(',')
        .and_then(|(low, high)| {
            ShapePrior::from_points(low.trim().parse().ok()?, high.trim().parse().ok()?)
        })
        .ok_or_else(|| "write none, or the 5 % and 95 % points of the shape as 1.5,4".into())
}

/// Parses a finite number above 0.
pub fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && value > 0.0 => Ok(value),
        _ => Err("write a number above 0".into()),
    }
}

/// Refuses a mode by which no life of a file ended.
pub fn mode_in_file(lives: &[FileLife], mode: Option<&str>) -> Result<(), CommandError> {
    match mode {
        Some(mode) if !lives.iter().any(|l| l.mode.as_deref() == Some(mode)) => {
            Err(CommandError::wrong_use(
                format!("no life in the file ended by mode \"{mode}\""),
                "the column mode names how each life ended",
            ))
        }
        _ => Ok(()),
    }
}
