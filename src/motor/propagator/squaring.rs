//! The functions φ of a small matrix by scaling and squaring.
//!
//! By Cayley and Hamilton every function of `A` (n × n, n = 2 or 3) is a polynomial of degree n − 1 in `A` whose
//! coefficients depend on the coefficients of the characteristic polynomial alone. So only those few scalars are
//! computed here, by Taylor series with scaling and squaring in the ring of polynomials modulo the characteristic
//! one, together with their partial derivatives; no eigenvalue is ever needed, and equal, complex or zero eigenvalues are
//! no special case.

// Indices are the powers of `A` and the characteristic coefficients of the formulas.
#![allow(clippy::needless_range_loop)]

use super::coefficients::{Polynomial, Propagator};

/// Places of one coefficient: itself, then its derivatives with respect to up to three characteristic coefficients. Four numbers
/// that are always worked on together, whatever M.
pub const PLACES: usize = 4;
/// The coefficient alone.
pub const VALUE: usize = 1;

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
) -> Polynomial<M> {
    let mut out = Polynomial {
        at: [0.0; M],
        by: [[0.0; M]; M],
    };
    for k in 0..M {
        out.at[k] = e.0[k][0] * powers[k];
        for j in 0..M.min(P - 1) {
            out.by[k][j] = e.0[k][j + 1] * powers[k] * powers[M - j];
        }
    }
    out
}

/// Whether every eigenvalue is certainly at most `size`: it is at most twice the largest |p_j|^(1/(M−j)) (Fujiwara's bound), and to ask
/// so needs no root.
#[inline(always)]
fn within<const M: usize>(characteristic: &[f64; M], size: f64) -> bool {
    let mut power = 1.0;
    let mut all = true;
    for j in (0..M).rev() {
        power *= 0.5 * size;
        all &= characteristic[j].abs() <= power;
    }
    all
}

/// φ₁ to φ₃ by their series: φ₃(B) = Σ B^k/(k+3)!, then φ₂ = I/2 + B φ₃ and φ₁ = I + B φ₂.
#[inline(always)]
fn series<const M: usize, const P: usize>(p: &[f64; M], terms: usize) -> [Element<M, P>; 3] {
    let mut phi3 = Element::<M, P>::constant(1.0);
    for k in (1..=terms).rev() {
        phi3 = phi3
            .shifted(p)
            .scaled(RECIPROCALS[k + 3])
            .plus_constant(1.0);
    }
    phi3 = phi3.scaled(1.0 / 6.0);
    let phi2 = phi3.shifted(p).plus_constant(0.5);
    let phi1 = phi2.shifted(p).plus_constant(1.0);
    [phi1, phi2, phi3]
}

/// The functions φ by a Taylor series with scaling and squaring, whatever the eigenvalues are. `P`: [`VALUE`] without derivatives,
/// which are then zero.
#[inline(always)]
pub fn by_squaring<const M: usize, const P: usize>(characteristic: [f64; M]) -> Propagator<M> {
    let mut halvings = 0;
    while halvings < 30 && !within(&characteristic, f64::from(1u32 << halvings)) {
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
    let terms = [(1e-3, 4), (0.05, 8), (0.3, 11)]
        .into_iter()
        .find(|&(size, _)| within(&characteristic, size))
        .map_or(16, |(_, terms)| terms);
    let [mut phi1, mut phi2, mut phi3] = series::<M, P>(&p, terms);
    // With X = 2^k B, in powers of B throughout: e^X = I + X φ₁(X), φ₃(2X) = (φ₁φ₂ + φ₂ + 2φ₃)/8, φ₂(2X) = (φ₁² + 2φ₂)/4,
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
    Propagator::from([phi1, phi2, phi3].map(|phi| unscaled(&phi, &powers)))
}
