//! A bar on a terminal for what takes longer than a moment.
//!
//! In: how much is done, of how much; or which step is under way. Out: a line on stderr that
//! goes again.
//! Never: anywhere but on a terminal, before 250 ms, or when quiet.

use std::io::{IsTerminal, stderr};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::{JoinHandle, spawn};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::Ui;

/// Work that takes no longer shows nothing.
const AFTER: Duration = Duration::from_millis(250);

/// The bar, once there is one.
pub(super) struct Progress {
    began: Instant,
    wanted: bool,
    bar: Option<ProgressBar>,
}

impl Progress {
    pub(super) fn new(ui: &Ui) -> Progress {
        Progress {
            began: Instant::now(),
            wanted: !ui.quiet() && stderr().is_terminal(),
            bar: None,
        }
    }

    /// Shows what is under way, and how much of it is done.
    pub(super) fn at(&mut self, what: &'static str, done: u64, of: u64) {
        if !self.wanted || self.began.elapsed() < AFTER {
            return;
        }
        let bar = self.bar.get_or_insert_with(|| {
            let bar = ProgressBar::with_draw_target(Some(of), ProgressDrawTarget::stderr());
            let style = ProgressStyle::with_template("{msg} {bar:40} {percent:>3} %");
            match style {
                Ok(style) => bar.with_style(style),
                Err(_) => bar,
            }
        });
        if bar.message() != what {
            bar.set_message(what);
        }
        bar.set_length(of);
        bar.set_position(done);
    }

    /// Takes the bar away.
    pub(super) fn end(&mut self) {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.end();
    }
}

/// The step that is under way, where a command takes several whose length nobody knows.
pub(super) struct Steps {
    bar: ProgressBar,
    /// Shows the bar when it is time; ends when the sender goes.
    shown: Option<(Sender<()>, JoinHandle<()>)>,
}

/// How often the sign that work goes on moves.
const TICK: Duration = Duration::from_millis(120);

impl Steps {
    pub(super) fn new(ui: &Ui) -> Steps {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        let wanted = !ui.quiet() && stderr().is_terminal();
        let shown = wanted.then(|| {
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
                bar.set_style(style);
            }
            let (sender, ended) = channel();
            let bar = bar.clone();
            let waiter = spawn(move || {
                if ended.recv_timeout(AFTER) == Err(RecvTimeoutError::Timeout) {
                    bar.set_draw_target(ProgressDrawTarget::stderr());
                    bar.enable_steady_tick(TICK);
                }
            });
            (sender, waiter)
        });
        Steps { bar, shown }
    }

    /// Says which step is under way. May be called from any thread.
    pub(super) fn at(&self, what: impl Into<String>) {
        let what: String = what.into();
        if self.shown.is_some() {
            self.bar.set_message(what);
        }
    }

    /// Lets something else be written to the terminal, with the step out of the way.
    pub(super) fn aside(&self, write: impl FnOnce()) {
        self.bar.suspend(write);
    }

    /// One of several like things is done.
    pub(super) fn done_of(&self, what: &str, done: usize, of: usize) {
        self.at(format!("{what}: {done} of {of}"));
    }
}

impl Drop for Steps {
    fn drop(&mut self) {
        if let Some((sender, waiter)) = self.shown.take() {
            drop(sender);
            // A thread that panicked has shown nothing; there is nothing to take away.
            let _ = waiter.join();
            self.bar.finish_and_clear();
        }
    }
}
