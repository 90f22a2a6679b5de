//! The functions φ₁ and φ₂ of a small matrix, which carry a linear system exactly over one step.
//!
//! For `y' = f(y)` with Jacobian `J` frozen over a step `h` and `A = h J`,
//!
//! ```text
//! y(h)        = y + h φ₁(A) f,    φ₁(A) = (e^A − I) A⁻¹
//! mean over h = y + h φ₂(A) f,    φ₂(A) = (e^A − I − A) A⁻²
//! ```
//!
//! exactly so when the system is linear with constant input, and to second order otherwise. With the remainder
//! `g = f(y(h)) − f(y) − J (y(h) − y)` the step `y(h) + 2 h φ₃(A) g` is of third order (exponential Rosenbrock method
//! exprb32; Hochbruck & Ostermann, Acta Numerica 19 (2010) 209-286, section 2.4).
//!
//! Both are polynomials in `A`, and so are computed as coefficients ([`Propagator`]) of them.

mod coefficients;
mod scalar;
mod split_eigenvalue;
mod squaring;

pub use coefficients::{Polynomial, Propagator};
pub use scalar::Phi;

use squaring::{PLACES, VALUE, by_squaring};

impl<const M: usize> Propagator<M> {
    /// φ₁ to φ₃ for the matrix with `A^M = Σ characteristic[j] A^j` (so for M = 2 `characteristic = [−det, trace]`).
    #[inline(always)]
    pub fn new(characteristic: [f64; M]) -> Self {
        Propagator::with::<PLACES>(characteristic)
    }

    /// The same without derivatives, which are zero.
    #[inline(always)]
    pub fn values(characteristic: [f64; M]) -> Self {
        Propagator::with::<VALUE>(characteristic)
    }

    #[inline(always)]
    fn with<const P: usize>(characteristic: [f64; M]) -> Self {
        let p = |k: usize| characteristic[k];
        let found = match M {
            1 => Some(split_eigenvalue::of_number([p(0)]).resized()),
            2 => split_eigenvalue::of_two([p(0), p(1)]).map(|found| found.resized()),
            _ => split_eigenvalue::of_three::<P>([p(0), p(1), p(2)]).map(|found| found.resized()),
        };
        found.unwrap_or_else(|| by_squaring::<M, P>(characteristic))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::{Matrix2, Matrix3};

    fn polynomial2(c: &[f64; 2], a: &Matrix2<f64>) -> Matrix2<f64> {
        Matrix2::identity() * c[0] + a * c[1]
    }

    /// nalgebra's matrix exponential (Padé, Al-Mohy & Higham) of the augmented matrix [[A, I, 0], [0, 0, I], [0, 0, 0]]
    /// holds φ₁(A) and φ₂(A) in its first row of blocks.
    fn reference2(a: &Matrix2<f64>) -> (Matrix2<f64>, Matrix2<f64>) {
        let mut big = nalgebra::DMatrix::<f64>::zeros(6, 6);
        big.view_mut((0, 0), (2, 2)).copy_from(a);
        for k in 0..2 {
            big[(k, k + 2)] = 1.0;
            big[(k + 2, k + 4)] = 1.0;
        }
        let exponential = big.exp();
        (
            exponential.fixed_view::<2, 2>(0, 2).into_owned(),
            exponential.fixed_view::<2, 2>(0, 4).into_owned(),
        )
    }

    #[test]
    fn val_phi_functions_agree_with_a_general_matrix_exponential() {
        let cases = [
            Matrix2::new(-1e-4, -2e-3, 3e-4, -1e-6),
            Matrix2::new(-0.7, -0.3, 0.5, -0.01),
            Matrix2::new(-0.5, -3.0, 2.0, 0.0), // oscillating
            Matrix2::new(-0.4, 0.0, 0.0, -0.4), // equal eigenvalues
            Matrix2::new(-30.0, -20.0, 1.0, -0.2),
            Matrix2::zeros(),
        ];
        for a in cases {
            let found = Propagator::<2>::new([-a.determinant(), a.trace()]);
            let (phi1, phi2) = reference2(&a);
            assert_relative_eq!(
                polynomial2(&found.phi1.at, &a),
                phi1,
                epsilon = 1e-13,
                max_relative = 1e-11
            );
            assert_relative_eq!(
                polynomial2(&found.phi2.at, &a),
                phi2,
                epsilon = 1e-13,
                max_relative = 1e-11
            );
        }
    }

    #[test]
    fn three_by_three_agrees_with_a_general_matrix_exponential() {
        let a = Matrix3::new(-2.1, -1.3, 0.9, 0.4, -0.02, 0.0, 1.1, 0.0, -1.2);
        let minors = a[(0, 0)] * a[(1, 1)] - a[(0, 1)] * a[(1, 0)] + a[(0, 0)] * a[(2, 2)]
            - a[(0, 2)] * a[(2, 0)]
            + a[(1, 1)] * a[(2, 2)]
            - a[(1, 2)] * a[(2, 1)];
        let found = Propagator::<3>::new([a.determinant(), -minors, a.trace()]);
        let phi1 = Matrix3::identity() * found.phi1.at[0]
            + a * found.phi1.at[1]
            + a * a * found.phi1.at[2];
        let exponential = Matrix3::identity() + a * phi1;
        assert_relative_eq!(exponential, a.exp(), epsilon = 1e-12);
    }

    #[test]
    fn partials_agree_with_central_differences() {
        for characteristic in [[-0.3, -1.2], [-2e-5, -3e-2], [-40.0, -25.0]] {
            let at = Propagator::<2>::new(characteristic);
            for j in 0..2 {
                let h = 1e-3 * characteristic[j].abs();
                let (mut up, mut down) = (characteristic, characteristic);
                up[j] += h;
                down[j] -= h;
                let (up, down) = (Propagator::<2>::new(up), Propagator::<2>::new(down));
                for k in 0..2 {
                    let difference = (up.phi1.at[k] - down.phi1.at[k]) / (2.0 * h);
                    assert_relative_eq!(
                        at.phi1.by[k][j],
                        difference,
                        max_relative = 1e-5,
                        epsilon = 1e-9
                    );
                    let difference = (up.phi2.at[k] - down.phi2.at[k]) / (2.0 * h);
                    assert_relative_eq!(
                        at.phi2.by[k][j],
                        difference,
                        max_relative = 1e-5,
                        epsilon = 1e-9
                    );
                }
            }
        }
    }
}
