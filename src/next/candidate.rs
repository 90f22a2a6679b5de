//! The captures and readings that could come next, for a motor with a fit.

use super::advice::Advice;
use super::guess::Basis;
use super::machine::Machine;
use super::rig::{Deed, Rig};
use super::{further_captures, further_readings};
use crate::bench::Bench;
use crate::fit::{Addition, Estimate, ExperimentDesign, PlannedCapture};

/// A calibration tells a gain to 0.2 %, read as two standard deviations (common practice, no source).
const CALIBRATION: f64 = 1e-3;

/// One thing that could be done.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Key in `--json`.
    pub key: String,
    pub title: String,
    /// What it takes beyond what the bench already has.
    pub needs: Option<String>,
    pub advice: Option<Advice>,
    pub how: Option<String>,
    pub cautions: Vec<String>,
    pub addition: Addition,
}

/// Everything that candidates are made from.
pub struct Ground<'a> {
    pub bench: &'a Bench,
    pub estimate: &'a Estimate,
    pub design: &'a ExperimentDesign<'a>,
    pub rig: &'a Rig<'a>,
    pub machine: &'a Machine,
}

impl Ground<'_> {
    /// K to evaluate at: the fitted one, else a guess that only scales what has no scale.
    pub(super) fn constant(&self) -> f64 {
        self.design
            .reported()
            .iter()
            .find(|r| r.name == "back_emf_constant")
            .and_then(|r| r.estimate)
            .map_or_else(
                || self.machine.running_emf_v / self.machine.speed_rad_s.value,
                |at| at.value,
            )
    }

    pub(super) fn constant_known(&self) -> bool {
        self.machine.speed_rad_s.basis == Basis::Measured
    }

    pub(super) fn addition(&self) -> Addition {
        Addition {
            assumed_constant_v_s_per_rad: self.constant(),
            ..Addition::default()
        }
    }

    pub(super) fn with_captures(&self, captures: Vec<PlannedCapture>) -> Addition {
        Addition {
            captures,
            ..self.addition()
        }
    }

    /// What the ripple of another run-down would tell of K: as much as that of the recorded ones.
    pub(super) fn ripple_again(&self) -> Option<f64> {
        self.estimate
            .ripple
            .iter()
            .filter(|f| f.taken.is_some())
            .filter_map(|f| f.result.candidates.first())
            .map(|c| c.standard_uncertainty / c.back_emf_constant_v_s_per_rad)
            .reduce(f64::min)
    }

    pub(super) fn capture(&self, name: &str, deed: Deed, voltage_v: f64) -> Option<PlannedCapture> {
        let mut planned = self.rig.capture(name, deed, voltage_v, None)?;
        if deed == Deed::RunDown {
            planned.ripple_relative = self.ripple_again();
        }
        Some(planned)
    }
}

/// The list, in no order of merit.
pub fn candidates(ground: &Ground<'_>) -> Vec<Candidate> {
    let mut out = further_captures::list(ground);
    out.extend(further_readings::list(ground));
    out.extend(calibrations(ground));
    out
}

/// One a piece of hardware whose gain is worse known than a calibration would tell.
fn calibrations(ground: &Ground<'_>) -> Vec<Candidate> {
    ground
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
                title: format!("{title} (± {:.1} % now, ± 0.2 % then)", 200.0 * instrument.gain_relative_uncertainty),
                needs: Some("a reference of 0.2 %".into()),
                advice: None,
                how: Some(how.into()),
                cautions: Vec::new(),
                addition: Addition {
                    gains: vec![(k, CALIBRATION)],
                    ..ground.addition()
                },
            }
        })
        .collect()
}
