//! First guesses in closed form from the segments, so that nobody ever gives a start value.
//!
//! Each is a crude reading of one feature; the fit converges from guesses wrong by a factor of five either way.

use super::hints::{Hints, least, middle, read_hints};
use super::segments::Segment;
use crate::bench::Bench;
use crate::motor::TerminalParameters;

/// Guesses every terminal parameter; what nothing hints at gets the magnitude of a small motor.
pub fn first_guess(bench: &Bench, segments: &[Vec<Segment>]) -> TerminalParameters {
    let mut hints = Hints::default();
    for (capture, segments) in bench.captures.iter().zip(segments) {
        read_hints(capture, segments, &mut hints);
    }
    let resistance = least(&hints.resistance).unwrap_or(1.0);
    let no_load = middle(&mut hints.no_load_current).unwrap_or(0.05).max(1e-6);
    let emf = middle(&mut hints.running_emf).unwrap_or(10.0).max(1e-3);
    let capacitance = middle(&mut hints.capacitance)
        .or_else(|| middle(&mut hints.slowing).map(|s| no_load / s.max(1e-9)))
        .unwrap_or(0.02 / resistance);
    let rise = least(&hints.rise_time_s).unwrap_or(2e-4);
    TerminalParameters {
        brush_drop_v: 0.02 * emf,
        brush_scale_a: 0.4 * no_load,
        ..TerminalParameters::plain(
            resistance,
            rise * resistance,
            capacitance,
            0.7 * no_load,
            0.3 * no_load / emf,
        )
    }
}
