//! Instruments that a calibration would make better.

use super::candidate::Candidate;
use super::context::Context;
use crate::fit::Addition;

/// A calibration gives a gain to 0.2 %, read as two standard deviations (common practice, no source).
const CALIBRATION: f64 = 1e-3;

/// One a piece of hardware whose gain is known less well than after a calibration.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    context
        .bench
        .instruments
        .iter()
        .enumerate()
        .filter(|(_, i)| i.gain_relative_uncertainty > 1.5 * CALIBRATION)
        .map(|(k, instrument)| {
            let (title, how) = if instrument.gain_per_channel {
                (
                    format!("both channels of \"{}\" checked against a known voltage", instrument.name),
                    "a voltage known to 0.2 % on each channel at the ranges used",
                )
            } else {
                (
                    format!("\"{}\" calibrated, or all taken again through a better one", instrument.name),
                    "a shunt by four wires, a clamp by a known current, a probe by a known voltage, to 0.2 %",
                )
            };
            Candidate {
                key: format!("calibrate_{}", instrument.name),
                title: format!("{title} (± {:.1} % to ± 0.2 %)", 200.0 * instrument.gain_relative_uncertainty),
                needs: Some("a reference of 0.2 %".into()),
                advice: None,
                how: Some(how.into()),
                cautions: Vec::new(),
                addition: Addition {
                    gains: vec![(k, CALIBRATION)],
                    ..context.addition()
                },
            }
        })
        .collect()
}
