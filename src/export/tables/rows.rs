//! One row a motor (or a drawn motor), for tables: CSV and Parquet.
//!
//! Columns: `motor`, `sample`, then for each parameter its value with the unit in the column's name, standard
//! uncertainty, lower and upper bound, temperature and status, then the same of the thermal model, then program and inputs. What is unknown is an empty cell.

use super::columns::{ParameterColumns, heading, number, text, thermal};
use super::table;
use crate::export::{ExportError, Instance};
use crate::motor_file::{MotorFile, ParameterName};
use polars::prelude::*;

/// One row: a file, and the motor drawn or moved from it where there is one.
pub struct Row<'a> {
    /// The motor file.
    pub file: &'a MotorFile,
    /// The drawn or shifted motor; `None` for the estimate itself.
    pub instance: Option<Instance<'a>>,
}

impl Row<'_> {
    fn what(&self) -> &str {
        match &self.instance {
            Some(instance) => &instance.what,
            None => "the estimate",
        }
    }

    fn sample(&self) -> Option<u32> {
        u32::try_from(self.instance.as_ref()?.sample?).ok()
    }

    fn value(&self, name: ParameterName) -> Option<f64> {
        let parameter = self.file.parameters.get(&name)?;
        match &self.instance {
            Some(instance) => Some(instance.value(name)),
            None => parameter.value,
        }
    }

    fn program(&self) -> String {
        let program = &self.file.program;
        format!("{} {}", program.name, program.version)
    }

    fn inputs(&self) -> String {
        let inputs = self.file.inputs.iter();
        let inputs: Vec<String> = inputs
            .map(|input| format!("{} sha256:{}", input.path, input.sha256))
            .collect();
        inputs.join("; ")
    }
}

/// The rows as a table, its text as it is.
///
/// # Errors
/// [`ExportError::Table`].
pub fn frame(rows: &[Row<'_>]) -> Result<DataFrame, ExportError> {
    let samples = rows.iter().map(Row::sample);
    let mut columns = vec![
        text("motor", rows.iter().map(|row| Some(row.file.motor_name()))),
        text("what", rows.iter().map(|row| Some(row.what()))),
        UInt32Chunked::from_iter_options("sample".into(), samples).into_column(),
    ];
    for name in ParameterName::ALL {
        let parameter = ParameterColumns::new(name, rows.iter().map(|row| Some(row.file)));
        let values = rows.iter().map(|row| row.value(name));
        columns.push(number(&heading(name), values));
        columns.extend(parameter.uncertainty());
        columns.push(parameter.status());
    }
    columns.extend(thermal(rows.iter().map(|row| Some(row.file))));
    columns.push(text("program", rows.iter().map(|row| Some(row.program()))));
    columns.push(text("inputs", rows.iter().map(|row| Some(row.inputs()))));
    Ok(DataFrame::new(rows.len(), columns)?)
}

/// The rows as CSV with a head line, its text [`table::harmless`]: anyone may have named the motor or the files.
///
/// # Errors
/// [`ExportError::Table`].
pub fn csv(rows: &[Row<'_>]) -> Result<Vec<u8>, ExportError> {
    Ok(table::csv(&frame(rows)?)?)
}

/// The rows as Parquet.
///
/// # Errors
/// [`ExportError::Table`].
pub fn parquet(rows: &[Row<'_>]) -> Result<Vec<u8>, ExportError> {
    Ok(table::parquet(&mut frame(rows)?)?)
}
