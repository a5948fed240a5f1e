//! A command run again as a child of this program, so that its end is not ours.
//!
//! In: the memory the child may have. Out: what it came out with, or that it broke off.
//! Never: what the command does.
//!
//! A database can bound what it counts, not all it takes: one text of some gigabytes is made
//! outside its limit, and the system then ends the process. The child is bounded as a whole
//! (where the system can do so), and its end is told in words.

use std::ffi::OsStr;
use std::io::{self, Write};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Tells the child that it is one, and how much memory it may have.
const MARK: &str = "WEARBOOK_CHILD_MEMORY";

/// Where the work is done.
pub(super) enum Apart {
    /// Here: this is the child, or none could be made.
    Here,
    /// It was done: the child's exit code. What it said was handed on.
    Done(u8),
    /// The child broke off.
    BrokeOff,
}

/// Runs this very command line as a child that may take `bytes` of memory for its data.
pub(super) fn apart(bytes: u64) -> io::Result<Apart> {
    if let Some(mark) = std::env::var_os(MARK) {
        bound(&mark);
        return Ok(Apart::Here);
    }
    let Ok(program) = std::env::current_exe() else {
        return Ok(Apart::Here);
    };
    let child = Command::new(program)
        .args(std::env::args_os().skip(1))
        .env(MARK, bytes.to_string())
        .stderr(Stdio::piped())
        .spawn();
    let Ok(child) = child else {
        return Ok(Apart::Here);
    };
    let output = child.wait_with_output()?;
    match output.status.code() {
        // The exit codes of `Outcome` and `Fault`; all else is a crash.
        Some(code @ 0..=5) => {
            // Words that cannot be told are not worth failing for.
            let _ = io::stderr().lock().write_all(&output.stderr);
            Ok(Apart::Done(code as u8))
        }
        _ => Ok(Apart::BrokeOff),
    }
}

/// Ends the child when its time is over, until it is dropped. Elsewhere it does nothing.
pub(super) struct Watch(Arc<AtomicBool>);

impl Watch {
    pub(super) fn begin(time: Duration) -> Watch {
        let done = Arc::new(AtomicBool::new(false));
        if std::env::var_os(MARK).is_some() {
            let done = done.clone();
            std::thread::spawn(move || {
                std::thread::sleep(time);
                if !done.load(Ordering::Relaxed) {
                    std::process::abort();
                }
            });
        }
        Watch(done)
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

#[cfg(target_os = "linux")]
fn bound(mark: &OsStr) {
    use rustix::process::{Resource, Rlimit, Signal, set_parent_process_death_signal, setrlimit};
    // Whoever ends the program ends its child.
    let _ = set_parent_process_death_signal(Some(Signal::KILL));
    let Some(bytes) = mark.to_str().and_then(|text| text.parse::<u64>().ok()) else {
        return;
    };
    let limit = Rlimit {
        current: Some(bytes),
        maximum: Some(bytes),
    };
    // Where it may not be set, a lower one is set already.
    let _ = setrlimit(Resource::Data, limit);
}

/// Elsewhere the bound is the machine's memory.
#[cfg(not(target_os = "linux"))]
fn bound(_: &OsStr) {}
