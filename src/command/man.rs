//! `man`: the help as manual pages.

use std::path::PathBuf;

use clap::{Command, CommandFactory};
use clap_mangen::Man;

use super::{Cli, CommandError, Outcome, Ui, beside};

/// Write the help as manual pages for `man`
///
/// One page for the whole and one a command, such as `man wearbook` and `man wearbook-fit`. In
/// ~/.local/share/man/man1 they are found by most systems at once; for all users, the place is
/// /usr/local/share/man/man1. To read one where it lies: man -l FOLDER/wearbook.1
#[derive(Debug, clap::Args)]
pub struct ManArgs {
    /// Folder to write to; made as needed. Pages of the same names are replaced
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
}

pub fn run(args: &ManArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let folder = &args.out;
    let refused = |cannot: beside::Cannot| {
        cannot.told(|trouble| trouble.cured_by("give a folder that can be written with --out"))
    };
    beside::prove_writable(folder).map_err(refused)?;
    // The pages stand for `help COMMAND`; there is none about help itself.
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let mut pages = Vec::new();
    lay_out(&whole, &mut pages)?;
    beside::write_all(
        folder,
        pages
            .iter()
            .map(|(name, page)| (name.as_str(), page.as_str())),
    )
    .map_err(refused)?;
    ui.result(&format!("{} pages in {}", pages.len(), folder.display()))?;
    Ok(Outcome::Done)
}

/// The pages (name, text) of a command and of all below it.
fn lay_out(command: &Command, pages: &mut Vec<(String, String)>) -> Result<(), CommandError> {
    let source = format!("wearbook {}", env!("CARGO_PKG_VERSION"));
    let man = Man::new(command.clone()).source(source);
    let mut page = Vec::new();
    man.render(&mut page)?;
    pages.push((
        man.get_filename(),
        String::from_utf8_lossy(&page).into_owned(),
    ));
    for below in command.get_subcommands().filter(|c| !c.is_hide_set()) {
        lay_out(below, pages)?;
    }
    Ok(())
}
