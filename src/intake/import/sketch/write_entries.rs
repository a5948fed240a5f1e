//! The `[[entry]]` tables of a sketch.

use super::guess::{Guess, Measure};
use super::write::{Block, Writer, quoted};

impl Writer<'_> {
    pub(super) fn job(&self) -> bool {
        let any = |keys: &[&str]| keys.iter().any(|key| self.guesses.key(key).is_some());
        any(&["job"]) && any(&["labour_h", "downtime_h", "kind", "stop"])
    }

    pub(super) fn entries(&self) -> Vec<String> {
        let has = |key: &str| self.guesses.key(key).is_some();
        let mut all = Vec::new();
        if self.job() {
            all.push(self.job_entry());
        }
        if has("value") && has("quantity") {
            all.push(self.measured_in_rows());
        } else if has("value") {
            all.push(self.reading());
        }
        let kinds = self.guesses.done.as_ref().map(|(_, kinds)| kinds);
        let done = |kind: &str| kinds.is_some_and(|all| all.iter().any(|(of, _)| *of == kind));
        for kind in ["installed", "removed"] {
            if done(kind) {
                all.push(self.slot_entry(kind));
            }
        }
        let slot = has("component") || has("position") || has("reason");
        let alone = kinds.is_none() && slot && !has("quantity");
        if done("replaced") || alone {
            all.push(self.slot_entry("replaced"));
        }
        if done("inspected") || (kinds.is_none() && has("finding")) {
            all.push(self.slot_entry("inspected"));
        }
        for measure in &self.guesses.measures {
            all.push(self.measured(measure));
        }
        if has("cost") && !self.job() {
            all.push(self.expense());
        }
        if all.is_empty() {
            all.push(
                "# No column says clearly what its rows are about. For rows that read a meter, say:\n\
                 # [[entry]]\n# entry = \"reading\"\n# meter = \"hours\"\n# value = { column = \"…\" }\n"
                    .to_owned(),
            );
        }
        all
    }

    fn job_entry(&self) -> String {
        let mut block = Block::default();
        block.line("[[entry]]", "");
        block.line(
            "entry = \"job\"",
            "rows have a number of a job and what it took",
        );
        self.key_or_gap(&mut block, "start", &["start", "time"]);
        self.key_or_gap(&mut block, "stop", &["stop"]);
        self.key_or_gap(&mut block, "kind", &["kind"]);
        self.key_or_gap(&mut block, "labour_h", &["labour_h"]);
        self.key_or_gap(&mut block, "downtime_h", &["downtime_h"]);
        self.key_if(&mut block, "cost");
        block.text()
    }

    fn reading(&self) -> String {
        let mut block = Block::default();
        block.line("[[entry]]", "");
        block.line("entry = \"reading\"", "a column looks like a meter");
        if let Some(guess) = self.guesses.key("value") {
            let column = self.column(guess.column);
            if column.filled < self.profile.rows {
                let when = format!("when = {{ column = {}, empty = false }}", column.name());
                block.line(when, "not every row has one");
            }
            let usages = self.register.map_or(&[][..], |register| &register.usages);
            match usages {
                _ if self.guesses.key("meter").is_some() => self.key_if(&mut block, "meter"),
                [one] => block.line(
                    format!("meter = {}", quoted(&one.id)),
                    "the register has no other",
                ),
                _ => block.line(
                    "meter = \"hours\"",
                    "CHECK: the id of a usage in plant.toml",
                ),
            }
            self.key(&mut block, "value", guess);
        }
        block.text()
    }

    fn slot_entry(&self, kind: &str) -> String {
        let mut block = Block::default();
        block.line("[[entry]]", "");
        let done = self.guesses.done.as_ref();
        match done {
            Some((n, kinds)) => {
                block.line(format!("entry = \"{kind}\""), "");
                let texts = kinds.iter().filter(|(of, _)| *of == kind);
                let texts: Vec<String> = texts.flat_map(|(_, t)| t).map(|t| quoted(t)).collect();
                block.line(
                    format!(
                        "when = {{ column = {}, is = [{}] }}",
                        self.column(*n).name(),
                        texts.join(", ")
                    ),
                    "by the words of its values",
                );
            }
            None => block.line(
                format!("entry = \"{kind}\""),
                "rows name an item and why or how it was found",
            ),
        }
        match (self.guesses.key("component"), self.only_component()) {
            (None, Some(id)) => block.line(
                format!("component = {}", quoted(id)),
                "the part numbers are all of this component",
            ),
            _ => self.key_or_gap(&mut block, "component", &["component"]),
        }
        self.key_or_gap(&mut block, "position", &["position"]);
        if matches!(kind, "replaced" | "installed") {
            for key in ["part", "pieces", "batch", "serial"] {
                self.key_if(&mut block, key);
            }
        }
        if kind == "installed" {
            block.line("age = 0", "CHECK: new; or \"unknown\", or a column");
        }
        if matches!(kind, "replaced" | "removed") {
            self.key_or_gap(&mut block, "reason", &["reason"]);
            let by_table = self.guesses.key("reason").filter(|guess| guess.table);
            match (self.guesses.key("mode"), by_table) {
                (Some(mode), _) => self.key(&mut block, "mode", mode),
                (None, Some(reason)) => {
                    self.key(&mut block, "mode", &same(reason, "from the same table"));
                }
                (None, None) => {}
            }
            if let Some(reason) = by_table {
                let why = "needed where something failed or was worn";
                self.key(&mut block, "found", &same(reason, why));
            }
        }
        if kind == "inspected" {
            self.key_or_gap(&mut block, "finding", &["finding"]);
        }
        self.key_if(&mut block, "note");
        block.text()
    }

    /// The component that all part numbers are of, where they are of one.
    fn only_component(&self) -> Option<&str> {
        let register = self.register?;
        let column = self.column(self.guesses.key("part")?.column);
        let mut only: Option<&str> = None;
        for (number, _) in &column.values {
            let part = register.part(number)?;
            if only.is_some_and(|id| id != part.component) {
                return None;
            }
            only = Some(&part.component);
        }
        only
    }

    /// Measurements one below the other: what, how much, in which unit.
    fn measured_in_rows(&self) -> String {
        let mut block = Block::default();
        block.line("[[entry]]", "");
        block.line(
            "entry = \"measured\"",
            "a column says which quantity a value is of",
        );
        self.key_or_gap(&mut block, "component", &["component"]);
        self.key_or_gap(&mut block, "position", &["position"]);
        self.key_or_gap(&mut block, "quantity", &["quantity"]);
        self.key_or_gap(&mut block, "value", &["value"]);
        self.key_or_gap(&mut block, "unit", &["unit"]);
        block.line(
            "# zone = { column = \"…\" }",
            "where plant.toml measures it in zones",
        );
        block.text()
    }

    fn measured(&self, measure: &Measure) -> String {
        let mut block = Block::default();
        let column = self.column(measure.column);
        block.line("[[entry]]", "");
        block.line(
            "entry = \"measured\"",
            "a column of numbers with a unit in its heading",
        );
        let when = format!("when = {{ column = {}, empty = false }}", column.name());
        block.line(when, "not every row need have one");
        let stated = |block: &mut Block, key: &str, value: &Option<String>, why: &str| match value {
            Some(value) => block.line(format!("{key} = {}", quoted(value)), why),
            None => block.line(format!("# {key} = \"…\""), "needed: as plant.toml calls it"),
        };
        stated(&mut block, "component", &measure.component, "its heading");
        self.key_or_gap(&mut block, "position", &["position"]);
        stated(
            &mut block,
            "quantity",
            &measure.quantity,
            "CHECK: it has that unit",
        );
        block.line(format!("value = {{ column = {} }}", column.name()), "");
        block.line(format!("unit = {}", quoted(&measure.unit)), "its heading");
        match self.zone(measure) {
            Some(zone) => block.line(
                format!("zone = {}", quoted(zone)),
                "the register has no other",
            ),
            None => block.line("# zone = \"…\"", "where plant.toml measures it in zones"),
        }
        block.line(
            "# new_value = 0.0",
            "the same on a new part, for limits on the loss",
        );
        block.text()
    }

    /// The one zone in which the register measures it.
    fn zone(&self, measure: &Measure) -> Option<&str> {
        let all = self.register?.measurements.iter().filter(|m| {
            Some(&m.component) == measure.component.as_ref()
                && Some(&m.quantity) == measure.quantity.as_ref()
        });
        let zones: Vec<Option<&str>> = all.map(|m| m.zone.as_deref()).collect();
        match zones[..] {
            [zone] => zone,
            _ => None,
        }
    }

    fn expense(&self) -> String {
        let mut block = Block::default();
        block.line("[[entry]]", "");
        block.line("entry = \"expense\"", "a column looks like money");
        self.key_or_gap(&mut block, "cost", &["cost"]);
        self.key_or_gap(&mut block, "what", &["note"]);
        block.text()
    }
}

fn same(reason: &Guess, why: &str) -> Guess {
    Guess {
        key: reason.key,
        column: reason.column,
        why: why.to_owned(),
        table: true,
        split: None,
    }
}
