//! One shape of the hierarchy: every group's likelihood along one lattice of the log scale.
//!
//! In: the groups' likelihoods, a shape, a spread. Out: the integral over the centre and all
//! scales, and each group's own density. Never: priors, the sum over shapes and spreads.
//!
//! `x` is ln scale less the shift of all lives together. Per group `L_g(x)`; given the
//! centre `m` and the spread `τ`, `M_g(m) = ∫ L_g(x) N(x; m, τ²) dx`. The integral wanted is
//! `∫ Π_g M_g(m) dm`, and group j's density is `L_j(x) ∫ N(x; m, τ²) Π_{g≠j} M_g(m) dm`.
//! All integrals are sums over one even lattice: for smooth integrands over the whole line
//! the trapezoidal rule converges faster than any power of the spacing, at a spacing of one
//! standard deviation of a normal curve to 5e-9 (L. N. Trefethen & J. A. C. Weideman,
//! *SIAM Review* 56 (2014) 385-458).

use crate::model::fit::best_scale;
use crate::model::likelihood::Likelihood;
use crate::model::numeric::ln_sum_exp;

/// One group, made ready.
pub(super) struct Member {
    pub likelihood: Likelihood,
    pub failures: u64,
    /// Internal log scale of the group's likelihood less `x`.
    pub offset: f64,
}

/// Lattice points to a standard deviation of all groups' scale together, the narrowest
/// curve that is drawn on it.
pub(super) const FINENESS: f64 = 4.0;
/// Spacing of the sums over a scale and over the centre, in standard deviations.
const COARSE: f64 = 0.7;
/// Curves are followed down to e^(−DROP) of their peak.
const DROP: f64 = 25.0;
/// A group's likelihood counts for nothing below this.
const LANE_DROP: f64 = 60.0;
/// Half width of the normal kernel, in standard deviations: e^(−24).
const KERNEL: f64 = 7.0;
/// Centres with less of the mass are left out of the densities.
const LEAST_SHARE: f64 = 1e-9;
/// Most lattice points: beyond it the shape is not worth a table.
const MOST: usize = 400_000;

/// One group's likelihood along the lattice.
struct Lane<'a> {
    member: &'a Member,
    k: f64,
    b: f64,
    /// Where the scale is in closed form: `ln L = r(b − k·a) + constant − S·e^(−k·a)`.
    closed: Option<(f64, f64, f64)>,
    /// Highest value of `ln L`.
    top: f64,
    /// `e^(ln L − top)`, filled in as asked for; NaN where not yet.
    linear: Vec<f64>,
    /// Lattice points between which it counts.
    reach: (usize, usize),
    /// Every so many points of `linear` within reach, from the point given, for one spread.
    strided: Vec<f64>,
    first: usize,
}

impl<'a> Lane<'a> {
    fn new(member: &'a Member, b: f64) -> Self {
        let k = b.exp();
        let likelihood = &member.likelihood;
        let closed = likelihood.is_closed().then(|| {
            let r = likelihood.exact_failures();
            let constant = (k - 1.0) * likelihood.sum_ln_failures() - r * likelihood.shift();
            (r, constant, likelihood.power_sum(k))
        });
        Lane {
            member,
            k,
            b,
            closed,
            top: 0.0,
            linear: Vec::new(),
            reach: (0, 0),
            strided: Vec::new(),
            first: 0,
        }
    }

    fn ln_value(&self, x: f64) -> f64 {
        let a = x + self.member.offset;
        match self.closed {
            Some((r, constant, sum)) => {
                r * (self.b - self.k * a) + constant - sum * (-self.k * a).exp()
            }
            None => self.member.likelihood.value(a, self.b),
        }
    }

    /// Where it peaks, or for a group without failure where it levels off.
    fn centre(&self) -> Option<f64> {
        let a = match self.closed {
            Some((r, _, sum)) => (sum / r.max(1.0)).ln() / self.k,
            None => best_scale(&self.member.likelihood, self.b),
        };
        Some(a - self.member.offset).filter(|x| x.is_finite())
    }
}

/// The sum over the centre at one spread.
pub(super) struct Centre {
    /// Log of `∫ Π_g M_g(m) dm`.
    pub ln_mass: f64,
    /// Lattice points of the centre with their share of the mass.
    points: Vec<(usize, f64)>,
    /// `ln M_g` at each point, group by group.
    ln_parts: Vec<Vec<f64>>,
}

/// A group's density along part of the lattice.
pub(super) struct Density {
    pub from: f64,
    pub step: f64,
    pub ln_density: Vec<f64>,
}

/// All groups at one shape.
pub(super) struct Slice<'a> {
    lanes: Vec<Lane<'a>>,
    k: f64,
    from: f64,
    step: f64,
    count: usize,
    /// Where the walk over the centre begins.
    start: f64,
}

impl<'a> Slice<'a> {
    /// Lays the lattice for spreads up to `widest`. `None` where the likelihood leaves the
    /// centre open.
    pub fn new(members: &'a [Member], b: f64, widest: f64) -> Option<Self> {
        let k = b.exp();
        let mut lanes: Vec<Lane> = members.iter().map(|m| Lane::new(m, b)).collect();
        let failures: u64 = members.iter().map(|m| m.failures).sum();
        let step = 1.0 / (FINENESS * k * (failures as f64).sqrt());
        let centres: Vec<Option<f64>> = lanes.iter().map(Lane::centre).collect();
        // The middle of what has failed; a group's own centre may be far out (windows from 0).
        let (mut weight, mut sum) = (0.0, 0.0);
        for (lane, centre) in lanes.iter().zip(&centres) {
            if let Some(x) = centre.filter(|x| x.abs() < 200.0) {
                let w = lane.member.failures as f64;
                weight += w;
                sum += w * x;
            }
        }
        let start = if weight > 0.0 { sum / weight } else { 0.0 };
        let (mut low, mut high) = (start, start);
        for x in centres.iter().flatten() {
            if (x - start).abs() < 60.0 / k + 20.0 {
                low = low.min(*x);
                high = high.max(*x);
            }
        }
        let margin = 2.0 * KERNEL * widest;
        let tail = (DROP + 10.0) / k;
        let from = low - margin - 0.4 * tail;
        let count = ((high + margin + tail - from) / step).ceil();
        if !(count.is_finite() && count < MOST as f64) {
            return None;
        }
        let count = count as usize;
        for (lane, centre) in lanes.iter_mut().zip(&centres) {
            lane.linear = vec![f64::NAN; count];
            // Without failure the likelihood rises to 1; with windows it may be flat below.
            lane.top = match centre {
                Some(x) if lane.member.failures > 0 => lane.ln_value(*x),
                _ => 0.0,
            };
            let peak = centre
                .unwrap_or(start)
                .clamp(from, from + step * count as f64);
            let peak = (((peak - from) / step) as usize).min(count - 1);
            let stride = (FINENESS * 0.5) as usize;
            let mut lo = peak;
            while lo > stride && lane.ln_value(from + step * lo as f64) > lane.top - LANE_DROP {
                lo -= stride;
            }
            let mut hi = peak;
            while hi + stride < count
                && lane.ln_value(from + step * hi as f64) > lane.top - LANE_DROP
            {
                hi += stride;
            }
            if lo <= stride {
                lo = 0;
            }
            if hi + stride >= count {
                hi = count - 1;
            }
            lane.reach = (lo, hi);
        }
        Some(Slice {
            lanes,
            k,
            from,
            step,
            count,
            start,
        })
    }

    fn x(&self, n: usize) -> f64 {
        self.from + self.step * n as f64
    }

    /// The largest power of two not above `width` over the lattice's step.
    fn stride(&self, width: f64) -> usize {
        let mut stride = 1;
        while 2.0 * stride as f64 * self.step <= width {
            stride *= 2;
        }
        stride
    }

    /// Sums over the centre at the spread `tau`. `None` where the integrand has not fallen
    /// off within the lattice.
    pub fn centre(&mut self, tau: f64) -> Option<Centre> {
        let k = self.k;
        if tau == 0.0 {
            let failures: u64 = self.lanes.iter().map(|l| l.member.failures).sum();
            let stride = self.stride(COARSE / (k * (failures as f64).sqrt()));
            return self.walk(stride, stride, |lane, from, step, n| {
                lane.ln_value(from + step * n as f64)
            });
        }
        let most = self.lanes.iter().map(|l| l.member.failures).max()? as f64;
        let narrow = (most * k * k + 1.0 / (tau * tau)).sqrt().recip();
        let inner = self.stride(COARSE * narrow);
        let precision: f64 = self
            .lanes
            .iter()
            .filter(|l| l.member.failures > 0)
            .map(|l| (1.0 / (l.member.failures as f64 * k * k) + tau * tau).recip())
            .sum();
        let outer = self.stride(COARSE / precision.sqrt()).max(inner);
        let kernel = kernel(tau, self.step * inner as f64);
        for lane in &mut self.lanes {
            lane.lay_out(self.from, self.step, inner);
        }
        self.walk(outer, inner, |lane, from, step, n| {
            lane.smoothed(from, step, n, inner, &kernel)
        })
    }

    /// Walks the centre to its peak and out to both sides. Points are multiples of `align`.
    fn walk(
        &self,
        stride: usize,
        align: usize,
        part: impl Fn(&Lane, f64, f64, usize) -> f64,
    ) -> Option<Centre> {
        let (from, step, count) = (self.from, self.step, self.count);
        let at = |n: usize| -> (f64, Vec<f64>) {
            let parts: Vec<f64> = self.lanes.iter().map(|l| part(l, from, step, n)).collect();
            (parts.iter().sum(), parts)
        };
        let begin = ((self.start - from) / step) as usize / align * align;
        let first = at(begin);
        let mut top = first.0;
        let mut right: Vec<(usize, f64, Vec<f64>)> = vec![(begin, first.0, first.1)];
        let mut n = begin;
        loop {
            n += stride;
            if n >= count {
                return None;
            }
            let (value, parts) = at(n);
            top = top.max(value);
            right.push((n, value, parts));
            if value < top - DROP || value.is_nan() {
                break;
            }
        }
        let mut left = Vec::new();
        n = begin;
        loop {
            n = n.checked_sub(stride)?;
            let (value, parts) = at(n);
            top = top.max(value);
            left.push((n, value, parts));
            if value < top - DROP || value.is_nan() {
                break;
            }
        }
        left.reverse();
        left.extend(right);
        left.retain(|(_, value, _)| *value > top - DROP);
        if !top.is_finite() {
            return None;
        }
        let spacing = (step * stride as f64).ln();
        let ln_mass = spacing + ln_sum_exp(left.iter().map(|p| p.1));
        let mut points = Vec::with_capacity(left.len());
        let mut ln_parts = vec![Vec::with_capacity(left.len()); self.lanes.len()];
        for (n, value, parts) in left {
            points.push((n, (value + spacing - ln_mass).exp()));
            for (list, part) in ln_parts.iter_mut().zip(parts) {
                list.push(part);
            }
        }
        Some(Centre {
            ln_mass,
            points,
            ln_parts,
        })
    }

    /// Each group's density of `x`, over the spreads given with their weights.
    pub fn densities(&mut self, spreads: &[(f64, f64, Centre)]) -> Vec<Density> {
        let kernels: Vec<Vec<f64>> = spreads
            .iter()
            .map(|(tau, _, _)| {
                if *tau > 0.0 {
                    kernel(*tau, self.step)
                } else {
                    Vec::new()
                }
            })
            .collect();
        let together = self.together(spreads);
        (0..self.lanes.len())
            .map(|j| self.density(j, spreads, &kernels, &together))
            .collect()
    }

    /// Where nothing differs all scales are the centre: its density with the lattice's finer
    /// points filled in, from the first point on, times the weight.
    fn together(&self, spreads: &[(f64, f64, Centre)]) -> Option<(usize, Vec<f64>)> {
        let (_, weight, centre) = spreads.iter().find(|s| s.0 == 0.0)?;
        let (first, last) = (centre.points.first()?.0, centre.points.last()?.0);
        let values = (first..=last).map(|n| {
            let x = self.x(n);
            let value: f64 = self.lanes.iter().map(|l| l.ln_value(x)).sum();
            weight * (value - centre.ln_mass).exp()
        });
        Some((first, values.collect()))
    }

    /// `Σ_τ w_τ p(x | τ)` for group `j`: its likelihood times a mixture of normal curves
    /// that stand for what the siblings say.
    fn density(
        &mut self,
        j: usize,
        spreads: &[(f64, f64, Centre)],
        kernels: &[Vec<f64>],
        together: &Option<(usize, Vec<f64>)>,
    ) -> Density {
        let (from, step) = (self.from, self.step);
        let lane = &mut self.lanes[j];
        let (low, high) = lane.reach;
        let mut mixture = vec![0.0; high + 1 - low];
        for ((_, weight, centre), kernel) in spreads.iter().zip(kernels) {
            if kernel.is_empty() {
                continue;
            }
            let half = kernel.len() / 2;
            // p(x, m) = L_j(x) N(x; m) W(m)/M_j(m), with L_j relative to its top.
            for ((m, share), ln_part) in centre.points.iter().zip(&centre.ln_parts[j]) {
                let scaled = weight * share * (lane.top - ln_part).exp() / step;
                if *share < LEAST_SHARE || !scaled.is_finite() {
                    continue;
                }
                let first = low.max(m.saturating_sub(half));
                let last = (high + 1).min(m + half + 1);
                if first < last {
                    let kernel = &kernel[first + half - m..last + half - m];
                    for (sum, normal) in mixture[first - low..last - low].iter_mut().zip(kernel) {
                        *sum += scaled * normal;
                    }
                }
            }
        }
        // The whole stretch in which either part lives.
        let (mut start, mut end) = (low, high);
        if let Some((first, values)) = together {
            start = start.min(*first);
            end = end.max(first + values.len() - 1);
        }
        let values: Vec<f64> = (start..=end)
            .map(|n| {
                let own = match n.checked_sub(low).and_then(|i| mixture.get(i)) {
                    Some(sum) if *sum > 0.0 => sum * lane.linear(from, step, n),
                    _ => 0.0,
                };
                let all = together
                    .as_ref()
                    .and_then(|(first, values)| values.get(n.checked_sub(*first)?));
                own + all.copied().unwrap_or(0.0)
            })
            .collect();
        let peak = values.iter().copied().fold(0.0, f64::max);
        let least = peak * (-DROP).exp();
        let first = values.iter().position(|v| *v > least).unwrap_or(0);
        let last = values.iter().rposition(|v| *v > least).unwrap_or(0);
        Density {
            from: from + step * (start + first) as f64,
            step,
            ln_density: values[first..=last]
                .iter()
                .map(|v| v.max(least * 1e-6).ln())
                .collect(),
        }
    }
}

/// The normal density times the spacing, to both sides of its middle.
fn kernel(tau: f64, spacing: f64) -> Vec<f64> {
    let half = (KERNEL * tau / spacing).ceil() as i64;
    let height = spacing / (tau * (2.0 * std::f64::consts::PI).sqrt());
    (-half..=half)
        .map(|n| height * (-0.5 * (n as f64 * spacing / tau).powi(2)).exp())
        .collect()
}

impl Lane<'_> {
    /// `e^(ln L − top)` at a lattice point.
    fn linear(&mut self, from: f64, step: f64, n: usize) -> f64 {
        let known = self.linear[n];
        if !known.is_nan() {
            return known;
        }
        let value = (self.ln_value(from + step * n as f64) - self.top).exp();
        self.linear[n] = value;
        value
    }

    /// Lays out every `stride`-th point within reach, multiples of `stride`.
    fn lay_out(&mut self, from: f64, step: f64, stride: usize) {
        let (low, high) = self.reach;
        self.first = low.div_ceil(stride);
        let mut strided = std::mem::take(&mut self.strided);
        strided.clear();
        strided.extend((self.first..=high / stride).map(|i| self.linear(from, step, i * stride)));
        self.strided = strided;
    }

    /// `ln M_g(m)` at the lattice point `n`, a multiple of `stride`. The kernel has its middle
    /// at `half`.
    fn smoothed(&self, from: f64, step: f64, n: usize, stride: usize, kernel: &[f64]) -> f64 {
        let half = kernel.len() / 2;
        let centre = n / stride;
        // Of the kernel only what falls where the likelihood counts.
        let low = self.first.max(centre.saturating_sub(half));
        let high = (self.first + self.strided.len()).min(centre + half + 1);
        if low < high {
            let values = &self.strided[low - self.first..high - self.first];
            let sum = dot(values, &kernel[low + half - centre..high + half - centre]);
            if sum > 1e-290 {
                return self.top + sum.ln();
            }
        }
        // Far from where the group's own scale lies: in logs.
        let down = half.min(centre);
        let up = half.min((self.linear.len() - 1) / stride - centre);
        let terms: Vec<f64> = (centre - down..=centre + up)
            .map(|i| {
                let x = from + step * (i * stride) as f64;
                self.ln_value(x) + kernel[i + half - centre].ln()
            })
            .collect();
        ln_sum_exp(terms.iter().copied())
    }
}

/// The sum of products, four at a time.
fn dot(x: &[f64], y: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (fours, rest) = (x.chunks_exact(4), x.len() / 4 * 4);
    for (a, b) in fours.zip(y.chunks_exact(4)) {
        for n in 0..4 {
            sums[n] += a[n] * b[n];
        }
    }
    let tail: f64 = x[rest..].iter().zip(&y[rest..]).map(|(a, b)| a * b).sum();
    (sums[0] + sums[1]) + (sums[2] + sums[3]) + tail
}
