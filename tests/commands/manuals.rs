//! Completion scripts and manual pages: every command is in them, and the tools that read them
//! have nothing to say against them.

use std::path::Path;
use std::process::{Command, Output};

use clap::CommandFactory;

use super::wearbook;

/// All commands, as the help has them.
fn commands() -> Vec<String> {
    let whole = wearbook::command::Cli::command();
    whole
        .get_subcommands()
        .map(|command| command.get_name().to_owned())
        .collect()
}

/// Runs a tool on a file; none where the tool is missing, told aloud.
fn tool(name: &str, args: &[&str], file: &Path) -> Option<Output> {
    match Command::new(name).args(args).arg(file).output() {
        Ok(output) => Some(output),
        Err(error) => {
            eprintln!("SKIPPED: {name}: {error}");
            None
        }
    }
}

#[test]
fn every_shells_script_names_every_command_and_pleases_its_shell() {
    let room = tempfile::tempdir().unwrap();
    for (shell, check, offers_values) in [
        ("bash", Some("-n"), true),
        ("zsh", Some("-n"), true),
        ("fish", Some("--no-execute"), true),
        ("elvish", None, false),
        ("powershell", None, false),
    ] {
        let output = wearbook(&["completions", shell]).output().unwrap();
        assert!(output.status.success() && output.stderr.is_empty());
        let script = String::from_utf8(output.stdout).unwrap();
        for command in commands() {
            assert!(script.contains(&command), "{shell}: {command}");
        }
        for word in ["as-of", "why", "replaced"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
        assert!(script.contains("changed-type") || !offers_values, "{shell}");
        if let Some(check) = check {
            let file = room.path().join(shell);
            std::fs::write(&file, &script).unwrap();
            if let Some(said) = tool(shell, &[check], &file) {
                assert!(said.status.success(), "{shell}: {said:?}");
                assert!(said.stderr.is_empty(), "{shell}: {said:?}");
            }
        }
    }
    let output = wearbook(&["completions", "abacus"]).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
}

/// What bash would offer after these words.
fn offered(script: &Path, words: &[&str]) -> Option<String> {
    let list = words.join(" ");
    let last = words.len() - 1;
    let ask = format!(
        "source {}; COMP_WORDS=({list}); COMP_CWORD={last}; \
         _wearbook wearbook {} {}; echo \"${{COMPREPLY[@]}}\"",
        script.display(),
        words[last],
        words[last - 1],
    );
    match Command::new("bash").args(["-c", &ask]).output() {
        Ok(output) => Some(String::from_utf8(output.stdout).unwrap()),
        Err(error) => {
            eprintln!("SKIPPED: bash: {error}");
            None
        }
    }
}

#[test]
fn bash_completes_commands_kinds_flags_and_values() {
    let room = tempfile::tempdir().unwrap();
    let file = room.path().join("wearbook");
    let script = wearbook(&["completions", "bash"]).output().unwrap().stdout;
    std::fs::write(&file, script).unwrap();
    for (words, wanted) in [
        (&["wearbook", "int"][..], "interval"),
        (&["wearbook", "record", "insp"], "inspected"),
        (&["wearbook", "interval", "--gro"], "--grouped"),
        (&["wearbook", "fit", "--model", "logn"], "lognormal"),
        (
            &["wearbook", "record", "replaced", "--reason", "opp"],
            "opportunity",
        ),
    ] {
        if let Some(offer) = offered(&file, words) {
            assert_eq!(offer.trim(), wanted, "{words:?}");
        }
    }
}

#[test]
fn there_is_a_manual_page_for_every_command_and_it_renders() {
    let room = tempfile::tempdir().unwrap();
    let folder = room.path().join("share/man1");
    let out = folder.to_str().unwrap();
    let output = wearbook(&["man", "--out", out]).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let said = String::from_utf8(output.stdout).unwrap();
    let mut pages = vec!["wearbook".to_owned(), "wearbook-record-replaced".to_owned()];
    pages.extend(
        commands()
            .iter()
            .map(|command| format!("wearbook-{command}")),
    );
    for page in &pages {
        let text = std::fs::read_to_string(folder.join(format!("{page}.1"))).unwrap();
        assert!(text.contains(".SH SYNOPSIS"), "{page}");
    }
    let mut files = 0;
    for item in std::fs::read_dir(&folder).unwrap() {
        files += 1;
        let path = item.unwrap().path();
        // Warnings on, as maintainers of distributions look at pages.
        let args = ["-Kutf8", "-man", "-Tutf8", "-ww", "-z"];
        if let Some(said) = tool("groff", &args, &path) {
            let warnings = String::from_utf8_lossy(&said.stderr).into_owned();
            assert!(said.status.success(), "{warnings}");
            assert_eq!(warnings, "", "{}", path.display());
        }
    }
    assert!(said.starts_with(&format!("{files} pages in ")), "{said}");
    // Written again, they are the same.
    let before = std::fs::read(folder.join("wearbook-fit.1")).unwrap();
    wearbook(&["man", "--out", out]).assert().success();
    assert_eq!(
        before,
        std::fs::read(folder.join("wearbook-fit.1")).unwrap()
    );
}
