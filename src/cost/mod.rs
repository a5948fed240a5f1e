//! Cost: what one renewal costs, planned and after failure; where a plant's money went, for each
//! unit of usage; what made it change; and the trade's standard indicators.
//!
//! In: costs of past renewals, and what the register would say; cost items and jobs.
//! Out: [`CostBasis`]; [`Breakdown`], [`Split`], [`Indicator`]s.
//! Never: sharing a job's costs among its renewals (the store's query does), SQL, printing.

mod breakdown;
mod change;
mod indicators;
mod period;

pub use breakdown::{Amounts, Breakdown, By, Group, breakdown, events};
pub use change::{Spent, Split, split};
pub use indicators::{Indicator, Work, indicators};
pub use period::{Every, Span};

use rust_decimal::Decimal;

/// Where a cost comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CostFrom {
    /// Mean over this many renewals of the ledger.
    Ledger { renewals: usize },
    /// Worked out from the register's prices, hours and rates.
    Register,
    /// Given by the user.
    Given,
}

/// The whole cost of one renewal of a kind, in the plant's currency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostBasis {
    pub value: Decimal,
    pub from: CostFrom,
}

/// Fewest renewals of a kind whose mean stands in for the register.
pub const ENOUGH: usize = 3;

/// The mean of past renewals where there are [`ENOUGH`], else the register's figure.
///
/// Exact decimals, rounded to cents at the end.
pub fn basis(past: &[Decimal], register: Decimal) -> CostBasis {
    if past.len() < ENOUGH {
        return CostBasis {
            value: register.round_dp(2),
            from: CostFrom::Register,
        };
    }
    let sum: Decimal = past.iter().sum();
    CostBasis {
        value: (sum / Decimal::from(past.len())).round_dp(2),
        from: CostFrom::Ledger {
            renewals: past.len(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_renewals_are_not_enough_and_three_are() {
        let register = Decimal::new(500, 0);
        let past = [
            Decimal::new(100, 0),
            Decimal::new(101, 0),
            Decimal::new(103, 0),
        ];
        assert_eq!(basis(&past[..2], register).from, CostFrom::Register);
        let mean = basis(&past, register);
        assert_eq!(mean.from, CostFrom::Ledger { renewals: 3 });
        assert_eq!(mean.value, Decimal::new(10133, 2));
    }
}
