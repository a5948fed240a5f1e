//! The part's sentences, in plain words.
//!
//! In: [`MoneyFacts`]. Out: sentences. Never: figures that were not computed.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::charts::kind;
use super::facts::MoneyFacts;
use super::grid::{about, percent, rate, share, signed, whole};
use crate::chart::number;
use crate::cost::Span;
use crate::life::{CostClass, CostKind};
use crate::policy::decide::Saving;
use crate::report::words::{day, list, lower_first};
use crate::view::cost_change::FailureRow;
use crate::view::cost_saved::Between;

/// What the part begins with: what an hour costs, where it goes, whether it gets better, whether
/// planned renewal pays.
pub(super) fn findings(facts: &MoneyFacts) -> Vec<String> {
    [
        Some(an_hour(facts)),
        where_it_goes(facts),
        better(facts),
        Some(pays(facts)),
        on_offer(facts),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// "90 %".
pub(super) fn confidence(facts: &MoneyFacts) -> String {
    format!("{} %", number(100.0 * facts.confidence, 0))
}

/// "EUR 11.67 per running hour".
fn per_unit(facts: &MoneyFacts, value: f64) -> String {
    format!(
        "{} {} per {}",
        facts.currency.code(),
        rate(value),
        super::charts::unit_words(facts)
    )
}

/// Whether the recent period is a whole year.
fn a_year(facts: &MoneyFacts) -> bool {
    (facts.recent.to - facts.recent.from).num_days() >= 364
}

/// "In the 12 months to 15 June 2026".
pub(super) fn recently(facts: &MoneyFacts) -> String {
    let Span { from, to, .. } = &facts.recent;
    if a_year(facts) {
        format!("In the 12 months to {}", day(*to))
    } else {
        format!("From {} to {}", day(*from), day(*to))
    }
}

fn an_hour(facts: &MoneyFacts) -> String {
    let total = &facts.causes.total;
    let code = facts.currency.code();
    let spent = whole(total.amounts.total());
    let when = recently(facts);
    match (total.usage, total.rate()) {
        (Some(ran), Some(rate)) => format!(
            "{when} the machines ran {} {} and cost {code} {spent}: {}.",
            number(ran, 0),
            facts.unit,
            per_unit(facts, rate)
        ),
        _ if total.amounts.total().is_zero() => format!("{when} nothing was spent."),
        _ => format!(
            "{when} the machines cost {code} {spent}. What each {} costs cannot be said, as no \
             meter tells how much every one of them ran.",
            super::charts::unit_words(facts)
        ),
    }
}

/// Money of the recent period by component, the dearest first.
fn by_component(facts: &MoneyFacts) -> Vec<(&str, Decimal)> {
    let mut sums: BTreeMap<&str, Decimal> = BTreeMap::new();
    for group in &facts.causes.groups {
        if let Some(id) = group.keys[0].as_deref() {
            *sums.entry(id).or_default() += group.amounts.total();
        }
    }
    let mut sums: Vec<(&str, Decimal)> = sums.into_iter().collect();
    sums.sort_by_key(|(_, sum)| std::cmp::Reverse(*sum));
    sums
}

fn where_it_goes(facts: &MoneyFacts) -> Option<String> {
    let total = &facts.causes.total;
    let all = total.amounts.total();
    let first: Vec<String> = by_component(facts)
        .into_iter()
        .take(3)
        .filter(|(_, sum)| *sum > Decimal::ZERO)
        .filter_map(|(id, sum)| {
            let name = lower_first(facts.name(id));
            Some(format!("the {name} ({})", share(sum, all)?))
        })
        .collect();
    if first.is_empty() {
        return None;
    }
    let unplanned: Decimal = facts
        .causes
        .groups
        .iter()
        .filter(|group| kind(group) == Some(CostKind::Corrective))
        .map(|group| group.amounts.total())
        .sum();
    let lost = share(total.amounts.of(CostClass::Downtime), all)?;
    Some(format!(
        "Most of it went to {}. Of it all, {} was unplanned, work after a failure; lost production \
         was {lost}.",
        list(&first),
        share(unplanned, all)?
    ))
}

/// What the earlier period is called beside the later one.
pub(super) fn earlier(facts: &MoneyFacts) -> &'static str {
    match a_year(facts)
        && facts
            .change
            .as_ref()
            .is_some_and(|c| c.after == facts.recent)
    {
        true => "the 12 months before",
        false => "the first half of the record",
    }
}

fn better(facts: &MoneyFacts) -> Option<String> {
    let Some(change) = &facts.change else {
        return Some("The record is too short to say whether it is getting better.".to_owned());
    };
    if change.kinds.is_empty() {
        return None;
    }
    let total = change.total();
    let money = |amount: Decimal| amount.to_f64();
    let each = change
        .usage
        .0
        .zip(change.usage.1)
        .filter(|(one, two)| *one > 0.0 && *two > 0.0)
        .and_then(|(one, two)| {
            Some((
                money(total.before.money)? / one,
                money(total.after.money)? / two,
            ))
        });
    let mut text = match each {
        Some((one, two)) => {
            let (one, two) = (rate(one), rate(two));
            format!(
                "Each {} cost {} {two} after {one} in {}.",
                super::charts::unit_words(facts),
                facts.currency.code(),
                earlier(facts)
            )
        }
        None => format!(
            "It was {} {} after {} in {}.",
            facts.currency.code(),
            whole(total.after.money),
            whole(total.before.money),
            earlier(facts)
        ),
    };
    let more = [
        parts_of_change(facts),
        change.failures.first().and_then(|row| oftener(facts, row)),
        apart(facts),
    ];
    for said in more.into_iter().flatten() {
        text.push(' ');
        text.push_str(&said);
    }
    Some(text)
}

/// "Of the EUR 30,884 more, −3,392 is from the hours run, ...".
fn parts_of_change(facts: &MoneyFacts) -> Option<String> {
    let total = facts.change.as_ref()?.total();
    let split = total.split?;
    let change = total.after.money - total.before.money;
    if change.is_zero() {
        return None;
    }
    let rose = change > Decimal::ZERO;
    let parts = [
        (
            split.rate,
            "from work that came more often",
            "from work that came less often",
        ),
        (split.volume, "from more running", "from less running"),
        (
            split.price,
            "from work that cost more each time",
            "from work that cost less each time",
        ),
    ];
    let mut said: Vec<(Decimal, String)> = parts
        .into_iter()
        .filter(|(part, _, _)| !part.round().is_zero())
        .map(|(part, more, less)| {
            let words = if part > Decimal::ZERO { more } else { less };
            (part.abs(), format!("{} {words}", signed(part)))
        })
        .collect();
    // The largest first; equal ones keep their order.
    said.sort_by_key(|(part, _)| std::cmp::Reverse(*part));
    let said: Vec<String> = said.into_iter().map(|(_, words)| words).collect();
    Some(format!(
        "The cost {} by {} {}: {}.",
        if rose { "rose" } else { "fell" },
        facts.currency.code(),
        whole(change.abs()),
        list(&said)
    ))
}

/// Machines whose failures changed by more than chance, where so few are looked at that one of
/// them would hardly do so by chance alone.
fn apart(facts: &MoneyFacts) -> Option<String> {
    const FEW: usize = 10;
    let (all, machines) = facts.change.as_ref()?.failures.split_first()?;
    if machines.len() > FEW || verdict(all) != Verdict::Chance {
        return None;
    }
    let said: Vec<String> = machines
        .iter()
        .filter(|row| verdict(row) != Verdict::Chance)
        .filter_map(|row| {
            let ratio = row.ratio?.estimate?;
            Some(format!(
                "at {} ({} times)",
                row.machine.as_ref()?,
                two(ratio)
            ))
        })
        .collect();
    if said.is_empty() {
        return None;
    }
    Some(format!(
        "Only {} is it more than chance makes of it.",
        list(&said)
    ))
}

/// "Failures came 1.5 times as often (90 % limits 0.96 to 2.3), which may be chance."
fn oftener(facts: &MoneyFacts, row: &FailureRow) -> Option<String> {
    let ratio = row.ratio?;
    let limits = match ratio.upper {
        Some(upper) => format!("{} to {}", two(ratio.lower), two(upper)),
        None => format!("from {}", two(ratio.lower)),
    };
    let limits = format!("{} limits {limits}", confidence(facts));
    let chance = match verdict(row) {
        Verdict::More | Verdict::Fewer => "more than chance makes of it",
        Verdict::Chance => "which may be chance",
    };
    Some(match ratio.estimate {
        Some(estimate) => format!(
            "Failures came {} times as often ({limits}), {chance}.",
            two(estimate)
        ),
        None => format!(
            "There was no failure then and {} now, {chance}.",
            number(row.after.0 as f64, 0)
        ),
    })
}

pub(super) fn two(value: f64) -> String {
    crate::chart::significant(value, 2)
}

/// What a comparison of failure rates comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    More,
    Fewer,
    Chance,
}

pub(super) fn verdict(row: &FailureRow) -> Verdict {
    match row.ratio {
        Some(ratio) if ratio.lower > 1.0 => Verdict::More,
        Some(ratio) if ratio.upper.is_some_and(|upper| upper < 1.0) => Verdict::Fewer,
        _ => Verdict::Chance,
    }
}

/// A saving in words: "saved about EUR 262,000 (90 % limits 180,000 to 340,000)".
fn saved_words(facts: &MoneyFacts, saved: Between) -> Option<String> {
    let (median, lower, upper) = (saved.median?, saved.lower?, saved.upper?);
    let code = facts.currency.code();
    let limits = format!(
        "{} limits {} to {}",
        confidence(facts),
        about(lower),
        about(upper)
    );
    Some(if lower > 0.0 {
        format!(
            "planned renewal saved about {code} {} ({limits})",
            about(median)
        )
    } else if upper < 0.0 {
        format!(
            "planned renewal cost about {code} {} more ({limits} saved)",
            about(-median)
        )
    } else {
        format!(
            "planned renewal saved about {code} {} ({limits}, so it may have saved nothing)",
            about(median)
        )
    })
}

fn pays(facts: &MoneyFacts) -> String {
    let view = &facts.saved;
    let code = facts.currency.code();
    let found = match (
        &view.total,
        view.rows.iter().find(|row| row.saved.is_some()),
    ) {
        (Some(total), _) => Some((
            total.components,
            total.spent,
            total.run_to_failure,
            total.saved,
        )),
        (None, Some(row)) => row
            .run_to_failure
            .zip(row.saved)
            .map(|(cost, saved)| (1, row.spent, cost, saved)),
        (None, None) => None,
    };
    let words = found.and_then(|(count, spent, cost, saved)| {
        let what = match count {
            1 => "the one component that is renewed as planned and has failed too".to_owned(),
            n => format!("the {n} components that are renewed as planned and have failed too"),
        };
        Some(format!(
            "Since {} {what} cost {code} {}, where running to failure would have cost about {code} \
             {}: {}.",
            day(view.span.from),
            whole(spent),
            about(cost.median?),
            saved_words(facts, saved)?
        ))
    });
    words.unwrap_or_else(|| {
        "Whether planned renewal has paid cannot be said: no component was both renewed as planned \
         and seen to fail."
            .to_owned()
    })
}

fn on_offer(facts: &MoneyFacts) -> Option<String> {
    let total = facts.offer.total?;
    Some(format!(
        "Keeping the recommended intervals instead of today’s is {}.",
        worth_a_year(facts, &total)
    ))
}

/// "worth about EUR 12,300 a year (90 % limits 8,020 to 17,100)".
pub(super) fn worth_a_year(facts: &MoneyFacts, worth: &Saving) -> String {
    let code = facts.currency.code();
    format!(
        "worth about {code} {} a year ({} limits {} to {})",
        about(worth.median),
        confidence(facts),
        about(worth.lower),
        about(worth.upper)
    )
}

/// "Every 1,750 h", "at failure".
pub(super) fn every(usage: Option<f64>, unit: &str) -> String {
    usage.map_or_else(
        || "at failure".to_owned(),
        |usage| crate::report::words::usage(usage, unit),
    )
}

/// A chance in a table.
pub(super) fn chance(share: f64) -> String {
    percent(share)
}
