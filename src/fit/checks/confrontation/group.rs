//! Several residuals that are one item of evidence, compared with what the others predict of them together.
//!
//! With residuals r and their derivatives G in standard deviations, and C the covariance without the group, `r` has the covariance
//! `S = 1 + G C Gᵀ` and `rᵀ S⁻¹ r` is chi-squared. At a minimum that the group has helped to make, C and r are those with it and
//! `S⁻¹ = (1 − G C Gᵀ)⁻¹` (as [`super::deletion`] has it for one row). The number of standard uncertainties is that of a normal
//! distribution at the same probability.

use super::deletion::Point;
use super::item::Predicted;
use crate::fit::references::{ReadingTerm, Term};
use crate::stats::chi_squared::normal_equivalent;
use nalgebra::{DMatrix, DVector};

/// Share of a direction's own information that the others must have before they predict anything of it.
const PREDICTED: f64 = 1e-3;

/// To first order, at a minimum that the group has helped to make.
pub fn predicted_within(terms: &[ReadingTerm], at: &Point) -> Option<Predicted> {
    let (residuals, spread) = rows(terms, at)?;
    let left = DMatrix::identity(residuals.len(), residuals.len()) - spread;
    // What the group alone determines has nothing left.
    compared(&residuals, left, |share| {
        (share > PREDICTED).then(|| 1.0 / share)
    })
}

/// At a minimum without the group.
pub fn predicted_without(terms: &[ReadingTerm], at: &Point) -> Option<Predicted> {
    let unseen = |term: &Term| {
        term.gradient
            .iter()
            .any(|(entry, _)| at.unseen.contains(entry))
    };
    let evaluated = terms.iter().map(|t| t.evaluate(&at.x, &at.predictions));
    let evaluated = evaluated.collect::<Option<Vec<Term>>>()?;
    let seen: Vec<&Term> = evaluated.iter().filter(|term| !unseen(term)).collect();
    let (residuals, spread) = spread_of(&seen, at)?;
    let total = DMatrix::identity(residuals.len(), residuals.len()) + spread;
    compared(&residuals, total, |variance| {
        (variance < 1.0 / PREDICTED).then(|| 1.0 / variance)
    })
}

fn rows(terms: &[ReadingTerm], at: &Point) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let evaluated = terms.iter().map(|t| t.evaluate(&at.x, &at.predictions));
    let evaluated = evaluated.collect::<Option<Vec<Term>>>()?;
    spread_of(&evaluated.iter().collect::<Vec<_>>(), at)
}

/// Residuals and `G C Gᵀ`; `None` without any.
fn spread_of(terms: &[&Term], at: &Point) -> Option<(DVector<f64>, DMatrix<f64>)> {
    if terms.is_empty() {
        return None;
    }
    let n = at.x.len();
    let slopes: Vec<DVector<f64>> = terms.iter().map(|t| t.gradient_vector(n)).collect();
    let slopes = DMatrix::from_columns(&slopes);
    let residuals = DVector::from_iterator(terms.len(), terms.iter().map(|t| t.residual));
    Some((residuals, slopes.transpose() * &at.covariance * &slopes))
}

/// Chi-squared over the directions of a symmetric matrix, each with the weight that `weight` gives its eigenvalue, if any.
fn compared(
    residuals: &DVector<f64>,
    matrix: DMatrix<f64>,
    weight: impl Fn(f64) -> Option<f64>,
) -> Option<Predicted> {
    let eigen = matrix.symmetric_eigen();
    let along = eigen.eigenvectors.transpose() * residuals;
    let mut chi_squared = 0.0;
    let mut degrees = 0.0;
    for (value, length) in eigen.eigenvalues.iter().zip(along.iter()) {
        if let Some(weight) = weight(*value) {
            chi_squared += weight * length * length;
            degrees += 1.0;
        }
    }
    (degrees > 0.0).then(|| {
        let deviation = normal_equivalent(chi_squared, degrees);
        Predicted {
            deviation,
            residual: deviation,
            spread: 1.0,
        }
    })
}
