//! Pages that show commands are kept true: every command in them is run, and answers as the
//! page says.
//!
//! In a block marked `console`, a line that begins with `$ ` is a command (one that ends with
//! `\` goes on in the next line), and what follows is its answer: stdout, then stderr. A line
//! `…` stands for any lines, a `…` in a line for any text. With `WEARBOOK_BLESS=1` answers that
//! are no longer true are written anew, cut where they were cut before.

use std::collections::HashSet;
use std::path::Path;
use std::process::Command;

use sha2::{Digest, Sha256};

/// What stands for whatever there is.
const ANY: &str = "…";

/// A command of a page and what it answers there.
pub struct Step {
    pub command: String,
    pub answer: Vec<String>,
    /// The line of the page on which the answer begins, from 0.
    first: usize,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn text_of(page: &str) -> String {
    std::fs::read_to_string(root().join(page)).unwrap_or_else(|error| panic!("{page}: {error}"))
}

/// Commands and their answers, in the order of the page; of blocks with this mark.
pub fn steps(page: &str, mark: &str) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let mut inside = false;
    let mut unfinished = false;
    for (n, line) in text_of(page).lines().enumerate() {
        if let Some(info) = line.strip_prefix("```") {
            inside = !inside && info == mark;
        } else if inside && unfinished {
            let step = steps.last_mut().expect("a command");
            step.command.push('\n');
            step.command.push_str(line);
            step.first = n + 1;
            unfinished = line.ends_with('\\');
        } else if inside && let Some(command) = line.strip_prefix("$ ") {
            unfinished = command.ends_with('\\');
            steps.push(Step {
                command: command.to_owned(),
                answer: Vec::new(),
                first: n + 1,
            });
        } else if inside {
            let step = steps.last_mut();
            let step = step.unwrap_or_else(|| panic!("{page}:{}: no command before it", n + 1));
            step.answer.push(line.to_owned());
        }
    }
    assert!(!steps.is_empty(), "{page} shows no command");
    steps
}

/// Runs a command of a page as its reader would, in the folder, with an empty environment: what
/// it says, and its exit code.
pub fn answer(folder: &Path, command: &str) -> (String, i32) {
    let binary = Path::new(env!("CARGO_BIN_EXE_wearbook"));
    let own = binary.parent().expect("the binary's folder").display();
    let output = Command::new("sh")
        .args(["-c", command])
        .env_clear()
        .env("PATH", format!("{own}:/usr/local/bin:/usr/bin:/bin"))
        .current_dir(folder)
        .output()
        .expect("a shell");
    let mut text = String::from_utf8(output.stdout).expect("text");
    text.push_str(&String::from_utf8(output.stderr).expect("text"));
    assert!(!text.contains("panicked"), "$ {command}\n{text}");
    (text, output.status.code().expect("exit code"))
}

/// Runs a page's commands in the folder and holds the answers to the page.
pub fn hold(page: &str, mark: &str, folder: &Path) {
    let bless = std::env::var_os("WEARBOOK_BLESS").is_some();
    let mut lines: Vec<String> = text_of(page).lines().map(str::to_owned).collect();
    let mut untrue = Vec::new();
    let mut known = None;
    let mut grown = 0isize;
    for step in steps(page, mark) {
        let (text, code) = answer(folder, &step.command);
        let found: Vec<&str> = text.lines().map(str::trim_end).collect();
        let said = |line: &str| line.starts_with("error:");
        assert!(
            code <= 1 || step.answer.iter().any(|line| said(line)),
            "{page}:{}: exit code {code}\n$ {}\n{text}",
            step.first,
            step.command
        );
        if fits(&step.answer, &found) {
            continue;
        }
        if bless {
            let known = known.get_or_insert_with(names_of_the_sample);
            let found: Vec<String> = found.iter().map(|line| masked(line, known)).collect();
            let new = cut_as_before(&step.answer, &found);
            let first = step.first.strict_add_signed(grown);
            grown += new.len() as isize - step.answer.len() as isize;
            lines.splice(first..first + step.answer.len(), new);
        }
        untrue.push(format!(
            "{page}:{}: $ {}\n--- the page says\n{}\n--- found\n{text}",
            step.first,
            step.command,
            step.answer.join("\n")
        ));
    }
    if bless && !untrue.is_empty() {
        std::fs::write(root().join(page), lines.join("\n") + "\n").expect("page");
        return;
    }
    assert!(
        untrue.is_empty(),
        "{}\n\nWEARBOOK_BLESS=1 writes the answers into the page",
        untrue.join("\n")
    );
}

/// Whether a line is as the page has it.
fn same(expected: &str, found: &str) -> bool {
    let mut rest = found;
    for (n, part) in expected.split(ANY).enumerate() {
        let Some(at) = rest.find(part) else {
            return false;
        };
        if n == 0 && at > 0 {
            return false;
        }
        rest = &rest[at + part.len()..];
    }
    rest.is_empty() || expected.ends_with(ANY)
}

/// Whether lines are as the page has them.
fn fits(expected: &[String], found: &[&str]) -> bool {
    match expected.split_first() {
        None => found.is_empty(),
        Some((first, rest)) if first == ANY => {
            (0..=found.len()).any(|skipped| fits(rest, &found[skipped..]))
        }
        Some((first, rest)) => {
            found.first().is_some_and(|line| same(first, line)) && fits(rest, &found[1..])
        }
    }
}

/// The stretches of an answer that were shown, found again as nearly as can be in a new one.
fn cut_as_before(before: &[String], found: &[String]) -> Vec<String> {
    if before.is_empty() {
        return found.to_vec();
    }
    let stretches: Vec<&[String]> = before.split(|line| line == ANY).collect();
    let last = stretches.len() - 1;
    let mut new = Vec::new();
    let mut at = 0;
    for (n, stretch) in stretches.iter().enumerate() {
        if n > 0 {
            new.push(ANY.to_owned());
        }
        let Some(head) = stretch.first() else {
            continue;
        };
        if n > 0 {
            let like = |line: &String| strsim::normalized_levenshtein(head, line);
            let place = (at..found.len()).rev().max_by(|a, b| {
                let (a, b) = (like(&found[*a]), like(&found[*b]));
                a.total_cmp(&b)
            });
            at = place.unwrap_or(found.len());
        }
        let to = match n == last {
            true => found.len(),
            false => (at + stretch.len()).min(found.len()),
        };
        new.extend_from_slice(&found[at..to]);
        at = to;
    }
    new
}

/// The first 12 digits of every line's own SHA-256 in the sample ledger.
fn names_of_the_sample() -> HashSet<String> {
    let mut names = HashSet::new();
    for book in ["line", "workshop"] {
        let text = text_of(&format!("sample-ledger/books/{book}.jsonl"));
        for line in text.lines() {
            let digest = Sha256::digest(line.as_bytes());
            names.insert(digest[..6].iter().map(|b| format!("{b:02x}")).collect());
        }
    }
    names
}

/// A line without what another run would say otherwise: names of entries made in it, and today.
fn masked(line: &str, known: &HashSet<String>) -> String {
    let today = chrono::Utc::now().format("%Y-%m-%d").to_string();
    let mut new = String::new();
    for word in line.split_inclusive(' ') {
        let bare = word.trim_end_matches([' ', ',', '.', ')']);
        let name = bare.len() == 12 && bare.bytes().all(|b| b.is_ascii_hexdigit());
        if bare == today || (name && !known.contains(bare)) {
            new.push_str(ANY);
            new.push_str(&word[bare.len()..]);
        } else {
            new.push_str(word);
        }
    }
    new
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(lines: &[&str]) -> Vec<String> {
        lines.iter().map(|line| (*line).to_owned()).collect()
    }

    #[test]
    fn the_reader_of_answers_reads() {
        assert!(fits(
            &text(&["a", "…", "d…f", "…"]),
            &["a", "b", "c", "d e f"]
        ));
        assert!(!fits(&text(&["a", "b"]), &["a", "b", "c"]));
        assert!(!fits(&text(&["…b"]), &["abc"]));
        assert!(!fits(&text(&["b…"]), &["abc"]));
    }

    #[test]
    fn an_answer_is_cut_where_it_was_cut_before() {
        let before = text(&["head 1", "…", "row 3 sum", "…"]);
        let found = text(&["head 2", "row 1", "row 2", "row 4 sum", "end"]);
        let new = cut_as_before(&before, &found);
        assert_eq!(new, text(&["head 2", "…", "row 4 sum", "…"]));
        assert_eq!(cut_as_before(&[], &found), found);
        let open = cut_as_before(&text(&["head 1", "…", "row 3 sum"]), &found);
        assert_eq!(open, text(&["head 2", "…", "row 4 sum", "end"]));
    }

    #[test]
    fn what_differs_from_run_to_run_is_masked() {
        let known = HashSet::from(["0123456789ab".to_owned()]);
        let line = "0123456789ab ba9876543210 done (deadbeef0000)";
        assert_eq!(
            masked(line, &known),
            "0123456789ab … done (deadbeef0000)",
            "only what stands by itself"
        );
    }
}
