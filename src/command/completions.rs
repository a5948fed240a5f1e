//! `completions`: what a shell needs to complete commands and flags.

use clap::CommandFactory;
use clap_complete::Shell;

use super::{Cli, CommandError, Outcome, Ui};

/// Print the completion script of a shell
///
/// With it the Tab key completes commands, kinds, flags and their values. Put it where the shell
/// looks for it, and open a new shell:
///
///   bash        wearbook completions bash > ~/.local/share/bash-completion/completions/wearbook
///
///   zsh         wearbook completions zsh > FOLDER/_wearbook (FOLDER: one that $fpath names)
///
///   fish        wearbook completions fish > ~/.config/fish/completions/wearbook.fish
///
///   elvish      wearbook completions elvish >> ~/.config/elvish/rc.elv
///
///   powershell  wearbook completions powershell >> $PROFILE
///
/// A new version of wearbook may bring new flags: print it again then.
#[derive(Debug, clap::Args)]
pub struct CompletionsArgs {
    /// Shell the script is for
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

pub fn run(args: &CompletionsArgs, ui: &mut Ui) -> Result<Outcome, CommandError> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "wearbook", &mut script);
    ui.result(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Done)
}
