//! A table of readings: several rows taken in one go with the same meters.

use super::import_keys::read_import;
use super::quantity::{
    ANGLE, CURRENT, FORCE, FREQUENCY, INDUCTANCE, LENGTH, Quantity, RESISTANCE, SPEED, TEMPERATURE,
    TORQUE, Units, VOLTAGE, quantity_at, read_accuracy, size_at,
};
use super::table::{NameOrNumber, Table};
use crate::bench::accuracy::Accuracy;
use crate::bench::error::{BenchError, Place};
use crate::bench::setup::TableKind;
use crate::capture::ReadOptions;
use crate::quantity::units::{self, Quantity as Kind};

/// A table as typed, its file not yet opened.
#[derive(Clone, Debug)]
pub struct TypedReadingTable {
    pub place: Place,
    pub kind: TableKind,
    pub name: Option<String>,
    pub file: Option<(String, Place)>,
    pub columns: Vec<TypedColumn>,
    /// Lever at which a force was read.
    pub arm: Option<Quantity>,
    pub winding_temperature: Option<Quantity>,
    /// Most by which the winding warmed while the rows were read, K.
    pub warmed_k: Option<f64>,
    pub import: ReadOptions,
}

/// What was read with one meter.
#[derive(Clone, Debug)]
pub struct TypedColumn {
    pub key: &'static str,
    pub place: Place,
    pub quantity: Kind,
    /// In SI units, where the sheet holds them.
    pub values: Option<Vec<f64>>,
    /// Column of the file.
    pub column: Option<Vec<NameOrNumber>>,
    /// Factor from the file's numbers to SI, where the sheet states their unit.
    pub factor: Option<f64>,
    pub with: Option<String>,
    pub accuracy: Accuracy,
}

/// Key, units and whether the kind needs it, of every column of a kind of table.
fn columns_of(kind: TableKind) -> &'static [(&'static str, Units, bool)] {
    const FORCES: [(&str, Units, bool); 2] = [("torque", TORQUE, false), ("force", FORCE, false)];
    match kind {
        TableKind::NoLoad => &[
            ("voltage", VOLTAGE, true),
            ("current", CURRENT, true),
            ("speed", SPEED, false),
        ],
        TableKind::LoadLine => &[
            ("voltage", VOLTAGE, true),
            ("current", CURRENT, true),
            ("speed", SPEED, true),
            FORCES[0],
            FORCES[1],
        ],
        TableKind::HeldRotor => &[
            ("voltage", VOLTAGE, true),
            ("current", CURRENT, true),
            FORCES[0],
            FORCES[1],
        ],
        TableKind::Impedance => &[
            ("frequency", FREQUENCY, true),
            ("inductance", INDUCTANCE, false),
            ("impedance", RESISTANCE, false),
            ("phase", ANGLE, false),
        ],
    }
}

pub fn read_reading_table(
    table: &Table<'_>,
    base: &ReadOptions,
) -> Result<TypedReadingTable, BenchError> {
    let kinds = TableKind::ALL.map(|kind| (kind.name(), kind));
    let kind = table.kind("kind of table", &kinds)?;
    let name = table.text("name")?;
    let file = table.text("file")?;
    let mut columns = Vec::new();
    for (key, units, _) in columns_of(kind) {
        columns.extend(column_at(table, key, *units, file.is_some())?);
    }
    let arm = size_at(table, "arm", LENGTH)?;
    let winding_temperature = quantity_at(table, "winding_temperature", TEMPERATURE)?;
    let warmed_k = table.positive("warmed_k")?;
    let import = read_import(table, base)?;
    table.free_text("note")?;
    table.finish()?;
    let has = |key: &str| columns.iter().any(|c| c.key == key);
    for (key, units, required) in columns_of(kind) {
        if *required && !has(key) {
            return Err(table.missing(key, &hint(key, *units, file.is_some())));
        }
    }
    match (has("torque"), has("force"), &arm) {
        (true, true, _) => {
            return table.invalid(
                "force",
                "give either `torque` or `force` with its `arm`, not both",
            );
        }
        (_, true, None) => {
            return Err(table.missing(
                "arm",
                "the lever at which the force was read, e.g. arm = { mm = 50, limit_mm = 0.5 }",
            ));
        }
        (_, false, Some(_)) => {
            return table.invalid("arm", "an `arm` belongs to a `force`; a torque needs none");
        }
        _ => {}
    }
    if kind == TableKind::Impedance {
        match (has("inductance"), has("impedance") && has("phase")) {
            (true, false) | (false, true) => {}
            _ => {
                return table.invalid(
                    "frequency",
                    "beside the frequency give either `inductance` (series value) or `impedance` with `phase`",
                );
            }
        }
    }
    Ok(TypedReadingTable {
        place: table.place(),
        kind,
        name,
        file: file.map(|file| (file, table.place_of("file"))),
        columns,
        arm,
        winding_temperature,
        warmed_k,
        import,
    })
}

fn hint(key: &str, units: Units, in_file: bool) -> String {
    let unit = units.values[0].0;
    if in_file {
        format!("its accuracy, e.g. {key} = {{ limit_percent = 1 }}")
    } else {
        format!("one reading a row, e.g. {key} = {{ {unit} = [ … ], limit_percent = 1 }}")
    }
}

/// Reads `key = { UNIT = [ … ], limit_… = … }`, or `key = { column = …, unit = …, limit_… = … }` beside a file.
fn column_at(
    parent: &Table<'_>,
    key: &'static str,
    units: Units,
    in_file: bool,
) -> Result<Option<TypedColumn>, BenchError> {
    let Some(table) = parent.table(key)? else {
        return Ok(None);
    };
    let (mut values, mut column, mut factor) = (None, None, None);
    if in_file {
        column = table.columns("column")?;
        if let Some(unit) = table.text("unit")? {
            match units::find(units.quantity, &unit) {
                Ok(found) => factor = Some(found.factor),
                Err(error) => return table.invalid("unit", error.to_string()),
            }
        }
    } else {
        for (unit, factor) in units.values {
            if let Some(numbers) = table.numbers(unit)? {
                if values.is_some() {
                    return table.invalid(
                        unit,
                        format!("{} gives its values twice; keep one unit", table.name),
                    );
                }
                values = Some(numbers.into_iter().map(|v| v * factor).collect());
            }
        }
    }
    let with = table.text("with")?;
    let accuracy = read_accuracy(&table, units, false)?;
    table.finish()?;
    if !in_file && values.is_none() {
        let unit = units.values[0].0;
        return Err(table.missing(unit, &hint(key, units, false)));
    }
    Ok(Some(TypedColumn {
        key,
        place: parent.place_of(key),
        quantity: units.quantity,
        values,
        column,
        factor,
        with,
        accuracy,
    }))
}
