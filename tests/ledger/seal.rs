//! Seals: what was sealed is proved of books that only grew, and of no others.

use std::path::Path;

use proptest::prelude::*;
use wearbook::book::{
    Appender, Proof, Prover, Seal, SealFaultKind, Sha, Survey, read_chain, read_seals, seal,
};
use wearbook::view::seal::SealView;

use crate::bench::{Bench, now, reading};

/// A book of an `opened` line and so many readings.
fn grown(bench: &Bench, book: &str, from: usize, readings: usize) {
    let mut appender = Appender::open(bench.folder(), book).expect("open");
    let entries: Vec<_> = (from..from + readings)
        .map(|n| reading(n as i64, n as i32))
        .collect();
    appender.append_all(&entries, now()).expect("append");
}

fn sealed(folder: &Path, every_line: bool) -> Seal {
    seal([(folder, "")], every_line).expect("sealed").0
}

/// The proof of what was printed, read back.
fn proof(folder: &Path, printed: &str) -> Proof {
    let seals = read_seals(printed).expect("a seal");
    assert_eq!(seals.len(), 1);
    proofs(folder, seals).remove(0)
}

fn proofs(folder: &Path, seals: Vec<Seal>) -> Vec<Proof> {
    let mut prover = Prover::new("seal.txt".into(), seals);
    prover.look("", &Survey::read(folder).expect("read"));
    prover.proofs()
}

/// Kind and line of each trouble.
fn told(proof: &Proof) -> Vec<(&'static str, Option<usize>)> {
    let troubles = proof.books.iter().flat_map(|book| &book.troubles);
    troubles
        .map(|t| (t.kind, t.place.as_ref().and_then(|place| place.line)))
        .collect()
}

/// The same lines, chained anew from line `from` on: what a forger would do.
fn chained_anew(lines: &[String]) -> Vec<u8> {
    let mut text = String::new();
    let mut prev = Sha::ZERO;
    for line in lines {
        let rest = &line["{\"prev\":\"".len() + 64..];
        let line = format!("{{\"prev\":\"{prev}{rest}");
        prev = Sha::of(line.as_bytes());
        text.push_str(&line);
        text.push('\n');
    }
    text.into_bytes()
}

fn lines(bytes: &[u8]) -> Vec<String> {
    let text = String::from_utf8(bytes.to_vec()).expect("text");
    text.lines().map(str::to_owned).collect()
}

#[test]
fn a_seal_holds_while_books_only_grow() {
    let bench = Bench::new();
    grown(&bench, "main", 0, 5);
    grown(&bench, "other", 100, 2);
    let seal = sealed(bench.folder(), false);
    let lines: Vec<usize> = seal.books.iter().map(|book| book.lines).collect();
    assert_eq!(lines, [6, 3]);
    let printed = SealView::new(&seal).text();
    assert_eq!(told(&proof(bench.folder(), &printed)), []);
    grown(&bench, "main", 10, 3);
    grown(&bench, "new", 200, 1);
    let proof = proof(bench.folder(), &printed);
    assert_eq!(told(&proof), []);
    let added: Vec<usize> = proof.books.iter().map(|book| book.added).collect();
    assert_eq!((added, proof.newer), (vec![3, 0], 1));
    // Another file name is no other book.
    let books = bench.folder().join("books");
    std::fs::rename(books.join("other.jsonl"), books.join("shelf.jsonl")).expect("rename");
    let moved = self::proof(bench.folder(), &printed);
    assert_eq!(told(&moved), []);
    assert_eq!(moved.books[1].now.as_deref(), Some("books/shelf.jsonl"));
}

#[test]
fn a_book_that_is_gone_or_cut_is_named() {
    let bench = Bench::new();
    grown(&bench, "main", 0, 5);
    grown(&bench, "other", 100, 2);
    let printed = SealView::new(&sealed(bench.folder(), false)).text();
    let whole = bench.bytes();
    let kept = lines(&whole)[..4].join("\n") + "\n";
    std::fs::write(bench.book(), &kept).expect("cut");
    assert_eq!(
        told(&proof(bench.folder(), &printed)),
        [("seal-cut", Some(4))]
    );
    // A line that is torn off does not count.
    std::fs::write(bench.book(), &whole[..whole.len() - 1]).expect("tear");
    assert_eq!(
        told(&proof(bench.folder(), &printed)),
        [("seal-cut", Some(5))]
    );
    std::fs::write(bench.book(), "").expect("empty");
    assert_eq!(told(&proof(bench.folder(), &printed)), [("seal-cut", None)]);
    std::fs::remove_file(bench.book()).expect("remove");
    // Told at its row of the seal.
    assert_eq!(
        told(&proof(bench.folder(), &printed)),
        [("seal-gone", Some(3))]
    );
}

#[test]
fn another_book_under_the_name_is_not_the_one() {
    let (bench, other) = (Bench::new(), Bench::new());
    grown(&bench, "main", 0, 3);
    grown(&other, "main", 1, 9);
    let printed = SealView::new(&sealed(bench.folder(), true)).text();
    assert_eq!(
        told(&proof(other.folder(), &printed)),
        [("seal-first-line", Some(1))]
    );
}

#[test]
fn an_edit_without_a_new_chain_does_not_hold_either() {
    let bench = Bench::new();
    grown(&bench, "main", 0, 5);
    let every = SealView::new(&sealed(bench.folder(), true)).text();
    let heads = SealView::new(&sealed(bench.folder(), false)).text();
    grown(&bench, "main", 10, 2);
    let text = String::from_utf8(bench.bytes()).expect("text");
    let edit = |line: usize| {
        let mut lines = lines(text.as_bytes());
        lines[line - 1] = lines[line - 1].replace("A. Example", "B. Example");
        std::fs::write(bench.book(), lines.join("\n") + "\n").expect("edit");
    };
    edit(3);
    assert_eq!(
        told(&proof(bench.folder(), &every)),
        [("seal-changed", Some(3))]
    );
    assert_eq!(
        told(&proof(bench.folder(), &heads)),
        [("seal-chain", Some(3))]
    );
    // What lies beyond the seal does not break it, though the chain does.
    edit(7);
    assert_eq!(told(&proof(bench.folder(), &every)), []);
    assert_eq!(told(&proof(bench.folder(), &heads)), []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever is sealed, printed and read back is the same, in every layout, one after
    /// the other in one file.
    #[test]
    fn what_is_printed_is_what_is_read(
        counts in prop::collection::vec(0usize..20, 1..4),
        every_line: bool,
    ) {
        let bench = Bench::new();
        std::fs::create_dir(bench.folder().join("books")).expect("folder");
        for (n, count) in counts.iter().enumerate() {
            if *count == 0 {
                let empty = bench.folder().join(format!("books/empty {n}.jsonl"));
                std::fs::write(empty, "").expect("empty");
            } else {
                grown(&bench, &format!("book-{n}"), 100 * n, *count);
            }
        }
        let seal = sealed(bench.folder(), every_line);
        let view = SealView::new(&seal);
        let (text, json) = (view.text(), view.json().expect("json"));
        let file = format!("# noted on a Monday\n{text}\n{json}\n\n{json}{text}")
            .replace("}wearbook", "}\nwearbook");
        let read = read_seals(&file).expect("seals");
        prop_assert_eq!(read.len(), 4);
        for seal_read in &read {
            for (then, now) in seal_read.books.iter().zip(&seal.books) {
                prop_assert_eq!(&then.book, &now.book);
                prop_assert_eq!(then.lines, now.lines);
                prop_assert_eq!(&then.head, &now.head);
                prop_assert!(now.first.starts_with(&then.first));
                prop_assert_eq!(&then.names, &now.names);
            }
            prop_assert_eq!(seal_read.books.len(), seal.books.len());
        }
        for proof in proofs(bench.folder(), read) {
            prop_assert_eq!(told(&proof), []);
        }
    }

    /// One line changed and the chain written anew: no seal holds, and one with the names
    /// of all lines tells which line it was.
    #[test]
    fn a_chain_written_anew_is_found(line in 1usize..=9, grow in 0usize..4) {
        let bench = Bench::new();
        grown(&bench, "main", 0, 8);
        let every = SealView::new(&sealed(bench.folder(), true)).json().expect("json");
        let heads = SealView::new(&sealed(bench.folder(), false)).text();
        if grow > 0 {
            grown(&bench, "main", 50, grow);
        }
        let mut lines = lines(&bench.bytes());
        lines[line - 1] = lines[line - 1].replace("A. Example", "B. Example");
        let forged = chained_anew(&lines);
        prop_assert_eq!(read_chain(&forged).fault, None);
        std::fs::write(bench.book(), &forged).expect("forge");
        let first = |kind| if line == 1 { ("seal-first-line", Some(1)) } else { kind };
        prop_assert_eq!(
            told(&proof(bench.folder(), &every)),
            [first(("seal-changed", Some(line)))]
        );
        prop_assert_eq!(
            told(&proof(bench.folder(), &heads)),
            [first(("seal-changed", Some(9)))]
        );
    }

    /// A digit, a number or a row of a seal mistyped or lost never passes for a seal that
    /// holds.
    #[test]
    fn a_seal_mistyped_proves_nothing(at in 0usize..10_000, to in "[0-9a-z ]", every_line: bool) {
        let bench = Bench::new();
        grown(&bench, "main", 0, 12);
        grown(&bench, "other", 100, 3);
        let printed = SealView::new(&sealed(bench.folder(), every_line)).text();
        let mut wrong: Vec<char> = printed.chars().collect();
        let at = at % wrong.len();
        let to = to.chars().next().expect("one");
        // Words of the heading and names of files are not what is proved.
        let heading = printed.lines().nth(1).expect("heading").len() + printed.find('\n').expect("line") + 1;
        let before: String = wrong[..at].iter().collect();
        let row = before.rsplit('\n').next().expect("row").len();
        prop_assume!(at >= heading && row > "books/other.jsonl".len());
        prop_assume!(wrong[at] != to && wrong[at] != '\n' && wrong[at] != ' ' && to != ' ');
        wrong[at] = to;
        let wrong: String = wrong.into_iter().collect();
        if let Ok(seals) = read_seals(&wrong) {
            let proofs = proofs(bench.folder(), seals);
            prop_assert!(proofs.iter().any(|p| !told(p).is_empty()), "{}", wrong);
        }
    }
}

#[test]
fn rows_lost_and_seals_cut_short_are_told() {
    let bench = Bench::new();
    grown(&bench, "main", 0, 9);
    grown(&bench, "other", 100, 3);
    let printed = SealView::new(&sealed(bench.folder(), true)).text();
    let rows: Vec<&str> = printed.lines().collect();
    let fault = |text: String| read_seals(&text).expect_err("no seal").kind;
    for lost in 2..rows.len() - 1 {
        let mut kept = rows.clone();
        kept.remove(lost);
        if rows[lost].starts_with("         1  ") && !rows[lost + 1].starts_with(' ') {
            // All names of a book's lines: what is left is a seal of its head.
            let kept = kept.join("\n");
            assert_eq!(told(&proof(bench.folder(), &kept)), []);
            continue;
        }
        let kind = fault(kept.join("\n"));
        let counted = matches!(
            kind,
            SealFaultKind::Total { .. } | SealFaultKind::Names { .. } | SealFaultKind::NotALine
        );
        assert!(counted, "row {lost} lost: {kind:?}");
    }
    for cut in 1..rows.len() {
        let kind = fault(rows[..cut].join("\n"));
        assert_eq!(kind, SealFaultKind::NoTotal, "cut after row {cut}");
    }
    assert_eq!(fault(String::new()), SealFaultKind::None);
    assert_eq!(fault("# only remarks\n".into()), SealFaultKind::None);
    assert_eq!(fault("Dear auditor,\n".into()), SealFaultKind::NotALine);
    let newer = printed.replace("wearbook seal 1", "wearbook seal 2");
    assert_eq!(fault(newer), SealFaultKind::Version);
    // The last column may be left out by who writes by hand.
    let heads = SealView::new(&sealed(bench.folder(), false)).text();
    let by_hand: String = heads
        .lines()
        .map(|row| match row.rsplit_once("  ") {
            Some((rest, name)) if name.len() == 64 => format!("{rest}\n"),
            _ => format!("{row}\n"),
        })
        .collect();
    assert_ne!(by_hand, heads);
    assert_eq!(told(&proof(bench.folder(), &by_hand)), []);
}

#[test]
fn a_broken_book_is_not_sealed() {
    let bench = Bench::new();
    grown(&bench, "main", 0, 4);
    let text = String::from_utf8(bench.bytes()).expect("text");
    std::fs::write(bench.book(), text.replacen("A. Example", "B. Example", 2)).expect("edit");
    let error = seal([(bench.folder(), "")], false).expect_err("refused");
    let kinds: Vec<&str> = error.troubles().iter().map(|t| t.kind).collect();
    assert_eq!(kinds, ["chain-changed"]);
    std::fs::write(bench.book(), &text).expect("mend");
    std::fs::copy(bench.book(), bench.folder().join("books/twin.jsonl")).expect("copy");
    let error = seal([(bench.folder(), "")], false).expect_err("refused");
    let kinds: Vec<&str> = error.troubles().iter().map(|t| t.kind).collect();
    assert_eq!(kinds, ["book-copied"]);
}

/// Sealed together, a fleet is proved together, wherever its folders lie.
#[test]
fn a_fleet_is_sealed_as_one() {
    let room = Bench::new();
    std::fs::remove_file(room.folder().join("plant.toml")).expect("remove");
    for (site, first) in [("north", 0), ("south", 1)] {
        let bench = Bench::new();
        // Two that were made in the same second by the same hand would be one book.
        grown(&bench, site, first, 3 + first);
        let home = room.folder().join("fleet").join(site);
        std::fs::create_dir_all(home.join("books")).expect("folder");
        for file in ["plant.toml", &format!("books/{site}.jsonl")] {
            std::fs::copy(bench.folder().join(file), home.join(file)).expect("copy");
        }
    }
    let run = |args: &[&str]| {
        let output = room.command(args).output().expect("wearbook");
        let text = String::from_utf8(output.stdout).expect("text");
        (output.status.code(), text)
    };
    let (code, printed) = run(&["seal", "fleet", "--lines"]);
    assert_eq!(code, Some(0));
    assert!(printed.contains("\nnorth/books/north.jsonl "), "{printed}");
    assert!(printed.ends_with("2 books, 9 lines\n"), "{printed}");
    std::fs::write(room.folder().join("seal.txt"), &printed).expect("noted");
    for folders in [&["fleet"][..], &["fleet/south", "fleet/north"]] {
        let (code, told) = run(&[&["check", "--seal", "seal.txt"], folders].concat());
        assert_ne!(code, Some(3), "{told}");
        assert!(
            told.contains("seal seal.txt:1: holds for 2 books\n"),
            "{told}"
        );
    }
    // One alone lacks the other's book.
    let (code, told) = run(&["check", "--seal", "seal.txt", "fleet/north"]);
    assert_eq!(code, Some(3));
    assert!(
        told.contains("error: seal.txt:5: south/books/south.jsonl is gone"),
        "{told}"
    );
    assert!(told.contains("seal seal.txt:1: holds for 1 book, not for 1\n"));
    let (_, json) = run(&["check", "--seal", "seal.txt", "fleet", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).expect("json");
    assert_eq!(
        json["seals"][0]["books"][1]["now"],
        "fleet/south/books/south.jsonl"
    );
    assert_eq!(json["seals"][0]["books"][1]["holds"], true);
}
