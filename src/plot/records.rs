//! The records behind a motor file: found through its inputs, known by their SHA-256, and fitted again so that model and residuals
//! can be drawn.
//!
//! A motor file holds no records and not all that was fitted beside the motor. Its inputs name the bench sheet, and the sheet
//! names the captures; a fit of the same files by the same program gives the same motor file. What cannot be found, or has
//! changed since, is left out and warnings; without all of it the rest is drawn without a model.

use crate::bench::{Bench, LoadOptions, read_sheet_of};
use crate::events::Timeline;
use crate::files::{folder_of, sha256};
use crate::fit::{Estimate, FitOptions, estimate};
use crate::identify::find_events;
use crate::motor_file::{Input, MotorFile, SHEET_ROLE, assemble};
use crate::verify::{Rounding, Search, State, check_inputs, compare};
use std::path::{Path, PathBuf};

/// What was found.
pub struct Records {
    /// The bench.
    pub bench: Bench,
    /// In the order of the bench's captures.
    pub timelines: Vec<Timeline>,
    /// Where all inputs are there and unchanged.
    pub estimate: Option<Estimate>,
}

/// Looks for the records of a motor file that lies at `path`; `sheet` names the bench sheet where it has been moved.
///
/// Returns them, or `None`, and in words what was left out and why.
pub fn find(
    file: &MotorFile,
    path: &Path,
    sheet: Option<&Path>,
    options: LoadOptions,
) -> (Option<Records>, Vec<String>) {
    let sheet = match sheet_of(file, path, sheet, options.allow_outside) {
        Ok(sheet) => sheet,
        Err(why) => return (None, vec![why]),
    };
    let mut warnings = Vec::new();
    let known: Vec<&str> = file.inputs.iter().map(|i| i.sha256.as_str()).collect();
    let missing = std::sync::Mutex::new(Vec::new());
    let keep = |capture: &Path| match sha256(capture) {
        Ok(sum) if known.contains(&sum.as_str()) => true,
        other => {
            let why = match other {
                Ok(_) => "has changed since the fit".to_owned(),
                Err(error) => format!("cannot be read ({error})"),
            };
            if let Ok(mut missing) = missing.lock() {
                missing.push(format!("{}: {why}; it is left out", capture.display()));
            }
            false
        }
    };
    let bench = match read_sheet_of(&sheet, &options, &keep) {
        Ok(bench) => bench,
        Err(error) => {
            warnings.push(format!(
                "captures and ripple are left out: the bench sheet could not be read again: {error}"
            ));
            return (None, warnings);
        }
    };
    let missing = missing.into_inner().unwrap_or_default();
    let complete = missing.is_empty();
    warnings.extend(missing);
    let timelines = find_events(&bench);
    let estimate = if complete {
        fit_again(file, &bench, &timelines, &mut warnings)
    } else {
        warnings.push("the fit cannot be made again without all of its captures, so the others are drawn without model, residuals and ripple".to_owned());
        None
    };
    let records = Records {
        bench,
        timelines,
        estimate,
    };
    (Some(records), warnings)
}

/// The sheet that a motor file was made from, unchanged; else why there is none.
fn sheet_of(
    file: &MotorFile,
    path: &Path,
    given: Option<&Path>,
    allow_outside: bool,
) -> Result<PathBuf, String> {
    let is_sheet = |input: &&Input| input.role.as_deref() == Some(SHEET_ROLE);
    let input = file.inputs.iter().find(is_sheet).ok_or("the motor file names no bench sheet (it was made from flags), so the scales of its captures are not on record; captures and ripple are left out. A fit from a bench sheet, e.g. one drafted by `rundown sheet`, would show them")?;
    let looked_for = |folder| {
        let search = Search {
            folder,
            allow_outside,
        };
        let checked = check_inputs(path, file, &search);
        checked.into_iter().find(|c| is_sheet(&&c.input))
    };
    let places: Vec<PathBuf> = match given {
        Some(given) => vec![given.to_owned()],
        None => [None, Some(folder_of(path).to_owned())]
            .into_iter()
            .filter_map(looked_for)
            .filter(|c| matches!(c.state, State::Unchanged | State::Changed(_)))
            .map(|c| c.path)
            .collect(),
    };
    let is_it = |place: &&PathBuf| sha256(place).is_ok_and(|sum| sum == input.sha256);
    if let Some(place) = places.iter().find(is_it) {
        return Ok(place.clone());
    }
    Err(match places.iter().find(|place| place.is_file()) {
        Some(place) => format!(
            "{}: not the bench sheet of this motor file (its SHA-256 differs), so captures and ripple are left out; fit again to draw them",
            place.display()
        ),
        None => format!(
            "the bench sheet {} was not found in this folder or beside the motor file, so captures and ripple are left out; name it with --bench, or pass --allow-outside if it is elsewhere",
            input.path
        ),
    })
}

fn fit_again(
    file: &MotorFile,
    bench: &Bench,
    timelines: &[Timeline],
    warnings: &mut Vec<String>,
) -> Option<Estimate> {
    let options = FitOptions {
        level: crate::report::level(file),
        ..FitOptions::default()
    };
    match estimate(bench, timelines, &options) {
        Ok(estimate) => {
            let again = assemble(bench, timelines, &estimate);
            let comparison = compare(file, &again, Rounding::default());
            if !comparison.is_ok() {
                warnings.push(format!(
                    "fitted again by this version of the program, the captures give values that differ from the file's by up to {:.2} standard uncertainties (the file was written by version {}); models and residuals drawn are those of the new fit",
                    comparison.largest_of_values, file.program.version
                ));
            }
            Some(estimate)
        }
        Err(error) => {
            warnings.push(format!(
                "the captures could not be fitted again ({error}), so they are drawn without model, residuals and ripple"
            ));
            None
        }
    }
}
