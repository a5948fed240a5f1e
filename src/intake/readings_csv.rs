//! Readings from a CSV file: one row a reading, with the usage of the item then.
//!
//! In: a file with the columns `item, usage, value` in any order.
//! Out: [`FileItem`]s in the order they first stand in the file, each with its readings by usage.
//! Never: skipping a row.

use std::io::Read;
use std::path::Path;

use super::cells::{CellFault, Cells, FileError, Layout, open};

/// Readings of one item: usage since renewal, value; by usage.
#[derive(Debug, Clone, PartialEq)]
pub struct FileItem {
    pub item: String,
    pub readings: Vec<(f64, f64)>,
}

const READINGS: Layout<3> = Layout {
    what: "a file of readings",
    code: "readings-file",
    columns: ["item", "usage", "value"],
    needed: &[0, 1, 2],
    needed_cure: "item, usage and value are needed: which item, its usage since renewal, what was read",
    width_cure: "a row needs one cell a heading",
    number_cure: "write a plain number",
};

/// Reads and checks a whole file; every fault is told, not only the first.
pub fn read(path: &Path) -> Result<Vec<FileItem>, FileError> {
    let (name, file) = open(path)?;
    parse(&name, file)
}

/// As [`read`], from any source; `name` stands in for the file in errors.
pub fn parse(name: &str, source: impl Read) -> Result<Vec<FileItem>, FileError> {
    let mut items: Vec<FileItem> = Vec::new();
    let mut places = std::collections::HashMap::new();
    let mut faults = READINGS.rows(name, source, |cells| {
        let (item, usage, value) = row(cells)?;
        let place = *places.entry(item.clone()).or_insert_with(|| {
            items.push(FileItem {
                item,
                readings: Vec::new(),
            });
            items.len() - 1
        });
        items[place].readings.push((usage, value));
        Ok(())
    })?;
    if faults.is_empty() && items.is_empty() {
        let cure = "one row a reading under the headings item,usage,value";
        faults.push(CellFault::of_line(1, "no readings in the file", cure));
    }
    if !faults.is_empty() {
        return Err(READINGS.error(name, faults));
    }
    for item in &mut items {
        item.readings.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    Ok(items)
}

fn row(cells: &Cells<'_, 3>) -> Result<(String, f64, f64), Vec<CellFault>> {
    let mut faults = Vec::new();
    let mut number = |which: usize, column: &str| match cells.number(which) {
        Ok(Some(value)) => value,
        Ok(None) => {
            let what = "is empty";
            faults.push(cells.fault(column, what, "write a number, or take the row out"));
            0.0
        }
        Err(fault) => {
            faults.push(fault);
            0.0
        }
    };
    let (usage, value) = (number(1, "usage"), number(2, "value"));
    if usage < 0.0 {
        let cure = "usage counts from the renewal of the item: 0 or more";
        faults.push(cells.fault("usage", format!("{usage} is below 0"), cure));
    }
    let item = cells.text(0).unwrap_or_else(|| {
        let cure = "name the item in every row; one name will do if there is only one";
        faults.push(cells.fault("item", "is empty", cure));
        ""
    });
    if faults.is_empty() {
        Ok((item.to_owned(), usage, value))
    } else {
        Err(faults)
    }
}
