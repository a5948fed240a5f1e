//! What a value of a file seems to name in the register.
//!
//! In: a value, the names there are. Out: a name with the reason, or none; never one of
//! several that would fit as well.

use crate::intake::import::map::normal;
use crate::quantity::nearest;
use crate::register::Register;

/// A name of the register, and what else it is called.
#[derive(Debug, Clone)]
pub(super) struct Name {
    pub id: String,
    pub called: Option<String>,
}

/// How a value fits a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fit {
    /// Letter for letter.
    Exact,
    /// But for case, blanks and hyphens, or by what it is called.
    Same,
    /// Shortened.
    Short,
    /// Misspelt.
    Near,
}

impl Fit {
    pub(super) fn why(self) -> &'static str {
        match self {
            Fit::Exact => "as in the register",
            Fit::Same => "so called in the register",
            Fit::Short => "CHECK: may be short for it",
            Fit::Near => "CHECK: may be misspelt",
        }
    }
}

/// The names a key can have; empty without a register.
pub(super) fn names(register: Option<&Register>, key: &str) -> Vec<Name> {
    let Some(register) = register else {
        return Vec::new();
    };
    let named = |id: &str, name: &str| Name {
        id: id.to_owned(),
        called: (id != name).then(|| name.to_owned()),
    };
    let bare = |id: &String| Name {
        id: id.clone(),
        called: None,
    };
    let mut all: Vec<Name> = match key {
        "machine" => register
            .machines
            .iter()
            .map(|m| named(&m.tag, &m.name))
            .collect(),
        "component" => register
            .components
            .iter()
            .map(|c| named(&c.id, &c.name))
            .collect(),
        "position" => {
            let slots = register.layouts.iter().flat_map(|l| &l.slots);
            slots.flat_map(|s| &s.positions).map(bare).collect()
        }
        "mode" => register
            .components
            .iter()
            .flat_map(|c| &c.modes)
            .map(bare)
            .collect(),
        "part" => register.parts.iter().map(|p| bare(&p.number)).collect(),
        "meter" => register
            .usages
            .iter()
            .map(|u| named(&u.id, &u.name))
            .collect(),
        "quantity" => register
            .measurements
            .iter()
            .map(|m| bare(&m.quantity))
            .collect(),
        _ => Vec::new(),
    };
    let mut seen = std::collections::HashSet::new();
    all.retain(|name| seen.insert(name.id.clone()));
    all
}

/// The one name that a value fits.
pub(super) fn fit<'a>(value: &str, names: &'a [Name]) -> Option<(&'a str, Fit)> {
    if let Some(name) = names.iter().find(|name| name.id == value.trim()) {
        return Some((&name.id, Fit::Exact));
    }
    let only = |fits: &dyn Fn(&Name) -> bool| -> Option<&'a str> {
        let mut fitting = names.iter().filter(|name| fits(name));
        match (fitting.next(), fitting.next()) {
            (Some(name), None) => Some(name.id.as_str()),
            _ => None,
        }
    };
    let words = words(value);
    let same = |name: &Name| {
        let called = name.called.as_deref();
        words == self::words(&name.id) || called.is_some_and(|c| words == self::words(c))
    };
    if let Some(id) = only(&same) {
        return Some((id, Fit::Same));
    }
    if let Some(id) = only(&|name| shortened(&words, &self::words(&name.id))) {
        return Some((id, Fit::Short));
    }
    let begins = |name: &Name| {
        let ids = self::words(&name.id);
        ids.first()
            .zip(words.first())
            .is_some_and(|(id, word)| id == word)
    };
    if let Some(id) = only(&begins) {
        return Some((id, Fit::Short));
    }
    let stem = |name: &Name| {
        let ids = self::words(&name.id);
        matches!((&words[..], &ids[..]), ([word], [id]) if same_stem(word, id))
    };
    if let Some(id) = only(&stem) {
        return Some((id, Fit::Short));
    }
    let lower = normal(value);
    let near = nearest(&lower, names.iter().map(|name| name.id.as_str()));
    near.map(|id| (id, Fit::Near))
}

/// The words of a text: runs of letters or of digits apart from each other.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut before: Option<bool> = None;
    for c in text.chars() {
        let kind = c.is_alphanumeric().then(|| c.is_numeric());
        if let Some(digit) = kind {
            if before != Some(digit) {
                words.push(String::new());
            }
            if let Some(word) = words.last_mut() {
                word.extend(c.to_lowercase());
            }
        }
        before = kind;
    }
    words
}

/// Whether two words begin alike for four letters and half of the longer: `leaks` and
/// `leaking`.
fn same_stem(a: &str, b: &str) -> bool {
    let alike = a.chars().zip(b.chars()).take_while(|(a, b)| a == b).count();
    let longer = a.chars().count().max(b.chars().count());
    alike >= 4 && alike * 2 >= longer
}

/// Whether one is the other with words left out at its front or cut short: `1` of `P1`,
/// `1 S` of `P1.suction`, `pack` of `packing-set`.
fn shortened(short: &[String], full: &[String]) -> bool {
    if short.is_empty() || short.len() > full.len() {
        return false;
    }
    let number = |word: &String| word.starts_with(|c: char| c.is_ascii_digit());
    // Numbers must all be there.
    let numbers = |words: &[String]| words.iter().filter(|word| number(word)).count();
    if numbers(short) != numbers(full) {
        return false;
    }
    // The last words must be there too: `1` is `P1` and not `P1.suction`.
    let mut rest = full.iter();
    for word in short {
        let found = rest.any(|of| {
            if number(word) {
                of == word
            } else {
                of.starts_with(word.as_str())
            }
        });
        if !found {
            return false;
        }
    }
    let ends_with_number = short.last().is_some_and(number);
    rest.next().is_none() || !ends_with_number
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(ids: &[&str]) -> Vec<Name> {
        ids.iter()
            .map(|id| Name {
                id: (*id).to_owned(),
                called: None,
            })
            .collect()
    }

    #[test]
    fn values_fit_one_name_or_none() {
        let positions = of(&["P1", "P2", "P1.suction", "P1.discharge", "drive"]);
        assert_eq!(fit("P1", &positions), Some(("P1", Fit::Exact)));
        assert_eq!(fit("1", &positions), Some(("P1", Fit::Short)));
        assert_eq!(fit("1 S", &positions), Some(("P1.suction", Fit::Short)));
        assert_eq!(
            fit("p1 discharge", &positions),
            Some(("P1.discharge", Fit::Same))
        );
        assert_eq!(fit("6", &positions), None);
        let components = of(&["packing-set", "packing-spring", "plunger", "valve-ball"]);
        assert_eq!(
            fit("Packing set", &components),
            Some(("packing-set", Fit::Same))
        );
        assert_eq!(fit("packing", &components), None);
        assert_eq!(fit("plunger ", &components), Some(("plunger", Fit::Exact)));
        assert_eq!(fit("V-ball", &components), Some(("valve-ball", Fit::Short)));
        assert_eq!(fit("plumger", &components), Some(("plunger", Fit::Near)));
        let modes = of(&["leaking", "extruded"]);
        assert_eq!(fit("leak", &modes), Some(("leaking", Fit::Short)));
        assert_eq!(fit("leaks!", &modes), Some(("leaking", Fit::Short)));
    }
}
