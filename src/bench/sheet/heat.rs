//! One heat run or cooling curve: `[[heat]]`.

use super::import_keys::read_import;
use super::quantity::{
    CURRENT, Quantity, RESISTANCE, TEMPERATURE, Units, VOLTAGE, quantity_at, read_accuracy, size_at,
};
use super::table::Table;
use crate::bench::accuracy::Accuracy;
use crate::bench::error::{BenchError, Place};
use crate::bench::setup::HeatKind;
use crate::capture::ReadOptions;

/// Where the numbers of one quantity stand.
#[derive(Clone, Debug, Default)]
pub struct TypedSeries {
    /// Name of the column in the file; found by its unit without one.
    pub column: Option<String>,
    /// Typed in the sheet instead.
    pub values: Option<Vec<f64>>,
    pub accuracy: Accuracy,
}

#[derive(Clone, Debug)]
pub struct TypedHeat {
    pub place: Place,
    pub name: Option<String>,
    pub kind: HeatKind,
    pub file: Option<String>,
    pub file_place: Place,
    pub time_s: Option<Vec<f64>>,
    pub voltage: TypedSeries,
    pub current: TypedSeries,
    pub resistance: TypedSeries,
    pub housing: TypedSeries,
    pub rotor_held: bool,
    pub ambient: Option<Quantity>,
    pub leads: Option<Quantity>,
    pub after: Option<String>,
    pub delay_s: f64,
    pub import: ReadOptions,
}

pub fn read_heat(table: &Table<'_>, base: &ReadOptions) -> Result<TypedHeat, BenchError> {
    let kinds = [HeatKind::HeatRun, HeatKind::CoolDown].map(|kind| (kind.name(), kind));
    let kind = table.kind("kind of heat record", &kinds)?;
    let rotor_held = table.choice(
        "rotor",
        "state of the rotor",
        &[("held", true), ("free", false)],
    )?;
    let typed = TypedHeat {
        place: table.place(),
        kind,
        name: table.text("name")?,
        file: table.text("file")?,
        file_place: table.place_of("file"),
        time_s: table.numbers("time_s")?,
        voltage: series(table, "voltage", "v", VOLTAGE)?,
        current: series(table, "current", "a", CURRENT)?,
        resistance: series(table, "resistance", "ohm", RESISTANCE)?,
        housing: series(table, "housing", "c", TEMPERATURE)?,
        rotor_held: rotor_held.unwrap_or(true),
        ambient: quantity_at(table, "ambient", TEMPERATURE)?,
        leads: size_at(table, "leads", RESISTANCE)?,
        after: table.text("after")?,
        delay_s: table.number("delay_s")?.unwrap_or(0.0),
        import: read_import(table, base)?,
    };
    table.free_text("note")?;
    table.finish()?;
    if typed.file.is_some() == typed.time_s.is_some() {
        return table.invalid(
            "file",
            "a heat record is either a `file` or typed with `time_s` and its series, e.g. resistance = { ohm = [5.44, 5.43] }; give one of them",
        );
    }
    if typed.delay_s.is_nan() || typed.delay_s < 0.0 {
        return table.invalid(
            "delay_s",
            "`delay_s` is the time from switching off to the time 0 of the record; it cannot be negative",
        );
    }
    Ok(typed)
}

/// `key = { column = "U (V)", limit_percent = 0.2 }`, or with its numbers under `unit`.
fn series(
    parent: &Table<'_>,
    key: &str,
    unit: &str,
    units: Units,
) -> Result<TypedSeries, BenchError> {
    let Some(table) = parent.table(key)? else {
        return Ok(TypedSeries::default());
    };
    let series = TypedSeries {
        column: table.text("column")?,
        values: table.numbers(unit)?,
        accuracy: read_accuracy(&table, units, false)?,
    };
    table.finish()?;
    Ok(series)
}
