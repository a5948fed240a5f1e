//! The verdict on one reading: within its limit, near it, beyond it, or not comparable.
//!
//! In: a reading as it was given, the measurement's unit and rule. Out: [`Verdict`], or why
//! there is none ([`NotComparable`]). Never: clock, files, SQL, printing.
//!
//! What is judged, in the measurement's unit: the reading itself (`at_most`, `at_least`, and
//! the working zone of `paired`); a new part's reading less this one (`loss_from_new_at_most`);
//! the reading over the length it was taken over (`per_metre_at_most`).
//!
//! *Near* is the last tenth of the allowance. The allowance is how far a new part is from the
//! limit: for a loss, the limit itself; else the distance between the limit and a new part's
//! reading (this one's `new_value`, else what is typical of the part), where that lies on the
//! good side; else, nothing being known of a new part, the size of the limit. So a tenth of a
//! clearance's way from 0.08 new to 0.30 is 0.022, and without a new value a tenth of 0.30.

use thiserror::Error;

use super::rule::LimitRule;
use crate::quantity::Unit;

/// Share of the allowance that is left where a reading is called near its limit.
pub const NEAR: f64 = 0.1;

/// Readings closer than this to the limit, relative to the numbers they are worked from, are
/// on it: `60.002 − 59.952` is not above 0.05.
const SLACK: f64 = 1e-10;

/// A reading as it was given; `new_value` in the same unit, `span` in metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Given<'a> {
    pub value: f64,
    pub unit: &'a str,
    pub zone: Option<&'a str>,
    pub span: Option<f64>,
    pub new_value: Option<f64>,
}

/// Where a reading stands against its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    Within,
    Near,
    Beyond,
}

impl Standing {
    pub fn word(self) -> &'static str {
        match self {
            Standing::Within => "within",
            Standing::Near => "near",
            Standing::Beyond => "beyond",
        }
    }
}

/// Which of two mating parts a clearance beyond its limit is the wear of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WornPart {
    /// The part that works in one zone of its length (a plunger).
    Long,
    /// The ring around it, which works wherever it sits.
    Ring,
    /// Both: large in both zones, and larger where the long part works.
    Both,
}

impl WornPart {
    pub fn words(self) -> &'static str {
        match self {
            WornPart::Long => "large only where it works: the long part (plunger) is worn",
            WornPart::Ring => "large in both zones: the ring is worn",
            WornPart::Both => {
                "large in both zones, larger where the long part works: ring and long part \
                 (plunger) are worn"
            }
        }
    }

    /// One word for machines.
    pub fn word(self) -> &'static str {
        match self {
            WornPart::Long => "long part",
            WornPart::Ring => "ring",
            WornPart::Both => "both",
        }
    }
}

/// A reading held against its limit; numbers in the measurement's unit (per metre, for that
/// rule).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    pub standing: Standing,
    /// What was judged.
    pub judged: f64,
    pub limit: f64,
    /// What is left to the limit; below 0 beyond it.
    pub left: f64,
    /// From new to the limit; see the head of this file.
    pub allowance: f64,
    /// For a paired clearance beyond its limit.
    pub worn: Option<WornPart>,
}

/// Why a reading cannot be held against a limit.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NotComparable {
    #[error("no unit `{unit}` is known")]
    UnknownUnit { unit: String },
    #[error("it is in {given}, the limit in {needed}")]
    OtherUnit {
        given: &'static str,
        needed: &'static str,
    },
    #[error("the length it was taken over (span) is not stated")]
    MissingSpan,
    #[error("no reading of the part when new (new value)")]
    MissingNewValue,
    #[error("no reading in zone `{zone}` within a day of it")]
    MissingTwin { zone: &'static str },
    #[error("a paired clearance is read in the zones `working` and `unworn`")]
    NoPairZone,
    #[error(
        "the clearance is larger where the long part never works ({unworn} against {working}): \
         measure both zones again"
    )]
    LargerUnworn { working: f64, unworn: f64 },
    #[error("the register's paired rule states no `limit` for the clearance")]
    NoLimit,
    #[error("the register has no limit for it")]
    NoRule,
}

impl NotComparable {
    /// One word for machines.
    pub fn code(&self) -> &'static str {
        match self {
            NotComparable::UnknownUnit { .. } => "unknown-unit",
            NotComparable::OtherUnit { .. } => "other-unit",
            NotComparable::MissingSpan => "missing-span",
            NotComparable::MissingNewValue => "missing-new-value",
            NotComparable::MissingTwin { .. } => "missing-twin",
            NotComparable::NoPairZone => "no-pair-zone",
            NotComparable::LargerUnworn { .. } => "larger-unworn",
            NotComparable::NoLimit => "no-limit",
            NotComparable::NoRule => "no-rule",
        }
    }
}

/// A number of a reading in the measurement's unit.
fn converted(value: f64, unit: &str, to: &Unit) -> Result<f64, NotComparable> {
    let from = Unit::parse(unit).ok_or_else(|| NotComparable::UnknownUnit { unit: unit.into() })?;
    from.convert(value, to).ok_or(NotComparable::OtherUnit {
        given: from.symbol(),
        needed: to.symbol(),
    })
}

/// What a rule judges of a reading, in the measurement's unit (per metre, for that rule).
///
/// `new_value` is a new part's reading in the measurement's unit where the reading itself
/// states none. Errors: [`NotComparable`] where what the rule needs is not there.
pub fn judged(
    rule: &LimitRule,
    unit: &Unit,
    given: &Given<'_>,
    new_value: Option<f64>,
) -> Result<f64, NotComparable> {
    let value = converted(given.value, given.unit, unit)?;
    match rule {
        LimitRule::AtMost { .. } | LimitRule::AtLeast { .. } => Ok(value),
        LimitRule::LossFromNewAtMost { .. } => new_of(unit, given, new_value)?
            .map(|new| new - value)
            .ok_or(NotComparable::MissingNewValue),
        LimitRule::PerMetreAtMost { .. } => Ok(value / span(given)?),
        LimitRule::Paired { .. } => match given.zone {
            Some(LimitRule::WORKING | LimitRule::UNWORN) => Ok(value),
            _ => Err(NotComparable::NoPairZone),
        },
    }
}

fn span(given: &Given<'_>) -> Result<f64, NotComparable> {
    given
        .span
        .filter(|span| *span > 0.0)
        .ok_or(NotComparable::MissingSpan)
}

/// A new part's reading in the measurement's unit: stated with this one, else elsewhere.
fn new_of(
    unit: &Unit,
    given: &Given<'_>,
    new_value: Option<f64>,
) -> Result<Option<f64>, NotComparable> {
    match given.new_value {
        Some(new) => converted(new, given.unit, unit).map(Some),
        None => Ok(new_value),
    }
}

/// Holds a reading against its limit.
///
/// `twin`: for a paired rule, the reading of the same clearance in the other zone.
/// `new_value`: a new part's reading in the measurement's unit, where the reading itself
/// states none (for a loss: of this very item).
/// Errors: [`NotComparable`], with what is missing.
pub fn judge(
    rule: &LimitRule,
    unit: &Unit,
    given: &Given<'_>,
    twin: Option<&Given<'_>>,
    new_value: Option<f64>,
) -> Result<Verdict, NotComparable> {
    let mine = judged(rule, unit, given, new_value)?;
    let limit = rule.limit().ok_or(NotComparable::NoLimit)?;
    let new = new_of(unit, given, new_value)?;
    match *rule {
        LimitRule::Paired { small, .. } => {
            let is_working = given.zone == Some(LimitRule::WORKING);
            let zone = if is_working {
                LimitRule::UNWORN
            } else {
                LimitRule::WORKING
            };
            let twin = twin
                .filter(|twin| twin.zone == Some(zone))
                .ok_or(NotComparable::MissingTwin { zone })?;
            let other = converted(twin.value, twin.unit, unit)?;
            let (working, unworn) = if is_working {
                (mine, other)
            } else {
                (other, mine)
            };
            paired(limit, small, working, unworn, new)
        }
        LimitRule::LossFromNewAtMost { .. } => {
            let size = new.unwrap_or(0.0).abs();
            Ok(verdict(mine, limit, true, limit, size))
        }
        LimitRule::PerMetreAtMost { .. } => {
            let new = new.map(|new| span(given).map(|span| new / span));
            let allowance = allowance(limit, true, new.transpose()?);
            Ok(verdict(mine, limit, true, allowance, 0.0))
        }
        LimitRule::AtMost { .. } | LimitRule::AtLeast { .. } => {
            let allowance = allowance(limit, rule.rises(), new);
            Ok(verdict(mine, limit, rule.rises(), allowance, 0.0))
        }
    }
}

fn paired(
    limit: f64,
    small: f64,
    working: f64,
    unworn: f64,
    new: Option<f64>,
) -> Result<Verdict, NotComparable> {
    let slack = SLACK * working.abs().max(unworn.abs());
    if unworn - working > small + slack {
        return Err(NotComparable::LargerUnworn { working, unworn });
    }
    let mut found = verdict(working, limit, true, allowance(limit, true, new), 0.0);
    if found.standing == Standing::Beyond {
        let alike = working - unworn <= small + slack;
        let large_in_both = unworn > limit + slack;
        found.worn = Some(match (alike, large_in_both) {
            (true, _) => WornPart::Ring,
            (false, true) => WornPart::Both,
            (false, false) => WornPart::Long,
        });
    }
    Ok(found)
}

/// How far a new part is from the limit.
fn allowance(limit: f64, rises: bool, new: Option<f64>) -> f64 {
    let sign = if rises { 1.0 } else { -1.0 };
    new.map(|new| sign * (limit - new))
        .filter(|distance| *distance > 0.0)
        .unwrap_or(limit.abs())
}

fn verdict(judged: f64, limit: f64, rises: bool, allowance: f64, size: f64) -> Verdict {
    let slack = SLACK * judged.abs().max(limit.abs()).max(size);
    let left = if rises {
        limit - judged
    } else {
        judged - limit
    };
    let standing = if left < -slack {
        Standing::Beyond
    } else if left < NEAR * allowance - slack {
        Standing::Near
    } else {
        Standing::Within
    };
    Verdict {
        standing,
        judged,
        limit,
        left,
        allowance,
        worn: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(symbol: &str) -> Unit {
        Unit::parse(symbol).expect(symbol)
    }

    fn given(value: f64, unit: &str) -> Given<'_> {
        Given {
            value,
            unit,
            zone: None,
            span: None,
            new_value: None,
        }
    }

    fn standing(rule: LimitRule, given: Given<'_>) -> Standing {
        judge(&rule, &unit("mm"), &given, None, None)
            .expect("comparable")
            .standing
    }

    #[test]
    fn at_most_and_at_least_have_a_last_tenth() {
        use Standing::{Beyond, Near, Within};
        let most = LimitRule::AtMost { limit: 2.0 };
        for (value, new, found) in [
            (1.8, None, Within),
            (1.81, None, Near),
            (2.0, None, Near),
            (2.0001, None, Beyond),
            // From 1.0 new, the last tenth begins at 1.9.
            (1.9, Some(1.0), Within),
            (1.91, Some(1.0), Near),
            // A new value beyond the limit says nothing.
            (1.81, Some(2.5), Near),
        ] {
            let mut reading = given(value, "mm");
            reading.new_value = new;
            assert_eq!(standing(most, reading), found, "{value} {new:?}");
        }
        let least = LimitRule::AtLeast { limit: 47.0 };
        for (value, new, found) in [
            (47.5, Some(52.0), Within),
            (47.49, Some(52.0), Near),
            (47.0, Some(52.0), Near),
            (46.99, Some(52.0), Beyond),
            (51.7, None, Within),
            (51.6, None, Near),
        ] {
            let mut reading = given(value, "mm");
            reading.new_value = new;
            assert_eq!(standing(least, reading), found, "{value} {new:?}");
        }
    }

    #[test]
    fn units_are_converted_and_others_refused() {
        // 0.012 in = 0.3048 mm.
        let rule = LimitRule::AtMost { limit: 0.3 };
        let found = judge(&rule, &unit("mm"), &given(12.0, "thou"), None, None).expect("thou");
        assert!((found.judged - 0.3048).abs() < 1e-12);
        assert_eq!(found.standing, Standing::Beyond);
        let other = judge(&rule, &unit("mm"), &given(1.0, "bar"), None, None).expect_err("bar");
        assert_eq!(
            other,
            NotComparable::OtherUnit {
                given: "bar",
                needed: "mm"
            }
        );
        let unknown = judge(&rule, &unit("mm"), &given(1.0, "furlong"), None, None);
        assert_eq!(unknown.expect_err("furlong").code(), "unknown-unit");
    }

    #[test]
    fn a_loss_needs_a_new_value_and_the_limit_itself_is_kept() {
        let rule = LimitRule::LossFromNewAtMost { limit: 0.05 };
        let bare = judge(&rule, &unit("mm"), &given(59.98, "mm"), None, None);
        assert_eq!(bare, Err(NotComparable::MissingNewValue));
        let elsewhere = judge(&rule, &unit("mm"), &given(59.98, "mm"), None, Some(60.0));
        assert!((elsewhere.expect("known").judged - 0.02).abs() < 1e-9);
        let mut reading = given(59.952, "mm");
        reading.new_value = Some(60.002); // floats make the loss 0.05000000000000426
        assert_eq!(standing(rule, reading), Standing::Near);
        reading.value = 59.951;
        assert_eq!(standing(rule, reading), Standing::Beyond);
    }

    #[test]
    fn per_metre_needs_a_span() {
        let rule = LimitRule::PerMetreAtMost { limit: 0.1 };
        let mut reading = given(0.03, "mm");
        let bare = judge(&rule, &unit("mm"), &reading, None, None);
        assert_eq!(bare, Err(NotComparable::MissingSpan));
        reading.span = Some(0.25);
        assert_eq!(standing(rule, reading), Standing::Beyond); // 0.12 a metre
        reading.span = Some(0.35);
        assert_eq!(standing(rule, reading), Standing::Within); // 0.0857
    }

    #[test]
    fn two_zones_tell_which_part_is_worn() {
        let rule = LimitRule::Paired {
            limit: Some(0.30),
            small: 0.02,
        };
        let find = |working: f64, unworn: f64| {
            let mut reading = given(working, "mm");
            reading.zone = Some(LimitRule::WORKING);
            let mut twin = given(unworn, "mm");
            twin.zone = Some(LimitRule::UNWORN);
            let one = judge(&rule, &unit("mm"), &reading, Some(&twin), None);
            let other = judge(&rule, &unit("mm"), &twin, Some(&reading), None);
            assert_eq!(one, other, "whichever zone was read last");
            one
        };
        let sound = find(0.12, 0.11).expect("sound");
        assert_eq!((sound.standing, sound.worn), (Standing::Within, None));
        let long = find(0.33, 0.10).expect("long");
        assert_eq!(long.worn, Some(WornPart::Long));
        assert_eq!(long.standing, Standing::Beyond);
        let ring = find(0.33, 0.32).expect("ring");
        assert_eq!(ring.worn, Some(WornPart::Ring));
        // Just above and just below the limit, yet alike: not the long part.
        assert_eq!(
            find(0.305, 0.295).expect("alike").worn,
            Some(WornPart::Ring)
        );
        assert_eq!(find(0.45, 0.33).expect("both").worn, Some(WornPart::Both));
        assert_eq!(find(0.10, 0.20).expect_err("odd").code(), "larger-unworn");
    }

    #[test]
    fn a_pair_wants_its_twin_and_its_limit() {
        let mut reading = given(0.1, "mm");
        let rule = LimitRule::Paired {
            limit: Some(0.30),
            small: 0.02,
        };
        let mm = unit("mm");
        let judge_it = |rule: &LimitRule, reading: &Given<'_>, twin: Option<&Given<'_>>| {
            judge(rule, &mm, reading, twin, None).expect_err("no verdict")
        };
        assert_eq!(judge_it(&rule, &reading, None), NotComparable::NoPairZone);
        reading.zone = Some(LimitRule::WORKING);
        let missing = judge_it(&rule, &reading, Some(&reading));
        assert_eq!(missing, NotComparable::MissingTwin { zone: "unworn" });
        let old = LimitRule::Paired {
            limit: None,
            small: 0.02,
        };
        assert_eq!(judge_it(&old, &reading, None), NotComparable::NoLimit);
    }
}
