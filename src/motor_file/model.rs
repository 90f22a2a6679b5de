//! The finer terms of the motor model, and the file's values as the simulation takes them.

use super::document::present;
use super::{MotorFile, ParameterName};
use crate::motor::TerminalParameters;
use serde::{Deserialize, Serialize};

/// A number with its standard uncertainty; an uncertainty that was not worked out is absent.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Term {
    pub value: f64,
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub standard_uncertainty: Option<f64>,
}

/// Terms beside the thirteen parameters; an absent term is no part of the model that was kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModelTerms {
    /// W = C_w/K³, A/V²: windage as the terminals see it.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub windage_a_per_v2: Option<Term>,
    /// I_b, A: current scale on which the contact drop V_b·tanh(i/I_b) rises.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub brush_scale_a: Option<Term>,
    /// 1/I_s, 1/A: reciprocal of the current at which the inductance has fallen to one half.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub saturation_per_a: Option<Term>,
    /// a, 1/A: relative loss of back-EMF constant per ampere.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub armature_reaction_per_a: Option<Term>,
    /// Share of the inductance that eddy currents screen at high frequency, 0 to below 1.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub eddy_share: Option<Term>,
    /// Resistance across that share, Ω.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub eddy_resistance_ohm: Option<Term>,
}

/// Current scale of the contact drop in a file that has a drop but no scale, as a share of the largest current seen:
/// small enough that the drop is a step on the scale of the captures.
const STEP_SHARE: f64 = 1e-3;

impl ModelTerms {
    /// Keys and terms, those that are present.
    pub fn listed(&self) -> impl Iterator<Item = (&'static str, Term)> {
        [
            ("windage_a_per_v2", self.windage_a_per_v2),
            ("brush_scale_a", self.brush_scale_a),
            ("saturation_per_a", self.saturation_per_a),
            ("armature_reaction_per_a", self.armature_reaction_per_a),
            ("eddy_share", self.eddy_share),
            ("eddy_resistance_ohm", self.eddy_resistance_ohm),
        ]
        .into_iter()
        .filter_map(|(key, term)| Some((key, term?)))
    }
}

impl MotorFile {
    /// What the simulation needs, at the temperatures of the captures.
    ///
    /// # Errors
    /// The first parameter without a value that the simulation cannot do without: resistance, inductance or the
    /// inertia as capacitance.
    pub fn terminal_parameters(&self) -> Result<TerminalParameters, ParameterName> {
        let need = |name: ParameterName| self.value(name).ok_or(name);
        let friction = |name: ParameterName| self.value(name).unwrap_or(0.0);
        let terms = self.model.unwrap_or_default();
        let number = |term: Option<Term>, absent: f64| term.map_or(absent, |term| term.value);
        let k = self.value(ParameterName::BackEmfConstant);
        let windage = match (terms.windage_a_per_v2, k) {
            (Some(term), _) => term.value,
            (None, Some(k)) => friction(ParameterName::Windage) / (k * k * k),
            (None, None) => 0.0,
        };
        let largest = self
            .validity
            .current_a
            .map_or(1.0, |range| range.lower.abs().max(range.upper.abs()));
        Ok(TerminalParameters {
            windage_a_per_v2: windage,
            brush_drop_v: friction(ParameterName::BrushDrop),
            brush_scale_a: number(
                terms.brush_scale_a,
                STEP_SHARE * if largest > 0.0 { largest } else { 1.0 },
            ),
            saturation_per_a: number(terms.saturation_per_a, 0.0),
            armature_reaction_per_a: number(terms.armature_reaction_per_a, 0.0),
            eddy_share: number(terms.eddy_share, 0.0),
            eddy_resistance_ohm: number(terms.eddy_resistance_ohm, 1.0),
            ..TerminalParameters::plain(
                need(ParameterName::TerminalResistance)?,
                need(ParameterName::ArmatureInductance)?,
                need(ParameterName::InertiaCapacitance)?,
                friction(ParameterName::FrictionCurrent),
                friction(ParameterName::ViscousConductance),
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Parameter, table};
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn the_simulation_gets_the_values_of_the_file() {
        use ParameterName as Name;
        let mut file = table::tests::empty();
        assert_eq!(file.terminal_parameters(), Err(Name::TerminalResistance));
        for (name, value) in [
            (Name::TerminalResistance, 3.0),
            (Name::ArmatureInductance, 1e-3),
            (Name::InertiaCapacitance, 2e-3),
            (Name::FrictionCurrent, 0.1),
            (Name::BackEmfConstant, 0.02),
            (Name::Windage, 8e-10),
        ] {
            let parameter = Parameter::measured(name, value, 0.0, (value, value), 0.95);
            file.parameters.insert(name, parameter);
        }
        let p = file.terminal_parameters().expect("complete");
        assert_relative_eq!(p.terminal_resistance_ohm, 3.0);
        assert_relative_eq!(p.friction_current_a, 0.1);
        assert_relative_eq!(p.viscous_conductance_s, 0.0);
        // W = C_w/K³
        assert_relative_eq!(p.windage_a_per_v2, 1e-4, max_relative = 1e-12);
        file.model = Some(ModelTerms {
            saturation_per_a: Some(Term {
                value: 0.05,
                standard_uncertainty: None,
            }),
            ..ModelTerms::default()
        });
        let p = file.terminal_parameters().expect("complete");
        assert_relative_eq!(p.saturation_per_a, 0.05);
    }
}
