//! What captures and readings leave possible of the whole motor, as the fit has it: the one distribution from which every use draws.

use super::ParameterName;
use serde::{Deserialize, Serialize};

/// A joint distribution in information form (symmetric P, pull h), about the point `at`:
///
/// ```text
/// p(at + y) ∝ exp(−½ yᵀ P y + hᵀ y), cut where a coordinate that is no logarithm would be negative
/// ```
/// P may be singular: what is known only as a sum is confined by the cut alone. Everything else that was fitted (gains, zeros, the clock)
/// is integrated out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Distribution {
    /// What row and column `k` belong to. What is above zero by nature is counted by its natural logarithm.
    pub coordinates: Vec<Coordinate>,
    /// Values at which the information is taken.
    pub at: Vec<f64>,
    /// P.
    pub information: Vec<Vec<f64>>,
    /// h.
    pub pull: Vec<f64>,
    /// Terms that the captures do not show: every second motor drawn has none of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub may_be_absent: Vec<Coordinate>,
}

/// A coordinate of the distribution, in the SI unit of its name or the logarithm of its value in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Coordinate {
    /// A parameter of the table.
    Parameter(ParameterName),
    /// A finer term of the model.
    Term(TermName),
}

/// A finer term of the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum TermName {
    /// W = C_w/K³, A/V².
    WindageAPerV2,
    /// I_b, A; by its logarithm.
    BrushScaleA,
    /// 1/I_s², 1/A².
    SaturationPerA2,
    /// a, 1/A.
    ArmatureReactionPerA,
    /// Screened share of the inductance.
    EddyShare,
    /// Resistance across that share, Ω; by its logarithm.
    EddyResistanceOhm,
}

impl Coordinate {
    /// True for what is above zero by nature and so counted by its logarithm.
    pub fn is_logarithm(self) -> bool {
        match self {
            Coordinate::Parameter(name) => !name.may_be_zero(),
            Coordinate::Term(name) => {
                matches!(name, TermName::BrushScaleA | TermName::EddyResistanceOhm)
            }
        }
    }

    /// The value of a coordinate.
    pub fn value(self, coordinate: f64) -> f64 {
        if self.is_logarithm() {
            coordinate.exp()
        } else {
            coordinate
        }
    }
}
