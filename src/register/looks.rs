//! `[report]`: how the plant wants its printed pages.

use super::fault::{FaultKind, Walk};
use super::types::Looks;
use crate::quantity::language::Language;
use crate::quantity::paper::Paper;
use crate::quantity::walk::Table;

const KEYS: &[&str] = &["logo", "language", "paper"];

/// Endings of picture files that every reader of pages can show.
const PICTURES: &[&str] = &["svg", "png", "jpg", "jpeg"];

pub(super) fn looks(walk: &mut Walk<'_>, top: &Table<'_, '_>) -> Looks {
    let mut looks = Looks::default();
    let Some(table) = top.table_if(walk, "report", "[report]", KEYS) else {
        return looks;
    };
    if let Some(logo) = table.text_if(walk, "logo") {
        let known = logo.value.rsplit_once('.').is_some_and(|(_, ending)| {
            let ending = ending.to_ascii_lowercase();
            PICTURES.contains(&ending.as_str())
        });
        let value = logo.value;
        if leaves(&value) {
            walk.fault(logo.span, FaultKind::OutsideLedger { value });
        } else if !known {
            walk.fault(logo.span, FaultKind::NoPicture { value });
        } else {
            looks.logo = Some(value);
        }
    }
    if let Some(tag) = table.text_if(walk, "language") {
        match Language::from_tag(&tag.value) {
            Some(language) => looks.language = Some(language),
            None => walk.fault(tag.span, FaultKind::UnknownLanguage { value: tag.value }),
        }
    }
    if let Some(word) = table.text_if(walk, "paper") {
        match Paper::from_word(&word.value) {
            Some(paper) => looks.paper = Some(paper),
            None => walk.fault(word.span, FaultKind::UnknownPaper { value: word.value }),
        }
    }
    looks
}

/// True where a path could lead out of the ledger's folder.
fn leaves(path: &str) -> bool {
    let parts: Vec<&str> = path.split(['/', '\\']).collect();
    path.contains(':') || parts.iter().any(|part| matches!(*part, "" | "." | ".."))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_paths_within_the_ledger_stay() {
        for inside in ["logo.svg", "reports/logo.png", "a b/c.d/e.svg"] {
            assert!(!leaves(inside), "{inside}");
        }
        for outside in [
            "",
            "/etc/x.svg",
            "../x.svg",
            "a/../../x.svg",
            "C:x.svg",
            "\\\\host\\x.svg",
            "a//b.svg",
        ] {
            assert!(leaves(outside), "{outside}");
        }
    }
}
