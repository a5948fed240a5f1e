//! Questions on a terminal for what the flags left out.

use dialoguer::{Input, Select};

use super::args::Keys;
use crate::book::{Finding, Found, JobKind, Reason};
use crate::command::CommandError;
use crate::register::Register;

/// Asks for one key that an entry lacks, with what the register knows as choices.
///
/// Errors: the question was left unanswered.
pub fn ask(keys: &mut Keys, key: &'static str, register: &Register) -> Result<(), CommandError> {
    let answer = match choices(keys, key, register) {
        Some(choices) if choices.len() == 1 => choices.into_iter().next(),
        Some(choices) if !choices.is_empty() => {
            let chosen = Select::new()
                .with_prompt(question(key))
                .items(&choices)
                .default(0)
                .interact_opt()
                .map_err(unanswered)?;
            chosen.and_then(|i| choices.into_iter().nth(i))
        }
        _ => Some(
            Input::<String>::new()
                .with_prompt(question(key))
                .interact_text()
                .map_err(unanswered)?,
        ),
    };
    let Some(answer) = answer else {
        return Err(given_up());
    };
    keys.set(key, &answer);
    Ok(())
}

/// Asks for the failure mode where the item failed and none was given.
pub fn ask_mode(keys: &mut Keys, register: &Register) -> Result<(), CommandError> {
    let bad = |key| matches!(keys.get(key).as_deref(), Some("failed" | "worn"));
    if keys.get("mode").is_some() || !(bad("reason") || bad("finding")) {
        return Ok(());
    }
    let component = keys.get("component").unwrap_or_default();
    let Some(component) = register.component(&component) else {
        return Ok(());
    };
    let mut choices = component.modes.clone();
    choices.push("(not known)".to_owned());
    let chosen = Select::new()
        .with_prompt("Failure mode")
        .items(&choices)
        .default(0)
        .interact_opt()
        .map_err(unanswered)?
        .ok_or_else(given_up)?;
    if let Some(mode) = component.modes.get(chosen) {
        keys.set("mode", mode);
    }
    Ok(())
}

fn unanswered(_: dialoguer::Error) -> CommandError {
    given_up()
}

fn given_up() -> CommandError {
    CommandError::wrong_use(
        "nothing was recorded: a question was left unanswered",
        "answer it, or give the flags",
    )
}

/// What a key may say, where words or the register settle it.
pub fn choices(keys: &Keys, key: &str, register: &Register) -> Option<Vec<String>> {
    let words = |all: &[&str]| Some(all.iter().map(|word| (*word).to_owned()).collect());
    let machine = keys.get("machine").unwrap_or_default();
    let component = keys.get("component").unwrap_or_default();
    let mut names: Vec<String> = match key {
        "machine" => register.machines.iter().map(|m| m.tag.clone()).collect(),
        "meter" => register.usages.iter().map(|u| u.id.clone()).collect(),
        "component" => register
            .slots(&machine)
            .map(|slot| slot.component.to_owned())
            .collect(),
        "position" => register
            .slots(&machine)
            .filter(|slot| slot.component == component)
            .map(|slot| slot.position.to_owned())
            .collect(),
        "quantity" => register
            .measurements
            .iter()
            .filter(|m| m.component == component)
            .map(|m| m.quantity.clone())
            .collect(),
        "reason" => return words(Reason::WORDS),
        "found" => return words(Found::WORDS),
        "finding" => return words(Finding::WORDS),
        "kind" => return words(JobKind::WORDS),
        _ => return None,
    };
    let mut seen = std::collections::HashSet::new();
    names.retain(|name| seen.insert(name.clone()));
    Some(names)
}

fn question(key: &str) -> &'static str {
    match key {
        "machine" => "Machine",
        "meter" => "Meter",
        "value" => "Reading",
        "component" => "Component",
        "position" => "Position",
        "quantity" => "Quantity",
        "unit" => "Unit",
        "reason" => "Why was it taken out",
        "found" => "How did it come to light",
        "finding" => "What was found",
        "job" => "Id of the job",
        "start" => "Began (2026-03-01 14:30, plant time)",
        "stop" => "Done (2026-03-01 16:00, plant time)",
        "kind" => "Kind of job",
        "labour_h" => "Hours of labour, all people together",
        "downtime_h" => "Production hours lost",
        "cost" => "Cost",
        "what" => "For what",
        "who" => "Who records it",
        _ => "Value",
    }
}
