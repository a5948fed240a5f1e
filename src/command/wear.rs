//! `wear`: verdicts on readings, wear lines, and the usage left to a limit.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;

use super::select::{Select, confidence, folders, folders_of, positive};
use super::wear_charts::{self, Charts};
use super::wear_ledger::{Group, gather};
use super::{CommandError, Fault, Format, Outcome, Ui};
use crate::intake::readings_csv;
use crate::quantity::counted;
use crate::quantity::trouble::Trouble;
use crate::store::{Options, Store};
use crate::view::wear::{
    Asked, FileLineView, FileWearView, ItemView, LineFigures, PopulationView, WearGroupView,
    WearView,
};
use crate::wear::{ItemReadings, LimitRule, NoLine, WearLines};

/// Judge readings against their limits and tell the usage left
///
/// Each item still in, by its latest reading: within its limit, near it (the last tenth from
/// new to the limit), beyond it, or not comparable. A line through its readings, leaning on
/// items of its kind, gives the usage left with limits. Exit code 1 where one is beyond.
#[derive(Debug, clap::Args)]
pub struct WearArgs {
    /// Ledger folder, or folder of ledgers (can be repeated; default: this one)
    ledgers: Vec<PathBuf>,
    #[command(flatten)]
    select: Select,
    /// Measured quantity to look at (can be repeated; default: all)
    #[arg(long, value_name = "NAME")]
    quantity: Vec<String>,
    /// Take readings from a CSV file with columns item, usage, value instead
    #[arg(long, value_name = "FILE", conflicts_with_all = ["ledgers", "as_of", "component", "position", "machine", "quantity"])]
    readings: Option<PathBuf>,
    /// With --readings: the value may not be above this
    #[arg(long, value_name = "LIMIT", allow_negative_numbers = true, value_parser = finite, requires = "readings", conflicts_with = "at_least")]
    at_most: Option<f64>,
    /// With --readings: the value may not be below this
    #[arg(long, value_name = "LIMIT", allow_negative_numbers = true, value_parser = finite, requires = "readings")]
    at_least: Option<f64>,
    /// Also give the chance to pass the limit within so much further usage
    #[arg(long, value_name = "USAGE", value_parser = positive)]
    before: Option<f64>,
    /// Probability that two-sided limits hold the truth
    #[arg(long, default_value_t = 0.9, value_name = "SHARE", value_parser = confidence)]
    confidence: f64,
    /// Take the ledger as it stood at the end of this date
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
    /// Layout of the result
    #[arg(long, value_enum, default_value_t, value_name = "LAYOUT")]
    format: Format,
    /// Also write a chart of the lines of each quantity to this folder, as SVG; made as needed
    ///
    /// Readings, a line an item, the limit, and where the lines are going. A file of the same
    /// name is replaced.
    #[arg(long, value_name = "FOLDER")]
    charts: Option<PathBuf>,
}

fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("write a number".into()),
    }
}

pub fn run(args: &WearArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    if let Some(folder) = &args.charts {
        Charts::prove_writable(folder)?;
    }
    let mut charts = Charts::default();
    let (text, beyond) = match &args.readings {
        Some(file) => {
            let view = from_file(args, file, &mut charts)?;
            let text = args
                .format
                .lay_out(|| view.table(), || view.json(), || view.csv())?;
            (text, false)
        }
        None => {
            let view = from_ledger(args, &mut charts, ui)?;
            let text = args
                .format
                .lay_out(|| view.table(), || view.json(), || view.csv())?;
            (text, view.any_beyond())
        }
    };
    if let Some(folder) = &args.charts {
        charts.write(folder)?;
    }
    ui.result(&text)?;
    if let Some(folder) = &args.charts {
        ui.remark(&charts.told(folder));
    }
    Ok(if beyond {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

impl WearArgs {
    fn asked(&self) -> Asked {
        Asked {
            confidence: self.confidence,
            before: self.before,
        }
    }
}

fn from_file(
    args: &WearArgs,
    file: &Path,
    charts: &mut Charts,
) -> Result<FileWearView, CommandError> {
    let rule = match (args.at_most, args.at_least) {
        (Some(limit), None) => LimitRule::AtMost { limit },
        (None, Some(limit)) => LimitRule::AtLeast { limit },
        _ => {
            return Err(CommandError::wrong_use(
                "--readings needs a limit",
                "give --at-most LIMIT or --at-least LIMIT",
            ));
        }
    };
    let items: Vec<ItemReadings> = readings_csv::read(file)?
        .into_iter()
        .map(|item| ItemReadings {
            item: item.item,
            readings: item.readings,
        })
        .collect();
    let lines = WearLines::fit(&items).map_err(|error| no_line(&error, file))?;
    let belief = lines.belief();
    let barrier = rule.barrier();
    let mut notes = Vec::new();
    if belief.is_none() {
        notes.push("no limits: they need three readings".to_owned());
    }
    let views = items
        .iter()
        .enumerate()
        .map(|(n, item)| {
            // The reader leaves no item without a reading.
            let usage_now = item.readings.last().map_or(0.0, |last| last.0);
            FileLineView {
                item: item.item.clone(),
                line: LineFigures::new(
                    &lines,
                    belief.as_ref(),
                    n,
                    barrier,
                    Some(usage_now),
                    args.asked(),
                    item.readings.len(),
                ),
                usage_now,
            }
        })
        .collect();
    if args.charts.is_some() {
        let words = wear_charts::Words {
            name: "readings".into(),
            title: "Wear lines".into(),
            usage_label: "Usage since renewal".into(),
            usage_unit: String::new(),
            value_label: "Reading".into(),
            value_unit: String::new(),
        };
        let marked: Vec<(usize, String, Option<f64>)> = items
            .iter()
            .enumerate()
            .map(|(n, item)| {
                let last = item.readings.last().map(|last| last.0);
                (n, item.item.clone(), last)
            })
            .collect();
        charts.add(
            words,
            &items,
            Some(&lines),
            barrier,
            &marked,
            args.confidence,
        );
    }
    Ok(FileWearView {
        lines: views,
        population: PopulationView::new(&lines),
        limit: rule.limit().unwrap_or_default(),
        rule: rule.words(),
        confidence: args.confidence,
        before: args.before,
        notes,
    })
}

fn no_line(error: &NoLine, file: &Path) -> CommandError {
    CommandError::new(
        Fault::NoAnswer,
        Trouble::error("no-wear-line", error.to_string())
            .in_file(file.display().to_string())
            .cured_by("take another reading later, or add items of the same kind"),
    )
}

fn from_ledger(
    args: &WearArgs,
    charts: &mut Charts,
    ui: &mut Ui,
) -> Result<WearView, CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    check_quantities(&store, &args.quantity)?;
    let readings = store.readings()?;
    if readings.is_empty() {
        return Err(no_readings(&store));
    }
    let mut items = Vec::new();
    let mut groups = Vec::new();
    for group in gather(&store, readings, &args.select, &args.quantity) {
        let lines = WearLines::fit(&group.items).and_then(enough);
        let (views, view) = views_of(args, &group, &lines);
        if args.charts.is_some() {
            chart_of(args, &group, lines.as_ref().ok(), charts);
        }
        items.extend(views);
        groups.push(view);
    }
    Ok(WearView {
        items,
        groups,
        confidence: args.confidence,
        before: args.before,
    })
}

/// Two readings make a line that nothing tells the worth of: no usage left is told from it.
fn enough(lines: WearLines) -> Result<WearLines, NoLine> {
    match lines.readings() {
        readings @ 0..3 => Err(NoLine::TooFew { readings }),
        _ => Ok(lines),
    }
}

fn views_of(
    args: &WearArgs,
    group: &Group,
    lines: &Result<WearLines, NoLine>,
) -> (Vec<ItemView>, WearGroupView) {
    let rule = group.standard.map(|standard| standard.rule);
    let barrier = rule.as_ref().and_then(LimitRule::barrier);
    let belief = lines.as_ref().ok().and_then(WearLines::belief);
    let mut notes = Vec::new();
    if matches!(rule, Some(LimitRule::Paired { .. })) {
        notes.push(
            "a clearance is of two parts: its line goes by the usage of the part it is recorded \
             for, and starts anew when the other one is renewed"
                .to_owned(),
        );
    }
    if group.left_out > 0 {
        notes.push(format!(
            "{} of {} {} left out of the lines: usage unknown, or not comparable",
            counted(group.left_out as u64, "reading", "readings"),
            group.component,
            group.quantity,
        ));
    }
    if let Err(error) = lines
        && !group.items.is_empty()
    {
        notes.push(format!("no line: {error}"));
    }
    let views = group
        .rows
        .iter()
        .map(|row| {
            let line = match (lines, row.item) {
                (Ok(lines), Some(item)) => LineFigures::new(
                    lines,
                    belief.as_ref(),
                    item,
                    barrier,
                    row.latest.usage_now,
                    args.asked(),
                    row.readings,
                ),
                _ => LineFigures {
                    readings: row.readings,
                    ..LineFigures::default()
                },
            };
            ItemView::new(
                row.latest.clone(),
                &row.verdict,
                group.standard.as_ref(),
                line,
                &group.usage_unit,
                notes.clone(),
            )
        })
        .collect();
    let view = WearGroupView {
        component: group.component.clone(),
        quantity: group.quantity.clone(),
        zone: group.zone.clone(),
        rule: rule.map(|rule| rule.key()),
        limit: rule.and_then(|rule| rule.limit()),
        unit: group.standard.map(|standard| standard.unit.symbol()),
        usage_unit: group.usage_unit.clone(),
        population: lines.as_ref().ok().map(PopulationView::new),
        left_out: group.left_out,
        notes,
    };
    (views, view)
}

fn chart_of(args: &WearArgs, group: &Group, lines: Option<&WearLines>, charts: &mut Charts) {
    let Some(standard) = group.standard else {
        return;
    };
    let what = match (&group.zone, standard.rule) {
        (Some(zone), _) => format!("{} ({zone})", group.quantity),
        (None, LimitRule::Paired { .. }) => {
            format!("{} ({})", group.quantity, LimitRule::WORKING)
        }
        (None, _) => group.quantity.clone(),
    };
    let unit = match standard.rule {
        LimitRule::PerMetreAtMost { .. } => format!("{}/m", standard.unit.symbol()),
        _ => standard.unit.symbol().to_owned(),
    };
    let value_label = match standard.rule {
        LimitRule::LossFromNewAtMost { .. } => format!("Loss of {what} from new ({unit})"),
        _ => format!("{what} ({unit})"),
    };
    let words = wear_charts::Words {
        name: format!("{} {what}", group.component),
        title: format!("{} {what}: wear lines", group.component),
        usage_label: format!("{} since renewal ({})", group.usage_name, group.usage_unit),
        usage_unit: group.usage_unit.clone(),
        value_label,
        value_unit: unit,
    };
    let marked: Vec<(usize, String, Option<f64>)> = group
        .rows
        .iter()
        .filter_map(|row| {
            let name = format!(
                "{} {}",
                row.latest.item_machine.as_deref()?,
                row.latest.item_position.as_deref()?
            );
            Some((row.item?, name, row.latest.usage_now))
        })
        .collect();
    charts.add(
        words,
        &group.items,
        lines,
        standard.rule.barrier(),
        &marked,
        args.confidence,
    );
}

fn check_quantities(store: &Store, asked: &[String]) -> Result<(), CommandError> {
    let known: Vec<&str> = store
        .ledgers()
        .iter()
        .flat_map(|ledger| &ledger.register.measurements)
        .map(|m| m.quantity.as_str())
        .collect();
    match asked.iter().find(|name| !known.contains(&name.as_str())) {
        Some(name) => Err(super::select::unknown("measured quantity", name, &known)),
        None => Ok(()),
    }
}

fn no_readings(store: &Store) -> CommandError {
    CommandError::new(
        Fault::Data,
        Trouble::error("no-readings", "nothing measured is on record")
            .in_file(folders_of(store))
            .because("the register's [[measurement]] tables name what can be measured")
            .cured_by("record a reading: wearbook record measured …")
            .cured_by("or look at a later date (--as-of)"),
    )
}
