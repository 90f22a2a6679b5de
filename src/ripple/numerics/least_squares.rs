//! Normal equations of a linear least-squares problem given by columns.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use std::ops::{AddAssign, Range};

/// Scaled normal equations `(D A'A D + prior)`, factored.
pub(crate) struct Normal {
    factor: Cholesky<f64, Dyn>,
    scale: Vec<f64>,
}

impl Normal {
    /// Factors `A'A + diag(extra)`; columns are equally long; `None` where the matrix is not positive definite.
    pub fn new(columns: &[Vec<f64>], extra: &[f64]) -> Option<Normal> {
        Normal::of(gram_of(columns), extra)
    }

    /// Factors `gram + diag(extra)`, of which the lower triangle is read.
    pub fn of(gram: DMatrix<f64>, extra: &[f64]) -> Option<Normal> {
        let mut matrix = gram;
        let p = matrix.nrows();
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

/// `A'A`, lower triangle.
pub(crate) fn gram_of(columns: &[Vec<f64>]) -> DMatrix<f64> {
    gram_from(columns, 0)
}

/// The same for its rows from `first` (even) on, the others zero.
pub(crate) fn gram_from(columns: &[Vec<f64>], first: usize) -> DMatrix<f64> {
    in_halves(columns.first().map_or(0, Vec::len), |part| {
        let mut gram = DMatrix::zeros(columns.len(), columns.len());
        for start in part.clone().step_by(BLOCK) {
            let end = (start + BLOCK).min(part.end);
            let block: Vec<&[f64]> = columns.iter().map(|c| &c[start..end]).collect();
            add_products_from(&mut gram, &block, first);
        }
        gram
    })
}

/// Sums over the two halves of so many rows, side by side, and then of both; the halves are the same on every machine, so the sum is too.
pub(crate) fn in_halves<S: AddAssign + Send>(
    rows: usize,
    sums: impl Fn(Range<usize>) -> S + Sync,
) -> S {
    let half = half_of(rows);
    let (mut first, second) = rayon::join(|| sums(0..half), || sums(half..rows));
    first += second;
    first
}

/// The row at which the second half begins; 0 where one thread is as fast.
pub(crate) fn half_of(rows: usize) -> usize {
    /// Rows up to which sums are not shared between two threads.
    const ALONE: usize = 2048;
    if rows > ALONE {
        rows / 2 / BLOCK * BLOCK
    } else {
        0
    }
}

/// `A'b`.
pub(crate) fn project(columns: &[Vec<f64>], data: &[f64]) -> Vec<f64> {
    columns.iter().map(|c| dot(c, data)).collect()
}

/// Rows taken at a time, so that some fifty columns stay in the nearest cache.
pub(crate) const BLOCK: usize = 64;

/// Adds the products of all pairs of columns to the lower triangle of `gram`.
pub(crate) fn add_products(gram: &mut DMatrix<f64>, columns: &[&[f64]]) {
    add_products_from(gram, columns, 0);
}

/// The same for the rows of `gram` from `first` (even) on.
pub(crate) fn add_products_from(gram: &mut DMatrix<f64>, columns: &[&[f64]], first: usize) {
    let p = columns.len();
    for i in (first..p).step_by(2) {
        let two = i + 1 < p;
        let (a, b) = (columns[i], columns[if two { i + 1 } else { i }]);
        for j in (0..i).step_by(2) {
            // Two by two: each value read takes part in two products.
            let [aa, ab, ba, bb] = dots(a, b, columns[j], columns[j + 1]);
            gram[(i, j)] += aa;
            gram[(i, j + 1)] += ab;
            if two {
                gram[(i + 1, j)] += ba;
                gram[(i + 1, j + 1)] += bb;
            }
        }
        gram[(i, i)] += dot(a, a);
        if two {
            gram[(i + 1, i)] += dot(b, a);
            gram[(i + 1, i + 1)] += dot(b, b);
        }
    }
}

/// Products of `a` and of `b` with `c` and with `d`, equally long.
fn dots(a: &[f64], b: &[f64], c: &[f64], d: &[f64]) -> [f64; 4] {
    /// Values that the processor takes at a time.
    const WIDTH: usize = 4;
    let n = a.len();
    let (b, c, d) = (&b[..n], &c[..n], &d[..n]);
    let mut sums = [[0.0; WIDTH]; 4];
    let whole = n / WIDTH * WIDTH;
    for i in (0..whole).step_by(WIDTH) {
        for k in 0..WIDTH {
            sums[0][k] += a[i + k] * c[i + k];
            sums[1][k] += a[i + k] * d[i + k];
            sums[2][k] += b[i + k] * c[i + k];
            sums[3][k] += b[i + k] * d[i + k];
        }
    }
    let mut all = sums.map(|s| (s[0] + s[2]) + (s[1] + s[3]));
    for i in whole..n {
        all[0] += a[i] * c[i];
        all[1] += a[i] * d[i];
        all[2] += b[i] * c[i];
        all[3] += b[i] * d[i];
    }
    all
}

pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
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
