//! Tables on disk: a kept store, and exports. Written beside, synced, renamed.
//!
//! In: a filled connection, a target. Out: whole files, or none. Never: a file half
//! written, a file overwritten that is not ours to overwrite.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use arrow::ipc::writer::FileWriter;
use tempfile::TempDir;

use super::ask::{no_such, order_of};
use super::catalogue::{QUERIES, tables};
use super::cursor::fetch;
use super::error::{StoreError, disk_reason, message_of};
use super::{Inner, Store};
use crate::quantity::text::FORMULA_STARTS;

/// Kinds of exported file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportKind {
    Parquet,
    Csv,
    /// Arrow IPC file.
    Arrow,
}

impl ExportKind {
    fn extension(self) -> &'static str {
        match self {
            ExportKind::Parquet => "parquet",
            ExportKind::Csv => "csv",
            ExportKind::Arrow => "arrow",
        }
    }
}

impl Store {
    /// Writes tables into a folder, one file each, and tells the files with their rows.
    ///
    /// `names`: tables or queries; none named: all of them.
    /// Errors: a name that is none; a folder or file that cannot be written. Files
    /// there before are replaced only once all new ones are whole.
    pub fn export(
        &self,
        folder: &Path,
        kind: ExportKind,
        names: &[String],
    ) -> Result<Vec<(PathBuf, u64)>, StoreError> {
        let names: Vec<&str> = if names.is_empty() {
            tables()
                .map(|table| table.name)
                .chain(QUERIES.iter().map(|query| query.name))
                .collect()
        } else {
            names.iter().map(String::as_str).collect()
        };
        for name in &names {
            order_of(name).ok_or_else(|| no_such(name))?;
        }
        fs::create_dir_all(folder).map_err(|e| StoreError::io(folder, "make the folder", &e))?;
        let beside = TempDir::with_prefix_in(".wearbook-", folder)
            .map_err(|e| StoreError::io(folder, "write into the folder", &e))?;
        let mut inner = self.inner();
        let mut written = Vec::with_capacity(names.len());
        for name in names {
            inner.make(name)?;
            let file = format!("{name}.{}", kind.extension());
            let path = beside.path().join(&file);
            let rows = inner.write(name, kind, &path, &folder.join(&file))?;
            sync(&path)?;
            written.push((file, rows));
        }
        written
            .into_iter()
            .map(|(file, rows)| {
                let target = folder.join(&file);
                fs::rename(beside.path().join(&file), &target)
                    .map_err(|e| StoreError::io(&target, "put it in place", &e))?;
                Ok((target, rows))
            })
            .collect::<Result<Vec<_>, _>>()
            .and_then(|written| sync(folder).map(|()| written))
    }
}

impl Inner {
    fn write(
        &self,
        name: &str,
        kind: ExportKind,
        path: &Path,
        target: &Path,
    ) -> Result<u64, StoreError> {
        let order = order_of(name).ok_or_else(|| no_such(name))?;
        let shown = match kind {
            ExportKind::Csv => self.guarded_columns(name)?,
            ExportKind::Parquet | ExportKind::Arrow => "*".to_owned(),
        };
        // By the columns themselves, not by what is shown of them.
        let order: Vec<String> = order.split(", ").map(|c| format!("{name}.{c}")).collect();
        let select = format!("SELECT {shown} FROM {name} ORDER BY {}", order.join(", "));
        let failed = |reason: String| StoreError::Io {
            path: target.to_path_buf(),
            doing: "write it",
            reason,
        };
        let options = match kind {
            ExportKind::Parquet => "FORMAT parquet",
            ExportKind::Csv => "FORMAT csv, HEADER, TIMESTAMPFORMAT '%Y-%m-%dT%H:%M:%SZ'",
            ExportKind::Arrow => {
                let (schema, batches) = fetch(&self.conn, &select)
                    .map_err(|error| StoreError::engine(format!("read {name}"), &error))?;
                let file =
                    File::create(path).map_err(|e| StoreError::io(target, "write it", &e))?;
                let mut writer = FileWriter::try_new_buffered(file, &schema)
                    .map_err(|e| failed(e.to_string()))?;
                let mut rows = 0;
                for batch in &batches {
                    writer.write(batch).map_err(|e| failed(e.to_string()))?;
                    rows += batch.num_rows() as u64;
                }
                writer
                    .finish()
                    .and_then(|()| writer.flush())
                    .map_err(|e| failed(e.to_string()))?;
                return Ok(rows);
            }
        };
        let sql = format!("COPY ({select}) TO {} ({options})", literal(path)?);
        let rows = self
            .conn
            .execute(&sql, [])
            .map_err(|error| failed(disk_reason(&message_of(&error))))?;
        Ok(rows as u64)
    }

    /// A table's columns for a file that a spreadsheet opens: text it would run as a formula is
    /// guarded, as [`crate::quantity::text::guarded`] does.
    fn guarded_columns(&self, name: &str) -> Result<String, StoreError> {
        let failed = |error| StoreError::engine(format!("read {name}"), &error);
        let sql =
            format!("SELECT column_name FROM (DESCRIBE {name}) WHERE column_type = 'VARCHAR'");
        let mut statement = self.conn.prepare(&sql).map_err(failed)?;
        let columns = statement
            .query_map([], |row| row.get::<_, String>(0))
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(failed)?;
        if columns.is_empty() {
            return Ok("*".to_owned());
        }
        let replaced: Vec<String> = columns
            .iter()
            .map(|column| {
                let column = format!("\"{column}\"");
                format!("{} AS {column}", guarded_sql(&column))
            })
            .collect();
        Ok(format!("* REPLACE ({})", replaced.join(", ")))
    }

    /// Keeps every table in a DuckDB file.
    ///
    /// Errors: [`StoreError::NotAStore`] where the file is something else.
    pub(crate) fn keep(&mut self, file: &Path) -> Result<(), StoreError> {
        let folder = match file.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let beside = TempDir::with_prefix_in(".wearbook-", folder)
            .map_err(|e| StoreError::io(file, "write it", &e))?;
        if file.exists() && !self.is_store(file)? {
            return Err(StoreError::NotAStore(file.to_path_buf()));
        }
        self.make_all()?;
        let path = beside.path().join("store.duckdb");
        self.conn
            .execute_batch(&format!(
                "ATTACH {} AS kept;
                 COPY FROM DATABASE memory TO kept;
                 DETACH kept;",
                literal(&path)?
            ))
            .map_err(|error| StoreError::Io {
                path: file.to_path_buf(),
                doing: "write it",
                reason: disk_reason(&message_of(&error)),
            })?;
        sync(&path)?;
        fs::rename(&path, file).map_err(|e| StoreError::io(file, "put it in place", &e))?;
        sync(folder)
    }

    fn is_store(&self, file: &Path) -> Result<bool, StoreError> {
        let ours = self.conn.execute_batch(&format!(
            "ATTACH {} AS known (READ_ONLY);
             SELECT head FROM known.raw.book_files LIMIT 0;",
            literal(file)?
        ));
        // Not attached at all if that was what failed.
        let _ = self.conn.execute_batch("DETACH known");
        Ok(ours.is_ok())
    }
}

/// [`crate::quantity::text::guarded`] in SQL, of a text expression.
fn guarded_sql(text: &str) -> String {
    let starts: String = FORMULA_STARTS
        .iter()
        .map(|start| match start {
            '-' => "\\-".to_owned(),
            other => other.to_string(),
        })
        .collect();
    format!(
        "CASE WHEN regexp_matches({text}, '^''*[{starts}]') \
              AND NOT regexp_full_match({text}, '[+-]([0-9]+(\\.[0-9]+)?([eE][+-]?[0-9]+)?|inf)') \
         THEN concat('''', {text}) ELSE {text} END"
    )
}

/// A path as an SQL literal.
fn literal(path: &Path) -> Result<String, StoreError> {
    let text = path.to_str().ok_or_else(|| StoreError::Io {
        path: path.to_path_buf(),
        doing: "write it",
        reason: "the path is not UTF-8 text".to_owned(),
    })?;
    Ok(format!("'{}'", text.replace('\'', "''")))
}

/// Makes sure that a file or folder is on the disk. Folders cannot be opened on every
/// system, and need not be there.
fn sync(path: &Path) -> Result<(), StoreError> {
    if path.is_dir() {
        if let Ok(folder) = File::open(path) {
            let _ = folder.sync_all();
        }
        return Ok(());
    }
    File::open(path)
        .and_then(|file| file.sync_all())
        .map_err(|e| StoreError::io(path, "sync it to disk", &e))
}

#[cfg(test)]
mod tests {
    use super::guarded_sql;
    use crate::quantity::text::guarded;
    use duckdb::Connection;
    use proptest::prelude::*;
    use proptest::test_runner::TestRunner;
    use std::cell::RefCell;

    #[test]
    fn the_database_guards_what_we_guard() {
        let conn = Connection::open_in_memory().unwrap();
        let sql = format!("SELECT {} FROM (SELECT $1::VARCHAR AS t)", guarded_sql("t"));
        let statement = RefCell::new(conn.prepare(&sql).unwrap());
        let cells = "['=+@\t\r\n＝＋－＠\\\\^0-9a-f.\u{20ac}-]{0,7}|[+-](inf|[0-9.e+-]{1,7})";
        let told = TestRunner::deterministic().run(&cells, |text| {
            let found: String = statement
                .borrow_mut()
                .query_row([&text], |row| row.get(0))
                .unwrap();
            prop_assert_eq!(found, guarded(&text));
            Ok(())
        });
        told.unwrap();
    }
}
