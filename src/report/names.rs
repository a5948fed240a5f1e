//! Names of chart files and anchors.
//!
//! In: any text. Out: names of ASCII letters, digits and hyphens, none given twice.
//! Never: files.

use std::collections::BTreeSet;

/// Longest name made of a text; what marks it off from others of its kind comes on top.
const LONGEST: usize = 120;

/// A name for anchors and files: ASCII letters and digits of `text`, small, hyphens between.
/// Begins with a letter: `otherwise` stands before what does not, and for nothing.
pub fn slug(text: &str, otherwise: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_ascii_alphanumeric() {
            out.push(c.to_ascii_lowercase());
        } else if !out.is_empty() && !out.ends_with('-') {
            out.push('-');
        }
    }
    // ASCII only: every byte is a character.
    out.truncate(LONGEST);
    let out = out.trim_end_matches('-');
    if out.starts_with(|c: char| c.is_ascii_alphabetic()) {
        out.to_owned()
    } else {
        format!("{otherwise}-{out}")
            .trim_end_matches('-')
            .to_owned()
    }
}

/// The names given so far.
#[derive(Debug, Default)]
pub struct Names {
    taken: BTreeSet<String>,
}

impl Names {
    /// A name that was not given yet: `base`, else `base-2`, …
    pub fn name(&mut self, base: &str) -> String {
        let mut name = base.to_owned();
        let mut n = 1;
        while !self.taken.insert(name.clone()) {
            n += 1;
            name = format!("{base}-{n}");
        }
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slugs_are_plain_and_names_never_twice() {
        let slug = |text| super::slug(text, "component");
        assert_eq!(slug("packing-set"), "packing-set");
        assert_eq!(slug("Ventil »Größe 3«"), "ventil-gr-e-3");
        assert_eq!(slug("3 way"), "component-3-way");
        assert_eq!(slug("…"), "component");
        assert_eq!(slug("../x"), "x");
        assert_eq!(slug(&"a".repeat(400)).len(), LONGEST);
        let mut names = Names::default();
        assert_eq!(names.name("a"), "a");
        assert_eq!(names.name("a"), "a-2");
        assert_eq!(names.name("a-2"), "a-2-2");
    }
}
