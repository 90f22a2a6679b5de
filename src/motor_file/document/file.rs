//! The motor file as a whole.

use super::{
    Confrontation, Distribution, Fit, InductanceAtFrequency, ModelTerms, OperatingPoints,
    Parameter, ParameterName, Thermal,
};
use crate::bench::{BrushKind, Certificate, MagnetKind};
use crate::files::hex;
use serde::{Deserialize, Deserializer, Serialize};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// Value of the key `format`. The number rises when a reader of the old one would misread the new one.
pub const FORMAT: &str = "rundown-motor-file/1";

/// Role of the bench sheet among the inputs.
pub const SHEET_ROLE: &str = "bench sheet";

/// Everything known of one motor, as written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MotorFile {
    /// [`FORMAT`].
    pub format: String,
    /// What wrote the file.
    pub program: Program,
    /// What the bench sheet states of the motor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub motor: Option<MotorFacts>,
    /// The files it was made from.
    pub inputs: Vec<Input>,
    /// Calibration certificates of the instruments, where the sheet states them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub certificates: Vec<Certificate>,
    /// Each parameter by its name.
    #[serde(deserialize_with = "each_once")]
    pub parameters: BTreeMap<ParameterName, Parameter>,
    /// Covariances of the values.
    pub covariance: Covariance,
    /// The joint distribution of the whole motor, from which every use draws; absent in a file that was not made by a fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distribution: Option<Distribution>,
    /// Finer terms of the model that were kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<ModelTerms>,
    /// What the motor does at its supply voltage; absent where no supply is stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub operating: Option<OperatingPoints>,
    /// Inductance at the frequencies asked for, where it is known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub inductance_at: Vec<InductanceAtFrequency>,
    /// Back-EMF constants that the ripple of a run-down leaves, where none is settled.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub constant_candidates: Vec<ConstantCandidate>,
    /// Every item of evidence beside what the others predict of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub confrontations: Vec<Confrontation>,
    /// How the motor warms, where heat records show it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thermal: Option<Thermal>,
    /// How the fit went.
    pub fit: Fit,
    /// What the reader should know before trusting the values.
    pub warnings: Vec<Warning>,
    /// What the captures cover.
    pub validity: Validity,
    /// SHA-256 of all of this without this key, as [`MotorFile::content_sha256`] has it; absent in a file that was not made by a fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub content_sha256: Option<String>,
}

/// A back-EMF constant that the ripple of a run-down may mean.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConstantCandidate {
    /// Name of the capture.
    pub capture: String,
    /// Commutator segments.
    pub segments: u32,
    /// Field poles.
    pub poles: u32,
    /// Brushes.
    pub brushes: u32,
    /// Ripple cycles per revolution.
    pub cycles_per_revolution: u32,
    /// V·s/rad.
    pub value: f64,
    /// With the gain of the voltage channel, V·s/rad.
    pub standard_uncertainty: f64,
    /// Probability of this constant by the harmonic pattern and what was counted.
    pub probability: f64,
}

/// The program that wrote the file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Program {
    /// Name.
    pub name: String,
    /// Version.
    pub version: String,
}

impl Program {
    /// This program.
    pub fn this() -> Program {
        Program {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}

/// What was known of the motor before any capture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MotorFacts {
    /// Name.
    pub name: String,
    /// Commutator segments, where counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub commutator_segments: Option<u32>,
    /// Field poles, where counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poles: Option<u32>,
    /// Brushes, where counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brush_count: Option<u32>,
    /// Brush material, where known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brushes: Option<BrushKind>,
    /// Decides the temperature coefficient of the back-EMF constant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub magnets: Option<MagnetKind>,
    /// Supply voltage in V, where stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply_v: Option<f64>,
}

/// One file that went into the result.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// As the bench sheet or the command line names it.
    pub path: String,
    /// SHA-256 of the bytes on disk, 64 lower-case hex digits.
    pub sha256: String,
    /// `bench sheet`, or the role of a capture (`start`, `run-down`, ...).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub role: Option<String>,
}

/// Covariance of the parameters that have a value, at the temperatures of their captures, in SI units.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Covariance {
    /// What row and column `k` of `matrix` belong to.
    pub order: Vec<ParameterName>,
    /// Square and symmetric; its diagonal holds the squares of the standard uncertainties.
    pub matrix: Vec<Vec<f64>>,
}

impl Covariance {
    /// Covariance of two parameters; `None` when either is not in `order`.
    pub fn between(&self, one: ParameterName, other: ParameterName) -> Option<f64> {
        let row = self.order.iter().position(|name| *name == one)?;
        let column = self.order.iter().position(|name| *name == other)?;
        self.matrix.get(row)?.get(column).copied()
    }

    /// Correlation coefficient of two parameters; `None` when either is absent or exactly known.
    pub fn correlation(&self, one: ParameterName, other: ParameterName) -> Option<f64> {
        let scale = (self.between(one, one)? * self.between(other, other)?).sqrt();
        (scale > 0.0).then_some(self.between(one, other)? / scale)
    }
}

/// What a reader has to do about a [`Warning`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Evidence contradicts other evidence: settle it before the values are used.
    Conflict,
    /// Needed to judge the result, or something can be done about it.
    Warning,
    /// What was found or assumed as usual.
    Note,
}

impl Severity {
    /// The most severe first.
    pub const ALL: [Severity; 3] = [Severity::Conflict, Severity::Warning, Severity::Note];

    /// As a line begins.
    pub fn label(self) -> &'static str {
        match self {
            Severity::Conflict => "conflict",
            Severity::Warning => "warning",
            Severity::Note => "note",
        }
    }
}

/// A conflict, a warning or a note about the data or the result, with numbers and their effect.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Warning {
    /// How much it matters.
    pub severity: Severity,
    /// Stable short name, e.g. `clipped`.
    pub kind: String,
    /// What it is about: a capture, an instrument, a parameter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subject: Option<String>,
    /// What the text names, by key: numbers in SI units where the key states no other.
    #[serde(default, skip_serializing_if = "serde_json::Map::is_empty")]
    pub values: serde_json::Map<String, serde_json::Value>,
    /// The warning.
    pub text: String,
}

/// A closed range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Range {
    /// Least value.
    pub lower: f64,
    /// Greatest value.
    pub upper: f64,
}

impl Range {
    /// Largest magnitude in the range.
    pub fn largest_magnitude(&self) -> f64 {
        self.lower.abs().max(self.upper.abs())
    }
}

/// What the captures covered: outside it the parameters are extrapolated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Validity {
    /// Currents in A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current_a: Option<Range>,
    /// Absent without a speed anchor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_rad_s: Option<Range>,
    /// Voltages in V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub back_emf_v: Option<Range>,
    /// Winding temperatures in °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<Range>,
}

impl MotorFile {
    /// Value of a parameter in its SI unit; `None` when it is absent or undetermined.
    pub fn value(&self, name: ParameterName) -> Option<f64> {
        self.parameters.get(&name)?.value
    }

    /// SHA-256 of the compact JSON of everything in the file but that hash itself, in lower-case hex: an edit of any number, text or key shows.
    pub fn content_sha256(&self) -> String {
        let mut content = self.clone();
        content.content_sha256 = None;
        // Keys are strings and numbers finite in whatever was checked; anything else has no hash to match.
        let bytes = serde_json::to_vec(&content).unwrap_or_default();
        hex(&Sha256::digest(bytes))
    }

    /// Name of the motor, or `motor` where the file has none.
    pub fn motor_name(&self) -> &str {
        self.motor.as_ref().map_or("motor", |facts| &facts.name)
    }
}

/// Reads the parameters and refuses a name that occurs twice.
fn each_once<'de, D>(deserializer: D) -> Result<BTreeMap<ParameterName, Parameter>, D::Error>
where
    D: Deserializer<'de>,
{
    struct EachOnce;

    impl<'de> serde::de::Visitor<'de> for EachOnce {
        type Value = BTreeMap<ParameterName, Parameter>;

        fn expecting(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            formatter.write_str("a map of parameter names to parameters")
        }

        fn visit_map<A>(self, mut map: A) -> Result<Self::Value, A::Error>
        where
            A: serde::de::MapAccess<'de>,
        {
            let mut parameters = BTreeMap::new();
            while let Some((name, parameter)) = map.next_entry::<ParameterName, Parameter>()? {
                if parameters.insert(name, parameter).is_some() {
                    return Err(serde::de::Error::custom(format!(
                        "parameter `{}` is there twice",
                        name.key()
                    )));
                }
            }
            Ok(parameters)
        }
    }

    deserializer.deserialize_map(EachOnce)
}
