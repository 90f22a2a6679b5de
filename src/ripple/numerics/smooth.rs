//! The smooth part of a record: a polynomial in time, with its exact integral.
//!
//! `e(t) = Σ c_j P_j(u)`, u = -1 .. 1 over the stretch, P_j Legendre polynomials; `∫ P_j du = (P_{j+1} - P_{j-1})/(2j+1)`.
//! A moving average would bend the slow ripple at the end of a run-down; a low-order fit in time does not.

use super::least_squares::{Normal, project};
use std::ops::Range;

/// A polynomial over `first_s ..= last_s`.
#[derive(Clone, Debug)]
pub(crate) struct Smooth {
    pub first_s: f64,
    pub last_s: f64,
    pub coefficients: Vec<f64>,
}

impl Smooth {
    /// Least-squares fit of order `order` to `values` at `time_s`; `None` where the normal equations are singular.
    pub fn fit(time_s: &[f64], values: &[f64], order: usize) -> Option<Smooth> {
        let (first_s, last_s) = (*time_s.first()?, *time_s.last()?);
        let columns = basis(time_s, first_s, last_s, order);
        let normal = Normal::new(&columns, &[])?;
        let coefficients = normal.solve(&project(&columns, values));
        Some(Smooth {
            first_s,
            last_s,
            coefficients,
        })
    }

    pub fn values(&self, time_s: &[f64]) -> Vec<f64> {
        let order = self.coefficients.len() - 1;
        let columns = basis(time_s, self.first_s, self.last_s, order);
        combine(&columns, &self.coefficients)
    }

    /// Integral from `first_s` to each time.
    pub fn integrals(&self, time_s: &[f64]) -> Vec<f64> {
        let columns = integral_basis(
            time_s,
            self.first_s,
            self.last_s,
            self.coefficients.len() - 1,
        );
        combine(&columns, &self.coefficients)
    }
}

/// Columns `P_0 .. P_order` at each time.
pub(crate) fn basis(time_s: &[f64], first_s: f64, last_s: f64, order: usize) -> Vec<Vec<f64>> {
    let n = time_s.len();
    let u: Vec<f64> = time_s.iter().map(|t| place(*t, first_s, last_s)).collect();
    let mut columns: Vec<Vec<f64>> = Vec::with_capacity(order + 1);
    columns.push(vec![1.0; n]);
    if order > 0 {
        columns.push(u.clone());
    }
    // Column by column, so that several rows go through the recurrence at once.
    for j in 2..=order {
        let k = j as f64;
        let (up, down) = ((2.0 * k - 1.0) / k, (k - 1.0) / k);
        let (before, last) = (&columns[j - 2][..n], &columns[j - 1][..n]);
        let next = (0..n).map(|i| up * u[i] * last[i] - down * before[i]);
        columns.push(next.collect());
    }
    columns
}

/// Columns `∫ P_j dt` from `first_s`, unit s.
pub(crate) fn integral_basis(
    time_s: &[f64],
    first_s: f64,
    last_s: f64,
    order: usize,
) -> Vec<Vec<f64>> {
    let half = (last_s - first_s) / 2.0;
    let columns = basis(time_s, first_s, last_s, order + 1);
    (0..=order)
        .map(|j| {
            let mut column = vec![0.0; time_s.len()];
            integrate(&columns, j, half, 0..time_s.len(), &mut column);
            column
        })
        .collect()
}

/// Puts down `∫ P_j dt` of some rows, unit s, from columns up to `P_{j+1}`; `half`: half of the stretch, s.
pub(crate) fn integrate(
    columns: &[Vec<f64>],
    j: usize,
    half: f64,
    rows: Range<usize>,
    into: &mut [f64],
) {
    let above = &columns[j + 1][rows.clone()];
    if j == 0 {
        for (sum, u) in into.iter_mut().zip(above) {
            *sum = (u + 1.0) * half;
        }
        return;
    }
    let scale = half / (2 * j + 1) as f64;
    let below = &columns[j - 1][rows];
    for ((sum, a), b) in into.iter_mut().zip(above).zip(below) {
        *sum = (a - b) * scale;
    }
}

/// `Σ c_j column_j`.
pub(crate) fn combine(columns: &[Vec<f64>], coefficients: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; columns.first().map_or(0, Vec::len)];
    for (column, c) in columns.iter().zip(coefficients) {
        for (s, v) in sum.iter_mut().zip(column) {
            *s += c * v;
        }
    }
    sum
}

fn place(t: f64, first_s: f64, last_s: f64) -> f64 {
    2.0 * (t - first_s) / (last_s - first_s) - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integral_of_a_cubic_is_exact() {
        let t: Vec<f64> = (0..=100).map(|k| 2.0 + f64::from(k) * 0.03).collect();
        let v: Vec<f64> = t
            .iter()
            .map(|t| 1.0 - 0.5 * t + 0.25 * t * t - 0.1 * t.powi(3))
            .collect();
        let smooth = Smooth::fit(&t, &v, 5).expect("regular");
        let primitive = |t: f64| t - 0.25 * t * t + t.powi(3) / 12.0 - 0.025 * t.powi(4);
        for (t, found) in t.iter().zip(smooth.integrals(&t)) {
            assert!((found - primitive(*t) + primitive(2.0)).abs() < 1e-9);
        }
    }
}
