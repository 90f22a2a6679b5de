//! Which results take a current or a speed that the captures do not reach.

use crate::drive::remarks::notes::Note;
use crate::drive::result::{Figure, Row};
use crate::drive::sample::Sample;
use crate::drive::section::Unit;
use crate::drive::setting::Setting;
use crate::drive::topics::inrush;
use crate::motor_file::MotorFile;

/// Share of what the captures reach beyond which a result is called extrapolated.
const EXTRAPOLATED: f64 = 1.1;

/// What is computed against what was seen.
pub struct Reach {
    /// Computed and seen current, A, where it is beyond: of a held rotor at the full supply.
    held_a: Option<(f64, f64)>,
    /// The same of the back-EMF at running speed, V.
    running_v: Option<(f64, f64)>,
    seen_a: Option<f64>,
    /// Largest speed that was seen, rad/s.
    seen_rad_s: Option<f64>,
}

fn beyond(computed: Option<f64>, seen: Option<f64>) -> Option<(f64, f64)> {
    computed
        .zip(seen)
        .filter(|(computed, seen)| *computed > EXTRAPOLATED * seen)
}

impl Reach {
    /// Of the motor of the estimates.
    pub fn of(file: &MotorFile, setting: &Setting, estimate: &Sample) -> Reach {
        let seen_a = file
            .validity
            .current_a
            .map(|range| range.largest_magnitude());
        let seen_v = file
            .validity
            .back_emf_v
            .map(|range| range.largest_magnitude());
        let running = inrush::running(setting, estimate).ok();
        Reach {
            held_a: beyond(inrush::stall_a(setting, estimate).ok(), seen_a),
            running_v: beyond(running.map(|point| point.back_emf_v), seen_v),
            seen_a,
            seen_rad_s: seen_v.and_then(|emf_v| estimate.speed_rad_s(emf_v).ok()),
        }
    }

    /// Whether a row is beyond the captures, by its own number or by the state that it belongs to.
    pub fn is_beyond(&self, row: &Row) -> bool {
        let Figure::Known(bounded) = &row.figure else {
            return false;
        };
        let of = |keys: &[&str]| keys.iter().any(|key| row.key.starts_with(key));
        // Friction and windage at that speed decide.
        let runs = of(&[
            "running_",
            "kinetic_",
            "ramp_",
            "resistor_",
            "short_",
            "stop_resistor",
            "bus_",
        ]) || of(&["run_up_time", "continuous_torque_at_supply"]);
        let held = of(&[
            "held_",
            "stall_",
            "clamp_peak_power",
            "inrush_winding_heat",
            "inrush_i2t",
        ]);
        let seen = match row.unit {
            Unit::Ampere => self.seen_a,
            Unit::Speed => self.seen_rad_s,
            _ => None,
        };
        let own = seen.is_some_and(|seen| bounded.middle > EXTRAPOLATED * seen);
        own || (runs && self.running_v.is_some()) || (held && self.held_a.is_some())
    }

    /// The same once, with both numbers.
    pub fn warnings(&self) -> impl Iterator<Item = Note> {
        let current = self
            .held_a
            .map(|(peak_a, largest_a)| Note::BeyondCurrents { peak_a, largest_a });
        let speed = self
            .running_v
            .map(|(emf_v, largest_v)| Note::BeyondSpeeds { emf_v, largest_v });
        current.into_iter().chain(speed)
    }
}
