//! The work sheet as a page to print.
//!
//! In: [`Sheet`] and a paper. Out: HTML, everything inline. Never: files, what the sheet says.

use minijinja::value::Serde;
use minijinja::{Value, context};

use super::engine::{css_string, engine};
use super::render::ReportError;
use crate::view::sheet::Sheet;

const TEMPLATES: [(&str, &str); 1] = [("sheet.html", include_str!("../../reports/sheet.html"))];
const STYLE: &str = include_str!("../../reports/sheet.css");

/// What the sheet is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    #[default]
    A4,
    Letter,
}

impl Paper {
    /// As CSS calls it.
    pub fn word(self) -> &'static str {
        match self {
            Paper::A4 => "A4",
            Paper::Letter => "letter",
        }
    }
}

/// Sets the page.
///
/// Errors: [`ReportError::Template`] where the template and the data disagree; a fault of the
/// program.
pub fn render(sheet: &Sheet, paper: Paper) -> Result<String, ReportError> {
    let engine = engine(&TEMPLATES)?;
    let foot = format!("{} {}, {}", sheet.plant, sheet.machine, sheet.day);
    let css = STYLE
        .replace("FOOTER", &css_string(&foot))
        .replace("PAPER", paper.word());
    let html = engine.get_template("sheet.html")?.render(context! {
        sheet => Value::from(Serde(sheet)),
        css => Value::from_safe_string(css),
    })?;
    Ok(html)
}
