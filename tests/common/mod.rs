//! Reads the reference cases and judges answers by their stated tolerances.
#![allow(dead_code)] // each test crate uses its own part

use std::path::PathBuf;

pub mod coverage;
pub mod fleets;
pub mod naive;
pub mod quadrature;
pub mod study;
pub mod wear;

use serde::Deserialize;
use wearbook::life::{End, Life, Sample};

#[derive(Debug, Deserialize)]
pub struct Case {
    pub id: String,
    pub topic: String,
    pub source: String,
    pub data: serde_json::Value,
    pub expect: Vec<Expected>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct Expected {
    pub quantity: String,
    pub value: serde_json::Value,
    pub rel_tol: f64,
    pub abs_tol: Option<f64>,
    pub origin: String,
    pub note: Option<String>,
}

impl Expected {
    /// Fails with source and origin where the answer does not agree.
    pub fn judge(&self, case: &Case, got: f64) {
        let want = self
            .value
            .as_f64()
            .unwrap_or_else(|| panic!("{}: not a number", self.quantity));
        let miss = (got - want).abs();
        let fine = miss <= self.rel_tol * want.abs() || self.abs_tol.is_some_and(|t| miss <= t);
        assert!(
            fine,
            "{}: {} is {got}, should be {want} (miss {miss:e}, relative {:e}, allowed {:e})\n  source: {}\n  origin: {}",
            case.id,
            self.quantity,
            miss / want.abs(),
            self.rel_tol,
            case.source,
            self.origin,
        );
    }
}

impl Case {
    pub fn has_lives(&self) -> bool {
        self.data.get("lives").is_some()
    }

    pub fn expected(&self, quantity: &str) -> Option<&Expected> {
        self.expect.iter().find(|e| e.quantity == quantity)
    }
}

/// All cases of a topic, by file name.
pub fn cases(topic: &str) -> Vec<Case> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    files.sort();
    let cases: Vec<Case> = files
        .iter()
        .map(|path| serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap())
        .filter(|case: &Case| case.topic == topic)
        .collect();
    assert!(!cases.is_empty(), "no reference case for {topic}");
    cases
}

pub fn lives_of(case: &Case) -> Vec<Life> {
    lives_in(&case.id, &case.data["lives"])
}

/// The lives in a list; `id` names the case where one cannot be read.
pub fn lives_in(id: &str, list: &serde_json::Value) -> Vec<Life> {
    list.as_array()
        .unwrap()
        .iter()
        .map(|life| {
            let number = |key: &str| life[key].as_f64();
            let end = match (
                life["outcome"].as_str().unwrap(),
                number("lo"),
                number("hi"),
            ) {
                ("failure", Some(at), _) => End::Failure { at },
                ("suspension", Some(at), _) => End::Suspension { at },
                ("interval", Some(lo), Some(hi)) => End::Interval { lo, hi },
                ("left", _, Some(hi)) => End::Left { hi },
                other => panic!("{id}: {other:?}"),
            };
            Life {
                entry: number("entry").unwrap_or(0.0),
                end,
                count: life["count"].as_u64().unwrap_or(1) as u32,
            }
        })
        .collect()
}

pub fn sample_of(case: &Case) -> Sample {
    Sample::new(lives_of(case)).unwrap()
}
