//! Normal equations of a linear least-squares problem given by columns.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Scaled normal equations `(D A'A D + prior)`, factored.
pub(super) struct Normal {
    factor: Cholesky<f64, Dyn>,
    scale: Vec<f64>,
}

impl Normal {
    /// Factors `A'A + diag(extra)`; columns are equally long; `None` where the matrix is not positive definite.
    pub fn new(columns: &[Vec<f64>], extra: &[f64]) -> Option<Normal> {
        let p = columns.len();
        let mut matrix = DMatrix::<f64>::zeros(p, p);
        let rows = columns.first().map_or(0, Vec::len);
        // Blocks of rows keep the columns in the cache.
        const BLOCK: usize = 512;
        for start in (0..rows).step_by(BLOCK) {
            let end = (start + BLOCK).min(rows);
            for i in 0..p {
                for j in 0..=i {
                    matrix[(i, j)] += dot(&columns[i][start..end], &columns[j][start..end]);
                }
            }
        }
        for (i, value) in extra.iter().enumerate() {
            matrix[(i, i)] += value;
        }
        let mut scale = Vec::with_capacity(p);
        for i in 0..p {
            let diagonal = matrix[(i, i)];
            if !(diagonal > 0.0 && diagonal.is_finite()) {
                return None;
            }
            scale.push(diagonal.sqrt().recip());
        }
        for i in 0..p {
            for j in 0..=i {
                let value = matrix[(i, j)] * scale[i] * scale[j];
                matrix[(i, j)] = value;
                matrix[(j, i)] = value;
            }
            matrix[(i, i)] += 1e-13;
        }
        Cholesky::new(matrix).map(|factor| Normal { factor, scale })
    }

    /// Solution for the right-hand side `A'b (+ prior)`.
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let scaled = DVector::from_iterator(
            right.len(),
            right.iter().zip(&self.scale).map(|(r, s)| r * s),
        );
        let solved = self.factor.solve(&scaled);
        solved.iter().zip(&self.scale).map(|(v, s)| v * s).collect()
    }

    /// Element `(i, j)` of the inverse.
    pub fn inverse(&self, i: usize, j: usize) -> f64 {
        let mut unit = DVector::zeros(self.scale.len());
        unit[j] = 1.0;
        self.factor.solve(&unit)[i] * self.scale[i] * self.scale[j]
    }
}

/// `A'b`.
pub(super) fn project(columns: &[Vec<f64>], data: &[f64]) -> Vec<f64> {
    columns.iter().map(|c| dot(c, data)).collect()
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    // Four partial sums let the compiler keep the adders busy.
    let mut sums = [0.0; 4];
    let (mut ca, mut cb) = (a.chunks_exact(4), b.chunks_exact(4));
    for (u, w) in ca.by_ref().zip(cb.by_ref()) {
        for k in 0..4 {
            sums[k] += u[k] * w[k];
        }
    }
    let rest: f64 = ca
        .remainder()
        .iter()
        .zip(cb.remainder())
        .map(|(u, w)| u * w)
        .sum();
    sums[0] + sums[1] + sums[2] + sums[3] + rest
}
