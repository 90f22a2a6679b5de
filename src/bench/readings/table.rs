//! A table of readings as typed becomes one in SI units with standard uncertainties; where it stands in a file, that is read.

use crate::bench::accuracy::Accuracy;
use crate::bench::captures::stem;
use crate::bench::channels::{find, list};
use crate::bench::error::BenchError;
use crate::bench::remarks::{BenchRemark, BenchRemarkKind};
use crate::bench::setup::{ReadingColumn, ReadingTable, TableKind};
use crate::bench::sheet::{
    TypedColumn, TypedInstrument, TypedReadingTable, assumed_speed_accuracy, winding_temperature,
};
use crate::capture::{self, Channel, Record, name_words};
use crate::quantity::units::{self, Quantity};
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

/// Fewest rows of a table; one state alone is a reading.
const LEAST_ROWS: usize = 2;
/// Most rows: beyond it a file is no table of readings but a record.
const MOST_ROWS: usize = 500;

/// Validates a table; `path`: its file, where it has one.
pub(in crate::bench) fn read_table(
    typed: &TypedReadingTable,
    path: Option<PathBuf>,
    instruments: &[TypedInstrument],
    warnings: &mut Vec<BenchRemark>,
) -> Result<ReadingTable, BenchError> {
    let record = path.as_deref().map(|path| open(typed, path)).transpose()?;
    let mut columns = Vec::with_capacity(typed.columns.len());
    for column in &typed.columns {
        let values = match (&record, &column.values) {
            (Some(record), _) => from_file(column, record)?,
            (None, values) => values.clone().unwrap_or_default(),
        };
        columns.push(resolve(column, values, instruments, warnings)?);
    }
    check_rows(typed, &columns)?;
    let columns = derived(typed, columns)?;
    let winding_temperature_c = typed
        .winding_temperature
        .as_ref()
        .map(|t| winding_temperature(t, warnings))
        .transpose()?;
    let named = typed.file.as_ref().map(|(file, _)| stem(file));
    let name = typed.name.clone().or(named);
    Ok(ReadingTable {
        name: name.unwrap_or_else(|| typed.kind.name().to_owned()),
        kind: typed.kind,
        columns,
        winding_temperature_c,
        warmed_k: typed.warmed_k,
        file: path.zip(record.map(|r| r.sha256)),
    })
}

/// Refuses two tables of one name.
pub(in crate::bench) fn check_names(
    typed: &[TypedReadingTable],
    tables: &[ReadingTable],
) -> Result<(), BenchError> {
    for (k, table) in tables.iter().enumerate() {
        if tables[..k].iter().any(|before| before.name == table.name) {
            let name = &table.name;
            let text = format!("two tables are called \"{name}\"; give each its own `name`");
            return Err(BenchError::at(&typed[k].place, text));
        }
    }
    Ok(())
}

/// The file as columns of numbers, none of which is time.
fn open(typed: &TypedReadingTable, path: &Path) -> Result<Record, BenchError> {
    let mut options = typed.import.clone();
    options.time_column = options.time_column.or(Some(0));
    capture::read(path, &options).map_err(|source| {
        let place = typed.file.as_ref().map(|(_, place)| place);
        let name = path.display().to_string();
        BenchError::in_capture(place, &name, format!(": {source}"))
    })
}

/// The values of a column in the file, in the SI unit.
fn from_file(typed: &TypedColumn, record: &Record) -> Result<Vec<f64>, BenchError> {
    let columns = &record.channels;
    let invalid = |text: String| {
        let file = record.path.display();
        BenchError::at(&typed.place, format!("{file}: {text}"))
    };
    let channel = match &typed.column {
        Some(wanted) => wanted
            .iter()
            .find_map(|w| find(columns, w))
            .ok_or_else(|| {
                let (key, known) = (typed.key, list(columns));
                invalid(format!(
                    "no such column for the {key}; the columns are {known}"
                ))
            })?,
        None => {
            let mut matching = columns.iter().filter(|c| may_be(typed, c));
            match (matching.next(), matching.next()) {
                (Some(one), None) => one,
                (found, _) => {
                    let how_many = match found {
                        Some(_) => "several columns",
                        None => "no column",
                    };
                    return Err(invalid(format!(
                        "{how_many} may be the {}; the columns are {}. Add `column` (and `unit` where the file states none)",
                        typed.key,
                        list(columns)
                    )));
                }
            }
        }
    };
    // Values of a unit that the importer knows are in SI already.
    let factor = match (typed.factor, unit_of(typed.quantity, channel)) {
        (Some(stated), _) if channel.unit.is_none() => stated,
        (_, Some(factor)) => factor,
        (_, None) => {
            let unit = match &channel.unit_text {
                Some(unit) => format!("its unit is {unit}"),
                _ => "its unit is not stated".to_owned(),
            };
            return Err(invalid(format!(
                "column {} \"{}\" is used as the {}, but {unit}. Add unit = \"{}\" or another",
                channel.column,
                channel.name,
                typed.key,
                units::si(typed.quantity).text,
            )));
        }
    };
    Ok(channel.values.iter().map(|v| v * factor).collect())
}

/// Whether a column is this quantity by its unit, or by its name where the sheet states the unit.
fn may_be(typed: &TypedColumn, channel: &Channel) -> bool {
    match (unit_of(typed.quantity, channel), typed.factor) {
        // Ohm is the unit of the series resistance beside it too.
        (Some(_), _) if typed.key == "impedance" => name_words(&channel.name)
            .iter()
            .any(|w| w.starts_with('z') || w.starts_with("imp")),
        (Some(_), _) => true,
        (None, Some(_)) => name_words(&channel.name).iter().any(|w| w == typed.key),
        (None, None) => false,
    }
}

/// Factor from a column's values to the SI unit of a quantity, by the unit that the importer applied or that the name ends with.
pub(crate) fn unit_of(quantity: Quantity, channel: &Channel) -> Option<f64> {
    if let Some(applied) = &channel.unit {
        return (units::find(quantity, applied).ok()?.factor == 1.0).then_some(1.0);
    }
    let name = channel.name.as_str();
    let inside = name.rsplit(['[', '(', '/', ' ', '_']).next();
    let inside = inside.map(|text| text.trim_end_matches([']', ')']));
    let first = name.split(' ').next().unwrap_or_default();
    let is_newton = quantity == Quantity::Force && first.eq_ignore_ascii_case("newton");
    let spelt_out = is_newton.then_some("N");
    [channel.unit_text.as_deref(), inside, spelt_out]
        .into_iter()
        .flatten()
        .find_map(|text| units::find(quantity, text).ok())
        .map(|unit| unit.factor)
}

/// A column with its accuracy as standard uncertainties.
fn resolve(
    typed: &TypedColumn,
    values: Vec<f64>,
    instruments: &[TypedInstrument],
    warnings: &mut Vec<BenchRemark>,
) -> Result<ReadingColumn, BenchError> {
    let mut accuracy = (!typed.accuracy.is_empty()).then_some(typed.accuracy);
    if let Some(name) = &typed.with {
        let Some(meter) = instruments.iter().find(|i| i.name == *name) else {
            let known = instruments.iter().map(|i| i.name.as_str());
            return Err(BenchError::unknown(&typed.place, "meter", name, known));
        };
        accuracy = accuracy.or(meter.reads(typed.quantity));
    }
    if accuracy.is_none() && typed.quantity == Quantity::Speed {
        let line = typed.place.line;
        warnings.push(BenchRemarkKind::SpeedWithoutAccuracy { line }.of_sheet());
        accuracy = Some(assumed_speed_accuracy());
    }
    let accuracy = match (accuracy, typed.quantity) {
        (Some(accuracy), _) => accuracy,
        // A meter's own oscillator is exact beside everything else it does.
        (None, Quantity::Frequency) => Accuracy::default(),
        (None, _) => {
            let text = format!(
                "`{}` has readings but no accuracy; add e.g. limit_percent = … (rectangular), or `with` and a meter that states it",
                typed.key
            );
            return Err(BenchError::at(&typed.place, text));
        }
    };
    let (gain_uncertainty, zero_uncertainty) = accuracy.gain_and_zero();
    Ok(ReadingColumn {
        quantity: typed.quantity,
        values,
        gain_uncertainty,
        zero_uncertainty,
        meter: typed.with.clone(),
    })
}

fn check_rows(typed: &TypedReadingTable, columns: &[ReadingColumn]) -> Result<(), BenchError> {
    let rows = columns.first().map_or(0, |c| c.values.len());
    for (column, found) in typed.columns.iter().zip(columns) {
        let invalid = |text: String| Err(BenchError::at(&column.place, text));
        let values = &found.values;
        if values.len() != rows {
            return invalid(format!(
                "`{}` holds {} readings where `{}` holds {rows}; every row needs all of them",
                column.key,
                values.len(),
                typed.columns[0].key
            ));
        }
        if !(LEAST_ROWS..=MOST_ROWS).contains(&rows) {
            return invalid(format!(
                "a table of {rows} rows; expected {LEAST_ROWS} to {MOST_ROWS}. One state alone goes under [[readings]], a record against time under [[captures]]"
            ));
        }
        if let Some(row) = values.iter().position(|v| !v.is_finite()) {
            return invalid(format!(
                "`{}` has no number in row {}; leave that row out",
                column.key,
                row + 1
            ));
        }
        let may_be_zero = matches!(
            column.quantity,
            Quantity::Speed | Quantity::Torque | Quantity::Force | Quantity::Angle
        );
        let lowest = |v: f64| if may_be_zero { v >= 0.0 } else { v > 0.0 };
        let signed = column.quantity == Quantity::Angle;
        if let Some(row) = values.iter().position(|v| !signed && !lowest(*v)) {
            return invalid(format!(
                "`{}` is {} in row {}, expected a size {}",
                column.key,
                values[row],
                row + 1,
                if may_be_zero {
                    "of zero or above, without a sign"
                } else {
                    "above zero"
                }
            ));
        }
        if typed.kind == TableKind::NoLoad
            && column.quantity == Quantity::Speed
            && let Some(row) = values.iter().position(|v| *v == 0.0)
        {
            return invalid(format!(
                "row {} of a no-load table has speed 0: the motor did not turn. Such a row belongs into a \"held-rotor\" or \"load-line\" table",
                row + 1
            ));
        }
    }
    Ok(())
}

/// A torque from a force at its arm, an inductance from an impedance with its phase.
fn derived(
    typed: &TypedReadingTable,
    columns: Vec<ReadingColumn>,
) -> Result<Vec<ReadingColumn>, BenchError> {
    let find = |quantity| columns.iter().find(|c| c.quantity == quantity);
    let mut out = columns.clone();
    if let (Some(force), Some(arm)) = (find(Quantity::Force), &typed.arm) {
        // Without an accuracy of its own it is part of that of the force.
        let arm = arm.stated_or(Accuracy::default());
        let relative = arm.standard_uncertainty / arm.value;
        out.retain(|c| c.quantity != Quantity::Force);
        out.push(ReadingColumn {
            quantity: Quantity::Torque,
            values: force.values.iter().map(|f| f * arm.value).collect(),
            gain_uncertainty: force.gain_uncertainty.hypot(relative),
            zero_uncertainty: force.zero_uncertainty * arm.value,
            meter: force.meter.clone(),
        });
    }
    if let (Some(size), Some(phase), Some(frequency)) = (
        find(Quantity::Resistance),
        find(Quantity::Angle),
        find(Quantity::Frequency),
    ) {
        let rows = size.values.iter().zip(&phase.values).zip(&frequency.values);
        let values: Vec<f64> = rows
            .map(|((z, phi), hz)| z * phi.sin() / (TAU * hz))
            .collect();
        if let Some(row) = values.iter().position(|l| *l <= 0.0) {
            let text = format!(
                "row {} has a phase without an inductive part; expected a phase between 0 and 180°",
                row + 1
            );
            return Err(BenchError::at(&typed.place, text));
        }
        // An error of the phase matters most where the resistance is nearly all of the impedance.
        let cotangent = phase
            .values
            .iter()
            .map(|phi| 1.0 / phi.tan().abs().max(1e-3));
        let worst = cotangent.fold(0.0, f64::max);
        out.retain(|c| !matches!(c.quantity, Quantity::Resistance | Quantity::Angle));
        out.push(ReadingColumn {
            quantity: Quantity::Inductance,
            values,
            gain_uncertainty: size.gain_uncertainty.hypot(phase.zero_uncertainty * worst),
            zero_uncertainty: 0.0,
            meter: size.meter.clone(),
        });
    }
    Ok(out)
}
