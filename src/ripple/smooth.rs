//! The smooth part of a record: a polynomial in time, with its exact integral.
//!
//! `e(t) = Σ c_j P_j(u)`, u = -1 .. 1 over the stretch, P_j Legendre polynomials; `∫ P_j du = (P_{j+1} - P_{j-1})/(2j+1)`.
//! A moving average would bend the slow ripple at the end of a run-down; a low-order fit in time does not.

use super::least_squares::{Normal, project};

/// A polynomial over `first_s ..= last_s`.
#[derive(Clone, Debug)]
pub(super) struct Smooth {
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
        let mut row = vec![0.0; order + 2];
        time_s
            .iter()
            .map(|&t| {
                legendre(place(t, self.first_s, self.last_s), &mut row);
                self.coefficients.iter().zip(&row).map(|(c, p)| c * p).sum()
            })
            .collect()
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
pub(super) fn basis(time_s: &[f64], first_s: f64, last_s: f64, order: usize) -> Vec<Vec<f64>> {
    let mut columns = vec![Vec::with_capacity(time_s.len()); order + 1];
    let mut row = vec![0.0; order + 2];
    for &t in time_s {
        legendre(place(t, first_s, last_s), &mut row);
        for (column, value) in columns.iter_mut().zip(&row) {
            column.push(*value);
        }
    }
    columns
}

/// Columns `∫ P_j dt` from `first_s`, unit s.
pub(super) fn integral_basis(
    time_s: &[f64],
    first_s: f64,
    last_s: f64,
    order: usize,
) -> Vec<Vec<f64>> {
    let half = (last_s - first_s) / 2.0;
    let mut columns = vec![Vec::with_capacity(time_s.len()); order + 1];
    let mut row = vec![0.0; order + 2];
    for &t in time_s {
        let u = place(t, first_s, last_s);
        legendre(u, &mut row);
        for (j, column) in columns.iter_mut().enumerate() {
            let integral = if j == 0 {
                u + 1.0
            } else {
                (row[j + 1] - row[j - 1]) / (2 * j + 1) as f64
            };
            column.push(integral * half);
        }
    }
    columns
}

/// `Σ c_j column_j`.
pub(super) fn combine(columns: &[Vec<f64>], coefficients: &[f64]) -> Vec<f64> {
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

fn legendre(u: f64, row: &mut [f64]) {
    row[0] = 1.0;
    if row.len() > 1 {
        row[1] = u;
    }
    for n in 2..row.len() {
        let k = n as f64;
        row[n] = ((2.0 * k - 1.0) * u * row[n - 1] - (k - 1.0) * row[n - 2]) / k;
    }
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
