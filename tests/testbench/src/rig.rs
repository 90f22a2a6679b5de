//! Supply, switches, diode and what carries the current: everything between source and motor.

use super::error::{DrawError, Part};
use super::stated::Stated;

/// The wiring of the simulated bench.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Rig {
    pub supply_v: f64,
    /// Source, switch and leads together, Ω; a shunt comes on top.
    pub source_resistance_ohm: f64,
    pub lead_inductance_h: f64,
    /// Limit of a bench supply. Its loop is an integrator: the current overshoots before it settles at the limit.
    pub current_limit_a: Option<f64>,
    /// Ripple of the supply: amplitude and frequency.
    pub supply_ripple: Option<Line>,
    pub sensor: CurrentSensor,
    /// Contact and wire of the short of a brake, Ω; a shunt inside the loop comes on top.
    pub short_resistance_ohm: f64,
    pub bounce: Bounce,
    pub arc: Arc,
    /// Shortest and longest flight of the changeover switch, s.
    pub flight_s: [f64; 2],
    /// Stray capacitance over the motor, with which its inductance rings once the current has stopped.
    pub stray_capacitance_f: f64,
    /// Freewheel diode of the chopper and clamp diode of a turn-off.
    pub diode: Diode,
    pub chopper: Chopper,
    /// Disc for the run-down with added inertia, kg·m², as it truly is up to its tolerance.
    pub added_inertia_kg_m2: f64,
    /// Limit of error of the disc's stated inertia, relative.
    pub added_inertia_limit: f64,
    pub temperature: Temperature,
}

/// A sinusoidal disturbance.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Line {
    pub amplitude_v: f64,
    pub frequency_hz: f64,
}

/// What turns current into a scope channel.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub enum CurrentSensor {
    Shunt {
        nominal_ohm: f64,
        /// Stated limit of error, relative.
        tolerance: f64,
        /// The voltage channel spans motor and shunt; a brake's short then spans both too.
        inside_voltage_channel: bool,
    },
    Clamp {
        /// Stated limit of error of reading, relative.
        gain_limit: f64,
        /// Stated limit of its zero, A.
        zero_limit_a: f64,
        bandwidth_hz: f64,
    },
}

/// Contact bounce of a make.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Bounce {
    /// Fewest and most makes; 1 is a clean make.
    pub makes: [u32; 2],
    /// From the first make to the last at most, s.
    pub window_s: f64,
}

/// The arc when a contact opens under current: a low plateau, then a spark at high voltage until the current has stopped.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Arc {
    pub plateau_v: f64,
    /// Longest plateau, s.
    pub plateau_s: f64,
    /// Lowest and highest voltage over the contact after the plateau.
    pub spark_v: [f64; 2],
}

/// Diode drop `forward_v + slope_ohm · i`.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Diode {
    pub forward_v: f64,
    pub slope_ohm: f64,
}

/// Transistor chopper with the diode across the motor.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Chopper {
    pub frequency_hz: f64,
    pub duty: f64,
    pub switch_ohm: f64,
}

/// What the person writes of temperature, and how far it is from the truth.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Temperature {
    /// Stated, °C.
    pub room_c: f64,
    /// Stated winding temperature at the beginning of each capture, °C, and its standard uncertainty.
    pub winding_c: f64,
    pub winding_uncertainty_k: f64,
    /// Standard deviation from capture to capture on top, K.
    pub scatter_k: f64,
    /// Magnets above the room, °C, exact.
    pub magnets_above_room_k: f64,
}

impl Temperature {
    /// The winding temperature as the sheet states it; its uncertainty is never nought, so that one may weight with it.
    pub(crate) fn stated_winding_c(&self) -> Stated {
        Stated {
            value: self.winding_c,
            standard_uncertainty: libm::hypot(self.winding_uncertainty_k, self.scatter_k).max(1e-3),
        }
    }
}

impl Rig {
    /// Same rig with one make, a hard spark instead of an arc, no ripple of the supply and known temperatures.
    pub fn clean(&self) -> Rig {
        Rig {
            supply_ripple: None,
            bounce: Bounce {
                makes: [1, 1],
                ..self.bounce
            },
            arc: Arc {
                plateau_v: 0.0,
                plateau_s: 0.0,
                spark_v: [400.0, 400.0],
            },
            temperature: Temperature {
                winding_uncertainty_k: 0.0,
                scatter_k: 0.0,
                ..self.temperature
            },
            added_inertia_limit: 0.0,
            ..self.clone()
        }
    }

    /// Checks that the numbers describe a rig.
    ///
    /// # Errors
    /// Names the first field that does not.
    pub fn validate(&self) -> Result<(), DrawError> {
        let part = Part("rig");
        part.positive(&[
            ("supply_v", self.supply_v),
            ("stray_capacitance_f", self.stray_capacitance_f),
            ("lead_inductance_h", self.lead_inductance_h),
            ("spark_v", self.arc.spark_v[0].min(self.arc.spark_v[1])),
            ("chopper.frequency_hz", self.chopper.frequency_hz),
            ("diode.forward_v", self.diode.forward_v),
        ])?;
        part.not_negative(&[
            ("source_resistance_ohm", self.source_resistance_ohm),
            ("short_resistance_ohm", self.short_resistance_ohm),
            ("diode.slope_ohm", self.diode.slope_ohm),
            ("flight_s", self.flight_s[0].min(self.flight_s[1])),
            ("bounce.window_s", self.bounce.window_s),
        ])?;
        if self.arc.spark_v[0] <= self.supply_v {
            return part.fault(
                "arc.spark_v",
                self.arc.spark_v[0],
                "more than the supply, or the current never stops",
            );
        }
        if !(self.chopper.duty > 0.0 && self.chopper.duty < 1.0) {
            return part.fault("chopper.duty", self.chopper.duty, "between 0 and 1");
        }
        Ok(())
    }
}
