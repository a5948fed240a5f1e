//! The step of base intervals: the plant's planning grid, or a round figure.
//!
//! In: the grid, how long items live, what may not be passed. Out: a usage. Never: slots.

/// Steps to the shortest mean life where no grid is given, and most steps to the longest.
const FINE: f64 = 20.0;
const MOST: f64 = 250.0;

/// The step for a machine whose items live `shortest` to `longest` on average.
///
/// The grid, if there is one and `bound`, the lowest usage that may not be passed, is no
/// shorter; a whole part of the grid if it is. Without a grid a round figure (1, 2 or 5 times
/// a power of ten). Where the longest lives would take more than some hundred steps, so
/// many of these together as the bound allows.
/// Domain: all finite and above 0.
pub fn step_for(grid: Option<f64>, shortest: f64, longest: f64, bound: Option<f64>) -> f64 {
    let bound = bound.unwrap_or(f64::INFINITY);
    let step = match grid {
        Some(grid) => grid / (grid / bound).ceil().max(1.0),
        None => round_down((shortest / FINE).min(bound)),
    };
    let coarser = (longest / (MOST * step)).floor();
    let allowed = (bound / step + 1e-9).floor().min(shortest / step / 2.0);
    step * coarser.min(allowed).max(1.0)
}

fn round_down(value: f64) -> f64 {
    let power = 10_f64.powf(value.log10().floor());
    let digit = [5.0, 2.0]
        .into_iter()
        .find(|d| d * power <= value * (1.0 + 1e-9));
    digit.unwrap_or(1.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_never_pass_a_bound() {
        assert_eq!(step_for(Some(250.0), 2_000.0, 40_000.0, None), 250.0);
        assert_eq!(
            step_for(Some(250.0), 2_000.0, 40_000.0, Some(2_000.0)),
            250.0
        );
        assert_eq!(
            step_for(Some(250.0), 2_000.0, 40_000.0, Some(100.0)),
            250.0 / 3.0
        );
        assert_eq!(step_for(None, 2_300.0, 9_000.0, None), 100.0);
        assert_eq!(step_for(None, 2_300.0, 9_000.0, Some(73.0)), 50.0);
        assert_eq!(step_for(None, 0.07, 0.3, None), 0.002);
        // A grid of an hour under lives of years is taken in larger steps.
        assert_eq!(step_for(Some(1.0), 2_000.0, 40_000.0, None), 160.0);
        assert_eq!(step_for(Some(1.0), 2_000.0, 40_000.0, Some(30.0)), 30.0);
    }
}
