//! Restating an entry with other values: what is not named stays as it was written.
//!
//! In: a line's text, keys with their new values as JSON. Out: the entry as it is to be
//! recorded anew. Never: recording it (that is the appender's).

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::entry::{Entry, Kind};
use super::json::{Member, members, write_text};
use super::line_fault::LineFault;
use super::parse::{known_keys, parse_given_line};

/// One key's new value; `None` leaves the key out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub key: String,
    /// As JSON writes it.
    pub value: Option<String>,
}

/// The keys that can be amended in an entry of this kind: not the kind itself, which is
/// another entry, nor where it was imported from, which is as it is.
pub fn amendable_keys(kind: Kind) -> Vec<&'static str> {
    known_keys(kind, false)
        .filter(|key| !matches!(*key, "entry" | "source"))
        .collect()
}

/// The entry of a line, restated now with these changes. Texts of times may be plant times.
///
/// Errors: every fault of the line that it would be, with that line's text.
pub fn restate(
    line: &str,
    changes: &[Change],
    zone: Tz,
    now: DateTime<Utc>,
) -> Result<Entry, (String, Vec<LineFault>)> {
    let given = given(line, changes);
    parse_given_line(given.as_bytes(), zone, now, None).map_err(|faults| (given, faults))
}

/// The line as it would be given for recording.
fn given(line: &str, changes: &[Change]) -> String {
    let changed = |key: &str| changes.iter().find(|change| change.key == key);
    let mut text = String::from("{");
    let mut put = |key: &str, value: &str| {
        if text.len() > 1 {
            text.push(',');
        }
        write_text(key, &mut text);
        text.push(':');
        text.push_str(value);
    };
    let before = members(line).unwrap_or_default();
    for member in &before {
        let key: &str = &member.key;
        if matches!(key, "prev" | "logged") {
            continue;
        }
        match changed(key) {
            None => put(key, &line[member.span.clone()]),
            Some(Change {
                value: Some(value), ..
            }) => put(key, value),
            Some(_) => {}
        }
    }
    for change in changes {
        let new = before.iter().all(|member| member.key != change.key);
        if let (true, Some(value)) = (new, &change.value) {
            put(&change.key, value);
        }
    }
    text.push('}');
    text
}

/// The keys in which two lines differ, with both values as written: `prev` and `logged`
/// left out.
pub fn differences(before: &str, after: &str) -> Vec<(String, Option<String>, Option<String>)> {
    let (old, new) = (
        members(before).unwrap_or_default(),
        members(after).unwrap_or_default(),
    );
    let mut keys: Vec<&str> = old.iter().map(|member| member.key.as_ref()).collect();
    for member in &new {
        if !keys.contains(&member.key.as_ref()) {
            keys.push(&member.key);
        }
    }
    keys.retain(|key| !matches!(*key, "prev" | "logged"));
    let value = |text: &str, all: &[Member<'_>], key: &str| {
        let member = all.iter().find(|member| member.key == key)?;
        Some(text[member.span.clone()].to_owned())
    };
    keys.into_iter()
        .map(|key| {
            let then = value(before, &old, key);
            (key.to_owned(), then, value(after, &new, key))
        })
        .filter(|(_, then, now)| then != now)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Sha, parse_line};
    use chrono::TimeZone;

    const LINE: &str = r#"{"prev":"0000000000000000000000000000000000000000000000000000000000000000","entry":"measured","time":"2025-01-20T08:40:00Z","logged":"2025-01-20T08:41:00Z","who":"A. Example","machine":"H-01","component":"plunger","position":"P1","quantity":"diameter","value":59.990,"unit":"mm","new_value":60,"job":"J-1","source":"list.csv:3:0123456789ab"}"#;

    fn now() -> DateTime<Utc> {
        Utc.with_ymd_and_hms(2025, 3, 1, 12, 0, 0)
            .single()
            .expect("one")
    }

    fn change(key: &str, value: Option<&str>) -> Change {
        Change {
            key: key.into(),
            value: value.map(str::to_owned),
        }
    }

    #[test]
    fn what_is_not_named_stays_as_it_was_written() {
        let changes = [change("value", Some("59.980")), change("new_value", None)];
        let entry = restate(LINE, &changes, Tz::UTC, now()).expect("sound");
        let line = entry.line(Sha::ZERO);
        let expected = LINE
            .replace("59.990", "59.980")
            .replace(",\"new_value\":60", "")
            .replace("2025-01-20T08:41:00Z", "2025-03-01T12:00:00Z");
        assert_eq!(line, expected);
        assert_eq!(
            differences(LINE, &line),
            [
                ("value".into(), Some("59.990".into()), Some("59.980".into())),
                ("new_value".into(), Some("60".into()), None)
            ]
        );
    }

    #[test]
    fn nothing_named_restates_the_same() {
        let entry = restate(LINE, &[], Tz::UTC, now()).expect("sound");
        let (_, before) = parse_line(LINE.as_bytes()).expect("sound");
        assert_eq!(
            Entry {
                logged: before.logged,
                ..entry
            },
            before
        );
        assert!(differences(LINE, LINE).is_empty());
    }

    #[test]
    fn a_key_it_cannot_do_without_is_missed() {
        let changes = [change("value", None), change("note", Some("\"x\""))];
        let (text, faults) = restate(LINE, &changes, Tz::UTC, now()).expect_err("lacks it");
        assert!(text.ends_with(r#""note":"x"}"#), "{text}");
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert_eq!(faults[0].kind.name(), "entry-missing-key");
    }

    #[test]
    fn kind_and_origin_are_not_to_be_amended() {
        let keys = amendable_keys(Kind::Reading);
        assert!(keys.contains(&"value") && keys.contains(&"time") && keys.contains(&"who"));
        assert!(!keys.contains(&"entry") && !keys.contains(&"source"));
        assert!(!keys.contains(&"prev") && !keys.contains(&"logged"));
    }
}
