//! How much a question may take: memory, threads, time.
//!
//! In: [`Bounds`]. Out: a connection that keeps them; a watch that ends what takes too long.
//! Never: a file on disk where memory is bounded.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use duckdb::{Config, Connection};
use tempfile::TempDir;

use super::error::StoreError;
use crate::quantity::size::parse_size;

/// What the tables and a question about them may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Bounds {
    /// Bytes; never more than four fifths of the machine's memory. With a bound nothing is put
    /// on disk, and an answer may take a quarter of it. Without one, four fifths of the machine's
    /// memory, and what does not fit goes to a temporary folder.
    pub memory: Option<u64>,
    /// Threads that work at once; without a bound, one a core.
    pub threads: Option<u16>,
    /// How long a question may take; without a bound, as long as it needs.
    pub time: Option<Duration>,
}

/// A connection that keeps its bounds.
pub(super) struct Bounded {
    pub conn: Connection,
    /// Bytes the database may take, where that is bounded.
    pub memory: Option<u64>,
    /// Where it may put what does not fit into memory; gone with the connection.
    pub spill: Option<TempDir>,
}

/// Opens an empty database in memory.
pub(super) fn connect(bounds: &Bounds) -> Result<Bounded, StoreError> {
    let failed = |error| StoreError::engine("start", &error);
    let mut config = Config::default()
        .enable_autoload_extension(false)
        .map_err(failed)?;
    if let Some(threads) = bounds.threads {
        config = config.threads(i64::from(threads)).map_err(failed)?;
    }
    let conn = Connection::open_in_memory_with_flags(config).map_err(failed)?;
    let set = |sql: String| conn.execute_batch(&sql).map_err(failed);
    let mut memory = None;
    // Left to itself, it would put them into the present folder.
    let mut spill = None;
    match bounds.memory {
        Some(bytes) => {
            let most: String = conn
                .query_row("SELECT current_setting('memory_limit')", [], |row| {
                    row.get(0)
                })
                .map_err(failed)?;
            let bytes = parse_size(&most).map_or(bytes, |most| bytes.min(most));
            set(format!("SET memory_limit = '{bytes}B'"))?;
            set("SET temp_directory = ''".to_owned())?;
            memory = Some(bytes);
        }
        None => {
            spill = TempDir::with_prefix("wearbook-").ok();
            let folder = spill.as_ref().and_then(|folder| folder.path().to_str());
            let folder = folder.unwrap_or_default().replace('\'', "''");
            set(format!("SET temp_directory = '{folder}'"))?;
        }
    }
    Ok(Bounded {
        conn,
        memory,
        spill,
    })
}

/// Runs a piece of work on a connection and interrupts it once its time is over.
///
/// Returns what came of it, and whether its time was over. `work` sees the flag, for what it does
/// outside the database.
pub(super) fn within<T>(
    conn: &Connection,
    time: Option<Duration>,
    work: impl FnOnce(&AtomicBool) -> T,
) -> (T, bool) {
    let over = AtomicBool::new(false);
    let Some(time) = time else {
        return (work(&over), false);
    };
    let interrupt = conn.interrupt_handle();
    let found = std::thread::scope(|scope| {
        let (done, wait) = mpsc::channel::<()>();
        let over = &over;
        scope.spawn(move || {
            let mut pause = time;
            // An interrupt that comes before the work has begun is forgotten: say it again.
            while wait.recv_timeout(pause) == Err(mpsc::RecvTimeoutError::Timeout) {
                over.store(true, Ordering::Relaxed);
                interrupt.interrupt();
                pause = Duration::from_millis(20);
            }
        });
        let found = work(over);
        drop(done);
        found
    });
    (found, over.load(Ordering::Relaxed))
}
