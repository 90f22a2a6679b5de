//! The table `[sheet]`: the conditions to which the printed values belong.

use super::checked::{Sheet, Stall};
use super::printed::{Printed, Tolerance, above_zero, temperature, tolerance};
use crate::bench::{BenchError, Table};
use crate::quantity::units::Quantity;

/// What the table holds.
pub const KEYS: [&str; 9] = [
    "name",
    "nominal_voltage",
    "reference_temperature",
    "rated_torque",
    "stall_values",
    "stall_temperature",
    "default_tolerance",
    "winding_limit",
    "ambient",
];

/// Reads the table: a sheet without claims yet, and the tolerance of claims without one.
pub fn read(table: &Table<'_>) -> Result<(Sheet, Option<Tolerance>), BenchError> {
    let si = |key, quantity| above_zero(table, key, quantity).map(|p| p.as_ref().map(Printed::si));
    let name = table.text("name")?;
    let nominal_voltage_v = si("nominal_voltage", Quantity::Voltage)?;
    let stated_c = temperature(table, "reference_temperature")?;
    let rated_torque_nm = si("rated_torque", Quantity::Torque)?;
    let stall_values = table.text("stall_values")?;
    let stall_c = temperature(table, "stall_temperature")?;
    let default_tolerance = tolerance(table, "default_tolerance", Quantity::Ratio)?;
    let winding_limit_c = temperature(table, "winding_limit")?;
    let room_c = temperature(table, "ambient")?;
    table.finish()?;
    let reference_temperature_c = stated_c.unwrap_or(25.0);
    let ambient_c = room_c.unwrap_or(reference_temperature_c);
    if let Some(limit_c) = winding_limit_c.filter(|limit_c| *limit_c <= ambient_c) {
        let text = format!(
            "winding_limit is {limit_c} °C in a room of {ambient_c} °C; expected a higher one"
        );
        return table.invalid("winding_limit", text);
    }
    let stall = stall(
        table,
        stall_values.as_deref(),
        stall_c,
        reference_temperature_c,
    )?;
    let assumptions = [
        (
            stated_c.is_none(),
            "the values hold at 25 °C: no reference_temperature is given".to_owned(),
        ),
        (
            winding_limit_c.is_some() && room_c.is_none(),
            format!("continuous values hold in a room of {ambient_c} °C: no ambient is given"),
        ),
        (
            stall_values.is_none(),
            "stall values are extrapolated from near no load: no stall_values is given".to_owned(),
        ),
        (
            stall != Stall::Extrapolated && stall_c.is_none(),
            format!(
                "stall values were measured with the winding at {reference_temperature_c} °C: no stall_temperature is given"
            ),
        ),
    ];
    let assumptions = assumptions.into_iter().filter(|(assumed, _)| *assumed);
    let sheet = Sheet {
        name,
        nominal_voltage_v,
        reference_temperature_c,
        rated_torque_nm,
        winding_limit_c,
        ambient_c,
        stall,
        claims: Default::default(),
        assumptions: assumptions.map(|(_, text)| text).collect(),
    };
    Ok((sheet, default_tolerance))
}

/// How stall values were found.
fn stall(
    table: &Table<'_>,
    values: Option<&str>,
    stall_c: Option<f64>,
    reference_temperature_c: f64,
) -> Result<Stall, BenchError> {
    match (values, stall_c) {
        (None | Some("extrapolated"), None) => Ok(Stall::Extrapolated),
        (Some("measured"), stated_c) => Ok(Stall::Measured {
            winding_temperature_c: stated_c.unwrap_or(reference_temperature_c),
        }),
        (None, Some(_)) => table.invalid(
            "stall_temperature",
            "stall_temperature goes with stall_values = \"measured\", which is absent",
        ),
        (Some("extrapolated"), Some(_)) => table.invalid(
            "stall_values",
            "extrapolated stall values have no stall_temperature of their own; drop it, or write stall_values = \"measured\"",
        ),
        (Some(words), _) => table.invalid(
            "stall_values",
            format!("stall_values is \"{words}\", expected \"extrapolated\" or \"measured\""),
        ),
    }
}
