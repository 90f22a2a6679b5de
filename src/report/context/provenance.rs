//! What the result was made from.

use serde::Serialize;
use std::collections::BTreeMap;

/// Where all this comes from.
#[derive(Clone, Debug, Serialize)]
pub struct Provenance {
    /// Files that were read.
    pub inputs: Vec<InputRow>,
    /// One sentence a line: why the fit stopped, chi-squared, rank.
    pub fit: Vec<String>,
    /// Finer terms of the model.
    pub terms: Vec<TermRow>,
    /// Unknowns of instruments and captures.
    pub nuisances: Vec<NuisanceRow>,
    /// Units of the switch, per quantity: SI unit, common unit, SI value of one common unit.
    pub units: BTreeMap<&'static str, (&'static str, &'static str, f64)>,
}

/// A file that went in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InputRow {
    /// Path.
    pub path: String,
    /// What it is.
    pub role: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
}

/// A model term weighed by evidence.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TermRow {
    /// Name of the term.
    pub term: String,
    /// Kept or dropped.
    pub decision: &'static str,
    /// Likelihood ratio and information criterion.
    pub evidence: String,
    /// Why.
    pub reason: String,
}

/// A quantity of the bench fitted beside the motor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NuisanceRow {
    /// Name.
    pub name: String,
    /// Value and standard uncertainty.
    pub value: String,
    /// Before the fit.
    pub prior: String,
}
