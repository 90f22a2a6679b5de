//! The joint estimate: the solved problem and what follows from it.

pub(super) mod confrontation;
pub(super) mod shaft_course;
pub(super) mod table_course;

use super::data::Segment;
use super::model::Prediction;
use super::options::FitOptions;
use super::problem::Problem;
use super::references::{CurrentSpeed, RippleFinding};
use super::solve::{Solution, StopReason};
use super::uncertainty::Covariance;
use super::unknowns::ParameterKind;
use super::wording::{Remark, TermReason};
use crate::bench::{CaptureWarning, Stated};
use confrontation::{Confrontation, Disputed};
use std::sync::Arc;

/// The solved problem.
#[non_exhaustive]
pub struct Estimate {
    /// The least squares, its terms as they were decided.
    pub problem: Problem,
    /// Its minimum.
    pub solution: Solution,
    /// Every capture at the minimum.
    pub predictions: Arc<Vec<Prediction>>,
    /// Of the unknowns.
    pub covariance: Covariance,
    /// Of every capture.
    pub segments: Vec<Vec<Segment>>,
    /// Winding temperature to which R belongs, °C.
    pub temperature_c: Option<Stated>,
    /// Standard uncertainty of the share of R that is not copper.
    pub other_share: f64,
    /// What became of the optional terms.
    pub terms: Vec<TermDecision>,
    /// What the commutation ripple of each run-down said.
    pub ripple: Vec<RippleFinding>,
    /// Speeds that the ripple of currents gave and that entered the fit.
    pub speeds: Vec<CurrentSpeed>,
    /// What was found on the way, and what a person needs to know in order to judge the result.
    pub remarks: Vec<Remark>,
    /// Those among them that decide whether the estimate may be trusted.
    pub capture_warnings: Vec<CaptureWarning>,
    /// Those of the fit.
    pub options: FitOptions,
    /// False where every rise of current falls between two samples.
    pub inductance_seen: bool,
    /// Largest current of a connected segment, A.
    pub largest_current_a: f64,
    /// Largest voltage of any capture or of the stated supply, V.
    pub largest_voltage_v: f64,
    /// Intervals that the profile likelihood shapes; the others are plain.
    pub profiles: Vec<ProfileToWaldRatio>,
    /// What each capture does to the result.
    pub leave_one_out: Vec<LeaveOneOut>,
    /// Every item of evidence beside the others.
    pub confrontations: Vec<Confrontation>,
    /// Parameters that come out otherwise with either side of a conflict.
    pub disputed: Vec<Disputed>,
    /// ln of the back-EMF constants of speed references in conflict, with which the fit goes without, with their standard uncertainties.
    pub(crate) constants_in_conflict: Vec<(f64, f64)>,
}

/// What became of one optional term.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct TermDecision {
    /// Name in the motor file.
    pub name: &'static str,
    /// Whether it is part of the model.
    pub kept: bool,
    /// Twice the fall of the cost that the term brings (likelihood ratio), from residuals weighted by their own size; absent for a
    /// term that a prior limits.
    pub likelihood_ratio: Option<f64>,
    /// Why, and what it does to the others.
    pub reason: TermReason,
}

/// Reach of an interval to both sides over its plain reach.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct ProfileToWaldRatio {
    /// Key of the parameter.
    pub parameter: &'static str,
    /// Towards smaller values.
    pub below: f64,
    /// Towards larger values.
    pub above: f64,
}

/// Shift of the parameter that a capture moves most.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct LeaveOneOut {
    /// Index of the capture.
    pub capture: usize,
    /// Key of the parameter.
    pub parameter: &'static str,
    /// (with − without)/standard deviation of that difference.
    pub pull: f64,
    /// The parameter without this capture, SI.
    pub without: f64,
}

impl Estimate {
    /// Value of a kind, where it takes part.
    pub fn value(&self, kind: &ParameterKind) -> Option<f64> {
        self.problem.layout.find(kind).map(|k| self.solution.x[k])
    }

    /// Whether the solver ended at a minimum.
    pub fn converged(&self) -> bool {
        self.solution.reason.converged()
    }

    /// Items in conflict with the others.
    pub fn conflicts(&self) -> impl Iterator<Item = &Confrontation> {
        self.confrontations.iter().filter(|c| c.in_conflict())
    }

    /// Why the solver ended.
    pub fn reason(&self) -> StopReason {
        self.solution.reason
    }
}
