//! Where a density of ln shape matters: its peak, how wide it is there, and the stretches over
//! which it is integrated.
//!
//! In: a log density. Out: peak, spread, panel edges. Never: what the density is of.

/// Density is followed down to e^(−DROP) of its peak: 5e-12.
const DROP: f64 = 26.0;
/// ln shape beyond which a density that has not fallen counts as open.
pub(super) const B_REACH: f64 = 45.0;

/// Climbs from `start` to the peak of the density: `(b, ln density)`.
pub(super) fn climb(density: impl Fn(f64) -> f64, start: f64) -> Option<(f64, f64)> {
    let (mut b, mut top) = (start, density(start));
    let mut step = 0.5;
    while step > 0.01 {
        let (left, right) = (density(b - step), density(b + step));
        let best = left.max(right);
        if best > top {
            b += if right >= left { step } else { -step };
            top = best;
            if b.abs() > B_REACH {
                return None;
            }
        } else {
            step *= 0.4;
        }
    }
    top.is_finite().then_some((b, top))
}

/// Standard deviation of the normal curve that bends as the density does at its peak.
pub(super) fn spread_at(density: impl Fn(f64) -> f64, peak: f64, top: f64) -> f64 {
    let mut step = 0.05;
    // A flat top gives no curvature at a small step; widen until it has fallen.
    loop {
        let fall = 2.0 * top - density(peak - step) - density(peak + step);
        if fall > 1e-3 || step > 3.0 {
            return (step / fall.max(1e-9).sqrt()).clamp(1e-4, 2.0);
        }
        step *= 2.0;
    }
}

/// Panel edges over the whole stretch where the density matters: even around the peak,
/// wider out in the tails, where it only decays.
pub(super) fn edges(
    density: impl Fn(f64) -> f64,
    peak: f64,
    top: f64,
    first: f64,
) -> Option<Vec<f64>> {
    let side = |sign: f64| -> Option<Vec<f64>> {
        let mut width = first;
        let mut edge = peak;
        let mut list = Vec::new();
        loop {
            edge += sign * width;
            list.push(edge);
            if density(edge) < top - DROP {
                return Some(list);
            }
            if edge.abs() > B_REACH {
                return None;
            }
            if list.len() > 3 {
                width = (width * 1.25).min(2.0);
            }
        }
    };
    let mut edges = side(-1.0)?;
    edges.reverse();
    edges.push(peak);
    edges.extend(side(1.0)?);
    Some(edges)
}
