//! Reads what a ledger has of its own for its pages: templates, styles, a logo, a language.
//!
//! In: a ledger. Out: [`Dress`]; the language is spoken from then on. Never: setting pages.

use std::io::Read;
use std::path::Path;

use super::{CommandError, Fault, Ui};
use crate::quantity::language::speak;
use crate::quantity::nearest;
use crate::quantity::text::utf8;
use crate::quantity::trouble::{Place, Severity, Trouble, shown};
use crate::report::ReportError;
use crate::report::dress::{BUILT_IN, Dress, LARGEST_LOGO, picture};
use crate::store::Ledger;

/// Where a ledger keeps its own templates.
const FOLDER: &str = "reports";

/// Largest template: far more than any page needs, and no trap for the memory.
const LARGEST: u64 = 2_000_000;

/// Reads the ledger's own templates and logo, tells of files that are none, and lets the process
/// speak its language.
pub(super) fn dress(ledger: &Ledger, ui: &mut Ui) -> Result<Dress, CommandError> {
    let looks = &ledger.register.looks;
    if let Some(language) = &looks.language {
        speak(language.clone());
    }
    let mut dress = Dress {
        paper: looks.paper,
        ..Dress::default()
    };
    for (name, path) in pages(&ledger.folder)? {
        if !BUILT_IN.iter().any(|(known, _)| *known == name) {
            ui.trouble(&no_template(&path, &name));
            continue;
        }
        let bytes = read(&path, LARGEST)?;
        let text = utf8(&bytes).map_err(|line| {
            let place = Place {
                file: shown(&path),
                line: Some(line),
                ..Place::default()
            };
            let trouble = Trouble::error("template-not-utf8", "not UTF-8 text")
                .placed(place)
                .cured_by("save the file as UTF-8");
            CommandError::new(Fault::Data, trouble)
        })?;
        dress.own.push((name, text.to_owned()));
    }
    if let Some(logo) = &looks.logo {
        let path = ledger.folder.join(logo);
        if !path.is_file() {
            let trouble = Trouble::error("logo", "is to be the logo, and is no file")
                .in_file(shown(&path))
                .cured_by("put it there, or mend logo in plant.toml, [report]");
            return Err(CommandError::new(Fault::Data, trouble));
        }
        let bytes = read(&path, LARGEST_LOGO as u64 + 1)?;
        dress.logo = Some(picture(&bytes).map_err(|error| {
            let trouble = Trouble::error("logo", format!("cannot be the logo: {error}"))
                .in_file(shown(&path))
                .cured_by("use a smaller SVG, PNG or JPEG file (logo in plant.toml, [report])");
            CommandError::new(Fault::Data, trouble)
        })?);
    }
    Ok(dress)
}

/// Templates and styles in the ledger's folder for them, by name.
fn pages(ledger: &Path) -> Result<Vec<(String, std::path::PathBuf)>, CommandError> {
    let folder = ledger.join(FOLDER);
    let listed = match std::fs::read_dir(&folder) {
        Ok(listed) => listed,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(CommandError::io(&folder, "read", &error)),
    };
    let mut found = Vec::new();
    for entry in listed {
        let entry = entry.map_err(|e| CommandError::io(&folder, "read", &e))?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.ends_with(".html") || name.ends_with(".css") {
            found.push((name, entry.path()));
        }
    }
    found.sort();
    Ok(found)
}

fn read(path: &Path, most: u64) -> Result<Vec<u8>, CommandError> {
    let io = |error: std::io::Error| CommandError::io(path, "read", &error);
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(io)?;
    file.take(most).read_to_end(&mut bytes).map_err(io)?;
    Ok(bytes)
}

fn no_template(path: &Path, name: &str) -> Trouble {
    let names = BUILT_IN.iter().map(|(name, _)| *name);
    let trouble = Trouble::error("unknown-template", "no page has a template of this name")
        .with_severity(Severity::Warning)
        .in_file(shown(path));
    match nearest(name, names) {
        Some(near) => trouble.cured_by(format!("did you mean {near}?")),
        None => trouble.cured_by("see which there are: wearbook report --templates FOLDER"),
    }
}

/// What is wrong with a page that cannot be set: the plant's own template, or a fault of ours.
pub(super) fn cannot_set(error: &ReportError, dress: &Dress, ledger: &Ledger) -> CommandError {
    match error {
        ReportError::Template { name, line, what } if dress.is_own(name) => {
            let place = Place {
                file: shown(&ledger.folder.join(FOLDER).join(name)),
                line: *line,
                ..Place::default()
            };
            let trouble = Trouble::error("bad-template", what.clone())
                .placed(place)
                .because("The ledger has its own template of this name, and it cannot be set.")
                .cured_by("mend it, or remove it for the one built in")
                .cured_by("the built-in ones, to compare: wearbook report --templates FOLDER");
            CommandError::new(Fault::Data, trouble)
        }
        other => CommandError::new(Fault::NoAnswer, Trouble::error("report", other.to_string())),
    }
}
