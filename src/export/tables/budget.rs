//! The uncertainty budget as CSV: source, estimate, standard uncertainty, distribution, sensitivity, contribution, degrees of freedom, certificate.

use super::columns::{number, text};
use super::table;
use crate::bench::ErrorDistribution;
use crate::export::ExportError;
use crate::motor_file::{MotorFile, budget_lines};
use polars::prelude::*;

/// The table, SI units. Cells that a source does not have are empty; without degrees of freedom they are infinite.
///
/// # Errors
/// What the writer of tables refuses.
pub fn csv(file: &MotorFile) -> Result<Vec<u8>, ExportError> {
    let lines = budget_lines(file);
    let of = |p: crate::motor_file::ParameterName| file.parameters.get(&p);
    let certificates: Vec<_> = lines
        .iter()
        .map(|l| l.certificate.as_ref().map(ToString::to_string))
        .collect();
    let all = vec![
        text("parameter", lines.iter().map(|l| Some(l.parameter.key()))),
        number("value", lines.iter().map(|l| of(l.parameter)?.value)),
        text("unit", lines.iter().map(|l| Some(l.parameter.ucum()))),
        number(
            "combined_standard_uncertainty",
            lines.iter().map(|l| of(l.parameter)?.standard_uncertainty),
        ),
        text("source", lines.iter().map(|l| Some(l.source.as_str()))),
        number("estimate", lines.iter().map(|l| l.estimate)),
        number(
            "standard_uncertainty",
            lines.iter().map(|l| l.standard_uncertainty),
        ),
        text("source_unit", lines.iter().map(|l| l.unit.as_deref())),
        text(
            "distribution",
            lines
                .iter()
                .map(|l| l.distribution.map(ErrorDistribution::label)),
        ),
        number("sensitivity", lines.iter().map(|l| l.sensitivity)),
        number("contribution", lines.iter().map(|l| Some(l.contribution))),
        number(
            "degrees_of_freedom",
            lines.iter().map(|l| l.degrees_of_freedom),
        ),
        text("certificate", certificates.iter().map(Option::as_deref)),
    ];
    Ok(table::csv(&DataFrame::new(lines.len(), all)?)?)
}
