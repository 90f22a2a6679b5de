//! Running under the order's load, and held, at the full supply (`docs/drive.md`, section 3).

use super::inrush::{running, stall_a};
use crate::drive::sample::Sample;
use crate::drive::section::{Section, Unit, high, low, plain};
use crate::drive::setting::Setting;

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let turning = running(setting, m);
    out.row(
        high(
            "stall_current",
            "current with the rotor held, (V - V_b)/R",
            Unit::Ampere,
            "3",
        ),
        stall_a(setting, m),
    );
    out.row(
        high(
            "running_current",
            "running current under this load",
            Unit::Ampere,
            "3",
        ),
        turning.map(|point| point.current_a),
    );
    out.row(
        plain("running_back_emf", "running back-EMF", Unit::Volt, "3"),
        turning.map(|point| point.back_emf_v),
    );
    out.row(
        low("running_speed", "running speed", Unit::Speed, "3"),
        turning.and_then(|point| m.speed_rad_s(point.back_emf_v)),
    );
}
