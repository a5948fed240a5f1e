//! Readings of one quantity together: each judged with what the others tell of it.
//!
//! In: readings with their items, one limit rule. Out: verdicts; what a wear line is drawn
//! through. Never: clock, files, SQL, printing.
//!
//! A reading leans on the others in two ways: a paired clearance has its twin in the other
//! zone, read on the same item within a day; and where it states no new value, that of another
//! reading of the same item stands in, for the allowance also what is typical (the median).

use super::rule::LimitRule;
use super::verdict::{Given, NotComparable, Verdict, judge, judged};
use crate::quantity::Unit;

/// Two readings farther apart than this, in seconds, are no pair.
const PAIR_WITHIN: i64 = 86_400;

/// One reading and the item it was taken on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taken<'a> {
    pub given: Given<'a>,
    /// Seconds since 1970.
    pub time: i64,
    /// Which item; `None` where none is known to have been in the slot.
    pub item: Option<&'a str>,
}

/// A limit rule and the unit its numbers are in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standard {
    pub unit: Unit,
    pub rule: LimitRule,
}

impl Standard {
    /// The verdict on each of these readings, which are of one quantity.
    pub fn verdicts(&self, all: &[Taken<'_>]) -> Vec<Result<Verdict, NotComparable>> {
        let typical = self.typical_new(all);
        let of_loss = matches!(self.rule, LimitRule::LossFromNewAtMost { .. });
        all.iter()
            .enumerate()
            .map(|(n, taken)| {
                let new = self.new_of_item(all, taken);
                let new = if of_loss { new } else { new.or(typical) };
                let twin = self.twin(all, n).map(|twin| &all[twin].given);
                judge(&self.rule, &self.unit, &taken.given, twin, new)
            })
            .collect()
    }

    /// What the rule judges of each reading, for a wear line; a paired clearance gives the
    /// working zone's only.
    pub fn judged(&self, all: &[Taken<'_>]) -> Vec<Result<f64, NotComparable>> {
        all.iter()
            .map(|taken| {
                let new = self.new_of_item(all, taken);
                judged(&self.rule, &self.unit, &taken.given, new)
            })
            .collect()
    }

    /// The reading of the same clearance in the other zone, the nearest in time.
    fn twin(&self, all: &[Taken<'_>], of: usize) -> Option<usize> {
        if !matches!(self.rule, LimitRule::Paired { .. }) {
            return None;
        }
        let me = all.get(of)?;
        let apart = |other: &Taken<'_>| (other.time - me.time).abs();
        all.iter()
            .enumerate()
            .filter(|(_, other)| other.item == me.item && other.given.zone != me.given.zone)
            .filter(|(_, other)| apart(other) <= PAIR_WITHIN)
            .min_by_key(|(_, other)| apart(other))
            .map(|(n, _)| n)
    }

    fn new_in_unit(&self, taken: &Taken<'_>) -> Option<f64> {
        let unit = Unit::parse(taken.given.unit)?;
        unit.convert(taken.given.new_value?, &self.unit)
    }

    /// A new value stated with any reading of the same item in the same zone.
    fn new_of_item(&self, all: &[Taken<'_>], taken: &Taken<'_>) -> Option<f64> {
        self.new_in_unit(taken).or_else(|| {
            taken.item?;
            all.iter()
                .filter(|other| other.item == taken.item && other.given.zone == taken.given.zone)
                .find_map(|other| self.new_in_unit(other))
        })
    }

    fn typical_new(&self, all: &[Taken<'_>]) -> Option<f64> {
        let mut stated: Vec<f64> = all.iter().filter_map(|t| self.new_in_unit(t)).collect();
        stated.sort_by(f64::total_cmp);
        let middle = stated.len() / 2;
        if stated.len() % 2 == 1 {
            stated.get(middle).copied()
        } else {
            Some(0.5 * (stated.get(middle.checked_sub(1)?)? + stated.get(middle)?))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wear::verdict::{Standing, WornPart};

    fn taken<'a>(value: f64, zone: Option<&'a str>, time: i64, item: &'a str) -> Taken<'a> {
        Taken {
            given: Given {
                value,
                unit: "mm",
                zone,
                span: None,
                new_value: None,
            },
            time,
            item: Some(item),
        }
    }

    fn standard(rule: LimitRule) -> Standard {
        Standard {
            unit: Unit::parse("mm").expect("mm"),
            rule,
        }
    }

    #[test]
    fn a_pair_is_of_one_item_and_one_day() {
        let paired = standard(LimitRule::Paired {
            limit: Some(0.3),
            small: 0.02,
        });
        let all = [
            taken(0.35, Some("working"), 0, "A"),
            taken(0.10, Some("unworn"), 3_600, "A"),
            taken(0.34, Some("unworn"), 86_000, "A"),
            taken(0.34, Some("unworn"), 10, "B"),
            taken(0.10, Some("working"), 900_000, "A"),
        ];
        let found = paired.verdicts(&all);
        assert_eq!(found[0].as_ref().expect("pair").worn, Some(WornPart::Long));
        assert_eq!(
            found[3],
            Err(NotComparable::MissingTwin { zone: "working" })
        );
        assert_eq!(found[4], Err(NotComparable::MissingTwin { zone: "unworn" }));
    }

    #[test]
    fn a_new_value_is_the_items_own_for_a_loss_and_may_be_typical_else() {
        let mut all = [
            taken(59.99, None, 0, "A"),
            taken(59.98, None, 1, "A"),
            taken(59.98, None, 2, "B"),
        ];
        all[0].given.new_value = Some(60.0);
        let loss = standard(LimitRule::LossFromNewAtMost { limit: 0.05 });
        let found = loss.verdicts(&all);
        assert!((found[1].as_ref().expect("own").judged - 0.02).abs() < 1e-9);
        assert_eq!(found[2], Err(NotComparable::MissingNewValue));
        // 59.8 is the limit: the last tenth from 60.0 begins at 59.82.
        let least = standard(LimitRule::AtLeast { limit: 59.8 });
        all[2].given.value = 59.81;
        let found = least.verdicts(&all);
        let found = found[2].as_ref().expect("typical");
        assert_eq!(found.standing, Standing::Near);
        assert!((found.allowance - 0.2).abs() < 1e-9);
    }
}
