//! The finer terms of a file's model as a simulation takes them.

use crate::motor::TerminalParameters;
use crate::motor_file::{ModelTerms, MotorFile, Term, TermName};

/// Current scale of the contact drop in a file that has a drop but no scale, as a share of the largest current seen:
/// small enough that the drop is a step on the scale of the captures.
const STEP_SHARE: f64 = 1e-3;

/// A motor of 1 Ω, 1 H and 1 F with the finer terms of a file, an absent one at the value that switches it off. They keep their estimates
/// in corners.
pub fn finer_terms(file: &MotorFile) -> TerminalParameters {
    let terms: ModelTerms = file.model.unwrap_or_default();
    let number = |term: Option<Term>, absent: f64| term.map_or(absent, |term| term.value);
    let seen = file.validity.current_a;
    let largest_a = seen.map(|range| range.largest_magnitude());
    let largest_a = largest_a.filter(|a| *a > 0.0).unwrap_or(1.0);
    TerminalParameters {
        windage_a_per_v2: number(terms.windage_a_per_v2, 0.0),
        brush_scale_a: number(terms.brush_scale_a, STEP_SHARE * largest_a),
        saturation_per_a: number(terms.saturation_per_a, 0.0),
        armature_reaction_per_a: number(terms.armature_reaction_per_a, 0.0),
        eddy_share: number(terms.eddy_share, 0.0),
        eddy_resistance_ohm: number(terms.eddy_resistance_ohm, 1.0),
        ..TerminalParameters::plain(1.0, 1.0, 1.0, 0.0, 0.0)
    }
}

/// Changes a term of a motor; that of the saturation is given by its square.
pub(super) fn set(motor: &mut TerminalParameters, name: TermName, value: f64) {
    match name {
        TermName::WindageAPerV2 => motor.windage_a_per_v2 = value,
        TermName::BrushScaleA => motor.brush_scale_a = value,
        TermName::SaturationPerA2 => motor.saturation_per_a = value.sqrt(),
        TermName::ArmatureReactionPerA => motor.armature_reaction_per_a = value,
        TermName::EddyShare => motor.eddy_share = value,
        TermName::EddyResistanceOhm => motor.eddy_resistance_ohm = value,
    }
}
