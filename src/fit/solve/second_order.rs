//! What the Gauss-Newton matrix leaves out of the cost's second derivatives, learned from the steps taken.
//!
//! `∇²c = JᵀJ + Σ r_i ∇²r_i`. The sum is small where the model is straight over a standard deviation. Where it is not, as for a share whose
//! effect grows with its square, Gauss-Newton steps go too far by an order of magnitude, and the distance they tell is as wrong. So a
//! symmetric matrix S is kept for the sum, by structured secants (Dennis, Gay & Welsch 1981, ACM TOMS 7, 348-368): after an accepted step s
//! it satisfies `S s = g₊ − g − N₊ s`, with the sizing given there; and a step after which the cost has risen tells the curvature along it.

use super::NormalEquations;
use crate::stats::arrow::WHOLE;
use nalgebra::{DMatrix, DVector};

/// Share of a step's Gauss-Newton curvature from which what is left out counts.
const TELLING: f64 = 0.1;

/// The matrix S, and whether steps are made with it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SecondOrder {
    matrix: DMatrix<f64>,
    trusted: bool,
    /// What steps that raised the cost from the present point have told; it holds for the next step from there alone.
    risen: Option<DMatrix<f64>>,
}

impl SecondOrder {
    /// Nothing learned yet of a problem of n parameters.
    pub(in crate::fit) fn none(n: usize) -> Self {
        SecondOrder {
            matrix: DMatrix::zeros(n, n),
            trusted: false,
            risen: None,
        }
    }

    pub(super) fn dimension(&self) -> usize {
        self.matrix.nrows()
    }

    /// The local paraboloid: cost, gradient and the matrix that steps are made with.
    pub(in crate::fit) fn paraboloid(&self, equations: &NormalEquations) -> NormalEquations {
        let mut out = equations.clone();
        if self.trusted {
            out.normal += &self.matrix;
        }
        if let Some(risen) = &self.risen {
            out.normal += risen;
        }
        out
    }

    /// Learns from an accepted step.
    pub(in crate::fit) fn learn(
        &mut self,
        step: &DVector<f64>,
        before: &NormalEquations,
        after: &NormalEquations,
    ) {
        let y = &after.gradient - &before.gradient;
        let along = y.dot(step);
        // Which of the two told the fall of the cost better.
        let fall = before.cost - after.cost;
        let slope = before.gradient.dot(step);
        let plain = step.dot(&(&before.normal * step));
        let left_out = step.dot(&(&self.matrix * step));
        let miss = |curvature: f64| (-(slope + 0.5 * curvature) - fall).abs();
        if left_out != 0.0 && miss(plain).max(miss(plain + left_out)) > TELLING * fall.abs() {
            self.trusted = miss(plain + left_out) < miss(plain);
        }
        let gauss_newton = &after.normal * step;
        let sought = &y - &gauss_newton;
        let seen = sought.dot(step);
        if along.is_nan() || along <= 0.0 || !seen.is_finite() {
            return;
        }
        if left_out != 0.0 {
            self.matrix *= (seen / left_out).abs().min(1.0);
        }
        let miss = sought - &self.matrix * step;
        let along_step = miss.dot(step);
        self.matrix += (&miss * y.transpose() + &y * miss.transpose()) / along
            - &y * y.transpose() * (along_step / (along * along));
        without_strangers(&mut self.matrix, &after.normal);
        if seen.abs() > TELLING * gauss_newton.dot(step) {
            self.trusted = true;
        }
    }

    /// Learns from a step after which the cost had risen by `rise`, from a point where it fell with `slope` along it: the curvature of the parabola through both.
    /// It is far too large where the cost rises faster than a parabola, so it shortens the next step and says nothing of the distance to the minimum.
    /// `normal`: the matrix that the step was made with. Tells whether the next step is another now.
    pub(super) fn learn_from_rise(
        &mut self,
        step: &DVector<f64>,
        normal: &DMatrix<f64>,
        slope: f64,
        rise: f64,
    ) -> bool {
        let image = normal * step;
        let assumed = image.dot(step);
        let curvature = 2.0 * (rise - slope);
        if !(curvature.is_finite() && assumed > 0.0 && curvature > (1.0 + TELLING) * assumed) {
            return false;
        }
        let mut more = &image * image.transpose() * ((curvature - assumed) / (assumed * assumed));
        without_strangers(&mut more, normal);
        self.risen = Some(match self.risen.take() {
            Some(risen) => risen + more,
            None => more,
        });
        true
    }

    /// Whether the next step is made with what a rise has taught.
    pub(super) fn has_risen(&self) -> bool {
        self.risen.is_some()
    }

    /// Another point: what refused steps have told holds no longer.
    pub(super) fn move_on(&mut self) {
        self.risen = None;
    }

    /// Steps are made without it: the paraboloid had no minimum.
    pub(in crate::fit) fn distrust(&mut self) {
        self.trusted = false;
        self.risen = None;
    }

    /// Whether the paraboloid is another than that of Gauss and Newton.
    pub(super) fn counts(&self) -> bool {
        self.trusted || self.risen.is_some()
    }
}

/// Of many unknowns: nothing where no residual depends on both. The sum has nothing there either, and what is left can be solved block by block
/// as the Gauss-Newton matrix can.
fn without_strangers(matrix: &mut DMatrix<f64>, normal: &DMatrix<f64>) {
    if matrix.nrows() > WHOLE {
        matrix.zip_apply(normal, |value, together| {
            if together == 0.0 {
                *value = 0.0;
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cost with known second derivatives: half of `xᵀ H x` with H = N + S.
    fn at(x: &DVector<f64>, normal: &DMatrix<f64>, second: &DMatrix<f64>) -> NormalEquations {
        let hessian = normal + second;
        NormalEquations {
            cost: 0.5 * x.dot(&(&hessian * x)),
            gradient: &hessian * x,
            normal: normal.clone(),
        }
    }

    fn example() -> (DMatrix<f64>, DMatrix<f64>) {
        (
            DMatrix::from_row_slice(2, 2, &[2.0, 0.3, 0.3, 1.0]),
            DMatrix::from_row_slice(2, 2, &[5.0, -1.0, -1.0, 0.5]),
        )
    }

    /// The secant equation `S s = g₊ − g − N₊ s` (Dennis, Gay & Welsch 1981, equation 2.4), and symmetry, after every step.
    #[test]
    fn val_the_secant_equation_holds_and_the_matrix_is_symmetric() {
        let (normal, second) = example();
        let mut learned = SecondOrder::none(2);
        let mut x = DVector::from_row_slice(&[1.0, -2.0]);
        for step in [[0.5, 0.7], [-0.4, 0.1], [0.2, 0.9]] {
            let step = DVector::from_row_slice(&step);
            let next = &x + &step;
            learned.learn(
                &step,
                &at(&x, &normal, &second),
                &at(&next, &normal, &second),
            );
            let (found, sought) = (&learned.matrix * &step, &second * &step);
            approx::assert_relative_eq!(found, sought, epsilon = 1e-12);
            approx::assert_relative_eq!(
                learned.matrix,
                learned.matrix.transpose(),
                epsilon = 1e-12
            );
            assert!(learned.counts());
            x = next;
        }
    }

    /// A step along which the cost rose is then made to the end of the parabola through slope and rise.
    #[test]
    fn a_rise_shortens_the_step_to_the_parabola() {
        let (normal, second) = example();
        let x = DVector::from_row_slice(&[1.0, 1.0]);
        let here = at(&x, &normal, &second);
        let whole = -(normal.clone().try_inverse().unwrap() * &here.gradient);
        let rise = at(&(&x + &whole), &normal, &second).cost - here.cost;
        assert!(rise > 0.0, "{rise}");
        let slope = here.gradient.dot(&whole);
        let mut learned = SecondOrder::none(2);
        assert!(learned.learn_from_rise(&whole, &normal, slope, rise));
        let paraboloid = learned.paraboloid(&here).normal;
        let shorter = -(paraboloid.try_inverse().unwrap() * &here.gradient);
        let share = -slope / (2.0 * (rise - slope));
        approx::assert_relative_eq!(shorter, whole * share, epsilon = 1e-12);
    }

    #[test]
    fn where_nothing_is_left_out_nothing_is_learned() {
        let (normal, _) = example();
        let none = DMatrix::zeros(2, 2);
        let mut learned = SecondOrder::none(2);
        let x = DVector::from_row_slice(&[1.0, -2.0]);
        let step = DVector::from_row_slice(&[0.3, 0.4]);
        learned.learn(
            &step,
            &at(&x, &normal, &none),
            &at(&(&x + &step), &normal, &none),
        );
        assert!(!learned.counts());
    }
}
