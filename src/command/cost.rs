//! `cost`: what an hour of running costs, where the money goes, and what changed it.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::ValueEnum;

use super::cost_change::change;
use super::cost_explain::explain;
use super::cost_frame::{Asked, Frame};
use super::cost_indicators::measure;
use super::cost_saved::saved;
use super::select::{Select, folders};
use super::{CommandError, Format, Outcome, Ui};
use crate::cost::{self, Span, breakdown};
use crate::intake::rates_csv::{self, Rates};
use crate::quantity::time::format_utc;
use crate::register::CURRENCIES_DIFFER;
use crate::store::{Options, Store, StoreError};
use crate::view::cost::CostView;

/// Show what a running hour costs and where the money goes
///
/// Adds up parts, labour, lost production, extra costs and expenses of a period, and sets them
/// against what the machines ran. Every amount on record counts once, so what is kept apart adds
/// up to the whole.
///
/// Lost production, extra cost and labour of a corrective job go evenly to the parts that
/// failed; those of a preventive job to the parts it was for. Parts taken along carry their own
/// price and hands-on labour. What a job spent without renewing anything is the machine's. See
/// --explain for how one job was shared.
#[derive(Debug, clap::Args)]
pub struct CostArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// What to keep apart (can be repeated, or named with commas; default: machine)
    #[arg(long, value_enum, value_name = "WHAT", value_delimiter = ',')]
    by: Vec<By>,
    /// Usage that cost is set against, by its id in the register (default: the plant's first)
    #[arg(long, value_name = "USAGE")]
    per: Option<String>,
    /// First day of the period (default: the first cost or reading on record)
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Last day of the period (default: the last day on record)
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Cut the period by the calendar
    #[arg(long, value_enum, value_name = "STRETCH", conflicts_with_all = ["explain", "indicators", "against"])]
    every: Option<Every>,
    /// Show how the cost of this job was shared, line by line, instead
    #[arg(long, value_name = "JOB", conflicts_with_all = ["indicators", "against", "by", "per", "from", "to"])]
    explain: Option<String>,
    /// Show the standard indicators of the period instead
    #[arg(long, conflicts_with_all = ["against", "by"])]
    indicators: bool,
    /// Say what changed since this earlier period, and why, instead: FROM..TO
    #[arg(long, value_name = "PERIOD", value_parser = span, conflicts_with = "by")]
    against: Option<Span>,
    /// Show what planned renewal saved or cost against run to failure, by the fits, instead
    #[arg(long, conflicts_with_all = ["against", "by", "per", "every", "explain", "indicators", "rates"])]
    saved: bool,
    /// With --indicators: count failures that came within so much usage after the last one there
    #[arg(long, value_name = "USAGE", value_parser = super::select::positive, requires = "indicators")]
    repeat_within: Option<f64>,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = super::select::confidence)]
    confidence: f64,
    /// CSV file of exchange rates, for ledgers of several currencies: currency, date, rate
    ///
    /// All is told in the first ledger's currency. A rate is what one unit of another is worth
    /// in it from that day on.
    #[arg(long, value_name = "FILE", conflicts_with = "explain")]
    rates: Option<PathBuf>,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
}

/// What is kept apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum By {
    /// Each machine; expenses of the plant by themselves
    Machine,
    /// Each component; what belongs to none is the machines' own
    Component,
    /// Each position
    Position,
    /// Each part number put in
    Part,
    /// Each failure mode
    Mode,
    /// Corrective, preventive, expense, other
    Kind,
}

impl From<By> for cost::By {
    fn from(by: By) -> Self {
        match by {
            By::Machine => cost::By::Machine,
            By::Component => cost::By::Component,
            By::Position => cost::By::Position,
            By::Part => cost::By::Part,
            By::Mode => cost::By::Mode,
            By::Kind => cost::By::Kind,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Every {
    Month,
    Quarter,
    Year,
}

impl From<Every> for cost::Every {
    fn from(every: Every) -> Self {
        match every {
            Every::Month => cost::Every::Month,
            Every::Quarter => cost::Every::Quarter,
            Every::Year => cost::Every::Year,
        }
    }
}

/// Parses two days as a stretch.
fn span(text: &str) -> Result<Span, String> {
    let days = text.split_once("..").and_then(|(from, to)| {
        let day = |text: &str| text.trim().parse::<NaiveDate>().ok();
        Some((day(from)?, day(to)?))
    });
    match days {
        Some((from, to)) if from <= to => Ok(Span::new(from, to)),
        _ => Err("write its first and last day as 2024-01-01..2024-12-31".into()),
    }
}

pub fn run(args: &CostArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let rates = match &args.rates {
        Some(file) => Some((file.as_path(), rates_csv::read(file)?)),
        None => None,
    };
    let rates = rates.as_ref().map(|(file, rates)| (*file, rates));
    let options = Options {
        // A job is told in its own ledger's money.
        several_currencies: rates.is_some() || args.explain.is_some(),
        ..Options::default()
    };
    let store = Store::open(&folders(&args.ledgers), args.as_of, &options).map_err(refused)?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    let text = match (&args.explain, &args.against) {
        (Some(job), _) => {
            let view = explain(&store, job)?;
            args.format
                .lay_out(|| view.text(), || view.json(), || view.csv())?
        }
        (_, Some(before)) => {
            let view = change(&frame(args, &store, rates)?, before, args.confidence)?;
            args.format
                .lay_out(|| view.text(), || view.json(), || view.csv())?
        }
        _ if args.saved => {
            let view = saved(&frame(args, &store, rates)?, &args.select, args.confidence)?;
            args.format
                .lay_out(|| view.text(), || view.json(), || view.csv())?
        }
        _ if args.indicators => {
            let frame = frame(args, &store, rates)?;
            let view = measure(&frame, &args.select, args.repeat_within, args.confidence)?;
            args.format
                .lay_out(|| view.text(), || view.json(), || view.csv())?
        }
        _ => {
            let view = costs(args, frame(args, &store, rates)?);
            args.format
                .lay_out(|| view.text(), || view.json(), || view.csv())?
        }
    };
    ui.result(&text)?;
    Ok(Outcome::Done)
}

/// A store that cannot be opened; several currencies have a cure here.
fn refused(error: StoreError) -> CommandError {
    let mut error = CommandError::from(error);
    for trouble in &mut error.troubles {
        if trouble.kind == CURRENCIES_DIFFER {
            trouble.cure.push(
                "or say what one is worth in the other: --rates FILE (currency,date,rate)".into(),
            );
        }
    }
    error
}

fn frame<'a>(
    args: &CostArgs,
    store: &'a Store,
    rates: Option<(&Path, &Rates)>,
) -> Result<Frame<'a>, CommandError> {
    let asked = Asked {
        per: args.per.as_deref(),
        from: args.from,
        to: args.to,
        rates,
    };
    Frame::new(store, &args.select, asked)
}

fn costs(args: &CostArgs, frame: Frame<'_>) -> CostView {
    let mut by: Vec<cost::By> = Vec::new();
    for asked in &args.by {
        let asked = (*asked).into();
        if !by.contains(&asked) {
            by.push(asked);
        }
    }
    if by.is_empty() {
        by.push(cost::By::Machine);
    }
    let of = |span: &Span| breakdown(frame.of(span), &by, &frame.usage(span));
    let every = args.every.map(cost::Every::from);
    let spans = match every {
        Some(every) => frame.span.cut(every),
        None => vec![frame.span.clone()],
    };
    let whole = of(&frame.span);
    let mut notes = frame.notes.clone();
    notes.extend(frame.usage_notes(&frame.span));
    if whole.total.unpriced > 0 {
        notes.push(format!(
            "{} of the items have no known price (component or machine not in the register): the \
             amounts are too low by theirs",
            whole.total.unpriced
        ));
    }
    if by.contains(&cost::By::Component) || by.contains(&cost::By::Position) {
        notes.push(
            "shared cost goes to the parts a job was for; how one was shared: --explain JOB".into(),
        );
    }
    CostView {
        as_of: format_utc(frame.store.as_of()),
        currency: frame.currency,
        usage: (
            frame.per.id.clone(),
            frame.per.name.clone(),
            frame.per.unit.clone(),
        ),
        every: every.map(cost::Every::word),
        periods: spans.into_iter().map(|s| (s.clone(), of(&s))).collect(),
        whole: every.map(|_| whole),
        span: frame.span.clone(),
        by,
        notes,
    }
}
