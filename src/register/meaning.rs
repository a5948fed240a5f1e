//! Whether registers mean the same by the same word: ledgers read as one fleet pool the
//! lives of equal component ids and add up money.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::{Path, PathBuf};

use toml::de::{DeTable, DeValue};

use super::fault::Walk;
use super::types::Register;
use crate::quantity::trouble::{Place, Trouble, shown};

/// A word that two registers use differently.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clash {
    pub meaning: Meaning,
    /// Index of the register that says it first.
    pub first: usize,
    pub first_says: String,
    /// Index of the register that says something else.
    pub second: usize,
    pub second_says: String,
}

/// Kind of the trouble where registers count money in different currencies.
pub const CURRENCIES_DIFFER: &str = "currencies-differ";

/// What must mean the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// What money is counted in.
    Currency,
    /// Which usage ages a component.
    Usage { component: String },
    /// What the usage that ages a component is counted in.
    Unit { usage: String },
    /// How many pieces a position of it takes.
    Pieces { component: String },
}

/// Every word that registers use differently, each told against the first that says it.
pub fn clashes(registers: &[&Register]) -> Vec<Clash> {
    let mut found = Vec::new();
    let mut known: BTreeMap<&str, usize> = BTreeMap::new();
    let mut units = BTreeSet::new();
    for (second, register) in registers.iter().enumerate() {
        let mut tell = |meaning: Meaning, first: usize, says: [String; 2]| {
            let [first_says, second_says] = says;
            if first_says != second_says {
                found.push(Clash {
                    meaning,
                    first,
                    first_says,
                    second,
                    second_says,
                });
            }
        };
        let code = |register: &Register| register.plant.currency.code().to_owned();
        // There is a first, as this is one of them.
        tell(Meaning::Currency, 0, [code(registers[0]), code(register)]);
        for here in &register.components {
            let first = *known.entry(&here.id).or_insert(second);
            let Some(there) = registers[first].component(&here.id) else {
                continue;
            };
            let component = here.id.clone();
            tell(
                Meaning::Pieces {
                    component: component.clone(),
                },
                first,
                [there.pieces.to_string(), here.pieces.to_string()],
            );
            if there.usage != here.usage {
                let says = [there.usage.clone(), here.usage.clone()];
                tell(Meaning::Usage { component }, first, says);
                continue;
            }
            let unit = |register: &Register| {
                let usage = register.usage(&here.usage);
                usage.map(|usage| usage.unit.clone()).unwrap_or_default()
            };
            let says = [unit(registers[first]), unit(register)];
            let usage = here.usage.clone();
            // Told once, however many components it ages.
            if units.insert((second, usage.clone())) {
                tell(Meaning::Unit { usage }, first, says);
            }
        }
    }
    found
}

/// As [`clashes`], as troubles: registers with their files.
pub fn clash_troubles(registers: &[(PathBuf, &Register)]) -> Vec<Trouble> {
    let bare: Vec<&Register> = registers.iter().map(|(_, register)| *register).collect();
    let file = |index: usize| registers[index].0.as_path();
    clashes(&bare)
        .iter()
        .map(|clash| clash.trouble(file(clash.first), file(clash.second)))
        .collect()
}

impl Clash {
    /// The clash as a trouble, placed in the second register; the files are read once
    /// more to find the lines.
    pub fn trouble(&self, first: &Path, second: &Path) -> Trouble {
        let there = self.place(first);
        let here = self.place(second);
        let (file, says) = (&there.file, &self.first_says);
        let at = match there.line {
            Some(line) => format!("{file}:{line}"),
            None => file.clone(),
        };
        let says_so = format!("{at} says {says}.");
        let one_id = "Lives of one component id are weighed together, wherever they ran.";
        let apart = "give the two different ids, or keep the ledgers apart";
        let other = &self.second_says;
        match &self.meaning {
            Meaning::Currency => Trouble::error(
                CURRENCIES_DIFFER,
                format!("money is counted in {other} here, and in {says} elsewhere"),
            )
            .placed(here)
            .because(says_so)
            .because("Money of two currencies cannot be added up.")
            .cured_by("keep ledgers of two currencies apart: read them one at a time"),
            Meaning::Usage { component } => Trouble::error(
                "usages-differ",
                format!("component `{component}` is aged by {other} here, by {says} elsewhere"),
            )
            .placed(here)
            .because(says_so)
            .because(one_id)
            .cured_by(apart),
            Meaning::Unit { usage } => Trouble::error(
                "usage-units-differ",
                format!("usage `{usage}` is counted in {other} here, in {says} elsewhere"),
            )
            .placed(here)
            .because(says_so)
            .because(one_id)
            .cured_by("count it alike, or keep the ledgers apart"),
            Meaning::Pieces { component } => {
                let unstated = self.says_nothing(first);
                Trouble::error(
                    "component-pieces-differ",
                    format!(
                        "a position takes {other} of component `{component}` here, {says} elsewhere"
                    ),
                )
                .placed(here)
                .because(if unstated {
                    format!("{at} states no `pieces`, which means 1.")
                } else {
                    says_so
                })
                .because(one_id)
                .cured_by(apart)
            }
        }
    }

    /// Where the file states it; the file as a whole where that cannot be told.
    fn place(&self, path: &Path) -> Place {
        let file = shown(path);
        let text = std::fs::read_to_string(path).unwrap_or_default();
        match self.span(&text) {
            Some(span) => placed(file, &text, span),
            None => Place {
                file,
                ..Place::default()
            },
        }
    }

    fn says_nothing(&self, path: &Path) -> bool {
        let text = std::fs::read_to_string(path).unwrap_or_default();
        let (document, _) = DeTable::parse_recoverable(&text);
        match &self.meaning {
            Meaning::Pieces { component } => row(document.get_ref(), "component", component)
                .is_some_and(|component| component.get("pieces").is_none()),
            _ => false,
        }
    }

    /// Bytes of the value; of the id where the key is left out.
    fn span(&self, text: &str) -> Option<Range<usize>> {
        let (document, _) = DeTable::parse_recoverable(text);
        let top = document.get_ref();
        let (table, key) = match &self.meaning {
            Meaning::Currency => (top.get("plant")?.get_ref().as_table()?, "currency"),
            Meaning::Usage { component } => (row(top, "component", component)?, "usage"),
            Meaning::Unit { usage } => (row(top, "usage", usage)?, "unit"),
            Meaning::Pieces { component } => (row(top, "component", component)?, "pieces"),
        };
        let value = table.get(key).or_else(|| table.get("id"))?;
        Some(value.span())
    }
}

/// The table with this id in a list of tables.
fn row<'a, 't>(top: &'a DeTable<'t>, list: &str, id: &str) -> Option<&'a DeTable<'t>> {
    let rows = top.get(list)?.get_ref().as_array()?;
    rows.iter()
        .filter_map(|row| row.get_ref().as_table())
        .find(|row| row.get("id").map(|id| id.get_ref()).and_then(text_of) == Some(id))
}

fn text_of<'a>(value: &'a DeValue<'_>) -> Option<&'a str> {
    value.as_str()
}

fn placed(file: String, text: &str, span: Range<usize>) -> Place {
    let walk = Walk::new(text);
    let (line, excerpt, span) = walk.excerpt(span);
    Place {
        file,
        line: Some(line),
        excerpt: Some(excerpt.to_owned()),
        span: Some(span),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn register(usage: &str, unit: &str, pieces: &str, currency: &str) -> String {
        format!(
            "[plant]\nname = \"P\"\ncurrency = \"{currency}\"\ntime_zone = \"UTC\"\n\
             labour_rate = 1.0\n\n[[usage]]\nid = \"{usage}\"\nname = \"N\"\nunit = \"{unit}\"\n\n\
             [[component]]\nid = \"seat\"\nname = \"Seat\"\nusage = \"{usage}\"\n\
             modes = [\"leaking\"]\nprice = 1.0\n{pieces}\n\
             [[layout]]\nid = \"l\"\nslots = [{{ component = \"seat\", positions = [\"P1\"] }}]\n\n\
             [[machine]]\ntag = \"H\"\nname = \"H\"\nlayout = \"l\"\nin_service = 2025-01-01\n\
             downtime_cost = 1.0\n"
        )
    }

    fn told(first: &str, second: &str) -> Vec<(&'static str, Option<usize>, String)> {
        let parse = |text: &str| Register::parse(text).expect("sound");
        let room = tempfile::tempdir().expect("folder");
        let paths = ["a.toml", "b.toml"].map(|name| room.path().join(name));
        std::fs::write(&paths[0], first).expect("write");
        std::fs::write(&paths[1], second).expect("write");
        clashes(&[&parse(first), &parse(second)])
            .iter()
            .map(|clash| {
                let trouble = clash.trouble(&paths[clash.first], &paths[clash.second]);
                let line = trouble.place.as_ref().and_then(|place| place.line);
                (trouble.kind, line, trouble.evidence[0].clone())
            })
            .collect()
    }

    #[test]
    fn the_same_words_clash_in_nothing() {
        let text = register("hours", "h", "pieces = 1", "EUR");
        assert_eq!(told(&text, &register("hours", "h", "", "EUR")), []);
    }

    #[test]
    fn each_clash_names_both_lines() {
        let text = register("hours", "h", "", "EUR");
        let lines = |second: &str| {
            let all = told(&text, second);
            assert_eq!(all.len(), 1, "{all:?}");
            let (kind, line, evidence) = all.into_iter().next().expect("one");
            let said = evidence.rsplit_once("a.toml").expect("file").1.to_owned();
            (kind, line, said)
        };
        assert_eq!(
            lines(&register("hours", "h", "pieces = 2", "EUR")),
            (
                "component-pieces-differ",
                Some(18),
                ":13 states no `pieces`, which means 1.".to_owned()
            )
        );
        assert_eq!(
            lines(&register("starts", "h", "", "EUR")),
            ("usages-differ", Some(15), ":15 says hours.".to_owned())
        );
        assert_eq!(
            lines(&register("hours", "min", "", "EUR")),
            ("usage-units-differ", Some(10), ":10 says h.".to_owned())
        );
        assert_eq!(
            lines(&register("hours", "h", "", "CHF")),
            ("currencies-differ", Some(3), ":3 says EUR.".to_owned())
        );
    }
}
