//! The entries of the fit on which a steady state depends, and the motor that they make.

use super::layout::ParameterKind;
use crate::motor::TerminalParameters;

/// In the order in which [`motor`] takes their values.
pub const STEADY_KINDS: [ParameterKind; 7] = [
    ParameterKind::LogResistance,
    ParameterKind::FrictionCurrent,
    ParameterKind::ViscousConductance,
    ParameterKind::Windage,
    ParameterKind::BrushDrop,
    ParameterKind::LogBrushScale,
    ParameterKind::Reaction,
];

/// The motor of these entries; what stores energy does not enter a steady state and is zero.
pub fn motor(values: [f64; STEADY_KINDS.len()]) -> TerminalParameters {
    let [
        log_r,
        friction_a,
        viscous_s,
        windage,
        drop_v,
        log_scale,
        reaction,
    ] = values;
    TerminalParameters {
        windage_a_per_v2: windage,
        brush_drop_v: drop_v,
        brush_scale_a: log_scale.exp(),
        armature_reaction_per_a: reaction,
        ..TerminalParameters::plain(log_r.exp(), 0.0, 0.0, friction_a, viscous_s)
    }
}
