//! The work sheet as a page to print.
//!
//! In: [`Sheet`] and a paper. Out: HTML, everything inline. Never: files, what the sheet says.

use minijinja::value::Serde;
use minijinja::{Value, context};

use super::dress::Dress;
use super::engine::{css_string, engine};
use super::render::ReportError;
pub use crate::quantity::Paper;
use crate::view::sheet::Sheet;

/// Sets the page.
///
/// Errors: [`ReportError::Template`] where the template and the data disagree.
pub fn render(sheet: &Sheet, paper: Paper, dress: &Dress) -> Result<String, ReportError> {
    let engine = engine(&dress.templates())?;
    let foot = format!("{} {}, {}", sheet.plant, sheet.machine, sheet.day);
    let css = dress
        .text("sheet.css")
        .replace("FOOTER", &css_string(&foot))
        .replace("PAPER", paper.word());
    let html = engine.get_template("sheet.html")?.render(context! {
        sheet => Value::from(Serde(sheet)),
        css => Value::from_safe_string(css),
    })?;
    Ok(html)
}
