//! Answers of the store, and the list of what can be asked, as text, JSON and CSV.
//!
//! In: [`Answer`]s, [`Listing`]s. Out: text. Never: what the cells mean.

use serde::{Serialize, Serializer};
use serde_json::{Number, Value};

use super::table::{Align, Table, csv_text};
use crate::quantity::group;
use crate::store::{Answer, Cell, QUERIES, tables};

/// The rows as `{"rows":[{…}]}`, keys in the order of the columns; unknown is null, times
/// are UTC text, amounts numbers.
pub fn json(answer: &Answer) -> Result<String, serde_json::Error> {
    #[derive(Serialize)]
    struct All<'a> {
        rows: Vec<Row<'a>>,
    }
    let columns = &answer.columns;
    serde_json::to_string_pretty(&All {
        rows: answer
            .rows
            .iter()
            .map(|cells| Row { columns, cells })
            .collect(),
    })
}

struct Row<'a> {
    columns: &'a [String],
    cells: &'a [Cell],
}

impl Serialize for Row<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.columns.iter().zip(self.cells.iter().map(value)))
    }
}

/// The rows in full; unknown is empty.
pub fn csv(answer: &Answer) -> Result<String, csv::Error> {
    let head: Vec<&str> = answer.columns.iter().map(String::as_str).collect();
    csv_text(
        &head,
        answer
            .rows
            .iter()
            .map(|row| row.iter().map(Cell::to_string).collect()),
    )
}

/// The rows for reading: long names of lines cut to 12 digits, numbers rounded.
pub fn text(answer: &Answer) -> String {
    let numeric = |i: usize| {
        answer.rows.iter().all(|row| {
            !matches!(
                row.get(i),
                Some(Cell::Text(_) | Cell::Truth(_) | Cell::Time(_))
            )
        })
    };
    let head = answer.columns.iter().enumerate().map(|(i, name)| {
        let align = if numeric(i) {
            Align::Right
        } else {
            Align::Left
        };
        (name.as_str(), align)
    });
    let mut table = Table::new(head);
    for row in &answer.rows {
        table.row(row.iter().map(shown));
    }
    let rows = answer.rows.len();
    format!(
        "{}{} {}\n",
        table.text(),
        rows,
        if rows == 1 { "row" } else { "rows" }
    )
}

fn value(cell: &Cell) -> Value {
    match cell {
        Cell::Null => Value::Null,
        Cell::Truth(truth) => Value::Bool(*truth),
        Cell::Whole(number) => Number::from_i128(*number)
            .map_or_else(|| Value::String(number.to_string()), Value::Number),
        Cell::Float(number) => Number::from_f64(*number)
            .map_or_else(|| Value::String(number.to_string()), Value::Number),
        Cell::Decimal { .. } => cell
            .to_string()
            .parse()
            .ok()
            .and_then(Number::from_f64)
            .map_or(Value::Null, Value::Number),
        Cell::Time(_) => Value::String(cell.to_string()),
        Cell::Text(text) => Value::String(text.clone()),
    }
}

fn shown(cell: &Cell) -> String {
    match cell {
        Cell::Null => "–".to_owned(),
        Cell::Float(number) if number.is_finite() => {
            let magnitude = number.abs();
            if magnitude != 0.0 && !(1e-3..1e15).contains(&magnitude) {
                format!("{number:.6e}")
            } else {
                let plain = format!("{number:.4}");
                group(plain.trim_end_matches('0').trim_end_matches('.'))
            }
        }
        Cell::Decimal { .. } => group(&cell.to_string()),
        Cell::Whole(number) => group(&number.to_string()),
        Cell::Text(text) if is_name(text) => text[..12].to_owned(),
        Cell::Text(text) => text.clone(),
        other => other.to_string(),
    }
}

/// Whether a text is the whole name of a line.
fn is_name(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit())
}

/// A table or named query that can be asked.
#[derive(Debug, Clone, Serialize)]
pub struct Listing {
    pub name: &'static str,
    /// `table` or `query`.
    pub kind: &'static str,
    /// What a row is.
    pub what: String,
    pub columns: String,
    /// Unique together.
    pub key: String,
}

/// Everything that can be asked: tables first, then queries.
pub fn listings() -> Vec<Listing> {
    let loaded = tables().map(|table| Listing {
        name: table.name,
        kind: "table",
        what: table.what.to_owned(),
        columns: table
            .columns
            .iter()
            .map(|(name, kind)| format!("{name} {kind}"))
            .collect::<Vec<_>>()
            .join(", "),
        key: table.key.to_owned(),
    });
    let asked = QUERIES.iter().map(|query| {
        let header = query.header().unwrap_or_default();
        Listing {
            name: query.name,
            kind: "query",
            what: header.what,
            columns: header.columns,
            key: header.order.join(", "),
        }
    });
    loaded.chain(asked).collect()
}

/// The list for reading, wrapped to 100 columns.
pub fn listings_text(all: &[Listing]) -> String {
    let mut text = String::new();
    for item in all {
        text.push_str(&format!("{} ({})\n", item.name, item.kind));
        for (label, body) in [
            ("", item.what.as_str()),
            ("columns: ", item.columns.as_str()),
            ("unique: ", item.key.as_str()),
        ] {
            wrap(&format!("{label}{body}"), &mut text);
        }
        text.push('\n');
    }
    text
}

/// The list as `{"tables":[…]}`.
pub fn listings_json(all: &[Listing]) -> Result<String, serde_json::Error> {
    #[derive(Serialize)]
    struct All<'a> {
        tables: &'a [Listing],
    }
    serde_json::to_string_pretty(&All { tables: all })
}

/// The list as rows.
pub fn listings_csv(all: &[Listing]) -> Result<String, csv::Error> {
    csv_text(
        &["name", "kind", "what", "columns", "key"],
        all.iter().map(|item| {
            vec![
                item.name.to_owned(),
                item.kind.to_owned(),
                item.what.clone(),
                item.columns.clone(),
                item.key.clone(),
            ]
        }),
    )
}

fn wrap(body: &str, text: &mut String) {
    const WIDTH: usize = 96;
    let mut line = String::from("   ");
    for word in body.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH && !line.trim().is_empty() {
            text.push_str(&line);
            text.push('\n');
            line = String::from("     ");
        }
        line.push(' ');
        line.push_str(word);
    }
    text.push_str(&line);
    text.push('\n');
}
