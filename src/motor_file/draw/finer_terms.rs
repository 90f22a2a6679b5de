//! The finer terms of a file's model as a simulation takes them.

use crate::motor::TerminalParameters;
use crate::motor_file::{ModelTerms, MotorFile, Term, TermName};

/// Current scale of the contact drop in a file that has a drop but no scale, as a share of the largest current seen:
/// small enough that the drop is a step on the scale of the captures.
const STEP_SHARE: f64 = 1e-3;

/// Finer terms of the model, an absent one at the value that switches it off. They keep their estimates in corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinerTerms {
    /// Windage as the terminals see it, for a motor whose windage torque has no value.
    pub windage_a_per_v2: f64,
    /// I_b: current scale on which the contact drop rises.
    pub brush_scale_a: f64,
    /// 1/I_s.
    pub saturation_per_a: f64,
    /// a: relative loss of back-EMF constant per ampere.
    pub armature_reaction_per_a: f64,
    /// Share of the inductance that eddy currents screen.
    pub eddy_share: f64,
    /// Resistance across that share.
    pub eddy_resistance_ohm: f64,
}

impl FinerTerms {
    /// The terms of a file.
    pub fn of(file: &MotorFile) -> FinerTerms {
        let terms: ModelTerms = file.model.unwrap_or_default();
        let number = |term: Option<Term>, absent: f64| term.map_or(absent, |term| term.value);
        let largest_a = file
            .validity
            .current_a
            .map_or(1.0, |range| range.largest_magnitude());
        FinerTerms {
            windage_a_per_v2: number(terms.windage_a_per_v2, 0.0),
            brush_scale_a: number(
                terms.brush_scale_a,
                STEP_SHARE * if largest_a > 0.0 { largest_a } else { 1.0 },
            ),
            saturation_per_a: number(terms.saturation_per_a, 0.0),
            armature_reaction_per_a: number(terms.armature_reaction_per_a, 0.0),
            eddy_share: number(terms.eddy_share, 0.0),
            eddy_resistance_ohm: number(terms.eddy_resistance_ohm, 1.0),
        }
    }

    /// The same with another value of one of them.
    pub(super) fn with(mut self, name: TermName, value: f64) -> FinerTerms {
        match name {
            TermName::WindageAPerV2 => self.windage_a_per_v2 = value,
            TermName::BrushScaleA => self.brush_scale_a = value,
            TermName::SaturationPerA2 => self.saturation_per_a = value.sqrt(),
            TermName::ArmatureReactionPerA => self.armature_reaction_per_a = value,
            TermName::EddyShare => self.eddy_share = value,
            TermName::EddyResistanceOhm => self.eddy_resistance_ohm = value,
        }
        self
    }

    /// A motor with these terms, all but windage.
    pub fn added_to(&self, motor: TerminalParameters) -> TerminalParameters {
        TerminalParameters {
            brush_scale_a: self.brush_scale_a,
            saturation_per_a: self.saturation_per_a,
            armature_reaction_per_a: self.armature_reaction_per_a,
            eddy_share: self.eddy_share,
            eddy_resistance_ohm: self.eddy_resistance_ohm,
            ..motor
        }
    }
}
