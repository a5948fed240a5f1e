//! How a plant writes numbers and days: the marks in a number, the names of the months.
//!
//! In: a language tag (RFC 5646: `de`, `pt-BR`). Out: [`Language`]; one of them is spoken by the
//! process, English unless [`speak`] was called. Never: translated sentences, files.
//!
//! Marks and names come from the locales of the GNU C Library. The language spoken is a setting
//! of the process, as a locale is in C: pictures and words at every depth must agree on it, and
//! only what runs one command for one plant may set it.

use std::sync::OnceLock;

use chrono::{Datelike, NaiveDate};
use pure_rust_locales::{Locale, locale_match};

/// A language as far as numbers and days go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Language {
    /// RFC 5646.
    tag: String,
    /// Between groups of three digits.
    group: &'static str,
    /// Between whole and fraction.
    decimal: &'static str,
    months: [&'static str; 12],
    short_months: [&'static str; 12],
    order: Order,
}

/// In which order the parts of a day are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Order {
    /// 24 November 2026
    DayMonth,
    /// 24. November 2026
    DayDotMonth,
    /// 24 de noviembre de 2026
    DayDeMonth,
    /// November 24, 2026
    MonthDay,
    /// 2026-11-24, where months have numbers only or stand after the year
    YearFirst,
}

/// Languages whose region is not their own letters.
const HOME: &[(&str, &str)] = &[
    ("ca", "ES"),
    ("cs", "CZ"),
    ("da", "DK"),
    ("el", "GR"),
    ("en", "GB"),
    ("et", "EE"),
    ("eu", "ES"),
    ("ga", "IE"),
    ("gl", "ES"),
    ("ja", "JP"),
    ("ko", "KR"),
    ("nb", "NO"),
    ("nn", "NO"),
    ("sl", "SI"),
    ("sv", "SE"),
    ("uk", "UA"),
    ("zh", "CN"),
];

impl Language {
    /// English as written in Britain and Ireland.
    pub fn english() -> Language {
        // The table of locales has it.
        Language::from_tag("en-GB").unwrap_or(Language {
            tag: "en-GB".to_owned(),
            group: ",",
            decimal: ".",
            months: [""; 12],
            short_months: [""; 12],
            order: Order::YearFirst,
        })
    }

    /// The language of a tag such as `de`, `de-AT`, `pt-BR`; `None` where none is known by it.
    pub fn from_tag(tag: &str) -> Option<Language> {
        let (language, region) = match tag.split_once(['-', '_']) {
            Some((language, region)) => (language.to_lowercase(), region.to_uppercase()),
            None => {
                let language = tag.to_lowercase();
                let home = HOME.iter().find(|(known, _)| *known == language);
                let region = home.map_or_else(|| tag.to_uppercase(), |(_, r)| (*r).to_owned());
                (language, region)
            }
        };
        let locale: Locale = format!("{language}_{region}").parse().ok()?;
        let months: &[&str] = locale_match!(locale => LC_TIME::MON);
        let short: &[&str] = locale_match!(locale => LC_TIME::ABMON);
        let group: &'static str = match locale_match!(locale => LC_NUMERIC::THOUSANDS_SEP) {
            // Without a mark of its own a thin gap, which no language misreads (ISO 80000-1).
            "" => "\u{202f}",
            mark => mark,
        };
        Some(Language {
            group,
            decimal: locale_match!(locale => LC_NUMERIC::DECIMAL_POINT),
            months: months.try_into().ok()?,
            short_months: short.try_into().ok()?,
            order: order(&language, &region),
            tag: format!("{language}-{region}"),
        })
    }

    /// `de-DE`.
    pub fn tag(&self) -> &str {
        &self.tag
    }

    /// A plain decimal text such as `12480.50`, without its sign, with this language's marks.
    pub fn marked(&self, plain: &str) -> String {
        let (whole, fraction) = match plain.split_once('.') {
            Some((whole, fraction)) => (whole, Some(fraction)),
            None => (plain, None),
        };
        let mut text = String::with_capacity(plain.len() + 8);
        for (i, digit) in whole.chars().enumerate() {
            if i > 0 && (whole.len() - i).is_multiple_of(3) {
                text.push_str(self.group);
            }
            text.push(digit);
        }
        if let Some(fraction) = fraction {
            text.push_str(self.decimal);
            text.push_str(fraction);
        }
        text
    }

    /// "24 November 2026", in the order and the words of the language.
    pub fn day(&self, date: NaiveDate) -> String {
        let (day, year) = (date.day(), date.year());
        let month = self.months[date.month0() as usize];
        match self.order {
            Order::DayMonth => format!("{day} {month} {year}"),
            Order::DayDotMonth => format!("{day}. {month} {year}"),
            Order::DayDeMonth => format!("{day} de {month} de {year}"),
            Order::MonthDay => format!("{month} {day}, {year}"),
            Order::YearFirst => date.to_string(),
        }
    }

    /// "24 Nov 2026", or without the year "24 Nov", in the order of the language.
    pub fn short_day(&self, date: NaiveDate, with_year: bool) -> String {
        let (day, year) = (date.day(), date.year());
        let month = self.short_months[date.month0() as usize];
        let short = match self.order {
            Order::DayMonth | Order::DayDeMonth => format!("{day} {month}"),
            Order::DayDotMonth => format!("{day}. {month}"),
            Order::MonthDay => format!("{month} {day}"),
            Order::YearFirst if with_year => return date.to_string(),
            Order::YearFirst => return date.format("%m-%d").to_string(),
        };
        match (with_year, self.order) {
            (false, _) => short,
            (true, Order::MonthDay) => format!("{short}, {year}"),
            (true, _) => format!("{short} {year}"),
        }
    }

    /// "Nov", for axes.
    pub fn short_month(&self, month0: u32) -> &'static str {
        self.short_months
            .get(month0 as usize)
            .copied()
            .unwrap_or_default()
    }
}

fn order(language: &str, region: &str) -> Order {
    match (language, region) {
        ("en", "US") => Order::MonthDay,
        ("de" | "da" | "nb" | "nn" | "cs" | "sk" | "sl" | "fi" | "et" | "hr" | "is", _) => {
            Order::DayDotMonth
        }
        ("es" | "pt" | "gl", _) => Order::DayDeMonth,
        ("en" | "fr" | "it" | "nl" | "sv" | "pl" | "ga" | "ro" | "el" | "uk" | "ru" | "tr", _) => {
            Order::DayMonth
        }
        _ => Order::YearFirst,
    }
}

static SPOKEN: OnceLock<Language> = OnceLock::new();

/// Sets the language of the process. The first call counts; later ones change nothing.
pub fn speak(language: Language) {
    let _ = SPOKEN.set(language);
}

/// The language of the process.
pub fn spoken() -> &'static Language {
    SPOKEN.get_or_init(Language::english)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_days_follow_the_language() {
        let day = NaiveDate::from_ymd_opt(2026, 3, 4).expect("a day");
        for (tag, number, written, short) in [
            ("en", "1,234,567.89", "4 March 2026", "Mar"),
            ("en-US", "1,234,567.89", "March 4, 2026", "Mar"),
            ("de", "1.234.567,89", "4. März 2026", "Mär"),
            ("fr", "1\u{202f}234\u{202f}567,89", "4 mars 2026", "mars"),
            ("es-ES", "1.234.567,89", "4 de marzo de 2026", "mar"),
            ("sv", "1\u{202f}234\u{202f}567,89", "4 mars 2026", "mar"),
        ] {
            let language = Language::from_tag(tag).expect("known");
            assert_eq!(language.marked("1234567.89"), number, "{tag}");
            assert_eq!(language.day(day), written, "{tag}");
            assert_eq!(
                language.short_month(2).trim_end_matches('.'),
                short,
                "{tag}"
            );
            assert_eq!(language.marked("100"), "100");
        }
        for unknown in ["", "xx", "de-XX", "klingon", "en-GB-oed"] {
            assert_eq!(Language::from_tag(unknown), None, "{unknown}");
        }
    }

    #[test]
    fn english_has_its_months() {
        assert_eq!(Language::english().tag(), "en-GB");
        assert!(Language::english().months.iter().all(|m| !m.is_empty()));
    }
}
