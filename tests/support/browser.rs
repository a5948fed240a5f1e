//! A real browser without a window, and what a printed page must show.
//!
//! Needs a Chromium-like browser and poppler's `pdftotext`. Where they are missing the tests say
//! so loudly and pass, except when `CI=true`, where they fail.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use roxmltree::Document;

pub struct Tools {
    browser: PathBuf,
    pdftotext: PathBuf,
}

/// The program by one of its names on the path.
fn program(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path)
        .flat_map(|dir| names.iter().map(move |name| dir.join(name)))
        .find(|file| file.is_file())
}

/// The tools, or none with a loud word; a missing tool fails the test when `CI=true`.
pub fn tools() -> Option<Tools> {
    let browser = program(&["chromium", "chromium-browser", "google-chrome"]);
    let pdftotext = program(&["pdftotext"]);
    match (browser, pdftotext) {
        (Some(browser), Some(pdftotext)) => Some(Tools { browser, pdftotext }),
        (browser, _) => {
            let missing = if browser.is_none() {
                "a Chromium-like browser"
            } else {
                "pdftotext (poppler)"
            };
            assert!(
                std::env::var("CI").as_deref() != Ok("true"),
                "{missing} is needed to judge the printed report"
            );
            eprintln!("SKIPPED: {missing} is missing; the printed report was not judged");
            None
        }
    }
}

/// Runs the browser without a window on one page and returns what it said on stderr.
fn browse(tools: &Tools, dir: &Path, page: &Path, extra: &[String]) -> String {
    let log = dir.join("browser.log");
    let mut child = Command::new(&tools.browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--enable-logging=stderr",
            "--v=0",
        ])
        .arg(format!("--user-data-dir={}", dir.join("profile").display()))
        .args(extra)
        .arg(format!("file://{}", page.display()))
        .stdout(Stdio::null())
        .stderr(std::fs::File::create(&log).expect("a log file"))
        .spawn()
        .expect("the browser starts");
    let patience = Instant::now();
    loop {
        if child.try_wait().expect("the browser's state").is_some() {
            break;
        }
        if patience.elapsed() > Duration::from_secs(120) {
            // The child this test started, and only that one.
            let _ = child.kill();
            panic!("the browser did not end within 120 s");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    String::from_utf8_lossy(&std::fs::read(&log).expect("the browser's log")).into_owned()
}

/// Prints the page to a PDF in the folder; returns what the console said.
fn to_pdf(tools: &Tools, dir: &Path, html: &str, paper: &str) -> (PathBuf, String) {
    let page = dir.join("report.html");
    let marker = "@page {";
    assert!(html.contains(marker));
    let html = if html.contains("size: auto;") {
        html.replacen("size: auto;", &format!("size: {paper};"), 1)
    } else {
        html.replacen(marker, &format!("@page {{ size: {paper};"), 1)
    };
    std::fs::write(&page, html).expect("a page to print");
    let pdf = dir.join("report.pdf");
    let said = browse(
        tools,
        dir,
        &page,
        &[
            format!("--print-to-pdf={}", pdf.display()),
            "--no-pdf-header-footer".to_owned(),
        ],
    );
    (pdf, said)
}

/// Prints the page and returns the text of each sheet, and what the console said.
pub fn print(tools: &Tools, html: &str, paper: &str) -> (Vec<String>, String) {
    let dir = tempfile::tempdir().expect("a folder for the browser");
    let (pdf, said) = to_pdf(tools, dir.path(), html, paper);
    let text = Command::new(&tools.pdftotext)
        .args(["-layout", "-enc", "UTF-8"])
        .arg(&pdf)
        .arg("-")
        .output()
        .expect("pdftotext runs");
    assert!(
        text.status.success(),
        "no PDF came out; the browser said:\n{said}"
    );
    let sheets = String::from_utf8(text.stdout)
        .expect("UTF-8 text")
        .split('\u{c}')
        .map(squeeze)
        .filter(|sheet| !sheet.is_empty())
        .collect();
    (sheets, said)
}

/// Draws the first printed sheet as a picture for a file.
#[allow(dead_code)] // not every test crate draws
pub fn picture(tools: &Tools, html: &str, paper: &str, to: &Path) {
    let dir = tempfile::tempdir().expect("a folder for the browser");
    let (pdf, said) = to_pdf(tools, dir.path(), html, paper);
    let drawn = Command::new(tools.pdftotext.with_file_name("pdftoppm"))
        .args(["-png", "-singlefile", "-r", "100", "-f", "1", "-l", "1"])
        .arg(&pdf)
        .arg(to.with_extension(""))
        .status()
        .expect("pdftoppm runs");
    assert!(drawn.success(), "no picture; the browser said:\n{said}");
}

/// One space between words.
fn squeeze(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Every sheet has its number, the foot, and something to say.
#[allow(dead_code)] // not every test crate looks
pub fn assert_numbered(sheets: &[String]) {
    let count = sheets.len();
    for (i, sheet) in sheets.iter().enumerate() {
        let foot = format!("Page {} of {count}", i + 1);
        assert!(sheet.contains(&foot), "no `{foot}` in:\n{sheet}");
        assert!(sheet.contains("Quillmoor Oat Works, as of"));
        assert!(
            sheet.split(' ').count() > 40,
            "sheet {} is all but empty:\n{sheet}",
            i + 1
        );
    }
}

/// The picture stands whole on one sheet: its number, its title and each of its labels longer
/// than a mark's letter.
#[allow(dead_code)] // not every test crate looks
pub fn assert_figure_whole(sheets: &[String], number: usize, svg: &str) {
    let caption = format!("Figure {number}.");
    let on: Vec<_> = sheets.iter().filter(|s| s.contains(&caption)).collect();
    assert_eq!(on.len(), 1, "{caption} on {} sheets", on.len());
    let tree = Document::parse(svg).expect("a well-formed picture");
    for text in tree
        .descendants()
        .filter(|n| n.tag_name().name() == "text")
        .filter_map(|n| n.text())
    {
        let label = squeeze(text);
        // A label's words may be set apart by what lies beside it in the line.
        let found = label.split(' ').all(|word| on[0].contains(word));
        assert!(
            found || label.chars().count() <= 3,
            "`{label}` of figure {number} is cut off"
        );
    }
}

/// The page without its policy against scripts, for a script of the test's.
fn open_to_scripts(html: &str) -> String {
    let policy = "<meta http-equiv=\"Content-Security-Policy\"";
    let from = html.find(policy).expect("a policy against scripts");
    let to = from + html[from..].find('>').expect("its end") + 1;
    let mut page = html.to_owned();
    page.replace_range(from..to, "");
    page
}

/// The page as its scripts leave it.
fn dump(tools: &Tools, page: &str, extra: &[String]) -> String {
    let dir = tempfile::tempdir().expect("a folder for the browser");
    let file = dir.path().join("page.html");
    std::fs::write(&file, page).expect("a page to look at");
    let dumped = Command::new(&tools.browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
        ])
        .args(extra)
        .arg(format!(
            "--user-data-dir={}",
            dir.path().join("profile").display()
        ))
        .arg("--dump-dom")
        .arg(format!("file://{}", file.display()))
        .stderr(Stdio::null())
        .output()
        .expect("the browser runs");
    String::from_utf8_lossy(&dumped.stdout).into_owned()
}

/// The version of the accessibility rules that pages are judged by.
const AXE: &str = "axe v4.10.3";

/// The rules (npm package axe-core 4.10.3, file axe.min.js), where `WEARBOOK_AXE` says or where
/// `.ci/run` puts them; none with a loud word, a failure when `CI=true`.
#[allow(dead_code)] // not every test crate looks
fn rules() -> Option<String> {
    let given = std::env::var_os("WEARBOOK_AXE").map(PathBuf::from);
    let kept = std::env::var_os("HOME")
        .map(|home| PathBuf::from(home).join(".cache/wearbook/axe-core-4.10.3/package/axe.min.js"));
    let found = given
        .or(kept)
        .and_then(|file| std::fs::read_to_string(file).ok());
    if let Some(rules) = found {
        assert!(rules.contains(AXE), "not the rules of {AXE}");
        return Some(rules);
    }
    assert!(
        std::env::var("CI").as_deref() != Ok("true"),
        "axe-core is needed to judge the pages: .ci/run fetches it"
    );
    eprintln!("SKIPPED: axe-core is missing; the pages were not judged for accessibility");
    None
}

/// What the accessibility rules find wrong in a page on a screen of this width; none where the
/// rules are missing.
#[allow(dead_code)] // not every test crate looks
pub fn faults(tools: &Tools, html: &str, width_px: u32) -> Option<Vec<String>> {
    let rules = rules()?.replace("</script", "<\\/script");
    let judge = format!(
        "<script>{rules}</script><script>
         axe.run(document, {{ resultTypes: ['violations'] }}).then(result => {{
             const told = result.violations.map(v =>
                 `[fault] ${{v.id}}: ${{v.help}}; ${{v.nodes.length}} places, first ${{v.nodes[0].target}}`);
             const all = document.createElement('pre');
             all.textContent = [...told, `[judged by ${{result.passes.length}}]`].join('\\n');
             document.body.replaceChildren(all);
         }});
         </script></body>"
    );
    let mut page = open_to_scripts(html);
    let end = page.rfind("</body>").expect("an end");
    page.replace_range(end..end + "</body>".len(), &judge);
    let budget = "--virtual-time-budget=120000".to_owned();
    let text = dump(
        tools,
        &page,
        &[budget, format!("--window-size={width_px},1000")],
    );
    assert!(text.contains("[judged by"), "the page was not judged");
    assert!(!text.contains("[judged by 0]"), "no rule applied");
    let faults = text.lines().filter_map(|line| line.split_once("[fault] "));
    Some(faults.map(|(_, fault)| fault.to_owned()).collect())
}

/// What would stand beyond the right edge of a printed sheet whose text is `width_mm` wide.
#[allow(dead_code)] // not every test crate looks
pub fn overflow(tools: &Tools, html: &str, width_mm: u32) -> Vec<String> {
    // The page as printed, on a screen of that width, with a script of the test's that measures.
    let mut page = open_to_scripts(html);
    let measure = format!(
        "<style>html, body {{ width: {width_mm}mm !important; margin: 0 !important; }}</style>
         <script>
         const edge = document.body.getBoundingClientRect().right + 1;
         const out = [...document.querySelectorAll('body *:not(svg *):not(thead *)')]
             .filter(e => e.getBoundingClientRect().right > edge)
             .map(e => '[beyond] ' + e.tagName + ' ' + e.textContent.slice(0, 60).replace(/\\s+/g, ' '));
         document.body.replaceChildren(...out.map(t => {{
             const p = document.createElement('p');
             p.textContent = t;
             return p;
         }}), document.createTextNode('[measured]'));
         </script></body>"
    );
    page = page
        .replace("@media print {", "@media all {")
        .replacen("</body>", &measure, 1);
    let text = dump(tools, &page, &[]);
    assert!(
        text.contains("[measured]"),
        "the page was not measured:\n{text}"
    );
    text.split("<p>")
        .filter_map(|part| part.strip_prefix("[beyond] "))
        .map(|part| part.split("</p>").next().unwrap_or_default().to_owned())
        .collect()
}
