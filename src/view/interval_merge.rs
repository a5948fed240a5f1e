//! Recommendations that say the same, joined to one row of the table.
//!
//! In: [`RecommendationView`]s, one a slot. Out: fewer of them, each with the slots it holds for.
//! Never: statistics; a word in JSON or CSV, where every slot keeps its row.

use super::interval::RecommendationView;
use super::table::percent;

/// Longest list of positions spelled out in a table.
const SPELLED_OUT: usize = 48;

/// Where joined rows hold: "P1, P3", "H-02 P2", "H-01, H-03: P1, P2", "machine H-02"; a long list
/// of positions is counted.
fn place_of(members: &[&RecommendationView], rows: &[RecommendationView]) -> String {
    let position = |row: &RecommendationView| row.position.clone().unwrap_or_default();
    let machine = members[0].machine.clone();
    if members.iter().any(|member| member.machine != machine) {
        let slots: Vec<String> = members
            .iter()
            .map(|m| {
                let machine = m.machine.as_deref().unwrap_or_default();
                format!("{machine} {}", position(m)).trim().to_owned()
            })
            .collect();
        return slots.join(", ");
    }
    let positions: Vec<String> = members.iter().map(|m| position(m)).collect();
    let every = rows
        .iter()
        .filter(|row| row.component == members[0].component)
        .all(|row| positions.contains(&position(row)));
    let listed = positions.join(", ");
    let counted = format!("{} positions", positions.len());
    match machine {
        Some(machine) if every && positions.len() > 1 => {
            let several = machine.contains(", ");
            format!("{} {machine}", if several { "machines" } else { "machine" })
        }
        Some(machine) if positions.len() == 1 => format!("{machine} {listed}"),
        Some(machine) if listed.len() > SPELLED_OUT => format!("{machine}: {counted}"),
        Some(machine) => format!("{machine}: {listed}"),
        None if listed.len() > SPELLED_OUT => counted,
        None => listed,
    }
}

/// Rows that rest on the same evidence, or on each other, and say the same, joined; with the
/// slots they hold for in words.
pub(super) fn merged(rows: &[RecommendationView]) -> Vec<(RecommendationView, String)> {
    let mut joined: Vec<Vec<&RecommendationView>> = Vec::new();
    for row in rows {
        match joined.iter_mut().find(|members| alike(members[0], row)) {
            Some(members) => members.push(row),
            None => joined.push(vec![row]),
        }
    }
    let of = |row: &RecommendationView| -> Vec<usize> {
        let same = joined.iter().filter(|j| j[0].component == row.component);
        same.map(Vec::len).collect()
    };
    let mut named: Vec<(RecommendationView, String)> = joined
        .iter()
        .map(|members| {
            let sizes = of(members[0]);
            // The largest of several rows stands for the rest; of two as large both are named.
            let largest = sizes.iter().filter(|n| **n >= members.len()).count() == 1;
            let pool = members.iter().any(|member| member.machine.is_none());
            let place = if sizes.len() == 1 {
                "all positions".into()
            } else if pool && largest && members.len() > 1 {
                "all others".into()
            } else {
                place_of(members, rows)
            };
            (one_row(members), place)
        })
        .collect();
    // What holds for most stands before its exceptions; components keep their order.
    let order: Vec<Option<&str>> = rows.iter().map(|row| row.component.as_deref()).collect();
    named.sort_by_key(|(row, place)| {
        let component = order.iter().position(|c| *c == row.component.as_deref());
        (component, place != "all others")
    });
    named
}

/// True where two rows may share one line.
fn alike(one: &RecommendationView, other: &RecommendationView) -> bool {
    let same_evidence =
        one.optimum == other.optimum && one.basis == other.basis && one.notes == other.notes;
    let siblings = one.borrowed.is_some() && other.borrowed.is_some();
    one.component.is_some()
        && one.component == other.component
        && one.verdict == other.verdict
        && one.interval == other.interval
        && one.look_at == other.look_at
        && (same_evidence || siblings)
}

/// The row for all members: the least sure of them, with the lives of all.
fn one_row(members: &[&RecommendationView]) -> RecommendationView {
    let doubt = |row: &RecommendationView| row.chance_it_pays.map_or(1.0, |c| (c - 0.5).abs());
    let mut row = members
        .iter()
        .copied()
        .min_by(|x, y| doubt(x).total_cmp(&doubt(y)))
        .unwrap_or(members[0])
        .clone();
    let shares: Vec<f64> = members.iter().filter_map(|m| m.borrowed).collect();
    if !shares.is_empty() {
        row.lives = members.iter().map(|m| m.lives).sum();
        row.failures = members.iter().map(|m| m.failures).sum();
        row.notes.push(lean_words(&shares, members.len() > 1));
    }
    row
}

/// How far a row's positions lean on their siblings, in a sentence.
fn lean_words(shares: &[f64], several: bool) -> String {
    let share = share_words(shares);
    if several {
        format!(
            "each of these leans on its siblings: {share} of an estimate is borrowed; the \
             figures are those of the least sure"
        )
    } else {
        format!("leans on its siblings: {share} of the estimate is borrowed")
    }
}

/// "64 %", or "40 to 64 %".
pub fn share_words(shares: &[f64]) -> String {
    let low = shares.iter().copied().fold(1.0, f64::min);
    let high = shares.iter().copied().fold(0.0, f64::max);
    let (low, high) = (percent(low), percent(high));
    if low == high {
        low
    } else {
        format!("{} to {high}", low.trim_end_matches(" %"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::{Life, Sample};
    use crate::policy::Costs;
    use crate::policy::recommend::{Terms, recommend};
    use crate::view::interval::RowFacts;

    fn row(position: &str, interval: f64, borrowed: Option<f64>) -> RecommendationView {
        let lives = [900.0, 1_100.0, 1_300.0].map(Life::failure).to_vec();
        let sample = Sample::new(lives).expect("lives");
        let costs = Costs::new(1.0, 10.0).expect("costs");
        let facts = RowFacts {
            component: Some("ring".into()),
            position: Some(position.into()),
            lives: 3,
            failures: 2,
            borrowed,
            basis: position.into(),
            ..RowFacts::default()
        };
        let mut row = RecommendationView::new(facts, &recommend(&sample, costs, &Terms::default()));
        row.interval = Some(interval);
        row.notes.clear();
        row
    }

    #[test]
    fn siblings_that_settle_alike_share_a_row() {
        let mut rows = vec![
            row("P1", 500.0, Some(0.4)),
            row("P2", 250.0, Some(0.7)),
            row("P3", 500.0, Some(0.6)),
        ];
        rows[2].chance_it_pays = Some(0.85);
        rows[0].chance_it_pays = Some(0.95);
        let found = merged(&rows);
        let places: Vec<&str> = found.iter().map(|f| f.1.as_str()).collect();
        assert_eq!(places, ["all others", "P2"]);
        assert_eq!((found[0].0.lives, found[0].0.failures), (6, 4));
        assert_eq!(found[0].0.chance_it_pays, Some(0.85));
        assert!(found[0].0.notes[0].contains("40 to 60 % of an estimate"));
        assert!(found[1].0.notes[0].contains("70 % of the estimate"));
        // Without leaning, different evidence keeps its own row.
        let rows = [row("P1", 500.0, None), row("P2", 500.0, None)];
        assert_eq!(merged(&rows).len(), 2);
        // All alike: one row.
        let rows = [row("P1", 500.0, Some(0.4)), row("P2", 500.0, Some(0.3))];
        let found = merged(&rows);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].1, "all positions");
    }
}
