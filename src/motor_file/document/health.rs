//! How well the fit went, apart from its values.

use crate::bench::ErrorDistribution;
use serde::{Deserialize, Serialize};

/// Why the iteration ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StopReason {
    /// No step lowers the cost any more, to the stated tolerance.
    Converged,
    /// The limit of iterations was met first.
    IterationLimit,
    /// The damping grew without finding a lower cost.
    Stalled,
    /// The model could not be evaluated.
    ModelFailed,
}

/// Why the iteration ended, with the figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stop {
    /// Reason of the stop.
    pub reason: StopReason,
    /// One sentence with the tolerance met or missed.
    pub text: String,
    /// Iterations taken.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub iterations: Option<u64>,
}

/// Fit health. Absent figures were not worked out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fit {
    /// Why the solver stopped.
    pub stop: Stop,
    /// Sum of squared weighted residuals, priors included.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chi_squared: Option<f64>,
    /// Rows less free unknowns.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees_of_freedom: Option<f64>,
    /// The assumption under which the stated uncertainties hold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assumption: Option<String>,
    /// Rank and condition of the problem.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub identifiability: Option<Identifiability>,
    /// How well each capture agrees.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub captures: Vec<CaptureHealth>,
    /// Model terms weighed by evidence.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub terms: Vec<TermDecision>,
    /// Gains, offsets, instants, source resistances that were fitted beside the motor.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub nuisances: Vec<Nuisance>,
}

/// Rank of the scaled Jacobian with priors.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Identifiability {
    /// Unknowns that the data determine.
    pub rank: u64,
    /// Number of parameters fitted.
    pub size: u64,
    /// Largest over smallest singular value.
    pub condition_number: f64,
    /// Relative singular value below which a direction counts as undetermined.
    pub threshold: f64,
    /// In words: which quantity, and which measurement would settle it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}

/// Residuals of one capture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CaptureHealth {
    /// Name of the capture.
    pub name: String,
    /// What it shows.
    pub role: String,
    /// Samples in the file's windows that the fit used.
    pub samples: u64,
    /// Bin averages after data reduction.
    pub points: u64,
    /// Mean square of the weighted residuals; 1 where model and noise are right.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chi_squared_per_point: Option<f64>,
    /// Root mean square residual of the current, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current_residual_rms_a: Option<f64>,
    /// Root mean square residual of the voltage, V.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub voltage_residual_rms_v: Option<f64>,
    /// Autocorrelation of the weighted residuals at one bin's distance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub autocorrelation_lag_one: Option<f64>,
    /// Runs test of the residuals.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runs_test: Option<RunsTest>,
    /// Largest shift of a parameter when this capture is left out, in standard deviations of the shift.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pull: Option<f64>,
    /// Key of the parameter that shifts most.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pull_parameter: Option<String>,
    /// Stretches not used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cuts: Vec<Cut>,
}

/// Runs of one sign among the residuals (Wald and Wolfowitz).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunsTest {
    /// Runs found.
    pub runs: u64,
    /// Runs expected of independent residuals.
    pub expected: f64,
    /// (runs - expected)/standard deviation.
    pub z: f64,
}

/// A stretch of a capture that the fit did not use, and why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cut {
    /// Beginning in s.
    pub start_s: f64,
    /// End in s.
    pub end_s: f64,
    /// `bounce`, `arc`, `clipped`, `standstill`, `gap`, ...
    pub reason: String,
}

/// A model term kept or dropped on evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TermDecision {
    /// `windage`, `brush_drop`, `source_resistance`, ...
    pub term: String,
    /// True when the term takes part.
    pub kept: bool,
    /// Information criterion with the term less without it; negative favours the term.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub information_criterion_change: Option<f64>,
    /// Twice the gain in log likelihood.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub likelihood_ratio: Option<f64>,
    /// Probability of such a ratio without the term.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub p_value: Option<f64>,
    /// Why, and what it does to the other parameters.
    pub reason: String,
}

/// A quantity of the bench fitted beside the motor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Nuisance {
    /// e.g. `gain of shunt`, `make in start`.
    pub name: String,
    /// Estimate.
    pub value: f64,
    /// UCUM code; `1` for a plain number.
    pub unit: String,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Value before the fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prior_value: Option<f64>,
    /// Standard uncertainty before the fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prior_standard_uncertainty: Option<f64>,
    /// Distribution that this uncertainty was stated as.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prior_distribution: Option<ErrorDistribution>,
}
