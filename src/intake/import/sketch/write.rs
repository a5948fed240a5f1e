//! The guesses as a commented map.
//!
//! In: a profile, its forms, the guesses. Out: TOML; what is only half known is put out of
//! use by `#`, so that the map says itself what is left to do.

use super::forms::Forms;
use super::guess::{Guess, Guesses};
use super::look::{Column, Profile};
use crate::quantity::text::one_line;
use crate::register::Register;

/// Values of a column shown in the list of columns.
const SAMPLES: usize = 5;

/// A text as TOML.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

pub(super) struct Writer<'a> {
    pub profile: &'a Profile,
    pub forms: &'a Forms,
    pub guesses: &'a Guesses,
    pub register: Option<&'a Register>,
}

/// Lines whose comments stand below each other.
#[derive(Default)]
pub(super) struct Block(Vec<(String, String)>);

impl Block {
    pub(super) fn line(&mut self, text: impl Into<String>, why: impl Into<String>) {
        self.0.push((text.into(), why.into()));
    }

    pub(super) fn text(&self) -> String {
        let commented = self.0.iter().filter(|(_, why)| !why.is_empty());
        let width = commented.map(|(text, _)| text.chars().count()).max();
        let width = width.unwrap_or(0).min(56);
        let mut all = String::new();
        for (text, why) in &self.0 {
            if why.is_empty() {
                all.push_str(text);
            } else {
                all.push_str(&format!("{text:<width$}  # {}", one_line(why)));
            }
            all.push('\n');
        }
        all
    }
}

impl Writer<'_> {
    pub fn text(&self) -> String {
        let mut blocks = vec![self.head(), self.columns(), self.file(), self.times()];
        blocks.extend(self.skips());
        blocks.push(self.common());
        blocks.extend(self.entries());
        blocks.push(in_place());
        blocks.extend(self.tables());
        blocks.join("\n")
    }

    fn head(&self) -> String {
        let names = match self.register {
            Some(register) => format!(
                "names were looked up in the register of {}",
                one_line(&register.plant.name)
            ),
            None => "no ledger was at hand, so names were looked up nowhere".to_owned(),
        };
        format!(
            "# A first map for {}, from its headings and values; {names}.\n\
             # Every line is a guess with its reason: look at each, CHECK first of all. Then try it,\n\
             # which writes nothing: wearbook import {} --map THIS.toml LEDGER\n",
            one_line(&self.profile.file),
            one_line(&self.profile.file)
        )
    }

    fn columns(&self) -> String {
        let rows = self.profile.rows;
        let mut text = format!("# {rows} rows under these headings:\n");
        let columns = &self.profile.columns;
        let width = columns.iter().map(|c| c.heading.chars().count()).max();
        let width = width.unwrap_or(0).min(30);
        for (n, column) in columns.iter().enumerate() {
            let samples = column.values.iter().take(SAMPLES);
            let samples: Vec<String> = samples.map(|(text, _)| short(text)).collect();
            let more = if column.values.len() > SAMPLES {
                ", …"
            } else {
                ""
            };
            let used = if self.used(n) { ' ' } else { '-' };
            text.push_str(&format!(
                "# {used} {:>2}  {:<width$}  {} filled: {}{more}\n",
                column.number,
                short(&column.heading),
                column.filled,
                samples.join(", "),
            ));
        }
        text.push_str("# (- marks those that no guess uses)\n");
        text
    }

    fn used(&self, n: usize) -> bool {
        self.guesses.keys.iter().any(|guess| guess.column == n)
            || self
                .guesses
                .measures
                .iter()
                .any(|measure| measure.column == n)
            || self.guesses.skips.iter().any(|(column, _, _)| *column == n)
            || self
                .guesses
                .done
                .as_ref()
                .is_some_and(|(column, _)| *column == n)
    }

    pub(super) fn column(&self, n: usize) -> &Column {
        &self.profile.columns[n]
    }

    fn file(&self) -> String {
        let mut block = Block::default();
        block.line("[file]", "");
        if let Some(sheet) = &self.profile.sheet {
            block.line(format!("sheet = {}", quoted(&sheet.value)), &sheet.why);
        }
        let headings = &self.profile.headings;
        block.line(format!("headings = {}", headings.value), &headings.why);
        if let Some(delimiter) = &self.profile.delimiter {
            let sign = match delimiter.value {
                b'\t' => "tab".to_owned(),
                sign => char::from(sign).to_string(),
            };
            block.line(format!("delimiter = {}", quoted(&sign)), &delimiter.why);
        }
        if let Some(encoding) = &self.profile.encoding {
            block.line(
                format!("encoding = {}", quoted(encoding.value)),
                &encoding.why,
            );
        }
        if let Some(numbers) = &self.forms.numbers {
            let form = numbers.value;
            block.line(
                format!("decimal = {}", quoted(&form.decimal.to_string())),
                &numbers.why,
            );
            if let Some(mark) = form.thousands {
                block.line(format!("thousands = {}", quoted(&mark.to_string())), "");
            }
        }
        if !self.guesses.fill_down.is_empty() {
            let names = self.guesses.fill_down.iter();
            let names: Vec<String> = names.map(|n| self.column(*n).name()).collect();
            let why = "CHECK: filled in few rows, as where it is written once for those below";
            block.line(format!("fill_down = [{}]", names.join(", ")), why);
        }
        if self.falling() {
            let why = "the first day is later than the last";
            block.line("newest_first = true", why);
        }
        block.text()
    }

    /// Whether the days of the file run from the newest to the oldest.
    fn falling(&self) -> bool {
        let Some(guess) = self.guesses.key("time") else {
            return false;
        };
        let Some((first, last)) = &self.column(guess.column).first_and_last else {
            return false;
        };
        super::moment(last, self.forms) < super::moment(first, self.forms)
    }

    fn times(&self) -> String {
        let mut block = Block::default();
        block.line("[times]", "");
        let zone = self
            .register
            .map_or("Europe/London".to_owned(), |register| {
                register.plant.time_zone.to_string()
            });
        let why = "of the file; the plant's own where this is left out";
        block.line(format!("# zone = {}", quoted(&zone)), why);
        match self.forms.dates.as_slice() {
            [] => block.line(
                "# dates = \"DD.MM.YYYY hh:mm\"",
                "not needed: no days as text, or as ISO 8601 has them",
            ),
            [one] => block.line(format!("dates = {}", quoted(&one.value)), &one.why),
            several => {
                block.line("dates = [", "");
                for found in several {
                    block.line(format!("  {},", quoted(&found.value)), &found.why);
                }
                block.line("]", "");
            }
        }
        block.line(
            "# time_of_day = \"12:00\"",
            "of days written without a time",
        );
        block.text()
    }

    fn skips(&self) -> Vec<String> {
        let skips = self.guesses.skips.iter().map(|(n, values, why)| {
            let mut block = Block::default();
            block.line("[[skip]]", "");
            let values: Vec<String> = values.iter().map(|text| quoted(text)).collect();
            block.line(
                format!(
                    "when = {{ column = {}, is = [{}] }}",
                    self.column(*n).name(),
                    values.join(", ")
                ),
                "CHECK: such rows seem not to count",
            );
            block.line(format!("why = {}", quoted(why)), "");
            block.text()
        });
        skips.collect()
    }

    /// A line that fills a key from its column.
    pub(super) fn key(&self, block: &mut Block, key: &str, guess: &Guess) {
        let mut options = format!("column = {}", self.column(guess.column).name());
        if guess.key == "time"
            && let Some(clock) = self.guesses.key("clock")
        {
            options.push_str(&format!(", clock = {}", self.column(clock.column).name()));
        }
        if let Some(split) = guess.split {
            options.push_str(&format!(", split = {}", quoted(&split.to_string())));
        }
        if guess.table {
            options.push_str(&format!(", table = {}", quoted(guess.key)));
        }
        block.line(format!("{key} = {{ {options} }}"), &guess.why);
    }

    pub(super) fn key_or_gap(&self, block: &mut Block, key: &str, from: &[&str]) {
        match from.iter().find_map(|key| self.guesses.key(key)) {
            Some(guess) => self.key(block, key, guess),
            None => block.line(
                format!("# {key} = {{ column = \"…\" }}"),
                "needed, and no column seems to hold it: name one, or write a constant",
            ),
        }
    }

    pub(super) fn key_if(&self, block: &mut Block, key: &str) {
        if let Some(guess) = self.guesses.key(key) {
            self.key(block, key, guess);
        }
    }

    fn common(&self) -> String {
        let mut block = Block::default();
        block.line(
            "# Keys that every entry takes unless it says otherwise.",
            "",
        );
        block.line("[common]", "");
        self.key_or_gap(&mut block, "time", &["time", "start"]);
        self.key_or_gap(&mut block, "machine", &["machine"]);
        self.key_if(&mut block, "who");
        if self.job() {
            self.key_if(&mut block, "job");
        }
        block.text()
    }

    fn tables(&self) -> Vec<String> {
        let tables = self.guesses.tables.iter().map(|table| {
            let mut block = Block::default();
            block.line(format!("[tables.{}]", table.name), "");
            for line in &table.lines {
                let rows = match line.rows {
                    1 => "1 row".to_owned(),
                    n => format!("{n} rows"),
                };
                match &line.meaning {
                    Some(meaning) => block.line(
                        format!("{} = {meaning}", quoted(&line.value)),
                        format!("{rows}; {}", line.why),
                    ),
                    None => block.line(
                        format!("# {} = \"…\"", quoted(&line.value)),
                        format!("{rows}; rejected until it is known what it means"),
                    ),
                }
            }
            if table.more {
                block.line("# … and more values, not listed here", "");
            }
            block.text()
        });
        tables.collect()
    }
}

fn in_place() -> String {
    let mut block = Block::default();
    block.line(
        "# What was in a slot before its first renewal in the file.",
        "",
    );
    block.line("[[in_place]]", "");
    block.line(
        "age = \"unknown\"",
        "or \"new\", or a usage; such first lives count little",
    );
    block.line(
        "# since = 2020-01-01",
        "the machine's in_service day where this is left out",
    );
    block.text()
}

/// A text that fits into a line.
fn short(text: &str) -> String {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let text = one_line(&text).into_owned();
    if text.chars().count() <= 30 {
        return text;
    }
    let cut: String = text.chars().take(29).collect();
    format!("{cut}…")
}
