//! Forward-mode automatic differentiation with a fixed number of independent variables.
//!
//! A formula is written once over [`Real`]; with `f64` it gives a value, with [`Dual`] also the derivatives of that with respect to `N`
//! independent variables.

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

/// A number with its derivatives by `N` independent variables.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dual<const N: usize> {
    /// Value of the function.
    pub value: f64,
    /// Partial derivatives with respect to the `N` independent variables.
    pub gradient: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// The independent variable `number`: its derivative is 1 by itself and 0 by the others.
    ///
    /// # Panics
    /// When `number >= N`: a slip in the code, not in the data.
    pub fn variable(value: f64, number: usize) -> Self {
        let mut gradient = [0.0; N];
        gradient[number] = 1.0;
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
