//! A bar on a terminal for what takes longer than a moment.
//!
//! In: how much is done, of how much. Out: a line on stderr that goes again.
//! Never: anywhere but on a terminal, before 250 ms, or when quiet.

use std::io::{IsTerminal, stderr};
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
