//! Charts as PNG, for those who cannot take SVG.
//!
//! In: SVG text of this room. Out: the bytes of a PNG.
//! Never: files, fonts of the machine: the same SVG gives the same bytes anywhere.
//!
//! The charts ask for "Helvetica, Arial, sans-serif"; here the last of them is Liberation Sans,
//! which the widths of `text` allow for. Its two faces are part of the program.

use std::sync::{Arc, LazyLock};

use resvg::{tiny_skia, usvg};

use super::ChartError;

const REGULAR: &[u8] = include_bytes!("../../reports/fonts/LiberationSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("../../reports/fonts/LiberationSans-Bold.ttf");
const FAMILY: &str = "Liberation Sans";

/// More pixels than any page needs: 160 MB while it is drawn.
const MOST_PIXELS: u64 = 40_000_000;

static FONTS: LazyLock<Arc<usvg::fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(REGULAR.to_vec());
    fonts.load_font_data(BOLD.to_vec());
    fonts.set_sans_serif_family(FAMILY);
    Arc::new(fonts)
});

/// Draws a chart as a PNG, `scale` pixels to a pixel of the chart.
///
/// Domain: an SVG of this room and a finite scale above 0; at most 40 million pixels in all.
/// Nothing that the SVG may refer to outside itself is read. Latin, Greek and Cyrillic letters are
/// drawn; those of other scripts, which the fonts lack, leave empty boxes.
///
/// Errors: [`ChartError::Svg`] for text that is no SVG, [`ChartError::Scale`] for a scale outside
/// its domain or a picture that would have no or too many pixels.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, ChartError> {
    let told = |e: &dyn std::fmt::Display| ChartError::Svg(e.to_string());
    let options = usvg::Options {
        font_family: FAMILY.to_owned(),
        fontdb: Arc::clone(&FONTS),
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(svg, &options).map_err(|e| told(&e))?;
    let refused = || ChartError::Scale {
        scale: scale.to_string(),
        width: tree.size().width().to_string(),
        height: tree.size().height().to_string(),
    };
    if !(scale.is_finite() && scale > 0.0) {
        return Err(refused());
    }
    let pixels = |length: f32| f64::from(length) * f64::from(scale);
    let (width, height) = (pixels(tree.size().width()), pixels(tree.size().height()));
    if width < 1.0 || height < 1.0 || width * height > MOST_PIXELS as f64 {
        return Err(refused());
    }
    let (width, height) = (width.round() as u32, height.round() as u32);
    let mut canvas = tiny_skia::Pixmap::new(width, height).ok_or_else(refused)?;
    let whole = tiny_skia::Transform::from_scale(scale, scale);
    resvg::render(&tree, whole, &mut canvas.as_mut());
    canvas.encode_png().map_err(|e| told(&e))
}
