//! An uneven commutator over the few turns of a start or a brake: the first waves a turn of the relative back-EMF constant.

use crate::bench::Role;
use crate::fit::data::{Segment, SegmentKind};
use crate::fit::unknowns::UNEVENNESS;
use std::f64::consts::TAU;

/// Turns after which the unevenness is half faded: by then it averages out, and its phase is no longer known.
const FADING_TURNS: f64 = 8.0;

/// Whether a segment lasts for a few turns from a known instant, so that what repeats with the turn does not average out: one that
/// is no longer whole turns a bin, as steady running is, nor switched.
pub fn is_transient(role: Role, number: usize, segment: &Segment) -> bool {
    segment.kind == SegmentKind::Connected
        && number > 0
        && !matches!(role, Role::Pwm | Role::PwmLocked)
}

/// Whether any segment of a capture is such a one.
pub fn has_transient(role: Role, segments: &[Segment]) -> bool {
    let mut numbered = segments.iter().enumerate();
    numbered.any(|(number, segment)| is_transient(role, number, segment))
}

/// Means of the waves over a bin, from its middle and width.
pub fn waves([middle_v_s, step_v_s]: [f64; 2], turn_v_s: f64) -> [f64; UNEVENNESS] {
    let left = 1.0 / (1.0 + (middle_v_s / turn_v_s / FADING_TURNS).powi(2));
    let mut out = [0.0; UNEVENNESS];
    for (wave, pair) in out.chunks_exact_mut(2).enumerate() {
        let per_v_s = TAU * (wave + 1) as f64 / turn_v_s;
        let half = 0.5 * step_v_s * per_v_s;
        let kept = if half.abs() < 1e-3 {
            1.0 - half * half / 6.0
        } else {
            half.sin() / half
        };
        let (sin, cos) = (middle_v_s * per_v_s).sin_cos();
        pair[0] = left * kept * cos;
        pair[1] = left * kept * sin;
    }
    out
}
