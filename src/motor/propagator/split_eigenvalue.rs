//! The functions φ of a small matrix whose fastest eigenvalue can be split off: far larger than the others.
//!
//! `f(A)` is the polynomial in `A` that takes the values of f at the eigenvalues. Where the fastest one, λ, is real and at least three times the others, the polynomial of
//! the others is found first and then led through f(λ) (Newton's form; Higham 2008, Functions of Matrices, section 1.2.2, from memory): no squarings,
//! whose number and rounding grow with the stiffness of the step.

use super::coefficients::{Polynomial, Propagator};
use super::scalar::{LEAST, Phi};
use super::squaring::by_squaring;

/// Least ratio of the fastest eigenvalue's size to that of the others.
const LEAST_RATIO: f64 = 3.0;
/// A root that Newton's iteration has not found by then is not split off.
const MOST_ITERATIONS: usize = 8;

/// For a number.
#[inline(always)]
pub fn of_number([a]: [f64; 1]) -> Propagator<1> {
    let phi = Phi::new(a);
    let of = |f: usize| Polynomial {
        at: [phi.at[f]],
        by: [[phi.slope[f]]],
    };
    Propagator::from([of(0), of(1), of(2)])
}

/// Size of the larger root of `x² = p₁ x + p₀`.
#[inline(always)]
fn larger([p0, p1]: [f64; 2]) -> f64 {
    let square = 0.25 * p1 * p1 + p0;
    if square < 0.0 {
        (-p0).sqrt()
    } else {
        0.5 * p1.abs() + square.sqrt()
    }
}

/// For a matrix with `A² = p₁ A + p₀`; `None` where no eigenvalue can be split off.
#[inline(always)]
pub fn of_two([p0, p1]: [f64; 2]) -> Option<Propagator<2>> {
    let fast = larger([p0, p1]).copysign(p1);
    let slow = -p0 / fast;
    // Complex eigenvalues are of one size.
    let split = fast.abs() >= LEAST && LEAST_RATIO * slow.abs() <= fast.abs();
    if !(split && 0.25 * p1 * p1 + p0 > 0.0) {
        return None;
    }
    let [of_fast, of_slow] = [fast, slow].map(Phi::new);
    let per_gap = 1.0 / (fast - slow);
    let fast_by = [per_gap, fast * per_gap];
    let slow_by = [-per_gap, -slow * per_gap];
    Some(Propagator::from(std::array::from_fn(|f| {
        let c = (of_fast.at[f] - of_slow.at[f]) * per_gap;
        let mut out = Polynomial {
            at: [of_slow.at[f] - c * slow, c],
            by: [[0.0; 2]; 2],
        };
        for j in 0..2 {
            let moved = of_slow.slope[f] * slow_by[j];
            let c_by =
                (of_fast.slope[f] * fast_by[j] - moved - c * (fast_by[j] - slow_by[j])) * per_gap;
            out.by[0][j] = moved - c_by * slow - c * slow_by[j];
            out.by[1][j] = c_by;
        }
        out
    })))
}

/// The root of largest size of `x³ = p₂ x² + p₁ x + p₀`, from the sum of all, where it can be split off.
#[inline(always)]
fn fastest([p0, p1, p2]: [f64; 3]) -> Option<f64> {
    let mut x = p2;
    for _ in 0..MOST_ITERATIONS {
        let value = ((x - p2) * x - p1) * x - p0;
        let slope = (3.0 * x - 2.0 * p2) * x - p1;
        let step = value / slope;
        x -= step;
        if step.abs() <= 1e-9 * x.abs() {
            // The next correction is the square of that.
            return Some(x);
        }
    }
    None
}

/// For a matrix with `A³ = p₂ A² + p₁ A + p₀`; `None` where no eigenvalue can be split off.
/// `P`: [`VALUE`](super::squaring::VALUE) where derivatives are not wanted.
#[inline(always)]
pub fn of_three<const P: usize>(p: [f64; 3]) -> Option<Propagator<3>> {
    let [p0, p1, p2] = p;
    if p2.abs() < LEAST || p1.abs() > 0.25 * p2 * p2 {
        return None;
    }
    let fast = fastest(p)?;
    // The others satisfy x² = s x + t.
    let t = -p0 / fast;
    let s = (t - p1) / fast;
    if !(fast.abs() >= LEAST && LEAST_RATIO * larger([t, s]) <= fast.abs()) {
        return None;
    }
    let rest = of_two([t, s]).unwrap_or_else(|| by_squaring::<2, P>([t, s]));
    let of_fast = Phi::new(fast);
    // Value of the others' polynomial at the fast one, x² − s x − t, which is the cubic's slope there.
    let per_slope = 1.0 / ((fast - s) * fast - t);
    let fast_by = [per_slope, fast * per_slope, fast * fast * per_slope];
    let s_by = [-per_slope, -fast * per_slope, -(s * fast + t) * per_slope];
    let t_by = [
        -(1.0 + t * per_slope) / fast,
        -t * per_slope,
        -t * fast * per_slope,
    ];
    let slope_by: [f64; 3] =
        std::array::from_fn(|j| (2.0 * fast - s) * fast_by[j] - fast * s_by[j] - t_by[j]);
    let rest = [rest.phi1, rest.phi2, rest.phi3];
    Some(Propagator::from(std::array::from_fn(|f| {
        let Polynomial { at: a, by: a_by } = rest[f];
        let c = (of_fast.at[f] - a[0] - a[1] * fast) * per_slope;
        let mut out = Polynomial {
            at: [a[0] - c * t, a[1] - c * s, c],
            by: [[0.0; 3]; 3],
        };
        for j in 0..3 {
            let moved = [0, 1].map(|k| a_by[k][0] * t_by[j] + a_by[k][1] * s_by[j]);
            let c_by = ((of_fast.slope[f] - a[1]) * fast_by[j]
                - moved[0]
                - moved[1] * fast
                - c * slope_by[j])
                * per_slope;
            out.by[0][j] = moved[0] - c_by * t - c * t_by[j];
            out.by[1][j] = moved[1] - c_by * s - c * s_by[j];
            out.by[2][j] = c_by;
        }
        out
    })))
}

#[cfg(test)]
mod tests {
    use super::super::squaring::PLACES;
    use super::*;
    use nalgebra::Matrix3;
    use proptest::prelude::*;

    /// Characteristic coefficients of a matrix with these eigenvalues.
    fn of_roots([a, b, c]: [f64; 3]) -> [f64; 3] {
        [a * b * c, -(a * b + a * c + b * c), a + b + c]
    }

    fn close(a: f64, b: f64, scale: f64, tolerance: f64) -> Result<(), TestCaseError> {
        prop_assert!((a - b).abs() <= tolerance * scale, "{a:e} {b:e}");
        Ok(())
    }

    /// `e^A = I + A φ₁(A)` has the eigenvectors of A and the exponentials of its eigenvalues; φ₁ has `expm1(x)/x`.
    #[test]
    fn a_stiff_matrix_has_the_functions_of_its_eigenvalues() {
        let basis = Matrix3::new(1.0, 0.3, -0.2, 0.1, 1.0, 0.4, -0.3, 0.2, 1.0);
        let inverse = basis.try_inverse().unwrap();
        for roots in [
            [-3e4, -2.0, -1e-3],
            [-900.0, -40.0, -0.3],
            [-12.0, -0.5, -0.4],
            [-5.0, -1e-6, -1e-9],
        ] {
            let of =
                |f: fn(f64) -> f64| basis * Matrix3::from_diagonal(&roots.map(f).into()) * inverse;
            let a = of(|x| x);
            let phi1 = of_three::<PLACES>(of_roots(roots)).expect("split").phi1.at;
            let phi1 = Matrix3::identity() * phi1[0] + a * phi1[1] + a * a * phi1[2];
            // What the products with A leave of sixteen digits.
            let epsilon = -1e-15 * roots[0];
            approx::assert_relative_eq!(phi1, of(|x| x.exp_m1() / x), epsilon = epsilon);
            let exponential = Matrix3::identity() + a * phi1;
            approx::assert_relative_eq!(exponential, of(f64::exp), epsilon = -roots[0] * epsilon);
        }
    }

    proptest! {
        /// Both ways to the same coefficients and derivatives, of eigenvalues real or complex beside a faster one.
        #[test]
        fn the_series_with_squarings_agrees(
            fast in 1.0f64..40.0,
            share in 0.0f64..0.33,
            other in 0.0f64..1.0,
            turning in any::<bool>(),
        ) {
            let (b, c) = (-fast * share, -fast * share * other);
            // A pair of complex ones has sum and product of its own.
            let (sum, product) = if turning { (b, b * b) } else { (b + c, b * c) };
            let p = [-fast * product, fast * sum - product, sum - fast];
            if let Some(found) = of_three::<PLACES>(p) {
                let other = by_squaring::<3, PLACES>(p);
                for (found, other) in [
                    (found.phi1, other.phi1),
                    (found.phi2, other.phi2),
                    (found.phi3, other.phi3),
                ] {
                    for k in 0..3 {
                        let size = fast.powi(-(k as i32));
                        close(found.at[k], other.at[k], size, 1e-12)?;
                        for j in 0..3 {
                            let size = size * fast.powi(j as i32 - 3).max(1e-3);
                            close(found.by[k][j], other.by[k][j], size, 1e-10)?;
                        }
                    }
                }
            }
            let p = [-fast * -b, b - fast];
            if let Some(found) = of_two(p) {
                let other = by_squaring::<2, PLACES>(p);
                for k in 0..2 {
                    close(found.phi1.at[k], other.phi1.at[k], 1.0, 1e-13)?;
                    close(found.phi2.at[k], other.phi2.at[k], 1.0, 1e-13)?;
                    close(found.phi3.at[k], other.phi3.at[k], 1.0, 1e-13)?;
                    for j in 0..2 {
                        close(found.phi1.by[k][j], other.phi1.by[k][j], 1.0, 1e-12)?;
                        close(found.phi2.by[k][j], other.phi2.by[k][j], 1.0, 1e-12)?;
                        close(found.phi3.by[k][j], other.phi3.by[k][j], 1.0, 1e-12)?;
                    }
                }
            }
        }
    }
}
