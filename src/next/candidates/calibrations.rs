//! Instruments that a calibration would make better.

use super::candidate::Candidate;
use super::context::Context;
use crate::fit::Addition;

/// A calibration gives a gain to 0.2 %, read as two standard deviations (common practice, no source).
const CALIBRATION: f64 = 1e-3;

/// One a piece of hardware whose gain is known less well than after a calibration.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    let instruments = context.bench.instruments.iter().enumerate();
    instruments
        .filter(|(_, i)| i.gain_relative_uncertainty > 1.5 * CALIBRATION)
        .map(|(k, instrument)| {
            let name = &instrument.name;
            let (title, how) = match instrument.gain_per_channel {
                true => (
                    format!("both channels of \"{name}\" checked against a known voltage"),
                    "a voltage known to 0.2 % on each channel at the ranges used",
                ),
                false => (
                    format!("\"{name}\" calibrated, or all taken again through a better one"),
                    "a shunt by four wires, a clamp by a known current, a probe by a known voltage, to 0.2 %",
                ),
            };
            let now = 200.0 * instrument.gain_relative_uncertainty;
            let addition = Addition {
                gains: vec![(k, CALIBRATION)],
                ..context.addition()
            };
            let title = format!("{title} (± {now:.1} % to ± 0.2 %)");
            Candidate::new(&format!("calibrate_{name}"), title, addition)
                .needing("a reference of 0.2 %")
                .how(how)
        })
        .collect()
}
