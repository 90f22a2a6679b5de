//! One parameter: value, uncertainty, interval, and how far it is known.

use super::ParameterName;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How a parameter is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// The captures and readings fix it.
    Measured,
    /// Mostly from the prior; the captures add little.
    FromPrior,
    /// Evidence contradicts other evidence; the interval holds both sides.
    InConflict,
    /// Nothing fixes it: there is no value.
    Undetermined,
}

impl Status {
    /// As the table prints it.
    pub fn label(self) -> &'static str {
        match self {
            Status::Measured => "measured",
            Status::FromPrior => "from prior",
            Status::InConflict => "in conflict",
            Status::Undetermined => "undetermined",
        }
    }
}

/// Which end of a one-sided interval the data state; the other end is the physical bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OneSided {
    /// The data say only "at most `upper`".
    Upper,
    /// The data say only "at least `lower`".
    Lower,
}

/// A parameter at the temperature of its captures. Every number is in the SI unit that `unit` names.
///
/// `value`, `standard_uncertainty`, `lower`, `upper` and `level` are all present or all absent; they are absent
/// exactly when `status` is [`Status::Undetermined`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Parameter {
    /// Estimate in SI.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// UCUM code of the SI unit.
    pub unit: String,
    /// Standard uncertainty in SI.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard_uncertainty: Option<f64>,
    /// Lower end of the interval at `level`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<f64>,
    /// Upper end of the interval at `level`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<f64>,
    /// Probability that the interval covers the true value, e.g. 0.95.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level: Option<f64>,
    /// Where the value comes from.
    pub status: Status,
    /// Winding temperature (for the back-EMF constant: magnet temperature) to which `value` belongs, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Back-EMF at which it is taken, V, of what depends on the speed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_back_emf_v: Option<f64>,
    /// The same as a speed, rad/s; absent where K is not determined.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_speed_rad_s: Option<f64>,
    /// The same at 25 °C, the correction's uncertainty included; absent where the temperature is unknown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_25_c: Option<AtTemperature>,
    /// Present when the parameter sits at its physical bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub one_sided: Option<OneSided>,
    /// Source of uncertainty to its share of the variance; the shares add up to 1.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub budget: BTreeMap<String, f64>,
    /// What a person should know of this value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The capture or reading that would settle it, with the bound expected after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub suggestion: Option<String>,
}

/// A parameter brought to another temperature.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AtTemperature {
    /// Estimate in SI.
    pub value: f64,
    /// UCUM code of the SI unit.
    pub unit: String,
    /// Standard uncertainty in SI.
    pub standard_uncertainty: f64,
    /// Lower bound of the interval.
    pub lower: f64,
    /// Upper bound of the interval.
    pub upper: f64,
    /// Probability that the interval holds the true value.
    pub level: f64,
    /// Where the value comes from.
    pub status: Status,
    /// Winding temperature of the value in °C.
    pub temperature_c: f64,
}

impl Parameter {
    /// A measured parameter without temperature, budget or notes.
    ///
    /// `interval` is (lower, upper) at `level`; all in the SI unit of `name`.
    pub fn measured(
        name: ParameterName,
        value: f64,
        standard_uncertainty: f64,
        interval: (f64, f64),
        level: f64,
    ) -> Parameter {
        Parameter {
            value: Some(value),
            standard_uncertainty: Some(standard_uncertainty),
            lower: Some(interval.0),
            upper: Some(interval.1),
            level: Some(level),
            status: Status::Measured,
            suggestion: None,
            ..Parameter::undetermined(name, "")
        }
    }

    /// A parameter that nothing fixes, and what would settle it.
    pub fn undetermined(name: ParameterName, suggestion: impl Into<String>) -> Parameter {
        Parameter {
            value: None,
            unit: name.ucum().to_owned(),
            standard_uncertainty: None,
            lower: None,
            upper: None,
            level: None,
            status: Status::Undetermined,
            temperature_c: None,
            at_back_emf_v: None,
            at_speed_rad_s: None,
            at_25_c: None,
            one_sided: None,
            budget: BTreeMap::new(),
            note: None,
            suggestion: Some(suggestion.into()),
        }
    }
}
