//! Text from a ledger stays text: in the page, its style, its pictures and the files beside it.

use std::collections::BTreeSet;

use roxmltree::{Document, Node};
use serde_json::Value;
use wearbook::report::dress::Dress;
use wearbook::report::model::{Limited, Recommendation, Report};
use wearbook::report::sheet::{self, Paper};
use wearbook::report::{Rendered, render};
use wearbook::view::sheet::{
    AccessBlock, ComponentBlock, Field, KitLine, ReadingBox, Sheet, SlotLine,
};

use super::{as_xml, assert_sound, browser, parse, quillmoor, words};

/// What names in a ledger could try. Each is one text; `{{` would be the templates' own.
fn payloads() -> Vec<String> {
    let mut all: Vec<String> = [
        "<script>alert(1)</script>",
        "<ScRiPt src=//127.0.0.1/x.js></sCrIpT>",
        "\"><img src=x onerror=alert(1)>",
        "' onmouseover='alert(1)' x='",
        "\" style=\"position:fixed\" onload=\"alert(1)",
        "</style></title></textarea></svg></td></table><b>out</b>",
        "]]><script>alert(1)</script><![CDATA[",
        "--><svg onload=alert(1)><!--",
        "<foreignObject><iframe src=\"javascript:alert(1)\"/></foreignObject>",
        "<a href=\"javascript:alert(1)\">javascript:alert(1)</a>",
        "javascript:alert(document.domain)",
        "data:text/html,<script>alert(1)</script>",
        "&lt;script&gt;alert(1)&lt;/script&gt; &amp;amp; &#60;b&#62; &#x3c;i&#x3e; &nbsp;",
        "<!ENTITY x SYSTEM \"file:///etc/passwd\">&x;",
        "<?xml-stylesheet href=\"x.xsl\"?>",
        "\\\"; } body { display: none } @import url(//127.0.0.1/x); a { b: \"",
        "\\00003c/style\\00003e expression(alert(1)) url(javascript:alert(1))",
        "{{ 7 * 7 }} {% include \"report.html\" %} {# gone #} ${7*7} <%= 7*7 %>",
        "EUR\"><script>1</script>",
        "tab\tnew\nline\r\u{b}\u{c}null\u{0}bell\u{7}del\u{7f}next\u{85}",
        "left\u{202e}thgir\u{202c} \u{2066}x\u{2069} \u{200f}y \u{61c}z",
        "\u{fffe}\u{ffff}\u{fdd0}\u{fffd} bad",
        "👩‍🔧 e\u{301} 한국어 עברית العربية ﷽ Z̸̡̛͖a̷l̶g̴o̵",
        "`'\"&<>/\\=;:(){}[]",
    ]
    .map(str::to_owned)
    .to_vec();
    all.push("Superlongword".repeat(40));
    all.push(format!("{}<script>alert(1)</script>", "x".repeat(5_000)));
    all
}

/// The report with every text of a ledger's replaced.
fn soiled(dirt: &str) -> Report {
    let dirt = || dirt.to_owned();
    let some = || Some(dirt());
    let limited = || Limited {
        value: dirt(),
        lower: dirt(),
        upper: dirt(),
    };
    let mut report = quillmoor::report();
    for text in [
        &mut report.plant,
        &mut report.currency,
        &mut report.as_of,
        &mut report.time_zone,
        &mut report.version,
        &mut report.confidence,
        &mut report.quality.summary,
    ] {
        *text = dirt();
    }
    report.ledgers.fill(dirt());
    report.cautions.fill(dirt());
    report.summary.fill(dirt());
    for row in &mut report.recommendations {
        let Recommendation {
            component,
            positions,
            verdict: _,
            interval,
            present,
            saving,
            chance,
            lives: _,
            failures: _,
            note,
            worth,
            saves,
        } = row;
        (*component, *positions, *note) = (dirt(), dirt(), some());
        (*interval, *present, *chance) = (some(), some(), some());
        (*saving, *worth, *saves) = (Some(limited()), Some(limited()), some());
    }
    for section in &mut report.components {
        (section.id, section.name, section.usage) = (dirt(), dirt(), dirt());
        section.findings.fill(dirt());
        section.notes = vec![dirt()];
        section.data.span = dirt();
        for left_out in &mut section.data.excluded {
            left_out.why = dirt();
        }
        for group in &mut section.groups {
            (group.title, group.why) = (dirt(), dirt());
            group.judged.fill(dirt());
            for figure in &mut group.fit {
                (figure.name, figure.meaning) = (dirt(), dirt());
                figure.value = limited();
            }
            (group.hazard_words, group.models_note) = (dirt(), dirt());
            for model in &mut group.models {
                (model.name, model.behind, model.b10) = (dirt(), dirt(), dirt());
            }
            for mode in &mut group.modes {
                (mode.mode, mode.says, mode.shape) = (dirt(), dirt(), Some(limited()));
                (mode.run_to_failure, mode.renewed) = (some(), some());
            }
            if let Some(curve) = &mut group.hazard {
                (curve.id, curve.title, curve.x_title) = (dirt(), dirt(), dirt());
                (curve.y_title, curve.limits_name) = (dirt(), dirt());
                curve.interval = Some((900.0, dirt()));
            }
            let plot = &mut group.probability;
            (plot.id, plot.title, plot.usage_label) = (dirt(), dirt(), dirt());
            (plot.usage_unit, plot.line_name, plot.band_name) = (dirt(), dirt(), dirt());
            if let Some(curve) = &mut group.cost {
                (curve.id, curve.title, curve.usage_label) = (dirt(), dirt(), dirt());
                (curve.usage_unit, curve.cost_label, curve.cost_unit) = (dirt(), dirt(), dirt());
                curve.band_name = dirt();
            }
        }
        (section.positions_note, section.history_note) = (dirt(), dirt());
        section.warning = some();
        (section.table.place, section.table.note) = (dirt(), dirt());
        section.table.heads.fill(dirt());
        for row in &mut section.table.rows {
            row.place = dirt();
            row.cells.fill(dirt());
        }
        for row in &mut section.tests {
            (row.question, row.test, row.statistic) = (dirt(), dirt(), dirt());
            (row.p, row.says) = (dirt(), dirt());
        }
        for row in &mut section.positions {
            (row.machine, row.position) = (dirt(), dirt());
            (row.interval, row.in_place) = (some(), some());
            row.median_life = Some(limited());
        }
        (section.history.id, section.history.title) = (dirt(), dirt());
        for lane in &mut section.history.lanes {
            lane.label = dirt();
        }
        for row in &mut section.assumed {
            (row.name, row.value, row.from) = (dirt(), dirt(), dirt());
        }
    }
    if let Some(others) = &mut report.others {
        others.words = dirt();
        for row in &mut others.rows {
            (row.component, row.unit, row.stake) = (dirt(), dirt(), dirt());
            (row.shape, row.b10) = (Some(limited()), Some(limited()));
            row.interval = some();
        }
    }
    for row in &mut report.quality.findings {
        (row.place, row.what) = (dirt(), dirt());
        (row.evidence, row.cure) = (dirt(), dirt());
    }
    for book in &mut report.books {
        (book.book, book.head) = (dirt(), dirt());
    }
    report
}

/// The texts of a report that were not replaced: none, but for the verdicts.
fn clean_texts(value: &Value, key: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::String(text) if text != "dirt" && key != "verdict" => {
            found.insert(format!("{key}: {text}"));
        }
        Value::Array(list) => list.iter().for_each(|v| clean_texts(v, key, found)),
        Value::Object(map) => map.iter().for_each(|(k, v)| clean_texts(v, k, found)),
        _ => {}
    }
}

#[test]
fn every_text_of_the_report_is_tried() {
    let mut found = BTreeSet::new();
    clean_texts(
        &serde_json::to_value(soiled("dirt")).unwrap(),
        "",
        &mut found,
    );
    assert!(found.is_empty(), "{found:#?}");
}

/// Elements and their attributes outside pictures, in order: what the page is built of.
fn skeleton(node: Node<'_, '_>, out: &mut Vec<String>) {
    let name = node.tag_name().name();
    if node.is_element() {
        let attributes: Vec<&str> = node.attributes().map(|a| a.name()).collect();
        out.push(format!("{name} {}", attributes.join(" ")));
    }
    if name != "svg" {
        node.children().for_each(|child| skeleton(child, out));
    }
}

const DRAWN: [&str; 12] = [
    "svg", "title", "desc", "rect", "g", "text", "line", "polyline", "polygon", "circle", "path",
    "tspan",
];

fn assert_harmless(tree: &Document<'_>) {
    for node in tree.descendants().filter(Node::is_element) {
        for attribute in node.attributes() {
            let (name, value) = (attribute.name(), attribute.value());
            assert!(!name.starts_with("on"), "{name}={value}");
            assert!(!["style", "srcset", "action", "formaction"].contains(&name));
            if ["href", "src"].contains(&name) {
                assert!(value.starts_with('#') || value == "data:,", "{value}");
            }
        }
    }
    for picture in tree.descendants().filter(|n| n.tag_name().name() == "svg") {
        for node in picture.descendants().filter(Node::is_element) {
            assert!(DRAWN.contains(&node.tag_name().name()), "{node:?}");
        }
    }
}

fn rendered(dirt: &str) -> Rendered {
    render(&soiled(dirt)).unwrap_or_else(|error| panic!("{dirt}: {error}"))
}

#[test]
fn no_text_becomes_markup_in_page_or_pictures() {
    let plain = as_xml(&rendered("plain words").html);
    let mut expected = Vec::new();
    skeleton(parse(&plain).root(), &mut expected);
    for dirt in payloads() {
        let page = rendered(&dirt);
        assert_sound(&page.html);
        let xml = as_xml(&page.html);
        let tree = parse(&xml);
        let mut found = Vec::new();
        skeleton(tree.root(), &mut found);
        assert!(
            found == expected,
            "{dirt} changed what the page is built of"
        );
        assert_harmless(&tree);
        // It is all there to be read, but for what turns lines round, and for bytes no page holds.
        let seen: String = words(&page.html)
            .chars()
            .filter(|c| *c != '\u{200b}' && !c.is_whitespace())
            .collect();
        let tame = |c: &char| !wearbook::quantity::text::is_unruly(*c) && !c.is_whitespace();
        let asked: String = dirt.chars().filter(tame).collect();
        assert!(seen.matches(&asked).count() > 50, "{dirt}");
        assert!(
            !page
                .html
                .contains(['\u{202e}', '\u{2066}', '\u{200f}', '\u{0}'])
        );
        for chart in &page.charts {
            let tree = Document::parse(&chart.svg).unwrap_or_else(|e| panic!("{dirt}: {e}"));
            assert_harmless(&tree);
            assert!(
                chart
                    .name
                    .chars()
                    .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '.'),
                "{}",
                chart.name
            );
        }
    }
}

/// The style sheet ends where it should and holds one string of the ledger's.
#[test]
fn no_text_leaves_the_style_sheet() {
    let rules = |html: &str| {
        let from = html.find("<style>").unwrap();
        let css = &html[from..from + html[from..].find("</style>").unwrap()];
        let content = css.find("@bottom-left { content: \"").unwrap();
        let string = &css[content + 25..];
        let end = string.find('"').unwrap();
        (css[..content].to_owned(), string[end..].to_owned())
    };
    let expected = rules(&rendered("plain words").html);
    for dirt in payloads() {
        assert!(rules(&rendered(&dirt).html) == expected, "{dirt}");
    }
}

/// In a real browser: nothing runs, nothing is asked of the network, and no long word drives the
/// columns beside it off the sheet.
#[test]
fn a_browser_prints_hostile_pages_whole() {
    let Some(tools) = browser::tools() else {
        return;
    };
    let mut dirt =
        "<script>console.log(1)</script>\"><img src=x onerror=console.log(2)> ".to_owned();
    dirt.push_str(&"Superlongword".repeat(12));
    let mut report = quillmoor::report();
    let hostile = soiled(&dirt);
    // One of each, so that the sheets stay few.
    report.plant = hostile.plant;
    report.summary[0] = hostile.summary[0].clone();
    report.recommendations[0].component = dirt.clone();
    report.recommendations[0].positions = dirt.clone();
    report.components[0].name = dirt.clone();
    report.components[0].positions[0].machine = dirt.clone();
    let long = "Superlongword".repeat(12);
    report.components[0].positions[0].position = long.clone();
    report.components[0].positions[0].interval = Some(format!("1,750 {long}"));
    report.components[0].groups = hostile.components[0].groups.clone();
    for group in &mut report.components[0].groups {
        // Figures are numbers.
        group.fit.clear();
        group.modes.iter_mut().for_each(|mode| mode.shape = None);
    }
    report.components[0].assumed[0].value = dirt.clone();
    report.components[0].history = hostile.components[0].history.clone();
    report.quality.findings[0].place = dirt.clone();
    report.quality.findings[0].what = dirt.clone();
    report.books[0].book = dirt;
    let page = render(&report).unwrap();
    let (sheets, said) = browser::print(&tools, &page.html, "A4");
    assert!(!said.contains("CONSOLE"), "{said}");
    let wide = browser::overflow(&tools, &page.html, 178);
    assert!(wide.is_empty(), "beyond the page: {wide:?}");
    // The look for such things can see one.
    let wide = page
        .html
        .replace("<footer>", "<footer><pre style=\"width: 300mm\">wide</pre>");
    assert_eq!(browser::overflow(&tools, &wide, 178), ["PRE wide"]);
    assert!((8..=40).contains(&sheets.len()), "{} sheets", sheets.len());
}

/// A work sheet with every text of a register or ledger replaced.
fn soiled_sheet(dirt: &str) -> Sheet {
    let dirt = || dirt.to_owned();
    let some = || Some(dirt());
    let reading = ReadingBox {
        key: "1a".to_owned(),
        quantity: dirt(),
        label: dirt(),
        zone: some(),
        unit: dirt(),
        span: true,
        new_value: true,
        last: some(),
        verdict: some(),
    };
    let slot = SlotLine {
        key: "1".to_owned(),
        position: dirt(),
        age: some(),
        empty: false,
        planned: Some("planned"),
        why: some(),
        part: some(),
        trend: some(),
        boxes: vec![reading.clone(), reading],
    };
    let component = |narrow: bool, planned: Option<String>| ComponentBlock {
        id: dirt(),
        name: dirt(),
        checks: vec![dirt(), dirt()],
        limits: vec![dirt(), dirt()],
        modes: vec![dirt(), dirt()],
        planned,
        slots: vec![slot.clone(), slot.clone()],
        narrow,
        mixed: !narrow,
        measured: some(),
        labelled: true,
    };
    Sheet {
        plant: dirt(),
        machine: dirt(),
        machine_name: dirt(),
        day: dirt(),
        as_of: dirt(),
        time_zone: dirt(),
        version: dirt(),
        cautions: vec![dirt(), dirt()],
        before: vec![dirt()],
        after: vec![dirt()],
        kit: vec![KitLine {
            component: dirt(),
            part: some(),
            pieces: 3,
            stock: Some(1),
            short: true,
        }],
        tools: vec![dirt(), dirt()],
        fields: vec![Field {
            key: "J".to_owned(),
            field: "job",
            what: dirt(),
            label: dirt(),
            unit: dirt(),
            hint: some(),
            given: dirt(),
        }],
        accesses: vec![AccessBlock {
            name: some(),
            opened: vec![dirt()],
            steps: vec![dirt()],
            components: vec![component(true, some()), component(false, None)],
        }],
        planned: 2,
    }
}

#[test]
fn no_text_becomes_markup_in_a_work_sheet() {
    let page =
        |dirt: &str| sheet::render(&soiled_sheet(dirt), Paper::A4, &Dress::default()).unwrap();
    let plain = as_xml(&page("plain words"));
    let mut expected = Vec::new();
    skeleton(parse(&plain).root(), &mut expected);
    for dirt in payloads() {
        let html = page(&dirt);
        let xml = as_xml(&html);
        let tree = parse(&xml);
        let mut found = Vec::new();
        skeleton(tree.root(), &mut found);
        assert!(
            found == expected,
            "{dirt} changed what the sheet is built of"
        );
        assert_harmless(&tree);
        let seen: String = words(&html)
            .chars()
            .filter(|c| *c != '\u{200b}' && !c.is_whitespace())
            .collect();
        let tame = |c: &char| !wearbook::quantity::text::is_unruly(*c) && !c.is_whitespace();
        let asked: String = dirt.chars().filter(tame).collect();
        assert!(seen.matches(&asked).count() > 30, "{dirt}");
        assert!(!html.contains(['\u{202e}', '\u{2066}', '\u{200f}', '\u{0}']));
    }
}

#[test]
fn a_browser_keeps_hostile_sheets_on_the_paper() {
    let Some(tools) = browser::tools() else {
        return;
    };
    let mut dirt =
        "<script>console.log(1)</script>\"><img src=x onerror=console.log(2)> ".to_owned();
    dirt.push_str(&"Superlongword".repeat(12));
    let html = sheet::render(&soiled_sheet(&dirt), Paper::A4, &Dress::default()).unwrap();
    let (_, said) = browser::print(&tools, &html, "A4");
    assert!(!said.contains("CONSOLE"), "{said}");
    let wide = browser::overflow(&tools, &html, 192);
    assert!(wide.is_empty(), "beyond the page: {wide:?}");
}
