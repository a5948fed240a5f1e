//! The report as text a machine can judge: well-formed, complete, escaped, self-contained.
//! How it looks printed is judged in `pages.rs` and was looked at by eye.

use std::collections::BTreeSet;

use roxmltree::{Document, ParsingOptions};
use wearbook::chart::SlotHistory;
use wearbook::report::model::{ComponentSection, Recommendation, Report};
use wearbook::report::{ReportError, render};

#[path = "support/browser.rs"]
mod browser;
#[path = "report/hostile.rs"]
mod hostile;
#[path = "support/quillmoor.rs"]
mod quillmoor;
#[path = "report/stops.rs"]
mod stops;

/// The page as XML: the few elements HTML leaves open are closed, the doctype goes.
fn as_xml(html: &str) -> String {
    let mut out = html.replacen("<!DOCTYPE html>\n", "", 1);
    out = out.replace("<br>", "<br/>");
    for void in ["<meta ", "<link "] {
        let mut rest = out.as_str();
        let mut closed = String::new();
        while let Some(at) = rest.find(void) {
            let end = at + rest[at..].find('>').expect("a tag ends");
            closed.push_str(&rest[..end]);
            closed.push_str("/>");
            rest = &rest[end + 1..];
        }
        closed.push_str(rest);
        out = closed;
    }
    out
}

fn parse(xml: &str) -> Document<'_> {
    let options = ParsingOptions {
        nodes_limit: u32::MAX,
        ..ParsingOptions::default()
    };
    Document::parse_with_options(xml, options).expect("a well-formed page")
}

/// All text of the page, without style.
fn words(html: &str) -> String {
    let xml = as_xml(html);
    let tree = parse(&xml);
    tree.descendants()
        .filter(|n| n.is_text())
        .filter(|n| n.parent().is_none_or(|p| p.tag_name().name() != "style"))
        .filter_map(|n| n.text())
        .flat_map(str::split_whitespace) // unbreakable spaces among them
        .collect::<Vec<_>>()
        .join(" ")
}

/// Ids are unique, and whatever points at an id finds one.
fn assert_sound(html: &str) {
    let xml = as_xml(html);
    let tree = parse(&xml);
    let mut ids = BTreeSet::new();
    for node in tree.descendants() {
        if let Some(id) = node.attribute("id") {
            assert!(ids.insert(id.to_owned()), "id {id} twice");
        }
    }
    for node in tree.descendants() {
        let mut targets: Vec<&str> = Vec::new();
        if let Some(list) = node.attribute("aria-labelledby") {
            targets.extend(list.split(' '));
        }
        targets.extend(node.attribute("href").and_then(|h| h.strip_prefix('#')));
        for target in targets {
            assert!(ids.contains(target), "nothing has the id {target}");
        }
        for attribute in node.attributes() {
            let value = attribute.value();
            assert!(!value.contains("NaN") && !value.contains("inf"));
        }
    }
    let root = tree.root_element();
    assert_eq!(root.attribute("lang"), Some("en-GB"));
}

#[test]
fn the_page_is_well_formed_and_says_everything() {
    let report = quillmoor::report();
    let page = render(&report).unwrap();
    assert_sound(&page.html);
    let text = words(&page.html);
    for sentence in &report.summary {
        assert!(text.contains(sentence.as_str()), "{sentence}");
    }
    for needed in [
        "Plunger packing set",
        "all positions but H-02 P2",
        "wears about 1.8 times as fast as the others",
        "run to failure",
        "not enough evidence",
        "1,750 h",
        "over 99 %",
        "−955 to 12,770",
        "96 (31)",
        "4 (age at installation unknown)",
        "mean of 14 preventive jobs in the ledger",
        "p = 0.0004",
        "books/line-2.jsonl:41",
        "and 10 more",
        "7c19e0b2a4f1",
        "1,204",
        "24 November 2026",
        "wearbook 0.1.0",
        "Barlow",
        "Isolate and lock out every source of energy",
        "never lengthens a statutory, food-safety or maker’s limit",
        "Head gasket: items in their slots",
        "Mind: successive items in a slot get shorter-lived.",
        "How the lives ended, and how long they were.",
        "The hazard rises with age",
        "failure rate against age",
        "Weibull with a failure-free start",
        "drives the interval",
        "May these lives be taken as one population that does not change?",
        "× 0.93 an item",
        "With probability 0.82 they do not: one answer serves all.",
        "Oil seal",
        "1,900 (420 to open) h",
    ] {
        assert!(text.contains(needed), "{needed}");
    }
    assert!(!text.contains("{{") && !text.contains("{%") && !text.contains("None"));
}

#[test]
fn the_recommendations_stand_before_everything_else() {
    let page = render(&quillmoor::report()).unwrap();
    let at = |needle: &str| page.html.find(needle).unwrap_or_else(|| panic!("{needle}"));
    let order = [
        at("class=\"summary\""),
        at("id=\"recommendations\""),
        at("id=\"section-packing-set\""),
        at("id=\"section-head-gasket\""),
        at("id=\"other-components\""),
        at("id=\"quality\""),
        at("id=\"method\""),
        at("id=\"safety\""),
        at("id=\"ledger\""),
    ];
    assert!(order.is_sorted(), "{order:?}");
}

#[test]
fn nothing_is_run_and_nothing_is_fetched() {
    let page = render(&quillmoor::report()).unwrap();
    let xml = as_xml(&page.html);
    let tree = parse(&xml);
    for node in tree.descendants().filter(|n| n.is_element()) {
        let tag = node.tag_name().name();
        assert!(
            ![
                "script",
                "iframe",
                "object",
                "embed",
                "img",
                "image",
                "foreignObject"
            ]
            .contains(&tag),
            "{tag}"
        );
        for attribute in node.attributes() {
            let (name, value) = (attribute.name(), attribute.value());
            assert!(!name.starts_with("on"), "{name}");
            if ["href", "src", "srcset", "action", "data"].contains(&name) {
                assert!(
                    value.starts_with('#') || value == "data:,",
                    "{name}={value}"
                );
            }
        }
    }
    let style = tree
        .descendants()
        .find(|n| n.tag_name().name() == "style")
        .and_then(|n| n.text())
        .unwrap();
    assert!(!style.contains("url(") && !style.contains("@import") && !style.contains("FOOTER"));
}

#[test]
fn pictures_lie_beside_the_page_too() {
    let page = render(&quillmoor::report()).unwrap();
    let names: BTreeSet<_> = page.charts.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names.len(), page.charts.len(), "a name twice");
    for name in [
        "packing-set-probability.svg",
        "packing-set-probability-2.svg",
        "packing-set-hazard.svg",
        "packing-set-hazard-2.svg",
        "packing-set-cost.svg",
        "packing-set-history.svg",
        "head-gasket-history-3.svg",
    ] {
        assert!(names.contains(name), "{name} in {names:?}");
    }
    for (i, chart) in page.charts.iter().enumerate() {
        Document::parse(&chart.svg).expect("a well-formed picture");
        assert!(page.html.contains(chart.svg.trim_end()));
        assert!(page.html.contains(&format!("<b>Figure {}.</b>", i + 1)));
    }
}

#[test]
fn many_slots_fall_evenly_into_several_pictures() {
    let page = render(&quillmoor::report()).unwrap();
    let lanes = |name: &str| {
        let chart = page.charts.iter().find(|c| c.name == name).unwrap();
        chart.svg.matches("\nH-").count()
    };
    assert_eq!(lanes("head-gasket-history.svg"), 25);
    assert_eq!(lanes("head-gasket-history-2.svg"), 25);
    assert_eq!(lanes("head-gasket-history-3.svg"), 25);
}

#[test]
fn an_empty_ledger_has_a_page() {
    let page = render(&Report {
        plant: "Quillmoor Oat Works".to_owned(),
        ..Report::default()
    })
    .unwrap();
    assert_sound(&page.html);
    assert!(words(&page.html).contains("there is nothing to recommend"));
    assert!(page.charts.is_empty());
}

#[test]
fn components_of_one_id_get_names_of_their_own() {
    let mut report = quillmoor::report();
    let copy = report.components[0].clone();
    report.components.push(copy);
    report.components.push(ComponentSection {
        id: "quality".to_owned(),
        history: SlotHistory::default(),
        ..ComponentSection::default()
    });
    report.recommendations.push(Recommendation::default());
    let page = render(&report).unwrap();
    assert_sound(&page.html);
    let names: BTreeSet<_> = page.charts.iter().map(|c| &c.name).collect();
    assert_eq!(names.len(), page.charts.len());
}

#[test]
fn a_number_that_cannot_be_drawn_names_its_component() {
    let mut report = quillmoor::report();
    report.components[0].groups[0].probability.suspensions[0] = f64::NAN;
    let error = render(&report).unwrap_err();
    assert!(
        matches!(&error, ReportError::Chart { component, .. } if component == "Plunger packing set")
    );
    assert_eq!(
        error.to_string(),
        "the probability plot of Plunger packing set: the usage axis cannot show the value NaN"
    );
}

#[test]
fn the_same_report_gives_the_same_bytes() {
    assert_eq!(render(&quillmoor::report()), render(&quillmoor::report()));
}
