//! Forward-mode automatic differentiation with a fixed number of directions.
//!
//! The simulation is written once over [`Real`]; with `f64` it simulates, with [`Dual`] it also carries the derivative
//! of every state with respect to `N` parameters (the variational equations, solved in the same pass). The smooth step, nearly all
//! of the work, has its derivatives written out (`step_partials`).

use super::differentiated::differentiated_step;
use super::step::plain_step;
use super::{Advance, Constants, State};
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub};

/// A real number, or one that carries derivatives.
pub trait Real:
    Copy
    + From<f64>
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + AddAssign
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
{
    /// Whether it carries derivatives.
    const DIFFERENTIATED: bool;
    /// The number without its derivatives.
    fn value(self) -> f64;
    /// Hyperbolic tangent.
    fn tanh(self) -> Self;
    /// Square root of a positive number.
    fn sqrt(self) -> Self {
        let root = self.value().sqrt();
        Self::chain(root, [0.5 / root], [self])
    }
    /// A function of several reals, given its value and its partial derivatives at their values.
    fn chain<const K: usize>(value: f64, partials: [f64; K], of: [Self; K]) -> Self;
    /// Absolute value; the derivative at 0 is taken from the positive side.
    fn abs(self) -> Self {
        if self.value() < 0.0 { -self } else { self }
    }
    /// One smooth step of the motor over M components of its state ([`super::step`]), with the relative size of its last
    /// correction. `sign`: that of the rotation, 0 unless `TURNING`.
    fn smooth_step<const M: usize, const TURNING: bool>(
        c: &Constants<Self>,
        from: &State<Self>,
        v: Self,
        h: f64,
        sign: f64,
    ) -> (Advance<Self>, f64) {
        plain_step::<Self, M, TURNING>(c, from, v, h, sign)
    }
}

impl Real for f64 {
    const DIFFERENTIATED: bool = false;
    fn value(self) -> f64 {
        self
    }
    fn tanh(self) -> f64 {
        f64::tanh(self)
    }
    fn chain<const K: usize>(value: f64, _: [f64; K], _: [f64; K]) -> f64 {
        value
    }
}

/// A number with its derivatives in `N` directions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dual<const N: usize> {
    pub value: f64,
    pub gradient: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// A number whose derivative is 1 in direction `direction` and 0 elsewhere.
    ///
    /// # Panics
    /// When `direction >= N`: a slip in the code, not in the data.
    pub fn variable(value: f64, direction: usize) -> Self {
        let mut gradient = [0.0; N];
        gradient[direction] = 1.0;
        Dual { value, gradient }
    }
}

impl<const N: usize> From<f64> for Dual<N> {
    fn from(value: f64) -> Self {
        Dual {
            value,
            gradient: [0.0; N],
        }
    }
}

impl<const N: usize> Add for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn add(mut self, other: Self) -> Self {
        self += other;
        self
    }
}

impl<const N: usize> AddAssign for Dual<N> {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        self.value += other.value;
        for (a, b) in self.gradient.iter_mut().zip(&other.gradient) {
            *a += b;
        }
    }
}

impl<const N: usize> Sub for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn sub(mut self, other: Self) -> Self {
        self.value -= other.value;
        for (a, b) in self.gradient.iter_mut().zip(&other.gradient) {
            *a -= b;
        }
        self
    }
}

impl<const N: usize> Mul for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn mul(mut self, other: Self) -> Self {
        for (a, b) in self.gradient.iter_mut().zip(&other.gradient) {
            *a = *a * other.value + self.value * b;
        }
        self.value *= other.value;
        self
    }
}

impl<const N: usize> Div for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn div(mut self, other: Self) -> Self {
        let inverse = 1.0 / other.value;
        self.value *= inverse;
        for (a, b) in self.gradient.iter_mut().zip(&other.gradient) {
            *a = (*a - self.value * b) * inverse;
        }
        self
    }
}

impl<const N: usize> Neg for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn neg(mut self) -> Self {
        self.value = -self.value;
        for a in &mut self.gradient {
            *a = -*a;
        }
        self
    }
}

impl<const N: usize> Add<f64> for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn add(mut self, other: f64) -> Self {
        self.value += other;
        self
    }
}

impl<const N: usize> Sub<f64> for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn sub(mut self, other: f64) -> Self {
        self.value -= other;
        self
    }
}

impl<const N: usize> Mul<f64> for Dual<N> {
    type Output = Self;
    #[inline(always)]
    fn mul(mut self, other: f64) -> Self {
        self.value *= other;
        for a in &mut self.gradient {
            *a *= other;
        }
        self
    }
}

impl<const N: usize> Real for Dual<N> {
    const DIFFERENTIATED: bool = true;
    #[inline(always)]
    fn smooth_step<const M: usize, const TURNING: bool>(
        c: &Constants<Self>,
        from: &State<Self>,
        v: Self,
        h: f64,
        sign: f64,
    ) -> (Advance<Self>, f64) {
        differentiated_step::<N, M, TURNING>(c, from, &v, h, sign)
    }
    #[inline(always)]
    fn value(self) -> f64 {
        self.value
    }
    fn tanh(mut self) -> Self {
        self.value = self.value.tanh();
        let slope = 1.0 - self.value * self.value;
        for a in &mut self.gradient {
            *a *= slope;
        }
        self
    }
    #[inline(always)]
    fn chain<const K: usize>(value: f64, partials: [f64; K], of: [Self; K]) -> Self {
        let mut gradient = [0.0; N];
        for (partial, source) in partials.iter().zip(&of) {
            for (a, b) in gradient.iter_mut().zip(&source.gradient) {
                *a += partial * b;
            }
        }
        Dual { value, gradient }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn formula<S: Real>(x: S, y: S) -> S {
        (x * y + x / (y * y + 1.0)).tanh() * y - (x - y).abs() * 0.25
    }

    #[test]
    fn derivatives_agree_with_central_differences() {
        let (x, y) = (0.37, -0.81);
        let dual = formula(Dual::<2>::variable(x, 0), Dual::<2>::variable(y, 1));
        let h = 1e-6;
        assert_relative_eq!(dual.value, formula(x, y), max_relative = 1e-15);
        assert_relative_eq!(
            dual.gradient[0],
            (formula(x + h, y) - formula(x - h, y)) / (2.0 * h),
            max_relative = 1e-8
        );
        assert_relative_eq!(
            dual.gradient[1],
            (formula(x, y + h) - formula(x, y - h)) / (2.0 * h),
            max_relative = 1e-8
        );
    }
}
