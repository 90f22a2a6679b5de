//! An uneven commutator over the few turns of a start or a brake: the first waves a turn of the relative back-EMF constant.

use super::gradient::{UNEVENNESS, direction};
use crate::bench::Role;
use crate::fit::data::{Leg, LegKind};
use crate::fit::unknowns::{Layout, Parameter, Slot, Source};
use std::f64::consts::TAU;

/// Standard deviation of the cosine and of the sine of each wave of the relative back-EMF constant over a turn, before the capture is
/// seen: segments and coils of a small motor differ by a per cent or so (common practice, no source).
const UNEVENNESS_SD: f64 = 0.006;

/// Turns after which the unevenness is half faded: by then it averages out, and its phase is no longer known.
const FADING_TURNS: f64 = 8.0;

/// Whether a leg lasts for a few turns from a known instant, so that what repeats with the turn does not average out: one that
/// is no longer whole turns a bin, as steady running is, nor switched.
pub fn is_transient(role: Role, number: usize, leg: &Leg) -> bool {
    leg.kind == LegKind::Connected && number > 0 && !matches!(role, Role::Pwm | Role::PwmLocked)
}

/// Adds the waves of a capture to the layout.
pub fn add_waves(capture: usize, layout: &mut Layout, links: &mut [Vec<(usize, f64)>]) {
    for wave in 0..UNEVENNESS {
        let parameter = Parameter::free(Slot::Unevenness { capture, wave }, 0.0).with_prior(
            0.0,
            UNEVENNESS_SD,
            Source::Position,
        );
        links[direction::UNEVENNESS + wave].push((layout.add(parameter), 1.0));
    }
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
