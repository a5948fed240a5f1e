//! What made a cost differ between two periods: volume, rate and price.
//!
//! In: usage, events and money of two periods. Out: [`Split`], whose three parts add up to the
//! change exactly. Never: dates, SQL, printing.
//!
//! `C = U·(N/U)·(C/N)`: usage run, events for each unit of usage, money for each event. Each
//! factor's part is the mean of what its step makes over all six orders in which the three can
//! change from one period's value to the other's; so the parts add up to `C₂ − C₁`, no order is
//! preferred, and exchanging the periods turns the signs round.
//! Source: L. S. Shapley, "A value for n-person games" (1953), as used for splitting a change
//! into factors by J. W. Sun, "Changes in energy consumption and energy intensity: a complete
//! decomposition model", *Energy Economics* 20 (1998) (cited from memory).

use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};

/// One kind of cost in one period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spent {
    /// Usage run.
    pub usage: f64,
    pub events: u64,
    pub money: Decimal,
}

/// A change of cost in three parts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Split {
    /// As more or less usage was run.
    pub volume: Decimal,
    /// As events came more or less often in it.
    pub rate: Decimal,
    /// As an event cost more or less.
    pub price: Decimal,
}

impl Split {
    pub fn total(&self) -> Decimal {
        self.volume + self.rate + self.price
    }
}

impl std::ops::AddAssign for Split {
    fn add_assign(&mut self, other: Split) {
        self.volume += other.volume;
        self.rate += other.rate;
        self.price += other.price;
    }
}

/// Splits the change from `before` to `after`, parts rounded to `decimals` places; the price's
/// part takes what rounding leaves, so that the three add up to the change.
///
/// A period without events has no price: the other's is taken, so that their coming or going
/// is all rate and volume. `None` where a usage is not above 0, or money stands against no event.
pub fn split(before: Spent, after: Spent, decimals: u32) -> Option<Split> {
    let sound = |spent: &Spent| {
        spent.usage.is_finite() && spent.usage > 0.0 && (spent.events > 0 || spent.money.is_zero())
    };
    if !sound(&before) || !sound(&after) {
        return None;
    }
    let rate = |spent: &Spent| spent.events as f64 / spent.usage;
    let price = |spent: &Spent| -> Option<f64> {
        (spent.events > 0)
            .then(|| spent.money.to_f64())
            .flatten()
            .map(|money| money / spent.events as f64)
    };
    let (p1, p2) = match (price(&before), price(&after)) {
        (Some(p1), Some(p2)) => (p1, p2),
        (Some(p), None) | (None, Some(p)) => (p, p),
        (None, None) => return Some(Split::default()),
    };
    let (u, r, p) = (
        (before.usage, after.usage),
        (rate(&before), rate(&after)),
        (p1, p2),
    );
    let to_money = |part: f64| Decimal::from_f64(part).map(|part| part.round_dp(decimals));
    let volume = to_money(part(u, r, p))?;
    let rate = to_money(part(r, u, p))?;
    Some(Split {
        volume,
        rate,
        price: after.money - before.money - volume - rate,
    })
}

/// The step of `x` averaged over the orders: alone first (weight 1/3), between the two others
/// (1/6 each way), last (1/3).
fn part(x: (f64, f64), y: (f64, f64), z: (f64, f64)) -> f64 {
    let step = x.1 - x.0;
    let ends = (y.0 * z.0 + y.1 * z.1) / 3.0;
    let between = (y.1 * z.0 + y.0 * z.1) / 6.0;
    step * (ends + between)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn spent(usage: f64, events: u64, cents: i64) -> Spent {
        Spent {
            usage,
            events,
            money: Decimal::new(cents, 2),
        }
    }

    #[test]
    fn one_factor_that_changes_takes_it_all() {
        let base = spent(1000.0, 10, 500_000);
        let longer = split(base, spent(2000.0, 20, 1_000_000), 2).expect("split");
        assert_eq!(
            (longer.volume, longer.rate, longer.price),
            (Decimal::from(5000), Decimal::ZERO, Decimal::ZERO)
        );
        let oftener = split(base, spent(1000.0, 15, 750_000), 2).expect("split");
        assert_eq!(oftener.rate, Decimal::from(2500));
        assert_eq!(oftener.total(), Decimal::from(2500));
        let dearer = split(base, spent(1000.0, 10, 600_000), 2).expect("split");
        assert_eq!(dearer.price, Decimal::from(1000));
        assert_eq!((dearer.volume, dearer.rate), Default::default());
    }

    /// By hand: 1000 h, 10 events at 5; 2000 h, 10 events at 6. Usage doubles, the rate halves.
    /// Volume: 1000 × [(0.01·5 + 0.005·6)/3 + (0.005·5 + 0.01·6)/6] = 1000 × 0.245/6 = 40.8333;
    /// rate: −0.005 × [(1000·5 + 2000·6)/3 + (2000·5 + 1000·6)/6] = −0.005 × 8333.33 = −41.6667.
    #[test]
    fn three_that_change_share_as_worked_by_hand() {
        let found = split(spent(1000.0, 10, 5000), spent(2000.0, 10, 6000), 2).expect("split");
        assert_eq!(found.volume, Decimal::new(4083, 2));
        assert_eq!(found.rate, Decimal::new(-4167, 2));
        assert_eq!(found.price, Decimal::new(1084, 2));
    }

    #[test]
    fn what_cannot_be_split_is_not() {
        let sound = spent(1000.0, 10, 5000);
        assert_eq!(split(spent(0.0, 0, 0), sound, 2), None);
        assert_eq!(split(spent(1000.0, 0, 1), sound, 2), None);
        assert_eq!(split(sound, spent(f64::NAN, 1, 1), 2), None);
        let none = spent(10.0, 0, 0);
        assert_eq!(split(none, none, 2), Some(Split::default()));
    }

    proptest! {
        #[test]
        fn parts_add_up_and_turn_round(
            u in (1.0..1e5f64, 1.0..1e5f64),
            n in (0u64..500, 0u64..500),
            c in (0i64..100_000_000, 0i64..100_000_000),
        ) {
            let money = |n: u64, c: i64| if n == 0 { 0 } else { c };
            let one = spent(u.0, n.0, money(n.0, c.0));
            let two = spent(u.1, n.1, money(n.1, c.1));
            let there = split(one, two, 2).expect("sound");
            prop_assert_eq!(there.total(), two.money - one.money);
            let back = split(two, one, 2).expect("sound");
            let near = |a: Decimal, b: Decimal| (a + b).abs() <= Decimal::new(2, 2);
            prop_assert!(near(there.volume, back.volume));
            prop_assert!(near(there.rate, back.rate));
            prop_assert!(near(there.price, back.price));
        }
    }
}
