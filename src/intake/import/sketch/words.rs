//! Words that headings and values of maintenance records commonly have (common practice;
//! from memory), and what they are taken for until somebody looks.
//!
//! In: a heading or a value. Out: a key or a word of the book, with the word that led to
//! it. Never: certainty.

use super::forms::Holds;

/// What a heading says of its column: a key, what the column must hold, and the words.
/// Several words must all be there; more words weigh more.
pub(super) const HEADINGS: &[(&str, Holds, &[&str])] = &[
    (
        "time",
        Holds::Days,
        &[
            "date", "day", "time", "when", "started", "start", "reported", "done on",
        ],
    ),
    (
        "start",
        Holds::Days,
        &["start", "started", "begin", "began", "from"],
    ),
    (
        "stop",
        Holds::Days,
        &[
            "finish",
            "finished",
            "end",
            "ended",
            "completed",
            "closed",
            "until",
        ],
    ),
    ("clock", Holds::Clock, &["time", "clock", "hour"]),
    (
        "machine",
        Holds::Texts,
        &[
            "machine",
            "equipment",
            "asset",
            "unit",
            "tag",
            "pump",
            "homogeniser",
        ],
    ),
    (
        "component",
        Holds::Texts,
        &["component", "item", "work", "assembly", "part", "what"],
    ),
    (
        "position",
        Holds::Texts,
        &[
            "position", "pos", "where", "location", "cyl", "cylinder", "slot",
        ],
    ),
    (
        "part",
        Holds::Texts,
        &[
            "part no",
            "part number",
            "part nr",
            "material",
            "article",
            "packing no",
            "stock",
        ],
    ),
    ("batch", Holds::Texts, &["batch", "lot"]),
    ("serial", Holds::Texts, &["serial", "serial no"]),
    (
        "pieces",
        Holds::Numbers,
        &["pieces", "pcs", "qty", "quantity", "count"],
    ),
    (
        "reason",
        Holds::Texts,
        &["reason", "cause", "why", "failure", "fault", "damage"],
    ),
    ("mode", Holds::Texts, &["mode", "failure mode", "symptom"]),
    (
        "finding",
        Holds::Texts,
        &["found", "finding", "condition", "result"],
    ),
    (
        "kind",
        Holds::Texts,
        &["type", "class", "category", "order type"],
    ),
    (
        "job",
        Holds::Texts,
        &["order", "work order", "wo", "job", "ticket", "order no"],
    ),
    (
        "labour_h",
        Holds::Numbers,
        &["labour", "labor", "man hours", "work hours"],
    ),
    (
        "downtime_h",
        Holds::Numbers,
        &["stop", "downtime", "down time", "outage", "standstill"],
    ),
    (
        "value",
        Holds::Numbers,
        &[
            "meter",
            "hours",
            "running hours",
            "hour meter",
            "counter",
            "reading",
            "value",
        ],
    ),
    ("meter", Holds::Texts, &["meter", "counter"]),
    (
        "quantity",
        Holds::Texts,
        &["quantity", "measured", "measurement", "parameter"],
    ),
    ("unit", Holds::Texts, &["unit", "units"]),
    (
        "cost",
        Holds::Numbers,
        &["cost", "costs", "price", "amount", "extra cost"],
    ),
    (
        "who",
        Holds::Texts,
        &[
            "who",
            "by",
            "fitter",
            "technician",
            "operator",
            "mechanic",
            "name",
        ],
    ),
    (
        "note",
        Holds::Texts,
        &[
            "note",
            "notes",
            "remark",
            "remarks",
            "comment",
            "comments",
            "text",
            "description",
        ],
    ),
];

/// Headings of a column that says what was done, and of one that says how far it is.
pub(super) const DONE: &[&str] = &["done", "action", "activity", "task", "what"];
pub(super) const STATUS: &[&str] = &["status", "state"];

/// Values that mean a row does not count.
pub(super) const CANCELLED: &[&str] =
    &["cancel", "canc", "void", "deleted", "rejected", "withdrawn"];

/// What words in values mean for a key.
const VALUES: &[(&str, &str, &[&str])] = &[
    (
        "reason",
        "failed",
        &[
            "breakdown",
            "fail",
            "broken",
            "fault",
            "bd",
            "cm",
            "emergency",
        ],
    ),
    (
        "reason",
        "planned",
        &["planned", "pm", "preventive", "scheduled", "due", "routine"],
    ),
    ("reason", "worn", &["worn", "wear", "limit"]),
    ("reason", "opportunity", &["opportunity", "along"]),
    ("reason", "damaged", &["damaged", "handling"]),
    ("finding", "sound", &["ok", "good", "sound", "fine", "pass"]),
    ("finding", "worn", &["worn", "marginal", "scored"]),
    ("finding", "failed", &["fail", "leak", "broken", "bad"]),
    (
        "kind",
        "preventive",
        &[
            "pm",
            "prevent",
            "planned",
            "scheduled",
            "service",
            "inspection",
        ],
    ),
    (
        "kind",
        "corrective",
        &[
            "bd",
            "cm",
            "breakdown",
            "correct",
            "repair",
            "fail",
            "emergency",
        ],
    ),
    (
        "entry",
        "replaced",
        &["chang", "replac", "renew", "exchang"],
    ),
    ("entry", "inspected", &["check", "inspect", "look"]),
    ("entry", "measured", &["measur"]),
    ("entry", "installed", &["install", "fitted"]),
    ("entry", "removed", &["remov", "taken out"]),
];

/// The words of a text in lower case.
pub(super) fn words(text: &str) -> Vec<String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// How well a heading has a phrase: the number of its words, 0 if one is missing. Words
/// of three letters and more may go on (`cyl` of `cylinder`).
pub(super) fn weight(heading: &[String], phrase: &str) -> usize {
    let parts = words(phrase);
    let there = parts.iter().all(|part| {
        heading.iter().any(|word| match part.len() {
            0..=2 => word == part,
            _ => word.starts_with(part.as_str()),
        })
    });
    if there { parts.len() } else { 0 }
}

/// What a value may mean for a key, and by which word.
pub(super) fn meaning(key: &str, value: &str) -> Option<(&'static str, &'static str)> {
    let words = words(value);
    let rows = VALUES.iter().filter(|(of, _, _)| *of == key);
    for (_, meaning, signs) in rows {
        let sign = signs.iter().find(|sign| weight(&words, sign) > 0);
        if let Some(sign) = sign {
            return Some((meaning, sign));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Finding, JobKind, Kind, Reason};

    #[test]
    fn what_values_mean_are_words_of_the_book() {
        for (key, meaning, _) in VALUES {
            let known = match *key {
                "reason" => Reason::WORDS,
                "finding" => Finding::WORDS,
                "kind" => JobKind::WORDS,
                _ => Kind::WORDS,
            };
            assert!(known.contains(meaning), "{key} {meaning}");
        }
    }

    #[test]
    fn headings_and_values_are_read_by_their_words() {
        assert_eq!(weight(&words("Part no."), "part no"), 2);
        assert_eq!(weight(&words("Cyl."), "cyl"), 1);
        assert_eq!(weight(&words("Bypass"), "by"), 0);
        assert_eq!(
            meaning("reason", "leak - breakdown"),
            Some(("failed", "breakdown"))
        );
        assert_eq!(meaning("finding", "OK"), Some(("sound", "ok")));
        assert_eq!(meaning("finding", "??"), None);
    }
}
