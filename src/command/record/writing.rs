//! Where, by whom and how patiently something is written: flags that commands share.

use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::book::{Appender, Patience};
use crate::command::{CommandError, Ui};

/// Where and by whom something is written.
// Places of their own keep these flags together, after those of each command and kind.
#[derive(Debug, clap::Args)]
pub struct Writing {
    /// Ledger folder
    #[arg(
        long,
        global = true,
        value_name = "FOLDER",
        default_value = ".",
        display_order = 500
    )]
    ledger: PathBuf,
    #[command(flatten)]
    hand: Hand,
    /// Check only, and write nothing
    #[arg(long, global = true, display_order = 504)]
    pub dry_run: bool,
}

/// By whom, in which book, and how patiently something is written.
#[derive(Debug, clap::Args)]
pub struct Hand {
    /// Book to write in; made if it is new (default: the user's name, else main)
    #[arg(long, global = true, value_name = "NAME", display_order = 501)]
    book: Option<String>,
    /// Who records (default: the user's name)
    #[arg(long, global = true, value_name = "NAME", display_order = 502)]
    who: Option<String>,
    /// How long to wait while another program records in the ledger
    #[arg(
        long,
        global = true,
        value_name = "SECONDS",
        default_value_t = 60,
        display_order = 503
    )]
    wait: u32,
}

impl Hand {
    fn user() -> Option<String> {
        ["USER", "LOGNAME", "USERNAME"]
            .iter()
            .filter_map(|name| std::env::var(name).ok())
            .map(|name| name.trim().to_owned())
            .find(|name| !name.is_empty())
    }

    /// Who records, if that is known.
    pub fn who_if(&self) -> Option<String> {
        let given = self.who.as_ref().map(|who| who.trim().to_owned());
        given.filter(|who| !who.is_empty()).or_else(Self::user)
    }

    fn book(&self) -> String {
        if let Some(book) = &self.book {
            return book.clone();
        }
        let good = |c: &char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        let user = Self::user().unwrap_or_default();
        let name: String = user.chars().filter(good).collect();
        if name.starts_with(|c: char| c.is_ascii_alphanumeric()) && name.len() <= 100 {
            name
        } else {
            "main".to_owned()
        }
    }

    /// Opens the book for writing.
    pub fn open(&self, ledger: &Path, ui: &Ui) -> Result<Appender, CommandError> {
        let appender = Appender::open(ledger, &self.book())?;
        Ok(appender.with_patience(patience(self.wait, ui)))
    }

    /// The same, knowing what the ledger states already.
    pub fn open_for_import(&self, ledger: &Path, ui: &Ui) -> Result<Appender, CommandError> {
        let appender = Appender::open_for_import(ledger, &self.book())?;
        Ok(appender.with_patience(patience(self.wait, ui)))
    }
}

impl Writing {
    /// Who records, if that is known.
    pub fn who_if(&self) -> Option<String> {
        self.hand.who_if()
    }

    /// Who records, or why that is not known.
    pub fn who(&self) -> Result<String, CommandError> {
        self.who_if().ok_or_else(|| {
            CommandError::wrong_use(
                "it is not known who records",
                "name yourself with --who NAME",
            )
        })
    }

    /// The ledger's folder.
    pub fn ledger(&self) -> &Path {
        &self.ledger
    }

    /// Opens the book for writing.
    pub fn open(&self, ui: &Ui) -> Result<Appender, CommandError> {
        self.hand.open(&self.ledger, ui)
    }

    /// The same, knowing what the ledger states already.
    pub fn open_for_import(&self, ui: &Ui) -> Result<Appender, CommandError> {
        self.hand.open_for_import(&self.ledger, ui)
    }
}

/// Waits so many seconds for others that record in the ledger, and says so.
pub fn patience(seconds: u32, ui: &Ui) -> Patience {
    let quiet = ui.quiet();
    Patience {
        limit: Duration::from_secs(seconds.into()),
        told: Box::new(move || {
            Ui::new(quiet).remark("waiting for another program that records in this ledger …");
        }),
    }
}
