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
//! By Cayley and Hamilton every function of `A` (n × n, n = 2 or 3) is a polynomial of degree n − 1 in `A` whose
//! coefficients depend on the coefficients of the characteristic polynomial alone. So only those few scalars are
//! computed here, by Taylor series with scaling and squaring in the ring of polynomials modulo the characteristic
//! one, together with their partial derivatives; no eigenvalue is ever needed, and equal, complex or zero eigenvalues are
//! no special case.

// Indices are the powers of `A` and the characteristic coefficients of the formulas.
#![allow(clippy::needless_range_loop)]

use super::apart;

/// Coefficients of φ₁ and φ₂ as polynomials in `A`, with partial derivatives.
#[derive(Clone, Copy, Debug)]
pub struct Propagator<const M: usize> {
    /// `phi1[k]` multiplies `A^k`.
    pub phi1: [f64; M],
    /// `phi1_partial[k][j]`: derivative of `phi1[k]` with respect to `characteristic[j]`.
    pub phi1_partial: [[f64; M]; M],
    /// `phi2[k]` multiplies `A^k`.
    pub phi2: [f64; M],
    /// `phi2_partial[k][j]`: derivative of `phi2[k]` with respect to `characteristic[j]`.
    pub phi2_partial: [[f64; M]; M],
    /// `phi3[k]` multiplies `A^k`.
    pub phi3: [f64; M],
    /// `phi3_partial[k][j]`: derivative of `phi3[k]` with respect to `characteristic[j]`.
    pub phi3_partial: [[f64; M]; M],
}

/// Places of one coefficient: itself, then its derivatives with respect to up to three characteristic coefficients. Four numbers
/// that are always worked on together, whatever M.
pub(super) const PLACES: usize = 4;
/// The coefficient alone.
pub(super) const VALUE: usize = 1;

/// A polynomial of degree < M in `A` with derivatives with respect to the M characteristic coefficients.
#[derive(Clone, Copy)]
struct Element<const M: usize, const P: usize>([[f64; P]; M]);

impl<const M: usize, const P: usize> Element<M, P> {
    #[inline(always)]
    fn constant(value: f64) -> Self {
        let mut out = [[0.0; P]; M];
        out[0][0] = value;
        Element(out)
    }

    /// `A` times this element, with `A^M = Σ p[j] A^j`.
    #[inline(always)]
    fn shifted(&self, p: &[f64; M]) -> Self {
        let top = self.0[M - 1];
        let mut out = [[0.0; P]; M];
        for k in 0..M {
            for place in 0..P {
                let below = if k == 0 { 0.0 } else { self.0[k - 1][place] };
                out[k][place] = below + top[place] * p[k];
            }
            if P > VALUE {
                out[k][k + 1] += top[0];
            }
        }
        Element(out)
    }

    #[inline(always)]
    fn scaled(mut self, s: f64) -> Self {
        for k in 0..M {
            for place in 0..P {
                self.0[k][place] *= s;
            }
        }
        self
    }

    #[inline(always)]
    fn plus(mut self, other: &Self) -> Self {
        for k in 0..M {
            for place in 0..P {
                self.0[k][place] += other.0[k][place];
            }
        }
        self
    }

    #[inline(always)]
    fn plus_constant(mut self, value: f64) -> Self {
        self.0[0][0] += value;
        self
    }

    /// Product modulo the characteristic polynomial, by Horner over the powers of `A` in `other`.
    #[inline(always)]
    fn times(&self, other: &Self, p: &[f64; M]) -> Self {
        let mut out = Element([[0.0; P]; M]);
        for k in (0..M).rev() {
            if k < M - 1 {
                out = out.shifted(p);
            }
            let mut derivatives = other.0[k];
            derivatives[0] = 0.0;
            let value = other.0[k][0];
            for i in 0..M {
                let own = self.0[i][0];
                for place in 0..P {
                    out.0[i][place] += self.0[i][place] * value + own * derivatives[place];
                }
            }
        }
        out
    }
}

/// 1/k: a division less in every term of the series.
const RECIPROCALS: [f64; 20] = {
    let mut out = [1.0; 20];
    let mut k = 1;
    while k < 20 {
        out[k] = 1.0 / k as f64;
        k += 1;
    }
    out
};

/// Back from powers of `A·scale` and derivatives with respect to its coefficients to those of `A`; `powers[k]` is scale^k.
#[inline(always)]
fn unscaled<const M: usize, const P: usize>(
    e: &Element<M, P>,
    powers: &[f64; PLACES],
) -> ([f64; M], [[f64; M]; M]) {
    let mut c = [0.0; M];
    let mut d = [[0.0; M]; M];
    for k in 0..M {
        c[k] = e.0[k][0] * powers[k];
        for j in 0..M.min(P - 1) {
            d[k][j] = e.0[k][j + 1] * powers[k] * powers[M - j];
        }
    }
    (c, d)
}

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
            1 => Some(apart::of_number([p(0)]).resized()),
            2 => apart::of_two([p(0), p(1)]).map(|found| found.resized()),
            _ => apart::of_three::<P>([p(0), p(1), p(2)]).map(|found| found.resized()),
        };
        found.unwrap_or_else(|| Propagator::by_squaring::<P>(characteristic))
    }

    /// The same for `K` components, which are as many: a way to say so to the compiler.
    #[inline(always)]
    fn resized<const K: usize>(&self) -> Propagator<K> {
        let one = |c: &[f64; M]| std::array::from_fn(|k| c[k]);
        let all = |d: &[[f64; M]; M]| std::array::from_fn(|k| one(&d[k]));
        Propagator {
            phi1: one(&self.phi1),
            phi1_partial: all(&self.phi1_partial),
            phi2: one(&self.phi2),
            phi2_partial: all(&self.phi2_partial),
            phi3: one(&self.phi3),
            phi3_partial: all(&self.phi3_partial),
        }
    }

    /// The same by a Taylor series with scaling and squaring, whatever the eigenvalues are.
    #[inline(always)]
    pub(super) fn by_squaring<const P: usize>(characteristic: [f64; M]) -> Self {
        // Every eigenvalue is at most twice the largest |p_j|^(1/(M−j)) (Fujiwara's bound); here it is asked whether that is below a size,
        // which needs no root.
        let within = |size: f64| {
            let mut power = 1.0;
            let mut all = true;
            for j in (0..M).rev() {
                power *= 0.5 * size;
                all &= characteristic[j].abs() <= power;
            }
            all
        };
        let mut halvings = 0;
        while halvings < 30 && !within(f64::from(1u32 << halvings)) {
            halvings += 1;
        }
        let scale = 1.0 / f64::from(1u32 << halvings);
        // Work with B = A·scale: B^M = Σ p_j scale^(M−j) B^j.
        let mut p = characteristic;
        for j in 0..M {
            for _ in j..M {
                p[j] *= scale;
            }
        }
        let terms: u32 = [(1e-3, 4), (0.05, 8), (0.3, 11)]
            .into_iter()
            .find(|&(size, _)| within(size))
            .map_or(16, |(_, terms)| terms);
        // φ₃(B) = Σ B^k/(k+3)!, then φ₂ = I/2 + B φ₃, φ₁ = I + B φ₂ and e^B = I + B φ₁.
        let mut phi3 = Element::<M, P>::constant(1.0);
        for k in (1..=terms).rev() {
            phi3 = phi3
                .shifted(&p)
                .scaled(RECIPROCALS[k as usize + 3])
                .plus_constant(1.0);
        }
        phi3 = phi3.scaled(1.0 / 6.0);
        let mut phi2 = phi3.shifted(&p).plus_constant(0.5);
        let mut phi1 = phi2.shifted(&p).plus_constant(1.0);
        // With X = 2^k B, in powers of B throughout: φ₃(2X) = (φ₁φ₂ + φ₂ + 2φ₃)/8, φ₂(2X) = (φ₁² + 2φ₂)/4,
        // φ₁(2X) = (e^X + I) φ₁/2.
        let mut doubling = 1.0;
        for _ in 0..halvings {
            let exponential = phi1.shifted(&p).scaled(doubling).plus_constant(1.0);
            let next3 = phi1
                .times(&phi2, &p)
                .plus(&phi2)
                .plus(&phi3.scaled(2.0))
                .scaled(0.125);
            let next2 = phi1.times(&phi1, &p).plus(&phi2.scaled(2.0)).scaled(0.25);
            phi1 = exponential.plus_constant(1.0).times(&phi1, &p).scaled(0.5);
            phi2 = next2;
            phi3 = next3;
            doubling *= 2.0;
        }
        let mut powers = [1.0; PLACES];
        for k in 1..=M {
            powers[k] = powers[k - 1] * scale;
        }
        let (c1, d1) = unscaled(&phi1, &powers);
        let (c2, d2) = unscaled(&phi2, &powers);
        let (c3, d3) = unscaled(&phi3, &powers);
        Propagator {
            phi1: c1,
            phi1_partial: d1,
            phi2: c2,
            phi2_partial: d2,
            phi3: c3,
            phi3_partial: d3,
        }
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
                polynomial2(&found.phi1, &a),
                phi1,
                epsilon = 1e-13,
                max_relative = 1e-11
            );
            assert_relative_eq!(
                polynomial2(&found.phi2, &a),
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
        let phi1 = Matrix3::identity() * found.phi1[0] + a * found.phi1[1] + a * a * found.phi1[2];
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
                    let difference = (up.phi1[k] - down.phi1[k]) / (2.0 * h);
                    assert_relative_eq!(
                        at.phi1_partial[k][j],
                        difference,
                        max_relative = 1e-5,
                        epsilon = 1e-9
                    );
                    let difference = (up.phi2[k] - down.phi2[k]) / (2.0 * h);
                    assert_relative_eq!(
                        at.phi2_partial[k][j],
                        difference,
                        max_relative = 1e-5,
                        epsilon = 1e-9
                    );
                }
            }
        }
    }
}
