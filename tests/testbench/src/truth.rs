//! What was simulated: everything the estimator may be judged by.

use super::motor::Machine;
use super::record::ShotKind;
use super::rig::Rig;
use super::scope::{InstrumentErrors, Instruments, Vertical};

/// The truth behind one bench.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Truth {
    pub scenario: String,
    pub seed: u64,
    /// The motor at 25 °C.
    pub machine_at_25_c: Machine,
    pub rig: Rig,
    pub instruments: Instruments,
    pub instrument_errors: InstrumentErrors,
    /// Winding at the beginning of a capture, mean over the captures, °C.
    pub winding_c: f64,
    pub magnets_c: f64,
    /// True resistance of the shunt, where there is one.
    pub shunt_ohm: Option<f64>,
    /// True inertia of the added disc.
    pub added_inertia_kg_m2: f64,
    pub captures: Vec<CaptureTruth>,
}

/// The truth behind one capture. Times are true times on the axis of the capture.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct CaptureTruth {
    pub name: String,
    pub kind: ShotKind,
    /// First switching: make, break, short, turn-off.
    pub event_s: f64,
    /// All closures and openings of the contact, in order.
    pub contacts_s: Vec<f64>,
    pub winding_c_start: f64,
    pub winding_c_end: f64,
    /// Winding resistance at the start, mean over a turn.
    pub resistance_start_ohm: f64,
    /// Resistance at the position in which the rotor was held, over the mean of a turn.
    pub held_position_resistance: Option<f64>,
    pub speed_first_rad_s: f64,
    pub speed_last_rad_s: f64,
    /// Mean speed while running steadily before the event.
    pub steady_speed_rad_s: Option<f64>,
    /// Mean current while running steadily before the event.
    pub steady_current_a: Option<f64>,
    pub peak_current_a: f64,
    /// When the current had stopped after the last opening.
    pub current_stopped_s: Option<f64>,
    pub rest_s: Option<f64>,
    pub voltage_vertical: Vertical,
    pub current_vertical: Vertical,
    pub voltage_zero_v: f64,
    pub current_zero_a: f64,
    /// Read over true, of the vertical ranges of voltage and current, beside the gains of all ranges.
    pub range_gains: [f64; 2],
    /// True speed at each row, rad/s.
    #[serde(skip)]
    pub speed_rad_s: Vec<f64>,
}

impl Truth {
    /// Parameters under the names of the motor file, SI, with winding and magnets as warm as in the captures.
    pub fn parameters(&self) -> Vec<(&'static str, f64)> {
        self.parameters_with(self.winding_c, self.magnets_c)
    }

    /// The same with winding and magnets at 25 °C.
    pub fn parameters_at_25_c(&self) -> Vec<(&'static str, f64)> {
        self.parameters_with(25.0, 25.0)
    }

    /// One of [`Truth::parameters`] by name.
    pub fn parameter(&self, name: &str) -> Option<f64> {
        self.parameters()
            .into_iter()
            .find_map(|(key, value)| (key == name).then_some(value))
    }

    /// No-load speed and current, stall torque and current on `voltage_v` (V), under the names of the motor file; means over a
    /// turn, winding and magnets as warm as in the captures. `None` where friction holds the rotor.
    pub fn operating_at(&self, voltage_v: f64) -> Option<[(&'static str, f64); 4]> {
        let machine = &self.machine_at_25_c;
        let resistance = machine.resistance_at(self.winding_c);
        let constant = machine.back_emf_constant_at(self.magnets_c);
        let flux = |current: f64| constant * machine.flux_share(current);
        // Both searches halve an interval over which their function rises.
        let zero = |high: f64, of: &dyn Fn(f64) -> f64| {
            let (mut low, mut high) = (0.0, high);
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                if of(middle) < 0.0 {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            high
        };
        let current = |omega: f64| {
            zero(voltage_v / resistance, &|i| {
                resistance * i + machine.contact_drop_v(i) + flux(i) * omega - voltage_v
            })
        };
        let shaft = |omega: f64| {
            let i = current(omega);
            flux(i) * i - machine.running_friction_nm(omega)
        };
        let stall_nm = shaft(0.0);
        if stall_nm <= 0.0 {
            return None;
        }
        let free = zero(2.0 * voltage_v / constant, &|omega| -shaft(omega));
        Some([
            ("no_load_speed", free),
            ("no_load_current", current(free)),
            ("stall_torque", stall_nm),
            ("stall_current", current(0.0)),
        ])
    }

    fn parameters_with(&self, winding_c: f64, magnets_c: f64) -> Vec<(&'static str, f64)> {
        let machine = &self.machine_at_25_c;
        let resistance = machine.resistance_at(winding_c);
        let constant = machine.back_emf_constant_at(magnets_c);
        let inductance = machine.armature_inductance_h;
        let capacitance = machine.rotor_inertia_kg_m2 / (constant * constant);
        vec![
            ("terminal_resistance", resistance),
            ("armature_inductance", inductance),
            ("back_emf_constant", constant),
            ("coulomb_friction_torque", machine.coulomb_friction_nm),
            ("viscous_friction", machine.viscous_friction_nm_s_per_rad),
            ("windage", machine.windage_nm_s2_per_rad2),
            ("rotor_inertia", machine.rotor_inertia_kg_m2),
            ("brush_drop", machine.brush_drop_v),
            ("inertia_capacitance", capacitance),
            ("friction_current", machine.coulomb_friction_nm / constant),
            (
                "viscous_conductance",
                machine.viscous_friction_nm_s_per_rad / (constant * constant),
            ),
            ("electrical_time_constant", inductance / resistance),
            ("mechanical_time_constant", resistance * capacitance),
        ]
    }
}
