//! Exchange rates from a CSV file: one row a currency and day.
//!
//! In: a file with the columns `currency, date, rate` in any order; `rate` is what one unit of
//! the currency is worth, from that day on, in the currency that money is to be told in.
//! Out: [`Rates`]. Never: a rate from before its first day; a rate by way of a third currency.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use chrono::NaiveDate;
use rust_decimal::Decimal;

use super::cells::{CellFault, Cells, FileError, Layout, open};
use crate::quantity::{Currency, nearest};

/// Rates by currency and first day.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Rates(BTreeMap<String, BTreeMap<NaiveDate, Decimal>>);

impl Rates {
    /// The rate of a day: that of the latest row at or before it; `None` before the first.
    pub fn on(&self, currency: Currency, day: NaiveDate) -> Option<Decimal> {
        let rates = self.0.get(currency.code())?;
        rates.range(..=day).next_back().map(|(_, rate)| *rate)
    }

    /// The first day of which a rate is known.
    pub fn first(&self, currency: Currency) -> Option<NaiveDate> {
        self.0.get(currency.code())?.keys().next().copied()
    }
}

const RATES: Layout<3> = Layout {
    what: "a file of rates",
    code: "rates-file",
    columns: ["currency", "date", "rate"],
    needed: &[0, 1, 2],
    needed_cure: "currency, date and rate are needed: from which day on one unit is worth how much",
    width_cure: "a row needs one cell a heading",
    number_cure: "write a plain number",
};

/// Reads and checks a whole file; every fault is told, not only the first.
pub fn read(path: &Path) -> Result<Rates, FileError> {
    let (name, file) = open(path)?;
    parse(&name, file)
}

/// As [`read`], from any source; `name` stands in for the file in errors.
pub fn parse(name: &str, source: impl Read) -> Result<Rates, FileError> {
    let mut rates = Rates::default();
    let faults = RATES.rows(name, source, |cells| {
        let (currency, day, rate) = row(cells)?;
        let days = rates.0.entry(currency.code().to_owned()).or_default();
        match days.insert(day, rate) {
            None => Ok(()),
            Some(_) => Err(vec![cells.fault(
                "date",
                format!("{currency} has a rate of {day} already"),
                "keep one of the two rows",
            )]),
        }
    })?;
    if faults.is_empty() {
        Ok(rates)
    } else {
        Err(RATES.error(name, faults))
    }
}

fn row(cells: &Cells<'_, 3>) -> Result<(Currency, NaiveDate, Decimal), Vec<CellFault>> {
    let text = |which: usize| cells.text(which).unwrap_or_default();
    let currency = Currency::from_code(text(0)).ok_or_else(|| {
        let cure = match nearest(&text(0).to_uppercase(), Currency::codes()) {
            Some(near) => format!("did you mean {near}?"),
            None => "write its ISO 4217 code, as EUR".into(),
        };
        cells.fault("currency", format!("\"{}\" is no currency", text(0)), &cure)
    });
    let day = text(1).parse::<NaiveDate>().map_err(|_| {
        let what = format!("\"{}\" is no date", text(1));
        cells.fault("date", what, "write it as 2026-01-31")
    });
    let rate = match text(2).parse::<Decimal>() {
        Ok(rate) if rate > Decimal::ZERO => Ok(rate),
        _ => {
            let what = format!("\"{}\" is no number above 0", text(2));
            let cure = "what one unit of the currency is worth, with a point for decimals";
            Err(cells.fault("rate", what, cure))
        }
    };
    match (currency, day, rate) {
        (Ok(currency), Ok(day), Ok(rate)) => Ok((currency, day, rate)),
        (currency, day, rate) => Err([currency.err(), day.err(), rate.err()]
            .into_iter()
            .flatten()
            .collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rate_holds_from_its_day_on() {
        let text = "date,currency,rate\n2024-01-01,CHF,1.05\n2024-07-01,CHF,1.02\n";
        let rates = parse("rates.csv", text.as_bytes()).expect("sound");
        let franc = Currency::from_code("CHF").expect("CHF");
        let on = |day: &str| rates.on(franc, day.parse().expect("day"));
        assert_eq!(on("2023-12-31"), None);
        assert_eq!(on("2024-06-30"), Some(Decimal::new(105, 2)));
        assert_eq!(on("2024-07-01"), Some(Decimal::new(102, 2)));
        assert_eq!(
            rates.first(franc).map(|d| d.to_string()),
            Some("2024-01-01".into())
        );
        let pound = Currency::from_code("GBP").expect("GBP");
        assert_eq!(rates.first(pound), None);
    }

    #[test]
    fn every_fault_is_told() {
        let text = "currency,date,rate\nchf,2024-01-01,1\nCHF,1.1.24,-1\nCHF,2024-01-01,1\n\
                    CHF,2024-01-01,2\n";
        let error = parse("rates.csv", text.as_bytes()).expect_err("faults");
        let said: Vec<String> = error
            .troubles()
            .into_iter()
            .map(|trouble| trouble.what)
            .collect();
        assert_eq!(
            said,
            [
                "column currency: \"chf\" is no currency",
                "column date: \"1.1.24\" is no date",
                "column rate: \"-1\" is no number above 0",
                "column date: CHF has a rate of 2024-01-01 already",
            ]
        );
    }
}
