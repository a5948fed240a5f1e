//! A comparison as tables for reading.
//!
//! In: a [`CompareView`]. Out: text, rounded, with units and notes. Never: statistics.

use super::compare::CompareView;
use super::table::{Align, Notes, Table, figure, figure_or_dash, p_or_dash, percent};

impl CompareView {
    /// Rounded: groups, models, tests, and what it comes to; notes beneath.
    pub fn table(&self) -> String {
        let mut notes = Notes::default();
        let mut text = self.groups_table(&mut notes);
        text.push('\n');
        text.push_str(&self.models_table(&mut notes));
        text.push('\n');
        text.push_str(&self.tests_table());
        text.push('\n');
        for line in &self.verdict {
            text.push_str(line);
            text.push('\n');
        }
        if let (Some(planned), Some(failed)) = (&self.planned_cost, &self.failed_cost)
            && !self.worth.is_empty()
        {
            text.push_str(&format!(
                "costs: planned {} ({}), failed {} ({})\n",
                self.amount(planned.value),
                planned.from,
                self.amount(failed.value),
                failed.from,
            ));
        }
        text.push_str(&format!(
            "\nWeibull by maximum likelihood; limits of ratios: {}, {} two-sided.\n",
            self.limits.kind,
            percent(self.limits.confidence),
        ));
        let about: Vec<String> = self
            .life_ratios
            .iter()
            .flat_map(|ratio| ratio.notes.iter().cloned())
            .chain(self.notes.iter().cloned())
            .collect();
        notes.marks(&about);
        text.push_str(&notes.text());
        text
    }

    fn groups_table(&self, notes: &mut Notes) -> String {
        let mut table = Table::new([
            (self.by.as_str(), Align::Left),
            ("lives", Align::Right),
            ("failed", Align::Right),
            ("windows", Align::Right),
            ("cut short", Align::Right),
            ("scale, common shape", Align::Right),
            ("own shape", Align::Right),
            ("own scale", Align::Right),
            ("unit", Align::Left),
            ("", Align::Left),
        ]);
        for group in &self.groups {
            let mut row = vec![group.group.clone()];
            let counts = [
                group.lives,
                group.failures,
                group.intervals,
                group.suspensions,
            ];
            row.extend(counts.map(|n| n.to_string()));
            row.push(figure_or_dash(group.common_shape.map(|l| l.scale), 4));
            row.push(figure_or_dash(group.separate.map(|l| l.shape), 3));
            row.push(figure_or_dash(group.separate.map(|l| l.scale), 4));
            row.push(self.unit.clone());
            row.push(notes.marks(&group.notes));
            table.row(row);
        }
        table.text()
    }

    fn models_table(&self, notes: &mut Notes) -> String {
        let mut table = Table::new([
            ("model", Align::Left),
            ("parameters", Align::Right),
            ("ln likelihood", Align::Right),
            ("AICc", Align::Right),
            ("", Align::Left),
            ("", Align::Left),
        ]);
        let fixed = |value: Option<f64>| value.map_or_else(|| "–".into(), |v| format!("{v:.2}"));
        for model in &self.models {
            let shape = match model.name {
                "pooled" => self.groups.first().and_then(|g| g.pooled).map(|l| l.shape),
                "common-shape" => self.common_shape,
                _ => None,
            };
            let name = match shape {
                Some(shape) => format!("{}, shape {}", model.name, figure(shape, 3)),
                None => model.name.to_owned(),
            };
            table.row([
                name,
                model.parameters.to_string(),
                fixed(model.log_likelihood),
                fixed(model.aicc),
                if model.chosen {
                    "kept".into()
                } else {
                    String::new()
                },
                notes.marks(&model.notes),
            ]);
        }
        table.text()
    }

    fn tests_table(&self) -> String {
        let mut table = Table::new([
            ("test", Align::Left),
            ("chi-square", Align::Right),
            ("degrees of freedom", Align::Right),
            ("p", Align::Right),
        ]);
        for test in &self.tests {
            table.row([
                test.name.to_owned(),
                figure_or_dash(test.statistic, 3),
                test.df.to_string(),
                p_or_dash(test.p),
            ]);
        }
        table.text()
    }
}
