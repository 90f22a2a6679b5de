//! One row a motor (or a drawn motor), for tables: CSV and Parquet.
//!
//! Columns: `motor`, `sample`, then for each parameter its value with the unit in the column's name, standard
//! uncertainty, lower and upper end, status and temperature, then program and inputs. What is unknown is an empty cell.

use super::{ExportError, Instance};
use crate::motor_file::{MotorFile, ParameterName};
use polars::prelude::*;
use std::borrow::Cow;

/// One row: a file, and the motor drawn or moved from it where there is one.
pub struct Row<'a> {
    pub file: &'a MotorFile,
    pub instance: Option<Instance<'a>>,
}

/// Unit as it ends a column name.
pub fn suffix(name: ParameterName) -> &'static str {
    match name {
        ParameterName::TerminalResistance => "ohm",
        ParameterName::ArmatureInductance => "h",
        ParameterName::BackEmfConstant => "v_s_per_rad",
        ParameterName::CoulombFrictionTorque => "nm",
        ParameterName::ViscousFriction => "nm_s_per_rad",
        ParameterName::Windage => "nm_s2_per_rad2",
        ParameterName::RotorInertia => "kg_m2",
        ParameterName::BrushDrop => "v",
        ParameterName::InertiaCapacitance => "f",
        ParameterName::FrictionCurrent => "a",
        ParameterName::ViscousConductance => "siemens",
        ParameterName::ElectricalTimeConstant | ParameterName::MechanicalTimeConstant => "s",
    }
}

/// Text that a spreadsheet takes for text. One that it would run as a formula (it begins with `=`, `+`, `-` or `@`, also in
/// their wide forms and behind blanks, or with a tab or a line break) gets an apostrophe in front.
pub fn harmless(text: &str) -> Cow<'_, str> {
    let formula = |c: char| matches!(c, '=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠');
    if text.starts_with(['\t', '\r', '\n']) || text.trim_start().starts_with(formula) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// The rows as a table, its text as it is.
///
/// # Errors
/// [`ExportError::Table`].
pub fn table(rows: &[Row<'_>]) -> Result<DataFrame, ExportError> {
    frame(rows, |text| Cow::Borrowed(text))
}

fn frame(rows: &[Row<'_>], cell: fn(&str) -> Cow<'_, str>) -> Result<DataFrame, ExportError> {
    let mut columns: Vec<Column> = Vec::new();
    let names: Vec<Cow<'_, str>> = rows.iter().map(|row| cell(row.file.motor_name())).collect();
    let names: Vec<&str> = names.iter().map(Cow::as_ref).collect();
    columns.push(Column::new("motor".into(), names));
    let what: Vec<&str> = rows
        .iter()
        .map(|row| {
            row.instance
                .as_ref()
                .map_or("the estimate", |instance| instance.what.as_str())
        })
        .collect();
    columns.push(Column::new("what".into(), what));
    let samples: Vec<Option<u32>> = rows
        .iter()
        .map(|row| {
            row.instance
                .as_ref()?
                .sample
                .and_then(|number| u32::try_from(number).ok())
        })
        .collect();
    columns.push(Column::new("sample".into(), samples));
    for name in ParameterName::ALL {
        let stem = format!("{}_{}", name.key(), suffix(name));
        let known = |row: &Row<'_>| row.file.parameters.get(&name).cloned();
        let values: Vec<Option<f64>> = rows
            .iter()
            .map(|row| match &row.instance {
                Some(instance) => known(row).map(|_| instance.value(name)),
                None => known(row)?.value,
            })
            .collect();
        columns.push(Column::new(stem.as_str().into(), values));
        type Pick = fn(&crate::motor_file::Parameter) -> Option<f64>;
        let picks: [(&str, Pick); 4] = [
            ("standard_uncertainty", |parameter| {
                parameter.standard_uncertainty
            }),
            ("lower", |parameter| parameter.lower),
            ("upper", |parameter| parameter.upper),
            ("temperature_c", |parameter| parameter.temperature_c),
        ];
        for (field, pick) in picks {
            let values: Vec<Option<f64>> = rows.iter().map(|row| pick(&known(row)?)).collect();
            let column = match field {
                "temperature_c" => format!("{}_{field}", name.key()),
                _ => format!("{stem}_{field}"),
            };
            columns.push(Column::new(column.as_str().into(), values));
        }
        let status: Vec<Option<&str>> = rows
            .iter()
            .map(|row| Some(known(row)?.status.label()))
            .collect();
        columns.push(Column::new(
            format!("{}_status", name.key()).as_str().into(),
            status,
        ));
    }
    let program: Vec<String> = rows
        .iter()
        .map(|row| format!("{} {}", row.file.program.name, row.file.program.version))
        .map(|text| cell(&text).into_owned())
        .collect();
    columns.push(Column::new("program".into(), program));
    let inputs: Vec<String> = rows
        .iter()
        .map(|row| {
            let inputs: Vec<String> = row
                .file
                .inputs
                .iter()
                .map(|input| format!("{} sha256:{}", input.path, input.sha256))
                .collect();
            cell(&inputs.join("; ")).into_owned()
        })
        .collect();
    columns.push(Column::new("inputs".into(), inputs));
    DataFrame::new(rows.len(), columns).map_err(|error| ExportError::Table(error.to_string()))
}

/// The rows as CSV with a head line, its text [`harmless`]: anyone may have named the motor or the files.
///
/// # Errors
/// [`ExportError::Table`].
pub fn csv(rows: &[Row<'_>]) -> Result<Vec<u8>, ExportError> {
    let mut bytes = Vec::new();
    CsvWriter::new(&mut bytes)
        .include_header(true)
        .finish(&mut frame(rows, harmless)?)
        .map_err(|error| ExportError::Table(error.to_string()))?;
    Ok(bytes)
}

/// The rows as Parquet.
///
/// # Errors
/// [`ExportError::Table`].
pub fn parquet(rows: &[Row<'_>]) -> Result<Vec<u8>, ExportError> {
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        .finish(&mut table(rows)?)
        .map_err(|error| ExportError::Table(error.to_string()))?;
    Ok(bytes)
}
