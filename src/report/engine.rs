//! The template engine as every page uses it: all text is escaped, and tamed where it would
//! move or hide what stands beside it.
//!
//! In: templates. Out: an engine. Never: what a page says.

use minijinja::syntax::SyntaxConfig;
use minijinja::{AutoEscape, Environment, UndefinedBehavior, Value, escape_formatter};

use super::model::Verdict;
use super::words;
use crate::chart::number;
use crate::quantity::language::spoken;
use crate::quantity::text::is_unruly;

/// An engine that knows these templates and the pages' filters.
///
/// Errors: a template is no template.
pub(super) fn engine(
    templates: &[(&'static str, String)],
) -> Result<Environment<'static>, minijinja::Error> {
    let mut engine = Environment::new();
    // A fault is told with what it is about, in a release as well.
    engine.set_debug(true);
    engine.set_undefined_behavior(UndefinedBehavior::Strict);
    engine.set_auto_escape_callback(|_| AutoEscape::Html);
    engine.set_formatter(|out, state, value| match value.as_str() {
        Some(text) if !value.is_safe() => {
            escape_formatter(out, state, &Value::from(words::tame(text)))
        }
        _ => escape_formatter(out, state, value),
    });
    engine.set_syntax(
        SyntaxConfig::builder()
            .trim_blocks(true)
            .lstrip_blocks(true)
            .build()?,
    );
    engine.add_filter("words", |verdict: String| verdict_words(&verdict));
    engine.add_filter("glue", |text: String| words::glue(&text));
    // A cell that does not wrap must, where its text is longer than any name should be.
    engine.add_filter("breaks", |text: Option<String>| {
        if text.is_some_and(|text| words::is_long(&text)) {
            " breaks"
        } else {
            ""
        }
    });
    engine.add_filter("marks", |plain: String| spoken().marked(&plain));
    engine.add_filter("n", |count: u64| number(count as f64, 0));
    for (name, source) in templates {
        engine.add_template_owned(*name, source.clone())?;
    }
    Ok(engine)
}

/// The serialised verdict in words, for the templates.
fn verdict_words(verdict: &str) -> String {
    [
        Verdict::Renew,
        Verdict::RunToFailure,
        Verdict::NotEnoughEvidence,
    ]
    .into_iter()
    .map(Verdict::words)
    .find(|words| words.replace(' ', "-") == verdict)
    .unwrap_or(verdict)
    .to_owned()
}

/// A CSS string in which every character but plain letters and digits is escaped by number, so
/// that no name can end the string or the style element.
pub(super) fn css_string(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars().filter(|c| !is_unruly(*c)) {
        if c.is_ascii_alphanumeric() || c == ' ' || c == ',' {
            out.push(c);
        } else {
            out.push_str(&format!("\\{:06x}", u32::from(c)));
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_can_leave_a_css_string() {
        let out = css_string("A\"</style><b>\\");
        let inner = &out[1..out.len() - 1];
        assert!(!inner.contains(['"', '<', '>', '/']));
        assert_eq!(
            inner,
            "A\\000022\\00003c\\00002fstyle\\00003e\\00003cb\\00003e\\00005c"
        );
    }

    #[test]
    fn every_verdict_has_words_for_the_templates() {
        for verdict in [
            Verdict::Renew,
            Verdict::RunToFailure,
            Verdict::NotEnoughEvidence,
        ] {
            let written = serde_json::to_string(&verdict).unwrap();
            assert_eq!(verdict_words(written.trim_matches('"')), verdict.words());
        }
    }
}
