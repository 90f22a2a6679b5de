//! What becomes of every parameter after an addition: narrower, newly measured, or still undetermined.

use super::experiment_design::{Addition, Forecaster};
use crate::bench::Reading;
use crate::fit::uncertainty::{LARGEST_RELATIVE, Monomial, Status, monomials};
use crate::fit::unknowns::{Layout, Slot};
use crate::stats::quantiles::normal_quantile;
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

/// Standard deviation of the half of a normal distribution above its centre, over that of the whole: √(1 − 2/π).
const HALF_NORMAL: f64 = 0.602_810;

/// One parameter after an addition.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Outlook {
    /// Key of the parameter.
    #[serde(rename = "parameter")]
    pub name: &'static str,
    /// Standard uncertainty after over that of now; `None` where one of both does not exist.
    pub ratio: Option<f64>,
    /// Standard uncertainty after, SI; `None` where it stays undetermined, or has no value yet.
    pub standard_uncertainty: Option<f64>,
    /// The same over the value; `None` where it stays undetermined or cannot be told from zero.
    #[serde(rename = "relative_standard_uncertainty")]
    pub relative: Option<f64>,
    /// Undetermined now, measured after.
    pub newly_determined: bool,
}

impl Forecaster<'_> {
    /// By the same rules as a fit's report, with the covariance expected after an addition.
    pub(crate) fn outlooks(
        &self,
        layout: &Layout,
        x: &DVector<f64>,
        covariance: &DMatrix<f64>,
        addition: &Addition,
    ) -> Vec<Outlook> {
        let z = normal_quantile(0.5 + 0.5 * self.estimate.options.level);
        let constant_known = monomials()
            .iter()
            .find(|m| m.name == "back_emf_constant")
            .and_then(|m| relative(m, layout, x, covariance))
            .is_some_and(|u| u <= LARGEST_RELATIVE);
        let sees_rise = addition
            .captures
            .iter()
            .any(|c| c.timeline.instants.iter().any(|(name, _)| name == "make"))
            || addition
                .readings
                .iter()
                .any(|r| matches!(r, Reading::InductanceMeter { .. }));
        monomials()
            .iter()
            .zip(&self.reported)
            .zip(&self.before)
            .map(|((m, now), before)| {
                let mut out = Outlook {
                    name: m.name,
                    ratio: None,
                    standard_uncertainty: None,
                    relative: None,
                    newly_determined: false,
                };
                let Some(after) = uncertainty(m, layout, x, covariance) else {
                    return out;
                };
                if let (Status::Measured, Some(at), Some(before)) =
                    (now.status, &now.estimate, before)
                {
                    // A limit is sharper than the matrix says where other bounds hold it: then they are what has to be beaten.
                    let ratio = if now.one_sided {
                        let limited = at.standard_uncertainty / HALF_NORMAL;
                        (after / before.min(limited)).min(1.0)
                    } else {
                        after / before
                    };
                    out.ratio = Some(ratio);
                    out.standard_uncertainty = Some(at.standard_uncertainty * ratio);
                    out.relative = (!now.one_sided && at.value != 0.0)
                        .then(|| at.standard_uncertainty * ratio / at.value.abs());
                    return out;
                }
                let needs_rise = m.logs.iter().any(|(slot, _)| *slot == Slot::LogInductance);
                let needs_constant = m
                    .logs
                    .iter()
                    .any(|(slot, _)| *slot == Slot::LogBackEmfConstant);
                if (needs_rise && !self.estimate.inductance_seen && !sees_rise)
                    || (needs_constant && !constant_known)
                {
                    return out;
                }
                let Some(placed) = m.place(layout) else {
                    return out;
                };
                let value = placed.value(x).0;
                let vague = match placed.linear {
                    None => after > LARGEST_RELATIVE,
                    Some(_) => self
                        .estimate
                        .largest_possible(m)
                        .is_some_and(|most| value + z * after > most * placed.factor(x)),
                };
                if vague || !after.is_finite() {
                    return out;
                }
                out.newly_determined = true;
                out.relative = match placed.linear {
                    None => Some(after),
                    Some(_) => (value > z * after).then(|| after / value),
                };
                let has_value =
                    !needs_constant || self.estimate.value(&Slot::LogBackEmfConstant).is_some();
                out.standard_uncertainty = has_value.then_some(match placed.linear {
                    None => after * value,
                    Some(_) => after,
                });
                out
            })
            .collect()
    }
}

/// Standard uncertainty of a parameter: relative where it is positive by nature, absolute where it may be zero.
pub fn uncertainty(
    m: &Monomial,
    layout: &Layout,
    x: &DVector<f64>,
    covariance: &DMatrix<f64>,
) -> Option<f64> {
    let (_, slope) = m.place(layout)?.target(x);
    let variance = slope.dot(&(covariance * &slope));
    (variance > 0.0).then(|| variance.sqrt())
}

fn relative(
    m: &Monomial,
    layout: &Layout,
    x: &DVector<f64>,
    covariance: &DMatrix<f64>,
) -> Option<f64> {
    let value = m.place(layout)?.value(x).0.abs();
    let u = uncertainty(m, layout, x, covariance)?;
    Some(if m.linear.is_some() { u / value } else { u })
}
