//! One motor as the drive sees it: the estimate, or a draw from the covariance, in terminal terms, with the load and the conditions
//! of the order in it.
//!
//! Everything that has no speed or torque in it needs no speed anchor, so a file without one still sizes a drive.

use super::order::{Load, Order};
use super::section::{Known, Why};
use crate::bench::BrushKind;
use crate::motor::TerminalParameters;
use crate::motor::temperature::{REFERENCE_C, winding_ratio};
use crate::motor::thermal::ThermalNetwork;
use crate::motor_file::draw::ParameterSet;
use crate::motor_file::{MotorFile, ParameterName as Name};

/// One motor under an order.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    pub resistance_ohm: Known,
    pub inductance_h: Known,
    /// C_m, load inertia included.
    pub capacitance_f: Known,
    /// C_m of the rotor alone.
    pub rotor_capacitance_f: Known,
    /// I_c, load included.
    pub holding_a: Known,
    /// The load's part of it.
    pub load_a: Known,
    pub conductance_s: Known,
    pub windage_a_per_v2: f64,
    pub brush_drop_v: Known,
    pub back_emf_constant_v_s_per_rad: Known,
    /// How it warms; `None` where the file does not know.
    pub thermal: Option<ThermalNetwork>,
    /// Share of the resistance that is not copper, against which its temperature does nothing.
    pub other_share: f64,
    /// Braking resistor that stops it in the time of the order, worked out once for all that needs it.
    pub stop_resistor_ohm: Known,
    /// A motor of the finer terms only.
    pub(in crate::drive) finer: TerminalParameters,
}

/// Winding temperature of everything computed, °C: the order's, else that of the captures; `None` where it is not stated.
pub fn winding_c(file: &MotorFile, order: &Order) -> Option<f64> {
    order.winding_temperature_c.or(captures_c(file))
}

fn captures_c(file: &MotorFile) -> Option<f64> {
    let resistance = file.parameters.get(&Name::TerminalResistance)?;
    resistance.temperature_c
}

impl Sample {
    /// A motor of `file` under an order. `less_copper`: departure of the share of R that is not copper, in its standard uncertainty.
    pub fn new(file: &MotorFile, motor: &ParameterSet, order: &Order, less_copper: f64) -> Sample {
        let value = |name| motor.value(name).map_err(Why::Undetermined);
        let brushes = file.motor.as_ref().and_then(|motor| motor.brushes);
        let other_share = less_copper * BrushKind::other_share(brushes);
        let warmth = order.winding_temperature_c.map_or(1.0, |to_c| {
            winding_ratio(captures_c(file).unwrap_or(REFERENCE_C), to_c, other_share)
        });
        let k = value(Name::BackEmfConstant);
        let ratio = order.gear.unwrap_or(1.0);
        let efficiency = order.gear_efficiency.unwrap_or(1.0);
        let load = match order.load {
            Load::None => Ok(0.0),
            Load::Current(current) => Ok(current),
            Load::Torque(torque) => k.map(|k| torque / (k * ratio * efficiency)),
        };
        let added = match order.load_inertia_kg_m2 {
            None => Ok(0.0),
            Some(inertia) => k.map(|k| inertia / (k * k * ratio * ratio)),
        };
        let sum = |one: Known, other: Known| Ok(one? + other?);
        Sample {
            resistance_ohm: value(Name::TerminalResistance).map(|r| r * warmth),
            inductance_h: value(Name::ArmatureInductance),
            capacitance_f: sum(value(Name::InertiaCapacitance), added),
            rotor_capacitance_f: value(Name::InertiaCapacitance),
            holding_a: sum(value(Name::FrictionCurrent), load),
            load_a: load,
            conductance_s: value(Name::ViscousConductance),
            windage_a_per_v2: motor.windage_a_per_v2(),
            brush_drop_v: value(Name::BrushDrop),
            back_emf_constant_v_s_per_rad: k,
            thermal: None,
            other_share,
            stop_resistor_ohm: Err(Why::NotGiven("--stop-time")),
            finer: TerminalParameters {
                windage_a_per_v2: 0.0,
                ..motor.terms()
            },
        }
    }

    /// Resistance of the winding at a temperature over that at another.
    pub fn warmer(&self, from_c: f64, to_c: f64) -> f64 {
        winding_ratio(from_c, to_c, self.other_share)
    }

    /// What the simulation takes, with `series_ohm` in the loop.
    pub fn machine(&self, series_ohm: f64) -> Known<TerminalParameters> {
        let held = self.held(series_ohm)?;
        Ok(TerminalParameters {
            inertia_capacitance_f: self.capacitance_f?,
            friction_current_a: self.holding_a?,
            viscous_conductance_s: self.conductance_s?,
            windage_a_per_v2: self.windage_a_per_v2,
            armature_inductance_h: self.inductance_h?,
            ..held
        })
    }

    /// The same for the steady state of a rotor that cannot turn: inductance, inertia and friction play no part.
    pub fn held(&self, series_ohm: f64) -> Known<TerminalParameters> {
        Ok(TerminalParameters {
            terminal_resistance_ohm: self.resistance_ohm? + series_ohm,
            brush_drop_v: self.brush_drop_v?,
            ..self.finer
        })
    }

    /// a: relative loss of the back-EMF constant per ampere.
    pub fn armature_reaction_per_a(&self) -> f64 {
        self.finer.armature_reaction_per_a
    }

    /// Inductance that a ripple of `frequency_hz` about a current meets, H.
    pub fn inductance_at_h(&self, current_a: f64, frequency_hz: f64) -> Known {
        let motor = TerminalParameters {
            armature_inductance_h: self.inductance_h?,
            ..self.finer
        };
        Ok(motor.inductance_at_h(current_a, frequency_hz))
    }

    /// Current that friction and load take at a back-EMF, A.
    pub fn load_current_a(&self, emf_v: f64) -> Known {
        Ok(self.holding_a?
            + self.conductance_s? * emf_v
            + self.windage_a_per_v2 * emf_v * emf_v.abs())
    }

    /// The part of it that friction takes, A.
    pub fn friction_current_a(&self, emf_v: f64) -> Known {
        Ok(self.load_current_a(emf_v)? - self.load_a?)
    }

    /// Speed of a back-EMF, rad/s.
    pub fn speed_rad_s(&self, emf_v: f64) -> Known {
        Ok(emf_v / self.back_emf_constant_v_s_per_rad?)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A motor of plain constants, everything known.
    pub fn plain(p: TerminalParameters, k: f64) -> Sample {
        Sample {
            resistance_ohm: Ok(p.terminal_resistance_ohm),
            inductance_h: Ok(p.armature_inductance_h),
            capacitance_f: Ok(p.inertia_capacitance_f),
            rotor_capacitance_f: Ok(p.inertia_capacitance_f),
            holding_a: Ok(p.friction_current_a),
            load_a: Ok(0.0),
            conductance_s: Ok(p.viscous_conductance_s),
            windage_a_per_v2: p.windage_a_per_v2,
            brush_drop_v: Ok(p.brush_drop_v),
            back_emf_constant_v_s_per_rad: Ok(k),
            thermal: None,
            other_share: 0.0,
            stop_resistor_ohm: Err(Why::NotGiven("--stop-time")),
            finer: p,
        }
    }
}
