//! The numbers of a motor file, made again and compared.

use super::inputs::{CheckedInput, State};
use crate::bench::{BenchError, LoadOptions, read_sheet};
use crate::fit::FitOptions;
use crate::identify::{IdentifyError, identify};
use crate::motor_file::{
    ModelTerms, MotorFile, OperatingPoint, Parameter, ParameterName, SHEET_ROLE, Term,
};

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
    let captures = bench.captures.iter().flat_map(|capture| {
        let further = capture.further_files.iter().map(|(_, sha256)| sha256);
        std::iter::once(&capture.sha256).chain(further)
    });
    let heat = bench
        .heat
        .iter()
        .filter_map(|record| Some(&record.file.as_ref()?.1));
    let tables = bench
        .tables
        .iter()
        .filter_map(|table| Some(&table.file.as_ref()?.1));
    let named: Vec<&String> = captures.chain(heat).chain(tables).collect();
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
    for name in ParameterName::ALL {
        match (written.parameters.get(&name), found.parameters.get(&name)) {
            (None, None) => {}
            (Some(written), Some(found)) => {
                comparison.parameter(name, written, found, rounding);
            }
            (written, _) => {
                let words = |there: bool| if there { "there" } else { "absent" }.to_owned();
                comparison.differences.push(Difference {
                    what: name.key().to_owned(),
                    written: words(written.is_some()),
                    found: words(written.is_none()),
                });
            }
        }
    }
    comparison.model(written, found, rounding);
    comparison.thermal(written, found);
    comparison.operating(written, found, rounding);
    comparison
}

/// Whether a file still holds what was written: its content against the hash in it. A file without one was not written by a fit, or the
/// hash was taken out.
pub fn is_as_written(file: &MotorFile) -> bool {
    file.content_sha256.as_ref() == Some(&file.content_sha256())
}

impl Comparison {
    /// Thermal values, to a thousandth of their standard uncertainties.
    fn thermal(&mut self, written: &MotorFile, found: &MotorFile) {
        let each = |file: &MotorFile| {
            let parameters = file
                .thermal
                .iter()
                .flat_map(|thermal| thermal.parameters.clone());
            parameters.collect::<Vec<_>>()
        };
        let (written, found) = (each(written), each(found));
        if written.len() != found.len() {
            self.differences.push(Difference {
                what: "thermal model".to_owned(),
                written: format!("{} values", written.len()),
                found: format!("{} values", found.len()),
            });
        }
        for ((name, written), (_, found)) in written.iter().zip(&found) {
            self.numbers += 1;
            let near = match (written.value, found.value) {
                (Some(one), Some(other)) => {
                    (one - other).abs() <= 1e-3 * written.standard_uncertainty.unwrap_or(0.0)
                }
                (one, other) => one == other,
            };
            if !near || written.status != found.status {
                self.differences.push(Difference {
                    what: name.label()[1].to_owned(),
                    written: format!("{:?}", written.value),
                    found: format!("{:?}", found.value),
                });
            }
        }
    }

    /// True when every number lies within the rounding.
    pub fn is_ok(&self) -> bool {
        self.differences.is_empty()
    }

    fn parameter(
        &mut self,
        name: ParameterName,
        written: &Parameter,
        found: &Parameter,
        rounding: Rounding,
    ) {
        if written.status != found.status || written.one_sided != found.one_sided {
            self.differences.push(Difference {
                what: format!("{}.status", name.key()),
                written: written.status.label().to_owned(),
                found: found.status.label().to_owned(),
            });
        }
        let scale = written.standard_uncertainty;
        self.group(
            name.key(),
            scale,
            [
                ("value", written.value, found.value),
                ("lower", written.lower, found.lower),
                ("upper", written.upper, found.upper),
            ],
            (scale, found.standard_uncertainty),
            rounding,
        );
        let at = |p: &Parameter| {
            let at = p.at_25_c.as_ref();
            [
                at.map(|at| at.value),
                at.map(|at| at.lower),
                at.map(|at| at.upper),
                at.map(|at| at.standard_uncertainty),
            ]
        };
        let (written, found) = (at(written), at(found));
        self.group(
            &format!("{}.at_25_c", name.key()),
            written[3],
            [
                ("value", written[0], found[0]),
                ("lower", written[1], found[1]),
                ("upper", written[2], found[2]),
            ],
            (written[3], found[3]),
            rounding,
        );
    }

    fn model(&mut self, written: &MotorFile, found: &MotorFile, rounding: Rounding) {
        let terms = |file: &MotorFile| -> Vec<(&'static str, Term)> {
            file.model.iter().flat_map(ModelTerms::listed).collect()
        };
        let (written, found) = (terms(written), terms(found));
        let of = |terms: &[(&'static str, Term)], key| {
            terms.iter().find(|(k, _)| *k == key).map(|(_, term)| *term)
        };
        let mut keys: Vec<&str> = written.iter().chain(&found).map(|(key, _)| *key).collect();
        keys.sort_unstable();
        keys.dedup();
        for key in keys {
            let (written, found) = (of(&written, key), of(&found, key));
            let values = (written.map(|t| t.value), found.map(|t| t.value));
            let u = |term: Option<Term>| term.and_then(|t| t.standard_uncertainty);
            self.group(
                &format!("model.{key}"),
                u(written),
                [
                    ("value", values.0, values.1),
                    ("", None, None),
                    ("", None, None),
                ],
                (u(written), u(found)),
                rounding,
            );
        }
    }

    fn operating(&mut self, written: &MotorFile, found: &MotorFile, rounding: Rounding) {
        let points = |file: &MotorFile| {
            let points = file.operating.as_ref();
            [
                (
                    "no_load_speed",
                    points.and_then(|p| p.no_load_speed.clone()),
                ),
                (
                    "no_load_current",
                    points.and_then(|p| p.no_load_current.clone()),
                ),
                ("stall_torque", points.and_then(|p| p.stall_torque.clone())),
                (
                    "stall_current",
                    points.and_then(|p| p.stall_current.clone()),
                ),
            ]
        };
        for ((key, written), (_, found)) in points(written).into_iter().zip(points(found)) {
            let of = |number: fn(&OperatingPoint) -> f64| {
                (written.as_ref().map(number), found.as_ref().map(number))
            };
            let (value, lower, upper) = (of(|p| p.value), of(|p| p.lower), of(|p| p.upper));
            let uncertainty = of(|p| p.standard_uncertainty);
            self.group(
                &format!("operating.{key}"),
                uncertainty.0,
                [
                    ("value", value.0, value.1),
                    ("lower", lower.0, lower.1),
                    ("upper", upper.0, upper.1),
                ],
                uncertainty,
                rounding,
            );
        }
    }

    fn group(
        &mut self,
        what: &str,
        scale: Option<f64>,
        values: [(&str, Option<f64>, Option<f64>); 3],
        uncertainty: (Option<f64>, Option<f64>),
        rounding: Rounding,
    ) {
        for (key, written, found) in values {
            let apart = self.apart(written, found, scale);
            self.largest_of_values = self.largest_of_values.max(apart);
            if apart > rounding.of_values {
                self.note(format!("{what}.{key}"), written, found);
            }
        }
        let (written, found) = uncertainty;
        let apart = self.apart(written, found, written);
        self.largest_of_uncertainties = self.largest_of_uncertainties.max(apart);
        if apart > rounding.of_uncertainties {
            self.note(format!("{what}.standard_uncertainty"), written, found);
        }
    }

    /// How far two numbers lie apart, in units of `scale`; infinite when only one is there or nothing scales them.
    fn apart(&mut self, written: Option<f64>, found: Option<f64>, scale: Option<f64>) -> f64 {
        match (written, found) {
            (None, None) => 0.0,
            (Some(written), Some(found)) => {
                self.numbers += 1;
                let apart = (written - found).abs();
                match scale {
                    _ if apart == 0.0 => 0.0,
                    Some(scale) if scale > 0.0 && apart.is_finite() => apart / scale,
                    _ => f64::INFINITY,
                }
            }
            _ => f64::INFINITY,
        }
    }

    fn note(&mut self, what: String, written: Option<f64>, found: Option<f64>) {
        let words = |number: Option<f64>| number.map_or("absent".to_owned(), |n| n.to_string());
        self.differences.push(Difference {
            what,
            written: words(written),
            found: words(found),
        });
    }
}
