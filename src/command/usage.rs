//! A command line that cannot be understood, told in the layout of every other error.
//!
//! In: what the library for command lines has to say. Out: [`CommandError`].
//! Never: judging what was asked for.

use clap::CommandFactory;

use super::{Cli, CommandError, Fault};
use crate::quantity::trouble::Trouble;

/// The library's words, sorted into what is wrong, what it is about, and how to mend it.
/// `words` is the command line.
pub(super) fn wrong_use(
    error: &clap::Error,
    words: impl IntoIterator<Item = String>,
) -> CommandError {
    let text = error.render().to_string();
    let mut lines = text.lines();
    let first = lines.next().unwrap_or_default();
    let what = first.strip_prefix("error: ").unwrap_or(first);
    let mut trouble = Trouble::error("wrong-use", what.trim_end_matches(':'));
    for line in lines.map(str::trim).filter(|line| !line.is_empty()) {
        if let Some(values) = inner(line, "[possible values: ", "]") {
            trouble = trouble.cured_by(format!("one of: {values}"));
        } else if let Some(tip) = line.strip_prefix("tip: ") {
            trouble = trouble.cured_by(tip);
        } else if let Some(usage) = line.strip_prefix("Usage: ") {
            trouble = trouble.cured_by(format!("use: {usage}"));
        } else if !line.starts_with("For more information") {
            trouble = trouble.because(line);
        }
    }
    CommandError::new(
        Fault::Use,
        trouble.cured_by(format!("see: {} --help", named(words))),
    )
}

/// The command that was meant: "wearbook record reading".
fn named(words: impl IntoIterator<Item = String>) -> String {
    let mut name = "wearbook".to_owned();
    let mut at = Cli::command();
    for word in words.into_iter().skip(1) {
        if let Some(found) = at.find_subcommand(&word) {
            name = format!("{name} {word}");
            at = found.clone();
        }
    }
    name
}

fn inner<'a>(text: &'a str, before: &str, after: &str) -> Option<&'a str> {
    text.strip_prefix(before)?.strip_suffix(after)
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    fn told(args: &[&str]) -> Trouble {
        let error = Cli::try_parse_from(args).expect_err("wrong use");
        let mut troubles = wrong_use(&error, args.iter().map(|word| (*word).to_owned())).troubles;
        troubles.pop().expect("a trouble")
    }

    #[test]
    fn the_librarys_words_take_our_layout() {
        let trouble = told(&["wearbook", "fit", "--model", "weibul"]);
        assert_eq!(trouble.what, "invalid value 'weibul' for '--model <NAME>'");
        assert!(trouble.cure[0].starts_with("one of: "), "{trouble:?}");
        assert_eq!(
            trouble.cure.last().map(String::as_str),
            Some("see: wearbook fit --help")
        );
        let trouble = told(&["wearbook", "chek"]);
        assert_eq!(trouble.what, "unrecognized subcommand 'chek'");
        assert_eq!(
            trouble.cure.last().map(String::as_str),
            Some("see: wearbook --help")
        );
        let trouble = told(&["wearbook", "withdraw"]);
        assert_eq!(
            trouble.what,
            "the following required arguments were not provided"
        );
        assert_eq!(trouble.evidence, ["--why <TEXT>", "<SHA>"]);
        assert_eq!(
            trouble.cure.last().map(String::as_str),
            Some("see: wearbook withdraw --help")
        );
    }
}
