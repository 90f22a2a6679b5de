//! A bridge that switches a supply whose voltage at the motor was not recorded.

use super::quantity::{RATIO, read_accuracy};
use super::table::Table;
use crate::bench::accuracy::{Accuracy, Range};
use crate::bench::error::{BenchError, Place};

/// What the bridge does while it is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::bench) enum OffTime {
    /// It shorts the motor.
    Brakes,
    /// It reverses the supply.
    Reverses,
    /// It opens, and diodes carry the current until it has died.
    Coasts,
}

/// A bridge as typed.
#[derive(Clone, Debug)]
pub(in crate::bench) struct TypedBridge {
    pub place: Place,
    /// Share of the time in which the motor is on the supply, 0 to 1, with its accuracy.
    pub duty: f64,
    pub accuracy: Accuracy,
    pub off_time: OffTime,
}

impl TypedBridge {
    /// Mean voltage over the supply's, and its standard uncertainty.
    pub fn mean_share(&self) -> (f64, f64) {
        let uncertainty = self
            .accuracy
            .standard_uncertainty(self.duty, Range::default());
        match self.off_time {
            OffTime::Brakes | OffTime::Coasts => (self.duty, uncertainty),
            OffTime::Reverses => (2.0 * self.duty - 1.0, 2.0 * uncertainty),
        }
    }
}

pub(super) fn read_bridge(parent: &Table<'_>) -> Result<Option<TypedBridge>, BenchError> {
    let Some(table) = parent.table("bridge")? else {
        return Ok(None);
    };
    let duty = table.positive("duty_percent")?;
    let off_time = table.choice(
        "off_time",
        "behaviour of a bridge in the off time",
        &[
            ("brakes", OffTime::Brakes),
            ("reverses", OffTime::Reverses),
            ("coasts", OffTime::Coasts),
        ],
    )?;
    let accuracy = read_accuracy(&table, RATIO, false)?;
    table.finish()?;
    let duty = table.require(
        "duty_percent",
        duty,
        "share of the time on the supply, e.g. duty_percent = 40",
    )?;
    if duty > 100.0 {
        return table.invalid(
            "duty_percent",
            format!("a duty of {duty} % cannot be meant; expected up to 100 %"),
        );
    }
    let off_time = table.require(
        "off_time",
        off_time,
        "what the bridge does while it is off: \"brakes\" (shorts the motor), \"reverses\" (puts it on the reversed supply) or \"coasts\" (opens, diodes carry the current)",
    )?;
    if off_time == OffTime::Coasts {
        return table.invalid(
            "off_time",
            "a coasting bridge is no lower constant voltage: while its diodes carry the current the motor is on the reversed supply, and once that has died it is on none. Record the voltage at the motor, or let the bridge brake in the off time",
        );
    }
    Ok(Some(TypedBridge {
        place: parent.place_of("bridge"),
        duty: duty / 100.0,
        accuracy,
        off_time,
    }))
}
