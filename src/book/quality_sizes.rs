//! Readings far off their like: a slipped point, a wrong unit.

use std::collections::HashMap;

use super::doubt::Doubt;
use super::fact::What;
use super::names::Id;
use super::quality::Look;

/// Fewer siblings than this tell nothing of what is usual.
const FEWEST: usize = 5;

/// Robust standard deviations that a reading must lie off besides, so that a quantity
/// that spreads over powers of ten by nature is let be.
const DEVIATIONS: f64 = 4.0;

/// Makes the median absolute deviation of a normal sample its standard deviation:
/// 1/Φ⁻¹(3/4).
const NORMAL: f64 = 1.4826;

impl Look {
    /// Measured values ten times what the same quantity of the same component mostly is,
    /// or a tenth of it: `|log₁₀ value − median| ≥ 1`, and at least four robust standard
    /// deviations. Only values above 0 are compared.
    pub(super) fn far_off(&mut self) {
        let mut like: HashMap<(Id, Id, Id), Vec<(u32, f64)>> = HashMap::new();
        for turn in &self.order {
            if let What::Measured {
                slot,
                quantity,
                zone,
                value,
            } = self.fact(*turn).what
                && value > 0.0
                && value.is_finite()
            {
                let (_, component, _) = self.state.names.slots[slot as usize];
                let all = like.entry((component, quantity, zone)).or_default();
                all.push((*turn, value.log10()));
            }
        }
        let mut found = Vec::new();
        for ((component, quantity, _), all) in like {
            if all.len() <= FEWEST {
                continue;
            }
            let middle = median(all.iter().map(|(_, log)| *log));
            let spread = NORMAL * median(all.iter().map(|(_, log)| (log - middle).abs()));
            let limit = f64::max(1.0, DEVIATIONS * spread);
            for (turn, log) in &all {
                let off = log - middle;
                // A reading of exactly ten times counts, whatever its logarithm rounds to.
                if off.abs() >= limit - 1e-9 {
                    found.push((*turn, component, quantity, off, all.len() - 1));
                }
            }
        }
        found.sort_unstable_by_key(|(turn, ..)| *turn);
        for (turn, component, quantity, off, siblings) in found {
            let doubt = Doubt::FarOff {
                component: self.text(component),
                quantity: self.text(quantity),
                factor: 10f64.powf(off.abs()),
                larger: off > 0.0,
                siblings,
            };
            self.doubt(turn, &doubt);
        }
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_unstable_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => f64::NAN,
        _ if n % 2 == 1 => values[n / 2],
        _ => (values[n / 2 - 1] + values[n / 2]) / 2.0,
    }
}
