//! Names of periods under a row of columns, thinned until they fit.
//!
//! In: names and the width of one. Out: what is written where. Never: dates; names come as text.

use super::ChartError;
use super::canvas::{Anchor, Canvas, Type};
use super::palette::{INK, SOFT};
use super::place::Area;
use super::text::fit;

/// What is written under the columns.
pub(super) struct Marked {
    /// Place of the column, words, and how far from the plot's left their middle stands.
    names: Vec<(usize, String, f64)>,
    /// First column of a year, and the year where there is room for it.
    years: Vec<(usize, Option<String>)>,
}

/// "2024-Q1" as ("2024", "Q1"), "Q1 2024" as well.
fn year_and_part(name: &str) -> Option<(&str, &str)> {
    let (a, b) = name.split_once(['-', ' ', '/'])?;
    let year = |s: &str| s.len() == 4 && s.bytes().all(|b| b.is_ascii_digit());
    match (year(a), year(b)) {
        (true, false) if !b.is_empty() => Some((a, b)),
        (false, true) if !a.is_empty() => Some((b, a)),
        _ => None,
    }
}

/// Chooses what is written at `pitch` pixels a column.
pub(super) fn marked(periods: &[String], pitch: f64, look: Type) -> Marked {
    let parts: Option<Vec<_>> = periods.iter().map(|p| year_and_part(p)).collect();
    match parts {
        Some(parts) if !parts.is_empty() => by_year(&parts, pitch, look),
        _ => Marked {
            names: thinned(periods, pitch, look),
            years: Vec::new(),
        },
    }
}

fn by_year(parts: &[(&str, &str)], pitch: f64, look: Type) -> Marked {
    let fits = parts
        .iter()
        .all(|(_, part)| look.width(part) + 3.0 <= pitch);
    let names = parts.iter().enumerate();
    let names = names.map(|(i, (_, part))| (i, (*part).to_owned(), (i as f64 + 0.5) * pitch));
    let starts: Vec<usize> = (0..parts.len())
        .filter(|i| *i == 0 || parts[*i].0 != parts[i - 1].0)
        .collect();
    let x = |i: usize| i as f64 * pitch;
    let end = |i: usize| x(i) + look.width(parts[i].0) + 8.0;
    // A short first year gives way to the whole one after it; then every year, or every other …
    let from = match starts.get(1) {
        Some(second) if end(0) > x(*second) => 1,
        _ => 0,
    };
    let every = (1..100).find(|every| {
        let shown: Vec<_> = starts[from..].iter().step_by(*every).collect();
        shown.windows(2).all(|pair| end(*pair[0]) <= x(*pair[1]))
    });
    let every = every.unwrap_or(100);
    let total = x(parts.len()) + 10.0;
    let years = starts.iter().enumerate().map(|(n, i)| {
        let shown = n >= from && (n - from).is_multiple_of(every) && end(*i) - 8.0 <= total;
        (*i, shown.then(|| parts[*i].0.to_owned()))
    });
    Marked {
        years: years.collect(),
        names: if fits { names.collect() } else { Vec::new() },
    }
}

fn thinned(periods: &[String], pitch: f64, look: Type) -> Vec<(usize, String, f64)> {
    let total = pitch * periods.len() as f64;
    let cut: Vec<String> = periods
        .iter()
        .map(|p| fit(p, look.size, false, (total * 0.45).max(pitch)))
        .collect();
    let widest = cut.iter().map(|p| look.width(p)).fold(0.0, f64::max);
    let every = ((widest + 8.0) / pitch).ceil().max(1.0) as usize;
    let mut out: Vec<(usize, String, f64)> = Vec::new();
    let mut end = f64::NEG_INFINITY;
    for (place, name) in cut.into_iter().enumerate().step_by(every) {
        // At the ends a wide name keeps within its panel, unless another stands there.
        let half = look.width(&name) / 2.0;
        let own = (place as f64 + 0.5) * pitch;
        let middle = own.min((total - half).max(half)).max(half);
        if middle - half >= end + 6.0 {
            end = middle + half;
            out.push((place, name, middle));
        }
    }
    out
}

impl Marked {
    /// Ticks below the plot, with names only if `named`.
    pub(super) fn draw(
        &self,
        c: &mut Canvas,
        plot: &Area,
        pitch: f64,
        named: bool,
    ) -> Result<(), ChartError> {
        let (small, bold) = (Type::new(11.0, SOFT), Type::bold(11.0, INK));
        let centre = |place: usize| plot.x0 + (place as f64 + 0.5) * pitch;
        let below = if self.names.is_empty() { 4.0 } else { 18.0 };
        let ticks: Vec<_> = if self.years.is_empty() {
            let tick = |place| ((centre(place), plot.y1), (centre(place), plot.y1 + 4.0));
            self.names
                .iter()
                .map(|(place, _, _)| tick(*place))
                .collect()
        } else {
            let reach = if named { below } else { 4.0 };
            let x = |place: usize| plot.x0 + place as f64 * pitch;
            let tick = |place| ((x(place), plot.y1), (x(place), plot.y1 + reach));
            self.years.iter().map(|(place, _)| tick(*place)).collect()
        };
        c.strokes(&ticks, SOFT, 0.8)?;
        if !named {
            return Ok(());
        }
        for (_, name, middle) in &self.names {
            let at = (plot.x0 + middle, plot.y1 + 15.0);
            c.text(name, at, small, Anchor::Middle)?;
        }
        for (place, year) in &self.years {
            if let Some(year) = year {
                let at = (plot.x0 + *place as f64 * pitch, plot.y1 + below + 12.0);
                c.text(year, at, bold, Anchor::Start)?;
            }
        }
        Ok(())
    }
}
