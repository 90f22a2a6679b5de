//! The finer terms of the motor model.

use serde::{Deserialize, Serialize};

/// A number with its standard uncertainty; an uncertainty that was not worked out is absent.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Term {
    /// Estimate.
    pub value: f64,
    /// Standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard_uncertainty: Option<f64>,
}

/// Terms beside the thirteen parameters; an absent term is no part of the model that was kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModelTerms {
    /// W = C_w/K³, A/V²: windage as the terminals see it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub windage_a_per_v2: Option<Term>,
    /// I_b, A: current scale on which the contact drop V_b·tanh(i/I_b) rises.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brush_scale_a: Option<Term>,
    /// 1/I_s, 1/A: reciprocal of the current at which the inductance has fallen to one half.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saturation_per_a: Option<Term>,
    /// a, 1/A: relative loss of back-EMF constant per ampere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub armature_reaction_per_a: Option<Term>,
    /// Share of the inductance that eddy currents screen at high frequency, 0 to below 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub eddy_share: Option<Term>,
    /// Resistance across that share, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub eddy_resistance_ohm: Option<Term>,
}

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
