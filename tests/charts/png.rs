//! Charts as PNG: signature, size, text that was in fact drawn, the same bytes again.

use std::time::Instant;

use resvg::tiny_skia::Pixmap;
use wearbook::chart::{ChartError, Size, cost_curve, png, probability_plot, slot_history};

use super::{curve, history, labels, plot};

#[test]
fn a_png_has_the_size_asked_for_and_the_same_bytes_again() {
    let svg = cost_curve(&curve(), Size::default()).unwrap();
    for (scale, width, height) in [(1.0, 720u32, 344u32), (2.0, 1_440, 688), (0.5, 360, 172)] {
        let bytes = png(&svg, scale).unwrap();
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
        let told = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!((told(16), told(20)), (width, height));
        assert_eq!(bytes, png(&svg, scale).unwrap());
    }
}

/// The picture without its texts differs within the box of every label.
#[test]
fn every_label_is_drawn() {
    let data = history(11);
    let lanes = slot_history(&data, data.size(720)).unwrap();
    for svg in [
        cost_curve(&curve(), Size::default()).unwrap(),
        probability_plot(&plot(), Size::default()).unwrap(),
        lanes,
    ] {
        let with = Pixmap::decode_png(&png(&svg, 2.0).unwrap()).unwrap();
        let bare = svg.replace("<text ", "<text display=\"none\" ");
        let without = Pixmap::decode_png(&png(&bare, 2.0).unwrap()).unwrap();
        let found = labels(&svg);
        assert!(found.len() > 10);
        for (text, [x0, y0, x1, y1]) in found {
            let inside = |x: u32, y: u32| with.pixel(x, y) != without.pixel(x, y);
            let (xs, ys) = (
                (2.0 * x0) as u32..(2.0 * x1) as u32,
                (2.0 * y0) as u32..(2.0 * y1) as u32,
            );
            let drawn = xs.flat_map(|x| ys.clone().map(move |y| (x, y)));
            let drawn = drawn.filter(|(x, y)| inside(*x, *y)).count();
            let letters = text.chars().filter(|c| !c.is_whitespace()).count();
            assert!(drawn >= 6 * letters, "`{text}`: {drawn} pixels");
        }
    }
}

#[test]
fn absurd_scales_and_what_is_no_picture_are_refused_at_once() {
    let svg = cost_curve(&curve(), Size::default()).unwrap();
    let start = Instant::now();
    for scale in [0.0, -1.0, f32::NAN, f32::INFINITY, 1e-6, 13.0, 1e30] {
        assert!(
            matches!(png(&svg, scale), Err(ChartError::Scale { .. })),
            "{scale}"
        );
    }
    let huge = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"1e9\" height=\"1e9\"/>";
    assert!(matches!(png(huge, 1.0), Err(ChartError::Scale { .. })));
    for bad in ["", "no picture", "<svg", "<p/>"] {
        assert!(matches!(png(bad, 1.0), Err(ChartError::Svg(_))), "{bad}");
    }
    assert!(start.elapsed().as_secs() < 20);
}
