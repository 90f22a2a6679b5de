//! The table of the motors, a row each. Docs: docs/lot.md.

use super::row::Row;
use crate::export::columns::{ParameterColumns, count, number, text, thermal};
use crate::motor_file::{Fit, MotorFile, ParameterName};
use polars::prelude::*;

/// The table of these motors.
pub(super) fn table(rows: &[Row]) -> PolarsResult<DataFrame> {
    let files = || rows.iter().map(|row| row.file.as_ref());
    let mut columns = identity(rows);
    for name in ParameterName::ALL {
        let parameter = ParameterColumns::new(name, files());
        columns.push(parameter.value());
        columns.extend(parameter.uncertainty());
        columns.extend(parameter.at_25_c());
        columns.push(parameter.status());
    }
    columns.extend(thermal(files()));
    columns.extend(fit_health(rows));
    let program = |file: &MotorFile| format!("{} {}", file.program.name, file.program.version);
    columns.push(text("program", files().map(|file| file.map(program))));
    let fingerprints = rows.iter().map(|row| Some(&row.record.fingerprint));
    columns.push(text("fingerprint", fingerprints));
    DataFrame::new(rows.len(), columns)
}

/// Which motor it is and what became of it.
fn identity(rows: &[Row]) -> Vec<Column> {
    let records = || rows.iter().map(|row| &row.record);
    vec![
        count("row", rows.iter().map(|row| Some(row.entry.row))),
        text("motor", records().map(|record| Some(&record.motor))),
        text("source", records().map(|record| Some(&record.named))),
        number("order", rows.iter().map(|row| Some(row.entry.order()))),
        text(
            "outcome",
            records().map(|record| Some(record.outcome.words())),
        ),
        text("reason", records().map(|record| record.reason.as_ref())),
    ]
}

/// How each fit went.
fn fit_health(rows: &[Row]) -> Vec<Column> {
    let fits = || rows.iter().map(|row| Some(&row.file.as_ref()?.fit));
    let whole =
        |name: &str, of: &dyn Fn(&Fit) -> Option<u64>| count(name, fits().map(|fit| of(fit?)));
    let real =
        |name: &str, of: &dyn Fn(&Fit) -> Option<f64>| number(name, fits().map(|fit| of(fit?)));
    vec![
        whole("captures", &|fit| Some(fit.captures.len() as u64)),
        whole("samples", &|fit| {
            Some(fit.captures.iter().map(|capture| capture.samples).sum())
        }),
        whole("iterations", &|fit| fit.stop.iterations),
        text("stop", fits().map(|fit| Some(&fit?.stop.text))),
        real("chi_squared", &|fit| fit.chi_squared),
        real("degrees_of_freedom", &|fit| fit.degrees_of_freedom),
        real("condition_number", &|fit| {
            Some(fit.identifiability.as_ref()?.condition_number)
        }),
        real("largest_autocorrelation_lag_one", &|fit| {
            let captures = fit.captures.iter();
            let lags = captures.filter_map(|capture| capture.autocorrelation_lag_one);
            lags.reduce(f64::max)
        }),
        count(
            "warnings",
            rows.iter()
                .map(|row| Some(row.file.as_ref()?.warnings.len() as u64)),
        ),
    ]
}
