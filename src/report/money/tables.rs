//! The part's tables.
//!
//! In: [`MoneyFacts`]. Out: [`Grid`]s. Never: adding up beyond a row.

use rust_decimal::Decimal;

use super::charts::kind;
use super::facts::{MoneyFacts, Stretch};
use super::grid::{Cell, Grid, about, between, exact, rate, share, signed, whole};
use super::words::{Verdict, chance, confidence, every, recently, two, verdict};
use crate::chart::{number, significant};
use crate::cost::{Breakdown, Every, Indicator, Span};
use crate::life::{CostClass, CostKind};
use crate::recurrence::RateLimits;
use crate::report::words::day;
use crate::view::cost_change::{FailureRow, KindRow};
use crate::view::cost_saved::Between;

const CLASSES: [(&str, CostClass); 5] = [
    (">Parts", CostClass::Parts),
    (">Labour", CostClass::Labour),
    (">Lost production", CostClass::Downtime),
    (">Extra cost", CostClass::Extra),
    (">Expenses", CostClass::Expense),
];

fn stretch_word(facts: &MoneyFacts) -> &'static str {
    match facts.by_kind.every {
        Every::Month => "Month",
        Every::Quarter => "Quarter",
        Every::Year => "Year",
    }
}

/// A stretch by its name; the days where it is not whole.
fn stretch_cell(facts: &MoneyFacts, stretch: &Stretch) -> Cell {
    let whole = Span::new(stretch.span.from, stretch.span.to);
    let next = stretch.span.to.succ_opt().unwrap_or(stretch.span.to);
    let cut = |at: chrono::NaiveDate| {
        let parts = Span::new(whole.from.min(at), at).cut(facts.by_kind.every);
        parts.last().is_some_and(|last| last.from == at)
    };
    let days = |from: bool| {
        let date = if from { whole.from } else { whole.to };
        format!("{} {}", if from { "from" } else { "to" }, day(date))
    };
    match (cut(whole.from), cut(next)) {
        (true, true) => stretch.span.label.clone().into(),
        (false, true) => Cell::with(stretch.span.label.clone(), days(true)),
        (true, false) => Cell::with(stretch.span.label.clone(), days(false)),
        (false, false) => Cell::with(
            stretch.span.label.clone(),
            format!("{} {}", days(true), days(false)),
        ),
    }
}

/// What money went for, to the cent.
pub(super) fn by_class(facts: &MoneyFacts) -> Grid {
    let all = &facts.kinds.total.amounts;
    let shown: Vec<(&str, CostClass)> = CLASSES
        .into_iter()
        .filter(|(_, class)| !all.of(*class).is_zero())
        .collect();
    let mut heads = vec![stretch_word(facts)];
    heads.extend(shown.iter().map(|(head, _)| *head));
    heads.push(">In all");
    let decimals = facts.currency.decimals();
    let money = |amount: Decimal| exact(amount, decimals);
    let mut grid = Grid::new(
        "What the money went for.",
        format!(
            "Every amount on record counts once, in {}; rows and columns add up to the whole \
             record’s {}.",
            facts.currency.code(),
            money(all.total())
        ),
        &heads,
    );
    let cells = |name: Cell, found: &Breakdown| -> Vec<Cell> {
        let amounts = &found.total.amounts;
        let mut cells = vec![name];
        cells.extend(
            shown
                .iter()
                .map(|(_, class)| money(amounts.of(*class)).into()),
        );
        cells.push(money(amounts.total()).into());
        cells
    };
    for stretch in &facts.by_kind.each {
        grid.row(cells(stretch_cell(facts, stretch), &stretch.found));
    }
    grid.total(cells("Whole record".into(), &facts.kinds));
    grid
}

/// Planned against unplanned.
pub(super) fn by_kind(facts: &MoneyFacts) -> Grid {
    let of = |found: &Breakdown, wanted: &[CostKind]| -> Decimal {
        let groups = found.groups.iter();
        groups
            .filter(|group| kind(group).is_some_and(|kind| wanted.contains(&kind)))
            .map(|group| group.amounts.total())
            .sum()
    };
    const NEITHER: [CostKind; 2] = [CostKind::Expense, CostKind::Other];
    let neither = !of(&facts.kinds, &NEITHER).is_zero();
    let usage = format!(">Run ({})", facts.unit);
    let per = format!(">Cost per {}", facts.unit);
    let mut heads = vec![
        stretch_word(facts),
        usage.as_str(),
        per.as_str(),
        ">Unplanned",
        ">Planned",
    ];
    if neither {
        heads.push(">Neither");
    }
    heads.extend([">Planned share", ">Renewals", ">Failures"]);
    let mut grid = Grid::new(
        "Planned against unplanned.",
        format!(
            "In {}, whole units. Unplanned is what corrective jobs cost, planned what preventive \
             ones did{}; the share is of those two.",
            facts.currency.code(),
            match neither {
                true => ", and expenses are neither",
                false => "",
            }
        ),
        &heads,
    );
    let cells = |name: Cell, found: &Breakdown| -> Vec<Cell> {
        let total = &found.total;
        let unplanned = of(found, &[CostKind::Corrective]);
        let planned = of(found, &[CostKind::Preventive]);
        let mut cells = vec![
            name,
            total
                .usage
                .map_or_else(Cell::none, |ran| number(ran, 0).into()),
            total
                .rate()
                .map_or_else(Cell::none, |value| rate(value).into()),
            whole(unplanned).into(),
            whole(planned).into(),
        ];
        if neither {
            cells.push(whole(of(found, &NEITHER)).into());
        }
        cells.push(share(planned, planned + unplanned).map_or_else(Cell::none, Cell::from));
        cells.extend([total.renewals, total.failures].map(|n| number(n as f64, 0).into()));
        cells
    };
    for stretch in &facts.by_kind.each {
        grid.row(cells(stretch_cell(facts, stretch), &stretch.found));
    }
    grid.total(cells("Whole record".into(), &facts.kinds));
    grid
}

fn kind_words(word: &str) -> &str {
    match word {
        "corrective" => "Unplanned (corrective)",
        "preventive" => "Planned (preventive)",
        "expense" => "Expenses",
        "other" => "Other renewals",
        total => total,
    }
}

/// What changed between two periods.
pub(super) fn change(facts: &MoneyFacts) -> Option<Grid> {
    let view = facts.change.as_ref()?;
    let usage = |ran: Option<f64>| match ran {
        Some(ran) => format!("{} {} run", number(ran, 0), facts.unit),
        None => "usage not known".to_owned(),
    };
    let mut grid = Grid::new(
        "What changed.",
        format!(
            "Before: {} ({}). After: {} ({}). In {}, whole units. The change is split into what more or less \
             running made, how often an event came in it, and what each cost; an event is a job, a \
             renewal outside jobs, or an expense.",
            dates(&view.before),
            usage(view.usage.0),
            dates(&view.after),
            usage(view.usage.1),
            facts.currency.code(),
        ),
        &[
            "Cost",
            ">Events before",
            ">Events after",
            ">Cost before",
            ">Cost after",
            ">Change",
            ">By running",
            ">By how often",
            ">By price",
        ],
    );
    let cells = |name: &str, row: &KindRow| -> Vec<Cell> {
        let part = |part: Option<Decimal>| part.map_or_else(Cell::none, |p| signed(p).into());
        vec![
            name.into(),
            number(row.before.events as f64, 0).into(),
            number(row.after.events as f64, 0).into(),
            whole(row.before.money).into(),
            whole(row.after.money).into(),
            signed(row.after.money - row.before.money).into(),
            part(row.split.map(|s| s.volume)),
            part(row.split.map(|s| s.rate)),
            part(row.split.map(|s| s.price)),
        ]
    };
    for row in &view.kinds {
        grid.row(cells(kind_words(row.kind), row));
    }
    grid.total(cells("In all", &view.total()));
    Some(grid)
}

pub(super) fn dates(span: &Span) -> String {
    format!("{} to {}", day(span.from), day(span.to))
}

/// Machines whose failures are shown one by one.
const MACHINES: usize = 12;

/// How often failures came in both periods; none where no usage is known.
pub(super) fn failures(facts: &MoneyFacts) -> Option<Grid> {
    let view = facts.change.as_ref()?;
    let (all, machines) = view.failures.split_first()?;
    all.before.2?;
    let mut shown: Vec<&FailureRow> = machines.iter().collect();
    let p = |row: &FailureRow| row.ratio.map_or(1.0, |ratio| ratio.p);
    if shown.len() > MACHINES {
        // Stable: equal ones keep the order of their names.
        shown.sort_by(|a, b| p(a).total_cmp(&p(b)));
        shown.truncate(MACHINES);
    }
    let before = format!(">Per {} {} before", number(1_000.0, 0), facts.unit);
    let after = format!(">Per {} {} after", number(1_000.0, 0), facts.unit);
    let limits = confidence(facts);
    let mut caption = format!(
        "The same two stretches. Beneath each rate stand its exact {limits} Poisson limits, beneath the \
         ratio its own; where those leave 1 out, the difference is more than chance makes of it."
    );
    if machines.len() > MACHINES {
        let false_alarms = (1.0 - facts.confidence) * machines.len() as f64;
        caption.push_str(&format!(
            " Of {} machines the {MACHINES} that differ most; about {} would by chance alone.",
            number(machines.len() as f64, 0),
            number(false_alarms, 0)
        ));
    }
    let mut grid = Grid::new(
        "Failures before and after.",
        caption,
        &[
            "Machine",
            ">Failures before",
            ">Failures after",
            &before,
            &after,
            ">Ratio",
            "More than chance?",
        ],
    );
    let cells = |name: &str, row: &FailureRow| -> Vec<Cell> {
        let count = |n: u64| Cell::from(number(n as f64, 0));
        vec![
            name.into(),
            count(row.before.0),
            count(row.after.0),
            per_thousand(row.before.2),
            per_thousand(row.after.2),
            row.ratio.map_or_else(Cell::none, |ratio| {
                Cell::with(
                    ratio.estimate.map_or_else(|| "–".to_owned(), two),
                    match ratio.upper {
                        Some(upper) => format!("{} to {}", two(ratio.lower), two(upper)),
                        None => format!("from {}", two(ratio.lower)),
                    },
                )
            }),
            match verdict(row) {
                Verdict::More => "yes, more often",
                Verdict::Fewer => "yes, less often",
                Verdict::Chance => "no",
            }
            .into(),
        ]
    };
    let name = |row: &FailureRow| row.machine.clone().unwrap_or_default();
    for row in shown {
        grid.row(cells(&name(row), row));
    }
    grid.total(cells("All machines", all));
    Some(grid)
}

fn per_thousand(rate: Option<RateLimits>) -> Cell {
    let show = |value: f64| match value * 1e3 {
        v if v < 10.0 => number(v, 2),
        v => number(v, 1),
    };
    rate.map_or_else(Cell::none, |rate| {
        Cell::with(
            show(rate.estimate),
            format!("{} to {}", show(rate.lower), show(rate.upper)),
        )
    })
}

/// What planned renewal saved; none where it cannot be told of any component.
pub(super) fn saved(facts: &MoneyFacts) -> Option<Grid> {
    let view = &facts.saved;
    if view.rows.iter().all(|row| row.saved.is_none()) {
        return None;
    }
    let mut grid = Grid::new(
        "What planned renewal saved.",
        format!(
            "{}, in {}. Spent is what the books tell, chance included; run to failure is what the \
             same usage costs in the long run by the fitted lives, with {} limits.",
            dates(&view.span),
            facts.currency.code(),
            confidence(facts)
        ),
        &[
            "Component",
            ">Renewals",
            ">Failures",
            ">Spent",
            ">Run to failure",
            ">Its limits",
            ">Saved",
            ">Its limits",
        ],
    );
    let count = |n: u64| Cell::from(number(n as f64, 0));
    for row in &view.rows {
        let Some((cost, saved)) = row.run_to_failure.as_ref().zip(row.saved.as_ref()) else {
            continue;
        };
        let mut cells = vec![
            facts.name(&row.component).into(),
            count(row.renewals),
            count(row.failures),
            whole(row.spent).into(),
        ];
        cells.extend(limited(cost).into_iter().chain(limited(saved)));
        grid.row(cells);
    }
    if let Some(total) = &view.total {
        let mut cells = vec![
            "In all".into(),
            count(total.renewals),
            count(total.failures),
            whole(total.spent).into(),
        ];
        cells.extend(
            limited(&total.run_to_failure)
                .into_iter()
                .chain(limited(&total.saved)),
        );
        grid.total(cells);
    }
    Some(grid)
}

/// An estimate, and its limits beside it.
fn limited(found: &Between) -> [Cell; 2] {
    let value = |value: Option<f64>| value.map_or_else(|| "open".to_owned(), about);
    let limits = format!("{} to {}", value(found.lower), value(found.upper));
    [value(found.median).into(), limits.into()]
}

/// What the recommendations are worth; none where none changes what is done.
pub(super) fn on_offer(facts: &MoneyFacts) -> Option<Grid> {
    let offer = &facts.offer;
    let total = offer.total.as_ref()?;
    let worth = format!(">{} a year", facts.currency.code());
    let mut grid = Grid::new(
        "What is still on offer.",
        format!(
            "What each recommendation saves a year against what is done today, with {} limits, at \
             the usage to expect. A change within what is near the least cost is worth little.",
            confidence(facts)
        ),
        &[
            "Component",
            ">Today every",
            ">Instead every",
            ">Usage a year",
            &worth,
            ">Chance it saves",
        ],
    );
    for row in &offer.rows {
        grid.row([
            Cell::with(row.name.clone(), row.place.clone()),
            every(row.today, &row.unit).into(),
            every(row.instead, &row.unit).into(),
            Cell::with(
                format!("{} {}", number(row.usage, 0), row.unit),
                match row.slots {
                    1 => "1 slot".to_owned(),
                    n => format!("{} slots", number(n as f64, 0)),
                },
            ),
            Cell::with(about(row.per_year.median), between(&row.per_year)),
            chance(row.chance).into(),
        ]);
    }
    if offer.rows.len() > 1 {
        grid.total([
            "In all".into(),
            "".into(),
            "".into(),
            "".into(),
            Cell::with(about(total.median), between(total)),
            "".into(),
        ]);
    }
    Some(grid)
}

/// The indicators that have a value.
pub(super) fn indicators(facts: &MoneyFacts) -> Option<Grid> {
    let mut grid = Grid::new(
        "All machines together.",
        format!(
            "{}; beneath the failures’ figure its {} limits. Numbers of EN 15341:2007 are from memory.",
            recently(facts),
            confidence(facts)
        ),
        &["Indicator, and its formula", ">Value", "Source"],
    );
    for one in &facts.indicators {
        let Some(value) = one.value else { continue };
        let limits = one.limits.map(|(lower, upper)| match upper {
            Some(upper) => format!("{} to {}", significant(lower, 3), significant(upper, 3)),
            None => format!("from {}", significant(lower, 3)),
        });
        grid.row([
            Cell::with(one.name, one.formula),
            Cell {
                text: shown(one, value),
                sub: limits,
            },
            one.source.into(),
        ]);
    }
    (!grid.rows.is_empty()).then_some(grid)
}

fn shown(one: &Indicator, value: f64) -> String {
    let ratio = one.formula.contains('÷');
    match one.unit.as_str() {
        "" if ratio => format!("{} %", number(100.0 * value, 1)),
        "" => number(value, 0),
        unit => format!("{} {unit}", significant(value, 3)),
    }
}
