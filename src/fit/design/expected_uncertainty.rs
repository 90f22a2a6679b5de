//! What becomes of every parameter after an addition: narrower, newly measured, or still undetermined.

use super::addition::Addition;
use crate::bench::Reading;
use crate::events::EventKind;
use crate::fit::estimate::Estimate;
use crate::fit::uncertainty::{Interval, LARGEST_RELATIVE, Monomial, Reported, Status, monomials};
use crate::fit::unknowns::{Layout, ParameterKind};
use crate::stats::quantiles::normal_quantile;
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

/// Standard deviation of the half of a normal distribution above its centre, over that of the whole: √(1 − 2/π).
const HALF_NORMAL: f64 = 0.602_810;

/// One parameter after an addition.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ExpectedUncertainty {
    /// Key of the parameter.
    #[serde(rename = "parameter")]
    pub name: &'static str,
    /// Standard uncertainty after over that of now; `None` where one of both does not exist.
    pub ratio: Option<f64>,
    /// Standard uncertainty after, SI; `None` where it stays undetermined, or has no value yet.
    pub standard_uncertainty: Option<f64>,
    /// The same over the value; `None` where it stays undetermined or cannot be distinguished from zero.
    #[serde(rename = "relative_standard_uncertainty")]
    pub relative: Option<f64>,
    /// Undetermined now, measured after.
    pub newly_determined: bool,
}

/// The parameters as they stand before an addition.
pub struct Present<'a> {
    pub estimate: &'a Estimate,
    pub reported: Vec<Reported>,
    /// Relative (two-sided logs) or absolute standard uncertainty of each parameter by the information without an addition.
    before: Vec<Option<f64>>,
}

/// The problem as it would be after an addition.
struct After<'a> {
    layout: &'a Layout,
    x: &'a DVector<f64>,
    covariance: &'a DMatrix<f64>,
    /// Whether the back-EMF constant is known then, and the inductance seen.
    constant_known: bool,
    inductance_seen: bool,
}

impl<'a> Present<'a> {
    /// `covariance`: inverse of the information that additions add to.
    pub fn new(estimate: &'a Estimate, covariance: &DMatrix<f64>) -> Self {
        let before = estimate
            .monomials()
            .iter()
            .map(|m| {
                uncertainty(
                    m,
                    &estimate.problem.layout,
                    &estimate.solution.x,
                    covariance,
                )
            })
            .collect();
        Present {
            estimate,
            reported: estimate.reported(),
            before,
        }
    }

    /// What becomes of every parameter, by the same rules as a fit's report, with the covariance expected after an addition.
    pub fn after(
        &self,
        layout: &Layout,
        x: &DVector<f64>,
        covariance: &DMatrix<f64>,
        addition: &Addition,
    ) -> Vec<ExpectedUncertainty> {
        let after = After {
            layout,
            x,
            covariance,
            constant_known: monomials()
                .iter()
                .find(|m| m.name == "back_emf_constant")
                .and_then(|m| relative(m, layout, x, covariance))
                .is_some_and(|u| u <= LARGEST_RELATIVE),
            inductance_seen: self.estimate.inductance_seen || sees_rise(addition),
        };
        let all = self.estimate.monomials();
        all.iter()
            .zip(&self.reported)
            .zip(&self.before)
            .map(|((m, now), before)| {
                self.one(m, now, *before, &after)
                    .unwrap_or(ExpectedUncertainty {
                        name: m.name,
                        ratio: None,
                        standard_uncertainty: None,
                        relative: None,
                        newly_determined: false,
                    })
            })
            .collect()
    }

    /// What becomes of one parameter; `None` where it stays undetermined.
    fn one(
        &self,
        m: &Monomial,
        now: &Reported,
        before: Option<f64>,
        after: &After<'_>,
    ) -> Option<ExpectedUncertainty> {
        let expected = uncertainty(m, after.layout, after.x, after.covariance)?;
        if let (Status::Measured, Some(at), Some(before)) = (now.status, &now.estimate, before) {
            return Some(narrowed(m.name, now.one_sided, at, expected, before));
        }
        self.newly_determined(m, expected, after)
    }

    /// A parameter that is undetermined now; `None` where it stays so. `u`: as [`uncertainty`] has it.
    fn newly_determined(
        &self,
        m: &Monomial,
        u: f64,
        after: &After<'_>,
    ) -> Option<ExpectedUncertainty> {
        let needs = |sought: ParameterKind| m.logs.iter().any(|(kind, _)| *kind == sought);
        let needs_constant = needs(ParameterKind::LogBackEmfConstant);
        if (needs(ParameterKind::LogInductance) && !after.inductance_seen)
            || (needs_constant && !after.constant_known)
        {
            return None;
        }
        let placed = m.place(after.layout)?;
        let z = normal_quantile(0.5 + 0.5 * self.estimate.options.level);
        let value = placed.value(after.x).0;
        let vague = match placed.may_be_zero() {
            None => u > LARGEST_RELATIVE,
            Some(_) => self
                .estimate
                .largest_possible(m)
                .is_some_and(|most| value + z * u > most * placed.factor(after.x)),
        };
        if vague || !u.is_finite() {
            return None;
        }
        let has_value = !needs_constant
            || self
                .estimate
                .value(&ParameterKind::LogBackEmfConstant)
                .is_some();
        Some(ExpectedUncertainty {
            name: m.name,
            ratio: None,
            standard_uncertainty: has_value.then_some(match placed.may_be_zero() {
                None => u * value,
                Some(_) => u,
            }),
            relative: match placed.may_be_zero() {
                None => Some(u),
                Some(_) => (value > z * u).then(|| u / value),
            },
            newly_determined: true,
        })
    }
}

/// Whether an addition shows how the current rises.
fn sees_rise(addition: &Addition) -> bool {
    let starts = addition
        .captures
        .iter()
        .any(|c| c.timeline.first_time_of(EventKind::SwitchOn).is_some());
    let metered = addition
        .readings
        .iter()
        .any(|r| matches!(r, Reading::InductanceMeter { .. }));
    starts || metered
}

/// A parameter that is measured already. `after` and `before`: as [`uncertainty`] has them.
fn narrowed(
    name: &'static str,
    one_sided: bool,
    at: &Interval,
    after: f64,
    before: f64,
) -> ExpectedUncertainty {
    // A limit is sharper than the matrix says where other bounds hold it: then they are what has to be beaten.
    let ratio = if one_sided {
        let limited = at.standard_uncertainty / HALF_NORMAL;
        (after / before.min(limited)).min(1.0)
    } else {
        after / before
    };
    ExpectedUncertainty {
        name,
        ratio: Some(ratio),
        standard_uncertainty: Some(at.standard_uncertainty * ratio),
        relative: (!one_sided && at.value != 0.0)
            .then(|| at.standard_uncertainty * ratio / at.value.abs()),
        newly_determined: false,
    }
}

/// Standard uncertainty of a parameter: relative where it is positive by nature, absolute where it may be zero.
fn uncertainty(
    m: &Monomial,
    layout: &Layout,
    x: &DVector<f64>,
    covariance: &DMatrix<f64>,
) -> Option<f64> {
    let placed = m.place(layout)?;
    let (value, slope) = placed.target(x);
    let variance = slope.dot(&(covariance * &slope));
    let scale = if placed.is_sum() { value } else { 1.0 };
    (variance > 0.0).then(|| variance.sqrt() / scale)
}

fn relative(
    m: &Monomial,
    layout: &Layout,
    x: &DVector<f64>,
    covariance: &DMatrix<f64>,
) -> Option<f64> {
    let value = m.place(layout)?.value(x).0.abs();
    let u = uncertainty(m, layout, x, covariance)?;
    Some(if m.may_be_zero().is_some() {
        u / value
    } else {
        u
    })
}
