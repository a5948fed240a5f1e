//! Patterns of stops: every union of multiples of 1 to 12 base intervals.
//!
//! In: nothing. Out: [`Patterns`], the same for every machine. Never: costs.
//!
//! A pattern is kept as the set of multiples whose stops all lie within it: a set that with `m`
//! holds every multiple of `m`. The stops of one pattern lie within another's exactly where its
//! set does, and what two have in common is again a pattern.

use std::sync::OnceLock;

/// The greatest multiple of the base interval.
pub const MOST: u32 = 12;

/// One pattern of stops.
#[derive(Debug, Clone)]
pub struct Pattern {
    /// Bit `m − 1` is set where every `m`th stop lies within it.
    mask: u16,
    /// Stops per base interval.
    pub rate: f64,
    /// How often, per base interval, a stop comes `gap` base intervals after the one before.
    pub gaps: Vec<(usize, f64)>,
    /// The fewest multiples that make it, ascending; the first is its longest gap.
    pub every: Vec<u32>,
}

impl Pattern {
    fn new(mask: u16) -> Self {
        let every: Vec<u32> = (1..=MOST)
            .filter(|m| holds(mask, *m))
            .filter(|m| !(1..*m).any(|d| m % d == 0 && holds(mask, d)))
            .collect();
        let cycle = cycle(&every);
        let mut counts = [0_u32; MOST as usize + 1];
        let (mut stops, mut last) = (0_u32, 0);
        for k in (1..=cycle).filter(|k| every.iter().any(|m| k % m == 0)) {
            stops += 1;
            counts[(k - last) as usize] += 1;
            last = k;
        }
        let per = |count: u32| f64::from(count) / f64::from(cycle);
        Pattern {
            mask,
            rate: per(stops),
            gaps: (1..counts.len())
                .filter(|gap| counts[*gap] > 0)
                .map(|gap| (gap, per(counts[gap])))
                .collect(),
            every,
        }
    }

    /// Whether every `m`th stop lies within it.
    pub fn holds(&self, m: u32) -> bool {
        holds(self.mask, m)
    }
}

fn holds(mask: u16, m: u32) -> bool {
    mask >> (m - 1) & 1 == 1
}

/// Stops repeat after this many base intervals: the least common multiple, 1 of none.
pub fn cycle(every: &[u32]) -> u32 {
    let gcd = |mut a: u32, mut b: u32| {
        while b > 0 {
            (a, b) = (b, a % b);
        }
        a
    };
    every.iter().fold(1, |all, m| all / gcd(all, *m) * m)
}

/// All patterns.
#[derive(Debug)]
pub struct Patterns {
    all: Vec<Pattern>,
    /// Place of a mask in `all`.
    place: Vec<u16>,
}

/// Place of the pattern that holds every stop.
pub const FULL: usize = 0;

impl Patterns {
    /// The one table.
    pub fn table() -> &'static Patterns {
        static TABLE: OnceLock<Patterns> = OnceLock::new();
        TABLE.get_or_init(Patterns::new)
    }

    fn new() -> Self {
        let mut masks = vec![0_u16];
        for m in 1..=MOST {
            // Multiples of what a set already holds are in it; others are in or out.
            let with: Vec<u16> = masks
                .iter()
                .filter(|mask| !holds(**mask, m))
                .map(|mask| mask | multiples(m))
                .collect();
            masks.extend(with);
        }
        masks.sort_unstable();
        masks.dedup();
        masks.reverse();
        let mut place = vec![0; 1 << MOST];
        for (n, mask) in masks.iter().enumerate() {
            place[usize::from(*mask)] = n as u16;
        }
        Patterns {
            all: masks.into_iter().map(Pattern::new).collect(),
            place,
        }
    }

    pub fn all(&self) -> &[Pattern] {
        &self.all
    }

    /// Whether the stops of one pattern lie within those of another.
    pub fn within(&self, inner: usize, outer: usize) -> bool {
        self.all[inner].mask & !self.all[outer].mask == 0
    }

    /// The pattern of the stops that two have in common, up to [`MOST`].
    pub fn common(&self, one: usize, other: usize) -> usize {
        usize::from(self.place[usize::from(self.all[one].mask & self.all[other].mask)])
    }
}

fn multiples(m: u32) -> u16 {
    (1..=MOST)
        .filter(|n| n % m == 0)
        .fold(0, |mask, n| mask | 1 << (n - 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sets of numbers up to 12 none of which divides another: 253, the empty one included.
    /// Source: the On-Line Encyclopedia of Integer Sequences, A051026 (from memory); counted
    /// here by trying all sets as well.
    #[test]
    fn every_union_of_multiples_is_there_once() {
        let patterns = Patterns::table();
        let mut count = 0;
        for set in 0_u32..1 << MOST {
            let numbers: Vec<u32> = (1..=MOST).filter(|m| set >> (m - 1) & 1 == 1).collect();
            let divides = numbers
                .iter()
                .any(|a| numbers.iter().any(|b| a != b && b % a == 0));
            if !divides {
                count += 1;
                assert!(patterns.all().iter().any(|p| p.every == numbers));
            }
        }
        assert_eq!(count, 253);
        assert_eq!(patterns.all().len(), count);
        assert_eq!(patterns.all()[FULL].every, [1]);
    }

    #[test]
    fn stops_are_counted_right() {
        let patterns = Patterns::table();
        let of = |every: &[u32]| patterns.all().iter().find(|p| p.every == every).unwrap();
        // Of six: 2, 3, 4, 6.
        let two_three = of(&[2, 3]);
        assert_eq!(two_three.rate, 4.0 / 6.0);
        assert_eq!(two_three.gaps, [(1, 2.0 / 6.0), (2, 2.0 / 6.0)]);
        assert!(two_three.holds(4) && two_three.holds(9) && !two_three.holds(5));
        assert_eq!(of(&[]).rate, 0.0);
        for pattern in patterns.all() {
            let steps: f64 = pattern.gaps.iter().map(|(g, f)| *g as f64 * f).sum();
            assert!(pattern.every.is_empty() || (steps - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn common_stops_are_those_in_both() {
        let patterns = Patterns::table();
        let all = patterns.all();
        for one in 0..all.len() {
            for other in 0..all.len() {
                let common = &all[patterns.common(one, other)];
                for m in 1..=MOST {
                    assert_eq!(common.holds(m), all[one].holds(m) && all[other].holds(m));
                }
                let naive = all[one]
                    .every
                    .iter()
                    .all(|m| all[other].every.iter().any(|d| m % d == 0));
                assert_eq!(patterns.within(one, other), naive);
            }
        }
    }
}
