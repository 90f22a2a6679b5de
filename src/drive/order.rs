//! What the drive is to be sized for, SI units.

use crate::motor_file::MotorFile;
use crate::quantity::engineering;
use crate::quantity::rounding::significant;

/// A load that opposes motion, beside the motor's own friction.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Load {
    /// No load.
    #[default]
    None,
    /// Torque at the shaft, N·m; needs the back-EMF constant.
    Torque(f64),
    /// The current that it costs, A; needs no speed anchor.
    Current(f64),
}

/// The user's conditions. What is `None` was not stated, and results that need it are not given.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Order {
    /// Voltage of the supply.
    pub supply_v: f64,
    /// Resistance of the source.
    pub source_resistance_ohm: f64,
    /// Resistance of both leads together.
    pub lead_resistance_ohm: f64,
    /// What opposes motion.
    pub load: Load,
    /// Inertia beside the rotor's.
    pub load_inertia_kg_m2: Option<f64>,
    /// Turns of the motor a turn of the load; load and load inertia are at the load's shaft then.
    pub gear: Option<f64>,
    /// Share of the power that the gear passes on.
    pub gear_efficiency: Option<f64>,
    /// Current that supply and switches stand.
    pub current_limit_a: Option<f64>,
    /// Switching frequency.
    pub frequency_hz: f64,
    /// Share of the period that is on.
    pub duty: f64,
    /// Ripple wanted, peak to peak over the mean current.
    pub ripple_share: f64,
    /// The bridge of a profile is half a one: one switch carries the current, and the voltage has one sign.
    pub half_bridge: bool,
    /// On-resistance of one switch.
    pub switch_resistance_ohm: Option<f64>,
    /// Voltage across a conducting diode.
    pub diode_drop_v: f64,
    /// Its slope resistance.
    pub diode_resistance_ohm: f64,
    /// Capacitor across the motor, which every edge of the PWM charges.
    pub motor_capacitance_f: Option<f64>,
    /// Dead time of the half bridge.
    pub dead_time_s: Option<f64>,
    /// Voltage across the motor while it is clamped.
    pub clamp_voltage_v: Option<f64>,
    /// Capacitance across the opening switch.
    pub stray_capacitance_f: Option<f64>,
    /// Braking resistor.
    pub brake_resistor_ohm: Option<f64>,
    /// Time in which the duty is ramped down to brake.
    pub brake_ramp_s: Option<f64>,
    /// Time in which a braking resistor has to stop the motor.
    pub stop_time_s: Option<f64>,
    /// Capacitance across the supply.
    pub bus_capacitance_f: Option<f64>,
    /// Voltage that the supply must not pass while braking energy comes back.
    pub bus_limit_v: Option<f64>,
    /// Heat capacity of the winding.
    pub thermal_mass_j_per_k: Option<f64>,
    /// Winding temperature that must not be passed.
    pub winding_limit_c: Option<f64>,
    /// Temperature of the room.
    pub ambient_c: f64,
    /// Winding temperature for everything computed; the captures' without it.
    pub winding_temperature_c: Option<f64>,
}

/// Frequency when none is stated: above hearing (common practice, no source).
pub const USUAL_FREQUENCY_HZ: f64 = 20e3;
/// Ripple as a share of the mean current when none is stated (common practice, no source).
pub const USUAL_RIPPLE_SHARE: f64 = 0.1;
/// Voltage across a conducting diode when none is stated (common practice, no source).
pub const USUAL_DIODE_DROP_V: f64 = 1.0;
/// Temperature of the room when none is given: the highest that a machine is rated for without more said (IEC 60034-1, 6.4).
pub const USUAL_AMBIENT_C: f64 = 40.0;
/// Duty when none is stated: there the ripple is greatest.
pub const USUAL_DUTY: f64 = 0.5;

/// An order that no motor could be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{option} {found}: expected {expected}")]
#[non_exhaustive]
pub struct OrderError {
    /// Option of the command line.
    pub option: &'static str,
    /// What it holds.
    pub found: String,
    /// What it should hold.
    pub expected: String,
}

impl Order {
    /// An order with the usual values and nothing else stated.
    pub fn usual(supply_v: f64) -> Order {
        Order {
            supply_v,
            frequency_hz: USUAL_FREQUENCY_HZ,
            duty: USUAL_DUTY,
            ripple_share: USUAL_RIPPLE_SHARE,
            diode_drop_v: USUAL_DIODE_DROP_V,
            ambient_c: USUAL_AMBIENT_C,
            ..Order::default()
        }
    }

    /// Refuses what is physically impossible.
    ///
    /// # Errors
    /// The first option out of range, in words for the person.
    pub fn check(&self) -> Result<(), OrderError> {
        let positive = |value: f64| value.is_finite() && value > 0.0;
        refuse(&self.above_zero(), positive, "a value above zero")?;
        let not_negative = |value: f64| value.is_finite() && value >= 0.0;
        refuse(
            &self.zero_or_above(),
            not_negative,
            "zero or above (a load that drives the shaft is not computed)",
        )?;
        refuse(
            &[("--duty", Some(self.duty))],
            |duty| duty > 0.0 && duty < 1.0,
            "a share above 0 and below 1, e.g. 0.5 or \"50 %\"",
        )?;
        refuse(
            &[("--gear-efficiency", self.gear_efficiency)],
            |share| share > 0.0 && share <= 1.0,
            "a share above 0 and at most 1, e.g. 0.8 or \"80 %\"",
        )?;
        refuse(
            &[("--bus-limit", self.bus_limit_v)],
            |limit_v| limit_v > self.supply_v && limit_v.is_finite(),
            &format!("a voltage above that of the supply, {} V", self.supply_v),
        )?;
        let most = self.duty.min(1.0 - self.duty) / self.frequency_hz;
        refuse(
            &[("--dead-time", self.dead_time_s)],
            |dead_time| dead_time < most,
            &format!(
                "less than the shorter of on and off time, {} at this frequency and duty",
                engineering(most, "s")
            ),
        )?;
        refuse(
            &[
                ("--winding-temperature", self.winding_temperature_c),
                ("--winding-limit", self.winding_limit_c),
                ("--ambient", Some(self.ambient_c)),
            ],
            |value| value > -100.0 && value < 400.0,
            "a temperature from -100 to 400 °C",
        )
    }

    /// Refuses a supply so far beyond the captures that nothing of them reaches there.
    ///
    /// # Errors
    /// With the largest supply that is worked out.
    pub fn check_reach(&self, file: &MotorFile) -> Result<(), OrderError> {
        let seen = file
            .validity
            .back_emf_v
            .map(|range| range.largest_magnitude());
        let stated = file.motor.as_ref().and_then(|motor| motor.supply_v);
        let known_v = seen
            .into_iter()
            .chain(stated.map(f64::abs))
            .fold(0.0, f64::max);
        let most_v = significant(MOST_TIMES * known_v, 2);
        if known_v > 0.0 && self.supply_v > most_v {
            return Err(OrderError {
                option: "--supply",
                found: format!("{} V", self.supply_v),
                expected: format!(
                    "at most {most_v} V: the captures reach {} V, and nothing is known of the motor so far beyond them; record a start at a higher supply",
                    significant(known_v, 3)
                ),
            });
        }
        Ok(())
    }

    /// Whether resistance and inertia are those of the motor file.
    pub fn is_as_in_file(&self) -> bool {
        self.winding_temperature_c.is_none() && self.load_inertia_kg_m2.is_none()
    }

    fn above_zero(&self) -> [Stated; 13] {
        [
            ("--supply", Some(self.supply_v)),
            ("--frequency", Some(self.frequency_hz)),
            ("--ripple-share", Some(self.ripple_share)),
            ("--gear", self.gear),
            ("--current-limit", self.current_limit_a),
            ("--clamp-voltage", self.clamp_voltage_v),
            ("--stray-capacitance", self.stray_capacitance_f),
            ("--motor-capacitor", self.motor_capacitance_f),
            ("--brake-resistor", self.brake_resistor_ohm),
            ("--brake-ramp", self.brake_ramp_s),
            ("--stop-time", self.stop_time_s),
            ("--bus-capacitance", self.bus_capacitance_f),
            ("--thermal-mass", self.thermal_mass_j_per_k),
        ]
    }

    fn zero_or_above(&self) -> [Stated; 8] {
        let load = match self.load {
            Load::None => None,
            Load::Torque(value) | Load::Current(value) => Some(value),
        };
        [
            ("--source-resistance", Some(self.source_resistance_ohm)),
            ("--lead-resistance", Some(self.lead_resistance_ohm)),
            ("--diode-drop", Some(self.diode_drop_v)),
            ("--diode-resistance", Some(self.diode_resistance_ohm)),
            ("--switch-resistance", self.switch_resistance_ohm),
            ("--dead-time", self.dead_time_s),
            ("--load-inertia", self.load_inertia_kg_m2),
            ("--load", load),
        ]
    }
}

/// Largest supply worked out, as a multiple of what the captures show (common practice, no source).
const MOST_TIMES: f64 = 10.0;

/// An option with what the user stated.
type Stated = (&'static str, Option<f64>);

/// Refuses the first value that is not as expected.
fn refuse(
    options: &[Stated],
    as_expected: impl Fn(f64) -> bool,
    expected: &str,
) -> Result<(), OrderError> {
    let wrong = options
        .iter()
        .find_map(|(option, value)| Some((*option, value.filter(|v| !as_expected(*v))?)));
    match wrong {
        None => Ok(()),
        Some((option, value)) => Err(OrderError {
            option,
            found: format!("{value}"),
            expected: expected.to_owned(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn impossible_orders_are_refused_with_option_found_and_expected() {
        let refused = |change: fn(&mut Order)| {
            let mut order = Order::usual(24.0);
            assert_eq!(order.check(), Ok(()));
            change(&mut order);
            order.check().expect_err("impossible").to_string()
        };
        assert_eq!(
            refused(|order| order.supply_v = -24.0),
            "--supply -24: expected a value above zero"
        );
        assert!(refused(|order| order.duty = 1.5).starts_with("--duty 1.5: expected a share"));
        assert!(refused(|order| order.duty = f64::NAN).contains("NaN"));
        assert!(refused(|order| order.load = Load::Torque(-1.0)).starts_with("--load -1"));
        assert!(refused(|order| order.dead_time_s = Some(1e-4)).contains("25.0 µs"));
        assert!(refused(|order| order.winding_limit_c = Some(5000.0)).contains("--winding-limit"));
    }
}
