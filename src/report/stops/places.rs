//! Positions and machines in as few words as tell them apart.
//!
//! In: names in their order. Out: text. Never: what is done there.

use crate::report::words::{count, list};

/// "P1–P3", "P1, P3", "P2 suction; P3 suction, discharge": a run of three or more numbers is
/// drawn together, and what follows a first dot is told once for the cylinders that share it.
pub fn positions<S: AsRef<str>>(names: &[S]) -> String {
    let mut groups: Vec<(Vec<&str>, Vec<&str>)> = Vec::new();
    let mut cylinders: Vec<(&str, Vec<&str>)> = Vec::new();
    for name in names {
        let (cylinder, rest) = match name.as_ref().split_once('.') {
            Some((cylinder, rest)) => (cylinder, Some(rest)),
            None => (name.as_ref(), None),
        };
        let known = cylinders.iter_mut().find(|(c, _)| *c == cylinder);
        match known {
            Some((_, rests)) => rests.extend(rest),
            None => cylinders.push((cylinder, rest.into_iter().collect())),
        }
    }
    for (cylinder, rests) in cylinders {
        match groups.iter_mut().find(|(_, known)| *known == rests) {
            Some((cylinders, _)) => cylinders.push(cylinder),
            None => groups.push((vec![cylinder], rests)),
        }
    }
    let told = groups.iter().map(|(cylinders, rests)| {
        let cylinders = runs(cylinders);
        match rests.as_slice() {
            [] => cylinders,
            rests => format!("{cylinders} {}", rests.join(", ")),
        }
    });
    let several = groups.iter().any(|(_, rests)| !rests.is_empty());
    let told: Vec<String> = told.collect();
    told.join(if several { "; " } else { ", " })
}

/// Names with runs of numbers drawn together.
fn runs(names: &[&str]) -> String {
    let split = |name: &str| {
        let digits = name.len() - name.bytes().rev().take_while(u8::is_ascii_digit).count();
        let (stem, number) = name.split_at(digits);
        Some((stem.to_owned(), number.parse::<u32>().ok()?))
    };
    let mut told: Vec<String> = Vec::new();
    let mut at = 0;
    while at < names.len() {
        let mut end = at + 1;
        if let Some((stem, first)) = split(names[at]) {
            let follows = |n: usize| {
                let step = u32::try_from(n - at).unwrap_or(u32::MAX);
                split(names[n]) == Some((stem.clone(), first.saturating_add(step)))
            };
            while end < names.len() && follows(end) {
                end += 1;
            }
        }
        if end - at > 2 {
            told.push(format!("{}–{}", names[at], names[end - 1]));
        } else {
            told.extend(names[at..end].iter().map(|name| (*name).to_owned()));
        }
        at = end;
    }
    told.join(", ")
}

/// "H-01, H-02 and H-03"; of many the first, and how many more.
pub fn machines<S: AsRef<str>>(names: &[S]) -> String {
    const SHOWN: usize = 5;
    if names.len() <= SHOWN + 1 {
        return list(names);
    }
    let first: Vec<&str> = names[..SHOWN].iter().map(AsRef::as_ref).collect();
    let more = count(names.len() - SHOWN, "more", "more");
    format!("{} and {more}", first.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_are_drawn_together() {
        assert_eq!(positions(&["P1", "P2", "P3"]), "P1–P3");
        assert_eq!(positions(&["P1", "P2"]), "P1, P2");
        assert_eq!(positions(&["P1", "P3", "P4", "P5"]), "P1, P3–P5");
        assert_eq!(positions(&["P9", "P10", "P11"]), "P9–P11");
        assert_eq!(positions(&["drive"]), "drive");
        assert_eq!(positions(&["1", "2", "3"]), "1–3");
        assert_eq!(
            positions(&["P1.suction", "P2.suction", "P3.suction"]),
            "P1–P3 suction"
        );
        assert_eq!(
            positions(&["P2.suction", "P3.suction", "P3.discharge"]),
            "P2 suction; P3 suction, discharge"
        );
        assert_eq!(positions::<&str>(&[]), "");
        assert_eq!(positions(&["P4294967295", "P1"]), "P4294967295, P1");
    }

    #[test]
    fn many_machines_are_counted() {
        let names: Vec<String> = (1..=9).map(|n| format!("H-{n}")).collect();
        assert_eq!(machines(&names[..2]), "H-1 and H-2");
        assert_eq!(machines(&names), "H-1, H-2, H-3, H-4, H-5 and 4 more");
    }
}
