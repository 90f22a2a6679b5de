//! The numbers of a motor file, made again and compared.

use super::inputs::{CheckedInput, State};
use crate::bench::{BenchError, LoadOptions, read_sheet};
use crate::fit::FitOptions;
use crate::identify::{IdentifyError, identify};
use crate::motor_file::{MotorFile, SHEET_ROLE};
use serde_json::{Value, json};

/// How far numbers made again may lie from the written ones.
///
/// On one machine, with one build of the program, they are the same to the last bit. Elsewhere the elementary functions
/// of the system differ in their last digits and the solver ends a little beside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rounding {
    /// A value and the ends of its interval, in standard uncertainties of the written file.
    pub of_values: f64,
    /// A standard uncertainty, relative to the written one.
    pub of_uncertainties: f64,
}

impl Default for Rounding {
    fn default() -> Self {
        Rounding {
            of_values: 0.01,
            of_uncertainties: 0.01,
        }
    }
}

/// Why nothing could be compared.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NotReproduced {
    /// The file names no bench sheet.
    #[error(
        "the file names no bench sheet: it was made from captures named by flags, which it does not hold. Its inputs can be checked, its numbers cannot; write a sheet (`rundown sheet DIR`) and fit from it"
    )]
    NoSheet,
    /// An input has changed.
    #[error("not every input is there unchanged")]
    Inputs,
    /// The sheet cannot be read.
    #[error(transparent)]
    Sheet(#[from] BenchError),
    /// The captures cannot be fitted.
    #[error(transparent)]
    Fit(#[from] IdentifyError),
}

/// One number that is not reproduced.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Difference {
    /// E.g. `rotor_inertia.value`.
    pub what: String,
    /// As the file has it.
    pub written: String,
    /// As it comes out now.
    pub found: String,
}

/// The comparison.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Comparison {
    /// Numbers compared.
    pub numbers: usize,
    /// All parameters and their covariance are the same to the last bit.
    pub to_the_last_bit: bool,
    /// Largest difference of a value or an end of its interval, in standard uncertainties.
    pub largest_of_values: f64,
    /// Largest relative difference of a standard uncertainty.
    pub largest_of_uncertainties: f64,
    /// What lies beyond the rounding.
    pub differences: Vec<Difference>,
}

/// Fits the sheet among the checked inputs again and compares. The level is that of the file.
///
/// # Errors
/// [`NotReproduced`].
pub fn reproduce(
    file: &MotorFile,
    inputs: &[CheckedInput],
    allow_outside: bool,
    rounding: Rounding,
) -> Result<Comparison, NotReproduced> {
    let sheet = inputs
        .iter()
        .find(|checked| checked.input.role.as_deref() == Some(SHEET_ROLE))
        .ok_or(NotReproduced::NoSheet)?;
    if inputs
        .iter()
        .any(|checked| checked.state != State::Unchanged)
    {
        return Err(NotReproduced::Inputs);
    }
    let bench = read_sheet(&sheet.path, &LoadOptions { allow_outside })?;
    // The sheet names its captures itself: they must be those that were hashed.
    let as_written = |k: usize, sha256: &str| {
        inputs
            .iter()
            .filter(|checked| !std::ptr::eq(*checked, sheet))
            .nth(k)
            .is_some_and(|checked| checked.input.sha256 == sha256)
    };
    let named: Vec<&str> = bench.files().map(|(_, sha256, _)| sha256).collect();
    let all_there = named.len() + 1 == inputs.len();
    if !all_there
        || !named
            .iter()
            .enumerate()
            .all(|(k, sha256)| as_written(k, sha256))
    {
        return Err(NotReproduced::Inputs);
    }
    let level = file.parameters.values().find_map(|p| p.level);
    let options = FitOptions {
        level: level.unwrap_or(FitOptions::default().level),
        ..FitOptions::default()
    };
    let found = identify(&bench, &options, |_| {})?;
    Ok(compare(file, &found.file, rounding))
}

/// Holds the numbers of `found` against those of `written`.
pub fn compare(written: &MotorFile, found: &MotorFile, rounding: Rounding) -> Comparison {
    let mut comparison = Comparison {
        to_the_last_bit: written.parameters == found.parameters
            && written.covariance == found.covariance
            && written.distribution == found.distribution
            && written.model == found.model
            && written.operating == found.operating
            && written.thermal == found.thermal,
        ..Comparison::default()
    };
    for (head, part) in PARTS {
        comparison.part(head, &part(written), &part(found), rounding);
    }
    comparison
}

/// A part of a file, and how the places in it begin.
type Part = (&'static str, fn(&MotorFile) -> Value);

const PARTS: [Part; 4] = [
    ("", |file| json!(file.parameters)),
    ("model.", |file| json!(file.model)),
    ("thermal.", |file| {
        json!(file.thermal.as_ref().map(|thermal| &thermal.parameters))
    }),
    ("operating.", |file| json!(file.operating)),
];

/// Whether a file still holds what was written: its content against the hash in it. A file without one was not written by a fit, or the
/// hash was taken out.
pub fn is_as_written(file: &MotorFile) -> bool {
    file.content_sha256.as_ref() == Some(&file.content_sha256())
}

impl Comparison {
    /// True when every number lies within the rounding.
    pub fn is_ok(&self) -> bool {
        self.differences.is_empty()
    }

    /// Two parts of the files: numbers in standard uncertainties of the written one, and how they are known.
    fn part(&mut self, head: &str, written: &Value, found: &Value, rounding: Rounding) {
        let keys = |part: &'_ Value| {
            part.as_object()
                .map_or(Vec::new(), |p| p.keys().cloned().collect())
        };
        let new = keys(found)
            .into_iter()
            .filter(|key| written.get(key).is_none());
        let scale = written["standard_uncertainty"].as_f64();
        for key in keys(written).into_iter().chain(new) {
            let (one, other) = (&written[&key], &found[&key]);
            let place = format!("{head}{key}");
            match key.as_str() {
                "budget" => {}
                "value" | "lower" | "upper" => {
                    let apart = self.apart(one, other, scale);
                    self.largest_of_values = self.largest_of_values.max(apart);
                    self.note(apart > rounding.of_values, place, one, other);
                }
                "standard_uncertainty" => {
                    let apart = self.apart(one, other, scale);
                    self.largest_of_uncertainties = self.largest_of_uncertainties.max(apart);
                    self.note(apart > rounding.of_uncertainties, place, one, other);
                }
                "status" | "one_sided" => self.note(one != other, place, one, other),
                _ if one.is_object() && other.is_object() => {
                    self.part(&format!("{place}."), one, other, rounding);
                }
                _ => self.note(one.is_object() != other.is_object(), place, one, other),
            }
        }
    }

    /// How far two numbers lie apart, in units of `scale`; infinite when only one is there or nothing scales them.
    fn apart(&mut self, written: &Value, found: &Value, scale: Option<f64>) -> f64 {
        let (Some(written), Some(found)) = (written.as_f64(), found.as_f64()) else {
            return f64::INFINITY;
        };
        self.numbers += 1;
        let apart = (written - found).abs();
        match scale {
            _ if apart == 0.0 => 0.0,
            Some(scale) if scale > 0.0 && apart.is_finite() => apart / scale,
            _ => f64::INFINITY,
        }
    }

    fn note(&mut self, differs: bool, what: String, written: &Value, found: &Value) {
        let words = |value: &Value| match value {
            Value::Null => "absent".to_owned(),
            Value::Object(_) => "there".to_owned(),
            Value::String(text) => text.replace('_', " "),
            other => other.to_string(),
        };
        if differs {
            self.differences.push(Difference {
                what,
                written: words(written),
                found: words(found),
            });
        }
    }
}
