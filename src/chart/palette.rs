//! The colours of the charts, and nothing else.
//!
//! In: nothing. Out: constants. Never: meaning by colour alone.
//!
//! Two hues far apart for all common kinds of colour blindness (a deep blue and a rust), with
//! ink, greys and two tints. Relative luminance falls in clearly separate steps, so that a grey
//! print keeps them apart; dash, shape, letter or hatching says the same again.

use plotters::style::RGBColor;

/// Text, axes, observed marks.
pub(super) const INK: RGBColor = RGBColor(0x1b, 0x1f, 0x24);
/// Secondary text: at least 4.5 to 1 on white.
pub(super) const SOFT: RGBColor = RGBColor(0x55, 0x5b, 0x63);
/// Hairlines behind the data.
pub(super) const HAIR: RGBColor = RGBColor(0xe1, 0xe4, 0xe8);
/// Fitted and computed lines, planned work.
pub(super) const BLUE: RGBColor = RGBColor(0x1f, 0x4e, 0x79);
/// The limits around a computed line.
pub(super) const BAND: RGBColor = RGBColor(0xd6, 0xe2, 0xef);
/// The edge of that band.
pub(super) const BAND_EDGE: RGBColor = RGBColor(0x86, 0xa3, 0xc1);
/// Failures, and the level of running to failure.
pub(super) const RUST: RGBColor = RGBColor(0xa3, 0x3a, 0x1c);
/// The near-optimal range.
pub(super) const SAND: RGBColor = RGBColor(0xf6, 0xec, 0xd2);
/// Hatching over it.
pub(super) const SAND_LINE: RGBColor = RGBColor(0xba, 0x98, 0x4a);
/// Bars of items in place.
pub(super) const BAR: RGBColor = RGBColor(0xc3, 0xcf, 0xdc);
/// Estimates without a model: a pencil line behind the fitted one.
pub(super) const PENCIL: RGBColor = RGBColor(0x80, 0x86, 0x8d);
/// Paper.
pub(super) const PAPER: RGBColor = RGBColor(0xff, 0xff, 0xff);
