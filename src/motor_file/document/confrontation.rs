//! Items of evidence beside what the others predict of them.

use crate::fit::Agreement;
use serde::{Deserialize, Serialize};

/// One item of evidence beside the others.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Confrontation {
    /// `reading`, `speed_reference`, `segment_count`, `supply`, `instrument`, `brush_contact`, `capture` or `record`.
    pub kind: String,
    /// E.g. `ohmmeter`, `tachometer (coast)`.
    pub item: String,
    /// As stated or read, in the SI unit of `unit`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stated: Option<f64>,
    /// What the others predict of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<f64>,
    /// Standard uncertainty of the difference.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard_uncertainty: Option<f64>,
    /// UCUM code; `1` for a plain number.
    pub unit: String,
    /// Difference over its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub deviation: Option<f64>,
    /// What follows from it.
    pub agreement: Agreement,
    /// Where it does not agree: what was seen, and the usual causes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}
