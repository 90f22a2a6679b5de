//! Polynomials of a step's matrix applied to vectors, with the derivatives of both.
//!
//! `factor · (Σ c_k A^k) f` for A = h F, the Jacobian matrix F over a step of h seconds, and coefficients c_k that depend on the characteristic
//! polynomial of A. Its derivatives by `f` and by the entries of `A` are small matrices, formed once and then applied to all inputs together: exact, as forward
//! differentiation of the same formula is, at a fraction of the work.

// Indices are rows and columns of the formulas.
#![allow(clippy::needless_range_loop)]

use crate::motor::propagator::{Polynomial, Propagator};
use crate::motor::state::StateVariable;
use crate::motor::state_equation::{Jacobian, StepNumber};

type Matrix<const M: usize> = [[f64; M]; M];

/// A = h F of one step, over the M variables of the state that move.
pub(super) struct StepMatrix<'a, T, const M: usize> {
    h: f64,
    moving: [StateVariable; M],
    /// F of all variables.
    jacobian: &'a Jacobian<T>,
    pub a: Matrix<M>,
    square: Matrix<M>,
    /// Coefficients of `A^M = Σ p_j A^j`, and by `[j][p][q]` their derivatives by `A[p][q]`.
    characteristic: [f64; M],
    characteristic_by: [Matrix<M>; M],
}

impl<'a, T: StepNumber, const M: usize> StepMatrix<'a, T, M> {
    #[inline(always)]
    pub fn new(jacobian: &'a Jacobian<T>, moving: [StateVariable; M], h: f64) -> Self {
        let mut a = [[0.0; M]; M];
        for r in 0..M {
            for k in 0..M {
                if let Some(entry) = jacobian.entry(moving[r], moving[k]) {
                    a[r][k] = entry.value() * h;
                }
            }
        }
        let mut square = [[0.0; M]; M];
        if M > 2 && T::DIFFERENTIATED {
            for r in 0..M {
                for k in 0..M {
                    square[r][k] = (0..M).map(|j| a[r][j] * a[j][k]).sum();
                }
            }
        }
        StepMatrix {
            h,
            moving,
            jacobian,
            a,
            square,
            characteristic: characteristic(&a),
            characteristic_by: characteristic_by(&a),
        }
    }

    /// Entry of F in a row and a column of this matrix.
    #[inline(always)]
    pub fn entry(&self, row: usize, column: usize) -> Option<&T> {
        self.jacobian.entry(self.moving[row], self.moving[column])
    }

    /// The functions φ of this matrix.
    #[inline(always)]
    pub fn propagator(&self) -> Propagator<M> {
        if T::DIFFERENTIATED {
            Propagator::new(self.characteristic)
        } else {
            Propagator::values(self.characteristic)
        }
    }

    /// `factor · (Σ c_k A^k) f` of plain numbers.
    #[inline(always)]
    pub fn apply_values(&self, phi: &Polynomial<M>, f: &[f64; M], factor: f64) -> [f64; M] {
        sum(&phi.at.map(|c| c * factor), &self.powers(f))
    }

    /// `factor · (Σ c_k A^k) f`.
    #[inline(always)]
    pub fn apply(&self, phi: &Polynomial<M>, f: &[&T; M], factor: f64) -> [T; M] {
        let c = phi.at.map(|c| c * factor);
        let powers = self.powers(&f.map(|f| f.value()));
        let mut out = sum(&c, &powers).map(T::from);
        if !T::DIFFERENTIATED {
            return out;
        }
        let by_f = self.by_vector(&c);
        let by_p: Matrix<M> = std::array::from_fn(|j| {
            std::array::from_fn(|r| {
                factor * (0..M).map(|k| phi.by[k][j] * powers[k][r]).sum::<f64>()
            })
        });
        for r in 0..M {
            let mut row = out[r];
            for k in 0..M {
                row.add_derivatives(by_f[r][k], f[k]);
            }
            for p in 0..M {
                for q in 0..M {
                    if let Some(entry) = self.entry(p, q) {
                        let by_a = self.by_entry(&c, &by_p, &powers, r, p, q);
                        row.add_derivatives(by_a * self.h, entry);
                    }
                }
            }
            out[r] = row;
        }
        out
    }

    /// f, A f and A² f.
    #[inline(always)]
    fn powers(&self, f: &[f64; M]) -> Matrix<M> {
        let mut powers = [[0.0; M]; M];
        powers[0] = *f;
        for k in 1..M {
            powers[k] =
                std::array::from_fn(|r| (0..M).map(|j| self.a[r][j] * powers[k - 1][j]).sum());
        }
        powers
    }

    /// Derivatives by `f`: the polynomial itself.
    #[inline(always)]
    fn by_vector(&self, c: &[f64; M]) -> Matrix<M> {
        std::array::from_fn(|r| {
            std::array::from_fn(|k| {
                let mut sum = if r == k { c[0] } else { 0.0 };
                if M > 1 {
                    sum += c[1] * self.a[r][k];
                }
                if M > 2 {
                    sum += c[2] * self.square[r][k];
                }
                sum
            })
        })
    }

    /// Derivative of row `r` by `A[p][q]`. `by_p[j][r]`: by the characteristic coefficient j.
    #[inline(always)]
    fn by_entry(
        &self,
        c: &[f64; M],
        by_p: &Matrix<M>,
        powers: &Matrix<M>,
        r: usize,
        p: usize,
        q: usize,
    ) -> f64 {
        let mut sum = 0.0;
        for j in 0..M {
            sum += by_p[j][r] * self.characteristic_by[j][p][q];
        }
        if M > 1 && r == p {
            sum += c[1] * powers[0][q];
        }
        if M > 2 {
            sum += c[2] * self.a[r][p] * powers[0][q];
            if r == p {
                sum += c[2] * powers[1][q];
            }
        }
        sum
    }
}

/// `Σ c_k A^k f` of the powers of A applied to f.
#[inline(always)]
fn sum<const M: usize>(c: &[f64; M], powers: &Matrix<M>) -> [f64; M] {
    std::array::from_fn(|r| (0..M).map(|k| c[k] * powers[k][r]).sum())
}

/// Coefficients of `A^M = Σ p_j A^j`.
#[inline(always)]
fn characteristic<const M: usize>(a: &Matrix<M>) -> [f64; M] {
    let minor = |i: usize, j: usize| a[i][i] * a[j][j] - a[i][j] * a[j][i];
    std::array::from_fn(|k| match (M, k) {
        (1, 0) => a[0][0],
        (2, 0) => -minor(0, 1),
        (2, 1) => a[0][0] + a[1][1],
        (3, 0) => {
            a[0][0] * minor(1, 2) - a[0][1] * (a[1][0] * a[2][2] - a[1][2] * a[2][0])
                + a[0][2] * (a[1][0] * a[2][1] - a[1][1] * a[2][0])
        }
        (3, 1) => -(minor(0, 1) + minor(0, 2) + minor(1, 2)),
        (3, 2) => a[0][0] + a[1][1] + a[2][2],
        _ => unreachable!("the state has one to three variables"),
    })
}

/// Partial derivatives of the coefficients of `A^M = Σ p_j A^j`: `out[j][p][q]` with respect to `A[p][q]`.
#[inline(always)]
fn characteristic_by<const M: usize>(a: &Matrix<M>) -> [Matrix<M>; M] {
    let mut out = [[[0.0; M]; M]; M];
    match M {
        1 => out[0][0][0] = 1.0,
        2 => {
            out[0] = std::array::from_fn(|p| {
                std::array::from_fn(|q| if p == q { -a[1 - p][1 - p] } else { a[q][p] })
            });
            out[1] = identity();
        }
        _ => {
            for p in 0..M {
                for q in 0..M {
                    // The cofactor, by the cyclic rule.
                    let (r1, r2) = ((p + 1) % 3, (p + 2) % 3);
                    let (c1, c2) = ((q + 1) % 3, (q + 2) % 3);
                    out[0][p][q] = a[r1][c1] * a[r2][c2] - a[r1][c2] * a[r2][c1];
                    out[1][p][q] = if p == q {
                        -(a[r1][r1] + a[r2][r2])
                    } else {
                        a[q][p]
                    };
                }
            }
            out[2] = identity();
        }
    }
    out
}

#[inline(always)]
fn identity<const M: usize>() -> Matrix<M> {
    std::array::from_fn(|p| std::array::from_fn(|q| f64::from(u8::from(p == q))))
}
