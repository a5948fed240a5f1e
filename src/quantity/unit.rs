//! Units of measured quantities and their conversion.
//!
//! Factors follow the definitions: 1 in = 25.4 mm, 1 lb = 0.453 592 37 kg,
//! standard gravity 9.806 65 m/s², 1 US gallon = 231 in³, 1 UK gallon = 4.546 09 L.
//! Source: NIST Special Publication 811 (2008), appendix B.

use std::fmt;

/// What kind of quantity a unit measures; only units of one kind convert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    Length,
    Pressure,
    Flow,
    Volume,
    Temperature,
    Torque,
    Force,
    Mass,
    Duration,
    Frequency,
    Velocity,
    Power,
    Angle,
    Ratio,
}

impl Dimension {
    /// The plain word for it.
    pub fn name(self) -> &'static str {
        match self {
            Dimension::Length => "length",
            Dimension::Pressure => "pressure",
            Dimension::Flow => "flow",
            Dimension::Volume => "volume",
            Dimension::Temperature => "temperature",
            Dimension::Torque => "torque",
            Dimension::Force => "force",
            Dimension::Mass => "mass",
            Dimension::Duration => "duration",
            Dimension::Frequency => "frequency",
            Dimension::Velocity => "velocity",
            Dimension::Power => "power",
            Dimension::Angle => "angle",
            Dimension::Ratio => "ratio",
        }
    }
}

/// A unit: its symbol, its kind, and how it turns into the kind's base unit
/// (`base = value · factor + offset`).
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    symbol: &'static str,
    others: &'static [&'static str],
    dimension: Dimension,
    factor: f64,
    offset: f64,
}

const fn unit(
    symbol: &'static str,
    others: &'static [&'static str],
    dimension: Dimension,
    factor: f64,
) -> Unit {
    Unit {
        symbol,
        others,
        dimension,
        factor,
        offset: 0.0,
    }
}

use Dimension::{
    Angle, Duration, Flow, Force, Frequency, Length, Mass, Power, Pressure, Ratio, Temperature,
    Torque, Velocity, Volume,
};

const LB_N: f64 = 0.453_592_37 * 9.806_65;
const IN_MM: f64 = 25.4;
const GAL_US_L: f64 = 231.0 * 2.54 * 2.54 * 2.54 / 1000.0;
const GAL_UK_L: f64 = 4.546_09;

/// Every unit known. The first of a kind is its base unit (factor 1).
static UNITS: &[Unit] = &[
    unit("mm", &[], Length, 1.0),
    unit("µm", &["um", "μm"], Length, 1e-3),
    unit("cm", &[], Length, 10.0),
    unit("m", &[], Length, 1000.0),
    unit("in", &["inch"], Length, IN_MM),
    unit("thou", &["mil"], Length, IN_MM / 1000.0),
    unit("ft", &[], Length, 12.0 * IN_MM),
    unit("bar", &[], Pressure, 1.0),
    unit("mbar", &[], Pressure, 1e-3),
    unit("Pa", &[], Pressure, 1e-5),
    unit("kPa", &[], Pressure, 1e-2),
    unit("MPa", &["N/mm²", "N/mm2"], Pressure, 10.0),
    unit("psi", &[], Pressure, LB_N / (IN_MM * IN_MM) * 10.0),
    unit("L/min", &["l/min"], Flow, 1.0),
    unit("L/h", &["l/h"], Flow, 1.0 / 60.0),
    unit("mL/min", &["ml/min"], Flow, 1e-3),
    unit("m³/h", &["m3/h"], Flow, 1000.0 / 60.0),
    unit("gal/min (US)", &["gpm (US)", "usgpm"], Flow, GAL_US_L),
    unit("gal/min (UK)", &["gpm (UK)"], Flow, GAL_UK_L),
    unit("L", &["l"], Volume, 1.0),
    unit("mL", &["ml"], Volume, 1e-3),
    unit("m³", &["m3"], Volume, 1000.0),
    unit("gal (US)", &[], Volume, GAL_US_L),
    unit("gal (UK)", &[], Volume, GAL_UK_L),
    unit("°C", &["degC"], Temperature, 1.0),
    Unit {
        symbol: "K",
        others: &[],
        dimension: Temperature,
        factor: 1.0,
        offset: -273.15,
    },
    Unit {
        symbol: "°F",
        others: &["degF"],
        dimension: Temperature,
        factor: 5.0 / 9.0,
        offset: -160.0 / 9.0,
    },
    unit("N·m", &["Nm", "N.m", "N m"], Torque, 1.0),
    unit(
        "lbf·ft",
        &["lbf.ft", "ft·lbf", "ft.lbf", "ft-lbf"],
        Torque,
        LB_N * 0.3048,
    ),
    unit(
        "lbf·in",
        &["lbf.in", "in·lbf", "in.lbf", "in-lbf"],
        Torque,
        LB_N * 0.0254,
    ),
    unit("N", &[], Force, 1.0),
    unit("kN", &[], Force, 1000.0),
    unit("lbf", &[], Force, LB_N),
    unit("g", &[], Mass, 1.0),
    unit("mg", &[], Mass, 1e-3),
    unit("kg", &[], Mass, 1000.0),
    unit("lb", &[], Mass, 453.592_37),
    unit("oz", &[], Mass, 453.592_37 / 16.0),
    unit("h", &[], Duration, 1.0),
    unit("min", &[], Duration, 1.0 / 60.0),
    unit("s", &[], Duration, 1.0 / 3600.0),
    unit("1/min", &["rpm", "min⁻¹"], Frequency, 1.0),
    unit("Hz", &["1/s", "s⁻¹"], Frequency, 60.0),
    unit("mm/s", &[], Velocity, 1.0),
    unit("m/s", &[], Velocity, 1000.0),
    unit("in/s", &[], Velocity, IN_MM),
    unit("kW", &[], Power, 1.0),
    unit("W", &[], Power, 1e-3),
    unit("°", &["deg"], Angle, 1.0),
    unit("rad", &[], Angle, 180.0 / std::f64::consts::PI),
    unit("1", &[], Ratio, 1.0),
    unit("%", &[], Ratio, 0.01),
];

impl Unit {
    /// Looks a unit up by its symbol or one of its other writings; case counts
    /// (`mPa` is not `MPa`).
    pub fn parse(text: &str) -> Option<Unit> {
        UNITS
            .iter()
            .find(|u| u.symbol == text || u.others.contains(&text))
            .copied()
    }

    /// The symbol, such as `mm`.
    pub fn symbol(&self) -> &'static str {
        self.symbol
    }

    /// What it measures.
    pub fn dimension(&self) -> Dimension {
        self.dimension
    }

    /// Symbols of all units of a kind, for messages.
    pub fn symbols_of(dimension: Dimension) -> impl Iterator<Item = &'static str> {
        UNITS
            .iter()
            .filter(move |u| u.dimension == dimension)
            .map(|u| u.symbol)
    }

    /// Symbols of all units, for "did you mean".
    pub fn symbols() -> impl Iterator<Item = &'static str> {
        UNITS.iter().map(|u| u.symbol)
    }

    /// A reading in the first unit of its dimension, for comparing readings of any unit
    /// of it.
    pub fn to_base(&self, value: f64) -> f64 {
        value * self.factor + self.offset
    }

    /// Converts a reading into another unit of the same kind; `None` if the kinds
    /// differ. A temperature is converted as a point on its scale, not as a difference.
    pub fn convert(&self, value: f64, to: &Unit) -> Option<f64> {
        if self.dimension != to.dimension {
            return None;
        }
        if self.symbol == to.symbol {
            return Some(value);
        }
        Some((value * self.factor + self.offset - to.offset) / to.factor)
    }
}

impl PartialEq for Unit {
    fn eq(&self, other: &Unit) -> bool {
        self.symbol == other.symbol
    }
}

impl Eq for Unit {}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn convert(value: f64, from: &str, to: &str) -> f64 {
        let from = Unit::parse(from).expect(from);
        let to = Unit::parse(to).expect(to);
        from.convert(value, &to).expect("same kind")
    }

    /// Expected values: NIST SP 811 (2008), appendix B.8, printed to seven digits.
    #[test]
    fn conversions_agree_with_sp_811() {
        for (value, from, to, expected) in [
            (1.0, "in", "mm", 25.4),
            (1.0, "thou", "µm", 25.4),
            (1.0, "psi", "kPa", 6.894_757),
            (1.0, "bar", "MPa", 0.1),
            (1.0, "lbf·ft", "N·m", 1.355_818),
            (1.0, "lbf·in", "N·m", 0.112_984_8),
            (1.0, "lbf", "N", 4.448_222),
            (1.0, "gal (US)", "L", 3.785_412),
            (1.0, "gal (UK)", "L", 4.546_09),
            (1.0, "ft", "m", 0.3048),
            (1.0, "lb", "kg", 0.453_592_4),
            (212.0, "°F", "°C", 100.0),
            (0.0, "°C", "K", 273.15),
            (60.0, "1/min", "Hz", 1.0),
        ] {
            let found = convert(value, from, to);
            assert!(
                (found - expected).abs() <= 5e-7 * expected.abs(),
                "{value} {from} is {found} {to}, not {expected}"
            );
        }
    }

    #[test]
    fn there_and_back() {
        for from in UNITS {
            for to in UNITS.iter().filter(|u| u.dimension == from.dimension) {
                let there = from.convert(12.5, to).expect("same kind");
                let back = to.convert(there, from).expect("same kind");
                assert!((back - 12.5).abs() < 1e-9, "{from} to {to}");
            }
        }
    }

    #[test]
    fn kinds_do_not_mix_and_names_are_unique() {
        let bar = Unit::parse("bar").expect("bar");
        assert_eq!(bar.convert(1.0, &Unit::parse("mm").expect("mm")), None);
        assert!(Unit::parse("furlong").is_none());
        let mut names: Vec<&str> = UNITS
            .iter()
            .flat_map(|u| std::iter::once(u.symbol).chain(u.others.iter().copied()))
            .collect();
        let before = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), before);
    }
}
