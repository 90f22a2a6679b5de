//! The values that count in the statistics, a row for each parameter of each motor.
//!
//! Of a motor that stands count the values that were measured: what sits at its bound or comes from a prior says nothing of
//! this motor. Columns: `row` and `order` of the motor, `parameter` (place in [`ParameterName::ALL`]), `value` in SI units,
//! `own_uncertainty` and `common_uncertainty` (see [`Instruments`]), and value and uncertainty at 25 °C where known.

use super::row::Row;
use crate::export::columns::{count, number};
use crate::lot::Outcome;
use crate::motor_file::{Parameter, ParameterName, Status};
use polars::prelude::*;

/// Whose gain errors the motors share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instruments {
    /// One bench for all: the part of a variance that comes from gains is common to all motors.
    Common,
    /// Every motor with instruments of its own.
    OwnForEachMotor,
}

impl Instruments {
    /// The part of a parameter's variance that all motors have in common.
    fn common_share(self, parameter: &Parameter) -> f64 {
        let share: f64 = match self {
            Instruments::Common => parameter
                .budget
                .iter()
                .filter(|(source, _)| source.starts_with("gain of "))
                .map(|(_, share)| share)
                .sum(),
            Instruments::OwnForEachMotor => 0.0,
        };
        share.clamp(0.0, 0.999)
    }
}

struct Value {
    row: u64,
    order: f64,
    parameter: u32,
    value: f64,
    own: f64,
    common: f64,
    at_25_c: Option<(f64, f64)>,
}

/// The values of these motors.
pub(super) fn values(rows: &[Row], instruments: Instruments) -> PolarsResult<DataFrame> {
    let values: Vec<Value> = rows
        .iter()
        .filter(|row| row.record.outcome == Outcome::Ok)
        .flat_map(|row| of_motor(row, instruments))
        .collect();
    let real = |name: &str, of: fn(&Value) -> f64| number(name, values.iter().map(|v| Some(of(v))));
    let parameters = values.iter().map(|v| v.parameter);
    DataFrame::new(
        values.len(),
        vec![
            count("row", values.iter().map(|v| Some(v.row))),
            real("order", |v| v.order),
            UInt32Chunked::from_iter_values("parameter".into(), parameters).into_column(),
            real("value", |v| v.value),
            real("own_uncertainty", |v| v.own),
            real("common_uncertainty", |v| v.common),
            number("value_at_25_c", values.iter().map(|v| Some(v.at_25_c?.0))),
            number(
                "uncertainty_at_25_c",
                values.iter().map(|v| Some(v.at_25_c?.1)),
            ),
        ],
    )
}

fn of_motor(row: &Row, instruments: Instruments) -> impl Iterator<Item = Value> + '_ {
    ParameterName::ALL
        .into_iter()
        .enumerate()
        .filter_map(move |(place, name)| {
            let parameter = row.file.as_ref()?.parameters.get(&name)?;
            if parameter.status != Status::Measured || parameter.one_sided.is_some() {
                return None;
            }
            let (value, uncertainty) = (parameter.value?, parameter.standard_uncertainty?);
            let share = instruments.common_share(parameter);
            let at_25_c = parameter.at_25_c.as_ref();
            Some(Value {
                row: row.entry.row,
                order: row.entry.order(),
                parameter: place as u32,
                value,
                own: uncertainty * (1.0 - share).sqrt(),
                common: uncertainty * share.sqrt(),
                at_25_c: at_25_c.map(|at| (at.value, at.standard_uncertainty)),
            })
        })
}
