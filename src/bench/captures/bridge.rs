//! A bridge between the source and the motor of a capture without a voltage channel: duty, and what it does in the off time.

use crate::bench::accuracy::{Accuracy, Range, Stated};
use crate::bench::capture::{CoastingBridge, Role};
use crate::bench::error::{BenchError, Place};
use crate::bench::sheet::{Quantity, RATIO, Table, VOLTAGE, read_accuracy, size_at};

/// What the bridge does while it is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum OffTime {
    /// It shorts the motor.
    Brakes,
    /// It reverses the supply.
    Reverses,
    /// All switches open: two diodes lead the current back into the supply until it has died.
    Coasts,
    /// The switch opens: one diode leads the current around the supply until it has died.
    Freewheels,
}

const OFF_TIMES: [(&str, OffTime); 4] = [
    ("brakes", OffTime::Brakes),
    ("reverses", OffTime::Reverses),
    ("coasts", OffTime::Coasts),
    ("freewheels", OffTime::Freewheels),
];

/// A bridge as typed.
#[derive(Clone, Debug)]
pub struct TypedBridge {
    place: Place,
    /// Share of the time in which the motor is on the supply, 0 to 1, with its accuracy.
    duty: f64,
    accuracy: Accuracy,
    off_time: OffTime,
    /// Where the current may die in the off time: the period, s, and the drop of one diode.
    period_and_diode: Option<(f64, Quantity)>,
}

/// Reads the key `bridge` of a capture.
pub fn read_bridge(parent: &Table<'_>) -> Result<Option<TypedBridge>, BenchError> {
    let Some(table) = parent.table("bridge")? else {
        return Ok(None);
    };
    let duty = table.positive("duty_percent")?;
    let off_time = table.choice(
        "off_time",
        "behaviour of a bridge in the off time",
        &OFF_TIMES,
    )?;
    let accuracy = read_accuracy(&table, RATIO, false)?;
    let frequency_hz = table.positive("frequency_hz")?;
    let diode = size_at(&table, "diode_drop", VOLTAGE)?;
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
    if accuracy.is_empty() {
        return Err(table.missing(
            "limit_percent",
            "accuracy of the duty in percent of it, dead time included, e.g. limit_percent = 1",
        ));
    }
    let off_time = table.require(
        "off_time",
        off_time,
        "what the bridge does while it is off: \"brakes\" (shorts the motor), \"reverses\" (puts it on the reversed supply), \"coasts\" (all switches open, two diodes lead the current back into the supply) or \"freewheels\" (one switch opens, one diode leads the current around the supply)",
    )?;
    let dies = matches!(off_time, OffTime::Coasts | OffTime::Freewheels);
    let period_and_diode = match dies {
        true => {
            let frequency_hz = table.require(
                "frequency_hz",
                frequency_hz,
                "switching frequency, which decides whether the current dies in the off time, e.g. frequency_hz = 5000",
            )?;
            let diode = table.require(
                "diode_drop",
                diode,
                "drop of one diode that carries the current in the off time, e.g. diode_drop = { v = 0.8, limit_v = 0.3 }",
            )?;
            Some((1.0 / frequency_hz, diode))
        }
        false => None,
    };
    Ok(Some(TypedBridge {
        place: parent.place_of("bridge"),
        duty: duty / 100.0,
        accuracy,
        off_time,
        period_and_diode,
    }))
}

/// What drives the motor of a capture without a voltage channel: the source or its mean behind a bridge, and the bridge if it coasts.
pub fn switched(
    bridge: Option<&TypedBridge>,
    (role, place): (Role, &Place),
    recorded: bool,
    source_v: Option<Stated>,
) -> Result<(Option<Stated>, Option<CoastingBridge>), BenchError> {
    let Some(bridge) = bridge else {
        if !recorded && matches!(role, Role::Pwm | Role::PwmLocked) {
            return Err(BenchError::at(
                place,
                "a switched capture without a voltage channel lacks the key `bridge`: duty and what the bridge does in the off time, e.g. bridge = { duty_percent = 40, limit_percent = 1, off_time = \"brakes\" }",
            ));
        }
        return Ok((source_v, None));
    };
    if recorded {
        return Err(BenchError::at(
            &bridge.place,
            "a `bridge` belongs to a capture without a voltage channel; here the recorded voltage drives the motor",
        ));
    }
    let Some(source) = source_v else {
        return Err(BenchError::at(
            &bridge.place,
            "a `bridge` needs the voltage that it switches: source = { v = 24, limit_percent = 1 } in this capture, or `voltage` in [supply]",
        ));
    };
    match &bridge.period_and_diode {
        None => Ok((Some(bridge.mean_of(source)), None)),
        Some((period_s, diode)) => {
            if !matches!(role, Role::Pwm | Role::PwmLocked) {
                return Err(BenchError::at(
                    &bridge.place,
                    "the current of a bridge that coasts or freewheels may die in every period: role = \"pwm\", or \"pwm-locked\" where the rotor is held",
                ));
            }
            let diode = diode.stated("diode_drop")?;
            Ok((
                Some(source),
                Some(bridge.coasting(*period_s, diode, source)),
            ))
        }
    }
}

impl TypedBridge {
    fn duty_uncertainty(&self) -> f64 {
        self.accuracy
            .standard_uncertainty(self.duty, Range::default())
    }

    /// Mean voltage behind a bridge in which the current flows all the time.
    fn mean_of(&self, source: Stated) -> Stated {
        let (share, uncertainty) = match self.off_time {
            OffTime::Reverses => (2.0 * self.duty - 1.0, 2.0 * self.duty_uncertainty()),
            _ => (self.duty, self.duty_uncertainty()),
        };
        Stated {
            value: source.value * share,
            standard_uncertainty: (source.standard_uncertainty * share)
                .hypot(source.value * uncertainty),
        }
    }

    /// A bridge whose current may die. While it flows, the mean voltage is D V − (1 − D)(V + 2 V_d) or D V − (1 − D) V_d: a diode's drop that
    /// is wrong by δ acts as a duty that is wrong by (1 − D) δ over V + V_d, either way; once the current dies in the off time it acts less.
    fn coasting(&self, period_s: f64, diode: Stated, source: Stated) -> CoastingBridge {
        let into_source = self.off_time == OffTime::Coasts;
        let of_diode = (1.0 - self.duty) * diode.standard_uncertainty
            / (source.value.abs() + diode.value).max(f64::MIN_POSITIVE);
        CoastingBridge {
            duty: self.duty,
            duty_uncertainty: self.duty_uncertainty().hypot(of_diode) / self.duty,
            period_s,
            diode_drop_v: if into_source { 2.0 } else { 1.0 } * diode.value,
            into_source,
        }
    }
}
