//! Money: a currency by its ISO 4217 code, and amounts as exact decimals.

use std::fmt;

use rust_decimal::{Decimal, RoundingStrategy};

use super::number::group;

/// A currency known by its three-letter ISO 4217 code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Currency {
    code: [u8; 3],
    decimals: u8,
}

/// Codes whose smallest unit is not a hundredth, with the number of decimals.
/// Source: ISO 4217, list of active codes (from memory).
const OTHER_DECIMALS: &[(&str, u8)] = &[
    ("BHD", 3),
    ("BIF", 0),
    ("CLF", 4),
    ("CLP", 0),
    ("DJF", 0),
    ("GNF", 0),
    ("IQD", 3),
    ("ISK", 0),
    ("JOD", 3),
    ("JPY", 0),
    ("KMF", 0),
    ("KRW", 0),
    ("KWD", 3),
    ("LYD", 3),
    ("OMR", 3),
    ("PYG", 0),
    ("RWF", 0),
    ("TND", 3),
    ("UGX", 0),
    ("UYI", 0),
    ("UYW", 4),
    ("VND", 0),
    ("VUV", 0),
    ("XAF", 0),
    ("XOF", 0),
    ("XPF", 0),
];

/// Codes with two decimals. Source: as above.
const TWO_DECIMALS: &str = "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB \
    BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD \
    FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT \
    LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK \
    NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP \
    STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR \
    ZMW ZWG";

impl Currency {
    /// Looks a code up; upper case only, as the standard writes it.
    pub fn from_code(code: &str) -> Option<Currency> {
        let bytes: [u8; 3] = code.as_bytes().try_into().ok()?;
        if let Some((_, decimals)) = OTHER_DECIMALS.iter().find(|(known, _)| *known == code) {
            return Some(Currency {
                code: bytes,
                decimals: *decimals,
            });
        }
        TWO_DECIMALS
            .split_whitespace()
            .any(|known| known == code)
            .then_some(Currency {
                code: bytes,
                decimals: 2,
            })
    }

    /// No currency, by the standard's own code for it (`XXX`): where none is known.
    pub fn none() -> Currency {
        Currency {
            code: *b"XXX",
            decimals: 2,
        }
    }

    /// All codes known, for "did you mean".
    pub fn codes() -> impl Iterator<Item = &'static str> {
        OTHER_DECIMALS
            .iter()
            .map(|(code, _)| *code)
            .chain(TWO_DECIMALS.split_whitespace())
    }

    /// The code, such as `EUR`.
    pub fn code(&self) -> &str {
        // Built from a `str` of three ASCII letters only.
        std::str::from_utf8(&self.code).unwrap_or("???")
    }

    /// Decimals of the smallest unit.
    pub fn decimals(&self) -> u32 {
        u32::from(self.decimals)
    }

    /// Writes an exact amount: `EUR 1,234.50`. Half a smallest unit rounds away
    /// from zero.
    pub fn show(&self, amount: Decimal) -> String {
        let rounded =
            amount.round_dp_with_strategy(self.decimals(), RoundingStrategy::MidpointAwayFromZero);
        let plain = format!("{rounded:.0$}", usize::from(self.decimals));
        format!("{} {}", self.code(), group(&plain))
    }

    /// Writes a computed amount (a rate, an expected cost) with these decimals.
    pub fn show_rate(&self, amount: f64, decimals: usize) -> String {
        format!(
            "{} {}",
            self.code(),
            super::number::thousands(amount, decimals)
        )
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_and_decimals() {
        let euro = Currency::from_code("EUR").expect("EUR");
        let yen = Currency::from_code("JPY").expect("JPY");
        assert_eq!(euro.show(Decimal::new(12_345_005, 4)), "EUR 1,234.50");
        assert_eq!(euro.show(Decimal::new(1_234_505, 3)), "EUR 1,234.51");
        assert_eq!(yen.show(Decimal::new(-1_234_505, 2)), "JPY -12,345");
        assert_eq!(Currency::from_code("eur"), None);
        assert_eq!(Currency::from_code("EURO"), None);
        assert_eq!(Currency::from_code("XQQ"), None);
    }

    #[test]
    fn every_code_is_three_capitals_and_listed_once() {
        let mut codes: Vec<&str> = Currency::codes().collect();
        assert!(
            codes
                .iter()
                .all(|c| c.len() == 3 && c.bytes().all(|b| b.is_ascii_uppercase()))
        );
        codes.sort_unstable();
        let before = codes.len();
        codes.dedup();
        assert_eq!(codes.len(), before);
    }
}
