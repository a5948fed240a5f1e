//! From the cells of a row to the value of one key, as a line for recording writes it.
//!
//! In: how the map fills the key, and the row. Out: JSON. Never: whether the register
//! knows what it names.

use chrono::{DateTime, Utc};

use super::cell::{Cell, Row, plain};
use super::figures::{hours, number};
use super::make::{Maker, Unknown};
use super::map::{EntryForm, From, Kept, KeyForm, KeyType, kept, key_type, normal};
use super::reject::Rejection;
use super::times::{NoMoment, moment};
use crate::quantity::time::{TimeError, format_utc};
use crate::quantity::{Unit, nearest};

/// The values of a key: one, or one for each piece of its cell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Given {
    pub key: &'static str,
    /// As JSON.
    pub values: Vec<String>,
    /// The first as plain text.
    pub text: String,
}

impl Given {
    fn add(&mut self, json: String, text: &str) {
        if self.values.is_empty() {
            text.clone_into(&mut self.text);
        }
        self.values.push(json);
    }
}

/// Why a key has no value.
pub(super) struct Miss {
    pub rejection: Box<Rejection>,
    /// The value, where a table does not know it.
    pub value: Option<Unknown>,
}

impl std::convert::From<Rejection> for Miss {
    fn from(rejection: Rejection) -> Miss {
        Miss {
            rejection: Box::new(rejection),
            value: None,
        }
    }
}

/// The key being filled, and from what.
#[derive(Clone, Copy)]
pub(super) struct Spot<'a> {
    pub entry: &'a EntryForm,
    pub form: &'a KeyForm,
    pub row: &'a Row,
    /// The keys of the entry that have a value already.
    pub before: &'a [Given],
}

impl Spot<'_> {
    fn known(&self, key: &str) -> Option<&str> {
        let given = self.before.iter().find(|given| given.key == key);
        given.map(|given| given.text.as_str())
    }
}

impl Maker<'_> {
    /// The value of a key; `None` where its cells are empty and nothing stands in.
    pub(super) fn given(&self, spot: Spot<'_>) -> Result<Option<Given>, Miss> {
        let (form, row) = (spot.form, spot.row);
        let columns = match &form.from {
            From::Constant(at) => return self.stated(spot, &at.value),
            From::Columns(columns) => columns,
        };
        let places: Vec<usize> = columns.iter().map(|c| self.places.of(*c)).collect();
        let bad = |place: &&usize| matches!(row.cell(**place), Cell::Error(_));
        if let Some(place) = places.iter().find(bad) {
            let reason = "the formula in this cell could not be worked out";
            let cure = ["mend the formula in the file, and save it again"];
            let rejection = self.against(row, Some(*place), "import-cell-error", reason, cure);
            return Err(rejection.into());
        }
        let joined;
        let cell = match places[..] {
            [place] => row.cell(place),
            _ => {
                let texts = places.iter().map(|place| self.text(row.cell(*place)));
                let texts: Vec<String> = texts.filter(|text| !text.is_empty()).collect();
                joined = Cell::of_text(&texts.join(&form.join));
                &joined
            }
        };
        if cell.is_empty() {
            return match &form.if_empty {
                Some(at) => self.stated(spot, &at.value),
                None => Ok(None),
            };
        }
        let mut given = Given {
            key: form.key,
            values: Vec::new(),
            text: String::new(),
        };
        match &form.split {
            None => self.add(spot, cell, &mut given)?,
            Some(mark) => {
                for piece in self.text(cell).split(mark.as_str()) {
                    let piece = Cell::of_text(piece);
                    if !piece.is_empty() {
                        self.add(spot, &piece, &mut given)?;
                    }
                }
            }
        }
        Ok((!given.values.is_empty()).then_some(given))
    }

    /// A value stated in the map.
    fn stated(&self, spot: Spot<'_>, text: &str) -> Result<Option<Given>, Miss> {
        Ok(self.meant(spot, text)?.map(|json| Given {
            key: spot.form.key,
            values: vec![json],
            text: text.to_owned(),
        }))
    }

    /// A value as the map states it: numbers are plain; an empty one is none.
    fn meant(&self, spot: Spot<'_>, text: &str) -> Result<Option<String>, Miss> {
        if text.is_empty() {
            return Ok(None);
        }
        Ok(Some(match key_type(spot.form.key) {
            KeyType::Number if spot.form.key == "age" && text == "unknown" => "null".to_owned(),
            KeyType::Number if spot.form.key == "age" && text == "new" => "0".to_owned(),
            KeyType::Number | KeyType::Flag => text.to_owned(),
            KeyType::Time => quoted(&format_utc(self.moment(spot, &Cell::of_text(text))?)),
            KeyType::Text | KeyType::Word(_) => quoted(text),
        }))
    }

    /// Adds the value of a cell, or of a piece of one.
    fn add(&self, spot: Spot<'_>, cell: &Cell, given: &mut Given) -> Result<(), Miss> {
        let text = self.text(cell);
        let Some(table) = spot.form.table else {
            given.add(self.read(spot, cell)?, &text);
            return Ok(());
        };
        let Some(meaning) = self.map.tables[table].values.get(&normal(&text)) else {
            return Err(self.unknown(spot, table, text));
        };
        for at in meaning.for_key(spot.form.key) {
            if let Some(json) = self.meant(spot, &at.value)? {
                given.add(json, &at.value);
            }
        }
        Ok(())
    }

    fn unknown(&self, spot: Spot<'_>, table: usize, value: String) -> Miss {
        let form = &self.map.tables[table];
        let mut known: Vec<&str> = form.values.keys().map(String::as_str).collect();
        known.sort_unstable();
        let near = nearest(&normal(&value), known).map(|near| format!("like `{near}`? "));
        let place = self.place_of(spot.form);
        let reason = format!("`{value}` is not in [tables.{}]", form.name);
        let add = format!(
            "{}add it there, {}:{}",
            near.unwrap_or_default(),
            self.map.name,
            form.line
        );
        let kind = "import-unknown-value";
        let mut rejection = self.against(spot.row, place, kind, reason, [&add]);
        rejection.value.clone_from(&value);
        Miss {
            rejection: Box::new(rejection),
            value: place.map(|place| Unknown {
                table,
                place,
                value,
            }),
        }
    }

    /// A cell read by the type of its key.
    fn read(&self, spot: Spot<'_>, cell: &Cell) -> Result<String, Miss> {
        let text = || self.text(cell);
        match key_type(spot.form.key) {
            KeyType::Time => Ok(quoted(&format_utc(self.moment(spot, cell)?))),
            KeyType::Number => self.number(spot, cell),
            KeyType::Flag => match normal(&text()).as_str() {
                "true" | "yes" | "x" | "1" => Ok("true".to_owned()),
                "false" | "no" | "0" => Ok("false".to_owned()),
                _ => {
                    let reason = format!("`{}` should be yes or no", spot.form.key);
                    let cure = "write yes, x or 1; no, 0 or nothing; or give a table of values";
                    Err(self.miss(spot, "import-not-a-flag", reason, cure))
                }
            },
            KeyType::Word(words) => {
                let (text, same) = (text(), normal(&text()));
                let word = words.iter().find(|word| **word == same);
                Ok(quoted(word.unwrap_or(&text.as_str())))
            }
            KeyType::Text => Ok(quoted(&tidy(&text(), spot.form.key))),
        }
    }

    /// Why the key cannot be filled from its column.
    fn miss(
        &self,
        spot: Spot<'_>,
        kind: &'static str,
        reason: impl Into<String>,
        cure: &str,
    ) -> Miss {
        let place = self.place_of(spot.form);
        self.against(spot.row, place, kind, reason, [cure]).into()
    }

    fn moment(&self, spot: Spot<'_>, cell: &Cell) -> Result<DateTime<Utc>, Miss> {
        let clock = spot.form.clock.map(|column| self.places.of(column));
        let time = clock.map_or(&Cell::Empty, |place| spot.row.cell(place));
        let miss = match moment(cell, time, &self.map.times, self.zone) {
            Ok(time) => return Ok(time),
            Err(miss) => miss,
        };
        Err(match miss {
            NoMoment::Form => {
                let patterns = self.map.times.patterns.iter().map(|p| p.text());
                let patterns: Vec<&str> = patterns.collect();
                let cure = match patterns.is_empty() {
                    true => "say how the file writes days: dates = \"…\" in the map's [times]"
                        .to_owned(),
                    false => format!("the map's [times] reads {}", patterns.join(" and ")),
                };
                let reason = "a day or time of another form";
                self.miss(spot, "import-bad-time", reason, &cure)
            }
            NoMoment::NoSuch => {
                let (reason, cure) = ("there is no such day or time", "mend the cell");
                self.miss(spot, "import-bad-time", reason, cure)
            }
            NoMoment::NotADay => {
                let cure = "format the cell as a day in the spreadsheet, or write one";
                self.miss(spot, "import-bad-time", "not a day or time", cure)
            }
            NoMoment::Clock => {
                let (kind, reason) = ("import-bad-time", "not a time of day");
                let cure = ["write it as 14:30"];
                self.against(spot.row, clock, kind, reason, cure).into()
            }
            NoMoment::Change(reason) => {
                let (kind, cure) = match &reason {
                    TimeError::Twice { first, second, .. } => (
                        "import-repeated-time",
                        format!("write the one that is meant: {first} or {second}"),
                    ),
                    _ => (
                        "import-skipped-time",
                        "mend the time, or state the file's own zone in the map's [times]"
                            .to_owned(),
                    ),
                };
                self.miss(spot, kind, reason.to_string(), &cure)
            }
        })
    }

    /// The unit a number is kept in, as the register or the entry names it.
    fn own_unit(&self, spot: Spot<'_>) -> String {
        let usage = match kept(Some(spot.entry.kind), spot.form.key) {
            Kept::In(symbol, _) => return symbol.to_owned(),
            Kept::AsGiven => return spot.known("unit").unwrap_or_default().to_owned(),
            Kept::Bare if spot.form.key == "cost" => {
                return self.register.plant.currency.code().to_owned();
            }
            Kept::Bare => return String::new(),
            Kept::UsageUnit if spot.form.key == "value" => spot.known("meter"),
            Kept::UsageUnit => spot
                .known("component")
                .and_then(|id| self.register.component(id))
                .map(|component| component.usage.as_str()),
        };
        let usage = usage.and_then(|id| self.register.usage(id));
        usage.map_or(String::new(), |usage| usage.unit.clone())
    }

    fn number(&self, spot: Spot<'_>, cell: &Cell) -> Result<String, Miss> {
        let form = spot.form;
        if form.key == "age" {
            match normal(&self.text(cell)).as_str() {
                "new" => return Ok("0".to_owned()),
                "unknown" => return Ok("null".to_owned()),
                _ => {}
            }
        }
        let own_unit = self.own_unit(spot);
        let own = Unit::parse(&own_unit);
        let clock = match cell {
            _ if own_unit != "h" => None,
            Cell::Hours(value) => Some(*value),
            Cell::Text(text) => hours(text),
            _ => None,
        };
        if let Some(value) = clock {
            return Ok(plain(value));
        }
        let stated = form.unit.as_ref().map(|at| at.value);
        let mut beside: Vec<&str> = stated.or(own).iter().map(Unit::symbol).collect();
        if stated.is_none() && !own_unit.is_empty() {
            beside.push(&own_unit);
        }
        let digits = number(cell, self.map.file.numbers, &beside);
        let digits = digits
            .map_err(|miss| self.miss(spot, "import-not-a-number", "not a number", &miss.cure))?;
        let Some(unit) = stated.filter(|unit| Some(*unit) != own) else {
            return Ok(digits);
        };
        // The digits were just read as a number.
        let value = digits.parse::<f64>().unwrap_or(f64::NAN);
        let converted = own.and_then(|own| unit.convert(value, &own));
        converted.map(plain).ok_or_else(|| {
            let reason = format!("{unit} cannot be turned into `{own_unit}`");
            let cure = format!(
                "mend `unit` in [[entry]], {}:{}",
                self.map.name, spot.entry.line
            );
            self.miss(spot, "import-wrong-unit", reason, &cure)
        })
    }
}

fn quoted(text: &str) -> String {
    // A text always has a JSON form.
    serde_json::to_string(text).unwrap_or_default()
}

/// A text as a book takes it: no control characters, no blanks at its ends; only a note
/// may have lines.
fn tidy(text: &str, key: &str) -> String {
    if !matches!(key, "note" | "what") {
        return text.split_whitespace().collect::<Vec<_>>().join(" ");
    }
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let printed = |c: char| if c.is_control() && c != '\n' { ' ' } else { c };
    text.chars()
        .map(printed)
        .collect::<String>()
        .trim()
        .to_owned()
}
