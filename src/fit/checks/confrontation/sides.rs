//! Where the parameters go with either side of a conflict.

use super::deletion::{Point, leverage};
use crate::fit::confrontation::Disputed;
use crate::fit::estimate::Estimate;
use crate::fit::references::Term;
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::stats::quantiles::normal_quantile;
use nalgebra::{DMatrix, DVector};

/// Most that the capture's own side may lie farther from the estimate than the side without it.
const FARTHEST: f64 = 3.0;

/// The unknowns as one side of a conflict has them.
pub struct Side {
    pub x: DVector<f64>,
    pub covariance: DMatrix<f64>,
}

impl From<&Point> for Side {
    fn from(at: &Point) -> Side {
        Side {
            x: at.x.clone(),
            covariance: at.covariance.clone(),
        }
    }
}

/// Without a reading, and with the reading taken as it is.
pub fn reading_sides(at: &Point, row: Option<&Term>) -> Vec<Side> {
    let mut sides = vec![Side::from(at)];
    if let Some(row) = row {
        let variance = leverage(&at.covariance, &row.gradient);
        if variance > 0.0 {
            let moved = &at.covariance * row.gradient_vector(at.x.len());
            sides.push(Side {
                x: &at.x - &moved * (row.residual / variance),
                covariance: &at.covariance - &moved * moved.transpose() / (1.0 + variance),
            });
        }
    }
    sides
}

/// Without a capture or a group, and as that by itself would have it: of two estimates combined by their information, each lies as far from
/// the whole as the other has information.
pub fn capture_sides(estimate: &Estimate, at: &Point) -> Vec<Side> {
    let full = &estimate.solution.x;
    let together = estimate.covariance.conditional();
    let own = DVector::from_fn(full.len(), |k, _| {
        let (before, after) = (together[(k, k)], at.covariance[(k, k)]);
        let share = if after > before {
            (before / (after - before)).min(FARTHEST)
        } else {
            1.0
        };
        full[k] - share * (at.x[k] - full[k])
    });
    vec![
        Side::from(at),
        Side {
            x: own,
            covariance: at.covariance.clone(),
        },
    ]
}

/// The whole estimate with other back-EMF constants, given by their logarithms and standard uncertainties.
pub fn constant_sides(estimate: &Estimate, constants: &[(f64, f64)]) -> Vec<Side> {
    let Some(entry) = estimate
        .problem
        .layout
        .find(&ParameterKind::LogBackEmfConstant)
    else {
        return Vec::new();
    };
    let with = |&(log_constant, sd): &(f64, f64)| {
        let mut side = Side {
            x: estimate.solution.x.clone(),
            covariance: estimate.covariance.conditional().clone(),
        };
        side.x[entry] = log_constant;
        side.covariance[entry.diagonal()] += sd * sd;
        side
    };
    constants.iter().map(with).collect()
}

/// Parameters that move by more than their own interval, with the interval that holds both sides.
pub fn disputed(estimate: &Estimate, sides: &[Side]) -> Vec<Disputed> {
    if sides.is_empty() {
        return Vec::new();
    }
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    let layout = &estimate.problem.layout;
    let reported = estimate.reported();
    estimate
        .monomials()
        .iter()
        .zip(&reported)
        .filter_map(|(m, now)| {
            let (placed, at) = (m.place(layout)?, now.estimate?);
            let mut out = Disputed {
                parameter: m.name,
                lower: at.lower,
                upper: at.upper,
            };
            let mut moves = false;
            for side in sides {
                let (value, slope) = placed.value(&side.x);
                if !value.is_finite() || held_elsewhere(estimate, placed.may_be_zero()) {
                    continue;
                }
                moves |= value < at.lower || value > at.upper;
                let u = (slope.transpose() * &side.covariance * &slope)[(0, 0)]
                    .max(0.0)
                    .sqrt();
                let (low, high) = match placed.may_be_zero() {
                    Some(_) => ((value - z * u).max(0.0), value + z * u),
                    None => {
                        let factor = (z * u / value).min(2.0).exp();
                        (value / factor, value * factor)
                    }
                };
                out.lower = out.lower.min(low.max(0.0));
                out.upper = out.upper.max(high);
            }
            moves.then_some(out)
        })
        .collect()
}

/// Whether an entry cannot move in any fit.
fn held_elsewhere(estimate: &Estimate, entry: Option<Entry>) -> bool {
    entry.is_some_and(|entry| estimate.problem.frozen(entry))
}
