//! Tables of text: headings, aligned columns, no ruled boxes; and the same rows as CSV.
//!
//! In: cells as text. Out: text. Never: what the cells mean.

use comfy_table::{CellAlignment, ContentArrangement, Row, Table as Drawn, presets};

use crate::quantity::text::{guarded, one_line};
use crate::quantity::thousands;

/// How a column stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    Left,
    Right,
}

/// A table being filled.
#[derive(Debug, Clone)]
pub struct Table {
    headings: Vec<(String, Align)>,
    rows: Vec<Vec<String>>,
}

impl Table {
    pub fn new<'a>(headings: impl IntoIterator<Item = (&'a str, Align)>) -> Self {
        Table {
            headings: headings
                .into_iter()
                .map(|(h, a)| (one_line(h).into_owned(), a))
                .collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row; missing cells stay empty. A cell is one line, whatever it holds.
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let cells = cells.into_iter().map(|cell| one_line(&cell).into_owned());
        self.rows.push(cells.collect());
    }

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as lines of text, ending with a line feed.
    pub fn text(&self) -> String {
        let mut drawn = Drawn::new();
        drawn
            .load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Disabled)
            .set_header(Row::from(self.headings.iter().map(|(h, _)| h)));
        for row in &self.rows {
            drawn.add_row(row);
        }
        for (n, (_, align)) in self.headings.iter().enumerate() {
            if let Some(column) = drawn.column_mut(n) {
                column.set_padding((0, 2));
                column.set_cell_alignment(match align {
                    Align::Left => CellAlignment::Left,
                    Align::Right => CellAlignment::Right,
                });
            }
        }
        let mut text = String::new();
        for line in drawn.lines() {
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }
}

/// Notes beneath a table, each told once and marked by number in the rows it belongs to.
#[derive(Debug, Clone, Default)]
pub struct Notes(Vec<String>);

impl Notes {
    /// The marks of a row's notes, as `[1][3]`.
    pub fn marks(&mut self, notes: &[String]) -> String {
        notes
            .iter()
            .map(|note| {
                let place = self.0.iter().position(|n| n == note).unwrap_or_else(|| {
                    self.0.push(note.clone());
                    self.0.len() - 1
                });
                format!("[{}]", place + 1)
            })
            .collect()
    }

    /// The notes, a line each.
    pub fn text(&self) -> String {
        let lines = self.0.iter().enumerate();
        lines
            .map(|(n, note)| format!("[{}] {note}\n", n + 1))
            .collect()
    }
}

/// A number with about `digits` significant digits and thousands separators.
pub fn figure(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    if value == 0.0 {
        return "0".into();
    }
    let magnitude = value.abs().log10().floor() as i32;
    if !(-4..=7).contains(&magnitude) {
        return format!("{value:.*e}", (digits - 1).max(0) as usize);
    }
    let decimals = digits - 1 - magnitude;
    if decimals >= 0 {
        return thousands(value, decimals as usize);
    }
    let step = 10_f64.powi(-decimals);
    thousands((value / step).round() * step, 0)
}

/// A usage that a plan names: whole numbers whole, others to four digits.
pub fn usage(value: f64) -> String {
    if value.fract() == 0.0 && value.abs() < 1e12 {
        thousands(value, 0)
    } else {
        figure(value, 4)
    }
}

/// A figure, or a dash where it is unknown.
pub fn figure_or_dash(value: Option<f64>, digits: i32) -> String {
    value.map_or_else(|| "–".into(), |v| figure(v, digits))
}

/// A share as a percentage.
pub fn percent(share: f64) -> String {
    let value = 100.0 * share;
    match value {
        v if v > 99.0 && v < 100.0 => "> 99 %".into(),
        v if v < 1.0 && v > 0.0 => "< 1 %".into(),
        v => format!("{v:.0} %"),
    }
}

/// A p value: three decimals, "< 0.001" below them.
pub fn p_value(p: f64) -> String {
    if p < 0.001 {
        "< 0.001".into()
    } else {
        format!("{p:.3}")
    }
}

/// A p value, or a dash where there is none.
pub fn p_or_dash(p: Option<f64>) -> String {
    p.map_or_else(|| "–".into(), p_value)
}

/// Rows as CSV text: the one place that writes CSV. Cells that a spreadsheet would run as
/// formulas are [`guarded`].
pub fn csv_text(
    headings: &[&str],
    rows: impl IntoIterator<Item = Vec<String>>,
) -> Result<String, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    write(&mut out, headings.iter().copied())?;
    for row in rows {
        write(&mut out, row.iter().map(String::as_str))?;
    }
    let bytes = out.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn write<'a>(
    out: &mut csv::Writer<Vec<u8>>,
    cells: impl Iterator<Item = &'a str>,
) -> Result<(), csv::Error> {
    for cell in cells {
        out.write_field(guarded(cell).as_bytes())?;
    }
    out.write_record(None::<&[u8]>)
}

/// A number in full, or an empty cell.
pub fn cell(value: Option<f64>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_a_spreadsheet_would_run_is_guarded_and_numbers_are_not() {
        let row = ["=1+1", "-5", "-5+1", "@SUM(A1)", "\t=1", "a,\"b", "+44 20"];
        let text = csv_text(
            &["=head", "b", "c", "d", "e", "f", "g"],
            [row.map(str::to_owned).to_vec()],
        );
        assert_eq!(
            text.unwrap(),
            "'=head,b,c,d,e,f,g\n'=1+1,-5,'-5+1,'@SUM(A1),'\t=1,\"a,\"\"b\",'+44 20\n"
        );
    }

    #[test]
    fn a_cell_is_one_line_and_leaves_the_terminal_alone() {
        let mut table = Table::new([("a\u{1b}", Align::Left), ("b", Align::Right)]);
        table.row(["x\u{1b}[2J\ny\u{202e}z".to_owned(), "1".to_owned()]);
        assert_eq!(table.text(), "a          b\nx [2J y z  1\n");
    }

    #[test]
    fn figures_keep_their_digits_and_nothing_more() {
        assert_eq!(figure(12_345.6, 4), "12,350");
        assert_eq!(figure(606.527, 4), "606.5");
        assert_eq!(figure(1.720_79, 3), "1.72");
        assert_eq!(figure(0.012_34, 2), "0.012");
        assert_eq!(figure(f64::NAN, 3), "–");
        assert_eq!(percent(0.997), "> 99 %");
        assert_eq!(percent(0.5), "50 %");
    }
}
