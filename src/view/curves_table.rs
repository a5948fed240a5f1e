//! Estimates without a model as tables for reading.
//!
//! In: a [`CurvesView`]. Out: a table an estimate, rounded, with units and notes.
//! Never: statistics.

use super::curves::{CurveKind, CurveView, CurvesView, Events};
use super::table::{Align, Notes, Table, figure, usage};
use crate::life::counted_lives;
use crate::quantity::counted;

impl CurveKind {
    fn words(self) -> &'static str {
        match self {
            CurveKind::KaplanMeier => "share surviving, product-limit estimate (Kaplan-Meier)",
            CurveKind::NelsonAalen => "cumulative hazard (Nelson-Aalen)",
            CurveKind::Turnbull => "share surviving, estimate from windows (Turnbull)",
            CurveKind::CumulativeIncidence => "share failed by mode (cumulative incidence)",
        }
    }

    fn column(self) -> &'static str {
        match self {
            CurveKind::KaplanMeier | CurveKind::Turnbull => "surviving",
            CurveKind::NelsonAalen => "cumulative hazard",
            CurveKind::CumulativeIncidence => "failed",
        }
    }
}

impl CurveView {
    /// `packing P1, machine H-02, mode leak: …`
    fn heading(&self) -> String {
        let mut who: Vec<String> = Vec::new();
        let slot = [&self.component, &self.position].map(|part| part.clone().unwrap_or_default());
        let slot = slot.join(" ").trim().to_owned();
        if !slot.is_empty() {
            who.push(slot);
        }
        for (word, value) in [("machine", &self.machine), ("group", &self.group)] {
            if let Some(value) = value {
                who.push(format!("{word} {value}"));
            }
        }
        match (&self.mode, self.kind) {
            (Some(mode), _) => who.push(format!("mode {mode}")),
            (None, CurveKind::CumulativeIncidence) if !self.steps.is_empty() => {
                who.push("mode not stated".into());
            }
            _ => {}
        }
        let mut counts = vec![
            counted_lives(self.lives),
            counted(self.failures, "failure", "failures"),
        ];
        if self.intervals > 0 {
            counts.push(counted(self.intervals, "interval", "intervals"));
        }
        counts.push(counted(self.suspensions, "suspension", "suspensions"));
        if self.excluded > 0 {
            counts.push(format!("{} more of no use to it", self.excluded));
        }
        let who = if who.is_empty() {
            String::new()
        } else {
            format!("{}: ", who.join(", "))
        };
        format!("{who}{}; {}", self.kind.words(), counts.join(", "))
    }

    fn table(&self) -> String {
        let share = self.kind != CurveKind::NelsonAalen;
        let value = |value: f64| {
            if share {
                format!("{:.1} %", 100.0 * value)
            } else {
                figure(value, 3)
            }
        };
        let turnbull = self.kind == CurveKind::Turnbull;
        let usage_heading = if self.unit.is_empty() {
            "usage".to_owned()
        } else {
            format!("usage ({})", self.unit)
        };
        // 0.9 is no whole number of per cent in binary.
        let level = (self.confidence * 1e8).round() / 1e6;
        let limits = format!("{level} % limits");
        let events = if turnbull {
            "failures expected"
        } else {
            "failures"
        };
        let mut headings = vec![(usage_heading.as_str(), Align::Right)];
        if !turnbull {
            headings.push(("at risk", Align::Right));
        }
        headings.push((events, Align::Right));
        headings.push((self.kind.column(), Align::Right));
        if !turnbull {
            headings.push((&limits, Align::Right));
        }
        let mut table = Table::new(headings);
        for step in &self.steps {
            let mut cells = vec![match step.from {
                Some(from) => format!("{} to {}", usage(from), usage(step.time)),
                None => usage(step.time),
            }];
            if !turnbull {
                cells.push(step.at_risk.map_or_else(String::new, |n| n.to_string()));
            }
            cells.push(match step.events {
                Events::Counted(_) => step.events.text(),
                Events::Expected(events) => figure(events, 3),
            });
            cells.push(value(step.estimate));
            if !turnbull {
                cells.push(match (step.lower, step.upper) {
                    (Some(lower), Some(upper)) => format!("{} to {}", value(lower), value(upper)),
                    _ => "–".into(),
                });
            }
            table.row(cells);
        }
        table.text()
    }
}

impl CurvesView {
    /// For reading: a table an estimate, notes beneath all of them.
    pub fn text(&self) -> String {
        let mut notes = Notes::default();
        let mut text = String::new();
        for curve in &self.curves {
            let marks = notes.marks(&curve.notes);
            let space = if marks.is_empty() { "" } else { " " };
            text.push_str(&format!("{}{space}{marks}\n", curve.heading()));
            if !curve.steps.is_empty() {
                text.push_str(&curve.table());
            }
            text.push('\n');
        }
        text.push_str(&notes.text());
        text
    }
}
