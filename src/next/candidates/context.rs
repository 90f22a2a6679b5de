//! What candidates are made from.

use crate::bench::Bench;
use crate::fit::{Addition, Estimate, ExperimentDesign, PlannedCapture};
use crate::next::assumptions::guess::Basis;
use crate::next::assumptions::machine::Machine;
use crate::next::rig::{CaptureKind, Rig};

/// Everything that candidates are made from.
pub struct Context<'a> {
    pub bench: &'a Bench,
    pub estimate: &'a Estimate,
    /// What a further measurement would bring.
    pub design: &'a ExperimentDesign<'a>,
    pub rig: &'a Rig<'a>,
    pub machine: &'a Machine,
}

impl Context<'_> {
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

    /// What the ripple of another run-down would give of K: as much as that of the recorded ones.
    pub(super) fn ripple_again(&self) -> Option<f64> {
        self.estimate
            .ripple
            .iter()
            .filter(|f| f.taken.is_some())
            .filter_map(|f| f.result.candidates.first())
            .map(|c| c.standard_uncertainty / c.back_emf_constant_v_s_per_rad)
            .reduce(f64::min)
    }

    pub(super) fn capture(
        &self,
        name: &str,
        kind: CaptureKind,
        voltage_v: f64,
    ) -> Option<PlannedCapture> {
        let mut planned = self.rig.capture(name, kind, voltage_v, None)?;
        if kind == CaptureKind::RunDown {
            planned.ripple_relative = self.ripple_again();
        }
        Some(planned)
    }
}
