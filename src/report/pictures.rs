//! The pictures of a page: each has a number, a name no other has, and a file of its own.
//!
//! In: SVG text and captions. Out: what a template sets, and the files. Never: drawing.

use minijinja::{Value, context};

use super::names::Names;

/// A picture and the name of its file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChartFile {
    /// E.g. "packing-set-probability.svg": ASCII letters, digits, hyphens.
    pub name: String,
    /// SVG text.
    pub svg: String,
}

/// Pictures so far: their files, the names taken, and the count for the captions.
#[derive(Default)]
pub(super) struct Pictures {
    pub(super) files: Vec<ChartFile>,
    pub(super) names: Names,
}

impl Pictures {
    /// Takes a picture in, drawn with the id `name`; gives what the template `figure` sets.
    pub(super) fn add(&mut self, name: &str, svg: String, caption: &str) -> Value {
        self.files.push(ChartFile {
            name: format!("{name}.svg"),
            svg: svg.clone(),
        });
        context! {
            number => self.files.len(),
            svg => Value::from_safe_string(svg),
            caption => caption,
        }
    }
}
