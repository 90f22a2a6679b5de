//! Running under the order's load, and held, at the full supply (`docs/drive.md`, section 3).

use super::inrush::{running, stall_a};
use crate::drive::sample::Sample;
use crate::drive::section::Section;
use crate::drive::setting::Setting;

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let turning = running(setting, m);
    out.row("stall_current", stall_a(setting, m));
    out.row("running_current", turning.map(|point| point.current_a));
    out.row("running_back_emf", turning.map(|point| point.back_emf_v));
    out.row(
        "running_speed",
        turning.and_then(|point| m.speed_rad_s(point.back_emf_v)),
    );
}
