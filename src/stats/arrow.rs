//! Symmetric positive matrices in which most unknowns belong to one record each and few to all of them: solved and inverted record by record.
//!
//! ```text
//! M = | A  B |    A block diagonal, one block a record;   S = C − Bᵀ A⁻¹ B   (Schur complement)
//!     | Bᵀ C |    M⁻¹ r: x_C = S⁻¹ (r_C − Bᵀ A⁻¹ r_A),   x_A = A⁻¹ r_A − A⁻¹ B x_C
//! ```
//! (Golub & Van Loan, Matrix Computations, 4th ed. 2013, sections 3.2 and 4.2). The blocks are found by what is zero in the matrix. A small
//! matrix, and one without blocks, is taken as a whole: then S is M itself.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Size up to which a matrix is taken as a whole; beyond it what is zero counts.
pub const WHOLE: usize = 100;

/// Smallest squared pivot of a block, scaled to a unit diagonal, with which it is eliminated; a vaguer one is left to the rest.
const PIVOT: f64 = 1e-9;

/// Rounds of the power method for a condition number of a matrix with blocks.
const POWERS: usize = 40;

/// A matrix with its blocks eliminated.
struct Arrow {
    size: usize,
    blocks: Vec<Block>,
    /// Rows that belong to no block.
    rest: Vec<usize>,
    schur: DMatrix<f64>,
}

/// One block of A.
struct Block {
    rows: Vec<usize>,
    factor: Cholesky<f64, Dyn>,
    /// A⁻¹ B.
    follows: DMatrix<f64>,
}

impl Arrow {
    fn new(matrix: DMatrix<f64>) -> Self {
        let size = matrix.nrows();
        let part = |rows: &[usize], columns: &[usize]| {
            DMatrix::from_fn(rows.len(), columns.len(), |a, b| {
                matrix[(rows[a], columns[b])]
            })
        };
        let (candidates, mut rest) = blocks(&matrix);
        if candidates.is_empty() {
            return Arrow {
                size,
                blocks: Vec::new(),
                rest,
                schur: matrix,
            };
        }
        let mut factored = Vec::new();
        for rows in candidates {
            let pivot = |f: &Cholesky<f64, Dyn>| f.l_dirty().diagonal().min().powi(2);
            match Cholesky::new(part(&rows, &rows)).filter(|factor| pivot(factor) > PIVOT) {
                Some(factor) => factored.push((rows, factor)),
                None => rest.extend(rows),
            }
        }
        let mut schur = part(&rest, &rest);
        let eliminate = |(rows, factor): (Vec<usize>, Cholesky<f64, Dyn>)| {
            let coupling = part(&rows, &rest);
            let follows = factor.solve(&coupling);
            schur -= coupling.tr_mul(&follows);
            Block {
                rows,
                factor,
                follows,
            }
        };
        Arrow {
            size,
            blocks: factored.into_iter().map(eliminate).collect(),
            rest,
            schur,
        }
    }

    /// M⁻¹ r, where `of_rest` gives S⁻¹ of what is left of the rest.
    fn solve(
        &self,
        right: &DVector<f64>,
        of_rest: impl Fn(DVector<f64>) -> DVector<f64>,
    ) -> DVector<f64> {
        let pick = |rows: &[usize]| DVector::from_fn(rows.len(), |k, _| right[rows[k]]);
        let mut left = pick(&self.rest);
        for block in &self.blocks {
            left -= block.follows.tr_mul(&pick(&block.rows));
        }
        let solved = of_rest(left);
        let mut out = DVector::zeros(self.size);
        for (&k, value) in self.rest.iter().zip(&solved) {
            out[k] = *value;
        }
        for block in &self.blocks {
            let own = block.factor.solve(&pick(&block.rows)) - &block.follows * &solved;
            for (&k, value) in block.rows.iter().zip(&own) {
                out[k] = *value;
            }
        }
        out
    }

    /// M⁻¹, given S⁻¹.
    fn inverse(&self, of_rest: &DMatrix<f64>) -> DMatrix<f64> {
        if self.blocks.is_empty() {
            return of_rest.clone();
        }
        let mut out = DMatrix::zeros(self.size, self.size);
        let mut put = |rows: &[usize], columns: &[usize], part: &DMatrix<f64>| {
            for (b, &column) in columns.iter().enumerate() {
                for (a, &row) in rows.iter().enumerate() {
                    out[(row, column)] = part[(a, b)];
                    out[(column, row)] = part[(a, b)];
                }
            }
        };
        put(&self.rest, &self.rest, of_rest);
        for (number, block) in self.blocks.iter().enumerate() {
            let with_rest = -(&block.follows * of_rest);
            put(&block.rows, &self.rest, &with_rest);
            for other in &self.blocks[..number] {
                let between = -(&with_rest * other.follows.transpose());
                put(&block.rows, &other.rows, &between);
            }
            let own = block.factor.inverse() - with_rest * block.follows.transpose();
            put(&block.rows, &block.rows, &own);
        }
        out
    }
}

/// The rows of each block, and those of none. A row that is coupled with far more others than most are is shared; what hangs together
/// without the shared ones is a block.
fn blocks(matrix: &DMatrix<f64>) -> (Vec<Vec<usize>>, Vec<usize>) {
    let size = matrix.nrows();
    if size <= WHOLE {
        return (Vec::new(), (0..size).collect());
    }
    let columns = matrix.column_iter();
    let coupled: Vec<usize> = columns
        .map(|column| column.iter().filter(|value| **value != 0.0).count())
        .collect();
    let mut sorted = coupled.clone();
    sorted.sort_unstable();
    let most = 2 * sorted[size / 2];
    let mut open: Vec<bool> = coupled.iter().map(|count| *count <= most).collect();
    let rest = (0..size).filter(|&k| !open[k]).collect();
    let mut found = Vec::new();
    for first in 0..size {
        if !std::mem::take(&mut open[first]) {
            continue;
        }
        let mut rows = vec![first];
        let mut next = 0;
        while let Some(&row) = rows.get(next) {
            for (k, value) in matrix.column(row).iter().enumerate() {
                if *value != 0.0 && std::mem::take(&mut open[k]) {
                    rows.push(k);
                }
            }
            next += 1;
        }
        found.push(rows);
    }
    (found, rest)
}

/// Solves `M x = r`; `None` where M is not positive definite.
pub fn solve(matrix: DMatrix<f64>, right: &DVector<f64>) -> Option<DVector<f64>> {
    let mut arrow = Arrow::new(matrix);
    let factor = Cholesky::new(std::mem::take(&mut arrow.schur))?;
    Some(arrow.solve(right, |left| factor.solve(&left)))
}

/// Inverse of an information matrix over some of its entries, zero elsewhere, after scaling to a unit diagonal.
pub struct Inverse {
    entries: Vec<usize>,
    scale: Vec<f64>,
    arrow: Arrow,
    of_rest: DMatrix<f64>,
    size: usize,
    /// Largest and smallest eigenvalue, of a matrix that is taken as a whole.
    extremes: (f64, f64),
}

impl Inverse {
    /// A direction whose share of the largest information is below `floor` gets a variance too large to be mistaken for a measurement.
    pub fn over(information: &DMatrix<f64>, entries: &[usize], floor: f64) -> Self {
        let diagonal = entries.iter().map(|&k| information[(k, k)]);
        let scale: Vec<f64> = diagonal.map(|of| of.sqrt().max(1e-150)).collect();
        let mut arrow = Arrow::new(scaled(information, entries, &scale));
        let size = information.nrows();
        let schur = std::mem::take(&mut arrow.schur);
        let (of_rest, extremes) = if schur.is_empty() {
            (schur, (1.0, 1.0))
        } else {
            let eigen = schur.symmetric_eigen();
            let largest = eigen.eigenvalues.max();
            let values = eigen.eigenvalues.map(|v| 1.0 / v.max(largest * floor));
            let vectors = &eigen.eigenvectors;
            let inverse = vectors * DMatrix::from_diagonal(&values) * vectors.transpose();
            (inverse, (largest, eigen.eigenvalues.min()))
        };
        Inverse {
            entries: entries.to_vec(),
            scale,
            arrow,
            of_rest,
            size,
            extremes,
        }
    }

    /// The inverse times a vector.
    pub fn times(&self, vector: &DVector<f64>) -> DVector<f64> {
        let places = || self.entries.iter().zip(&self.scale);
        let scaled = places().map(|(&k, scale)| vector[k] / scale);
        let right = DVector::from_iterator(self.entries.len(), scaled);
        let solved = self.arrow.solve(&right, |left| &self.of_rest * left);
        let mut out = DVector::zeros(self.size);
        for ((&k, scale), value) in places().zip(&solved) {
            out[k] = value / scale;
        }
        out
    }

    /// The whole inverse.
    pub fn matrix(&self) -> DMatrix<f64> {
        let inverse = self.arrow.inverse(&self.of_rest);
        let mut out = DMatrix::zeros(self.size, self.size);
        for (b, &kb) in self.entries.iter().enumerate() {
            for (a, &ka) in self.entries.iter().enumerate() {
                out[(ka, kb)] = inverse[(a, b)] / (self.scale[a] * self.scale[b]);
            }
        }
        out
    }

    /// Condition number of the scaled matrix, given the one that was inverted; with blocks by the power method.
    pub fn condition(&self, information: &DMatrix<f64>) -> f64 {
        let (largest, smallest) = if self.arrow.blocks.is_empty() {
            self.extremes
        } else {
            let matrix = scaled(information, &self.entries, &self.scale);
            let inverse = |v: &DVector<f64>| self.arrow.solve(v, |left| &self.of_rest * left);
            let largest = largest_eigenvalue(matrix.nrows(), |v| &matrix * v);
            (largest, 1.0 / largest_eigenvalue(matrix.nrows(), inverse))
        };
        largest / smallest.max(1e-300)
    }
}

fn scaled(information: &DMatrix<f64>, entries: &[usize], scale: &[f64]) -> DMatrix<f64> {
    DMatrix::from_fn(entries.len(), entries.len(), |a, b| {
        information[(entries[a], entries[b])] / (scale[a] * scale[b])
    })
}

/// Of a symmetric positive matrix, by what it makes of a vector.
fn largest_eigenvalue(size: usize, of: impl Fn(&DVector<f64>) -> DVector<f64>) -> f64 {
    let mut vector = DVector::from_fn(size, |k, _| 1.0 + 0.1 * (k % 7) as f64).normalize();
    let mut value = 0.0;
    for _ in 0..POWERS {
        let image = of(&vector);
        value = image.norm();
        vector = image / value;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Information of 40 records of four unknowns each and six shared ones, of unlike sizes: residuals with known derivatives.
    fn information() -> DMatrix<f64> {
        let (records, own, shared) = (40, 4, 6);
        let size = records * own + shared;
        let mut out = DMatrix::from_diagonal(&DVector::from_element(size, 1e-3));
        let mut state = 1_u64;
        let mut random = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        for record in 0..records {
            for _ in 0..12 {
                let mut row = vec![0.0; size];
                for k in 0..own {
                    row[shared + own * record + k] = random() * 10_f64.powi(k as i32);
                }
                for value in row.iter_mut().take(shared) {
                    *value = random();
                }
                let row = DVector::from_vec(row);
                out += &row * row.transpose();
            }
        }
        out
    }

    /// Against nalgebra's inverse by LU of the whole matrix.
    #[test]
    fn val_a_matrix_of_blocks_is_inverted_and_solved_as_a_whole_one() {
        let information = information();
        let size = information.nrows();
        let (found, rest) = blocks(&information);
        assert_eq!((found.len(), rest.len()), (40, 6));
        let expected = information.clone().try_inverse().expect("regular");
        let every: Vec<usize> = (0..size).collect();
        let inverse = Inverse::over(&information, &every, 1e-14);
        assert_relative_eq!(inverse.matrix(), expected, max_relative = 1e-8);
        let right = DVector::from_fn(size, |k, _| (k as f64).sin());
        let solved = &expected * &right;
        assert_relative_eq!(inverse.times(&right), solved, max_relative = 1e-8);
        let by_factors = solve(information.clone(), &right).expect("positive");
        assert_relative_eq!(by_factors, solved, max_relative = 1e-8);
        // The condition number against the eigenvalues of the scaled matrix.
        let scale: Vec<f64> = information.diagonal().iter().map(|d| d.sqrt()).collect();
        let eigen = scaled(&information, &every, &scale).symmetric_eigenvalues();
        let condition = inverse.condition(&information);
        assert_relative_eq!(condition, eigen.max() / eigen.min(), max_relative = 0.05);
    }

    /// Entries left out take no part, and a direction that nothing informs gets a variance that no one takes for a measurement.
    #[test]
    fn a_vague_block_is_left_to_the_floor() {
        let mut information = information();
        let twin = information.nrows() - 1;
        // Two unknowns of the last record of which only the sum is known.
        for k in 0..information.nrows() {
            let value = information[(k, twin - 1)];
            information[(k, twin)] = value;
            information[(twin, k)] = value;
        }
        information[(twin, twin)] = information[(twin - 1, twin - 1)];
        let entries: Vec<usize> = (0..twin + 1).filter(|k| *k != 2).collect();
        let inverse = Inverse::over(&information, &entries, 1e-14).matrix();
        assert!(inverse.row(2).iter().all(|value| *value == 0.0));
        assert!(inverse[(twin, twin)] * information[(twin, twin)] > 1e9);
        let known = &information * &inverse;
        assert_relative_eq!(known[(8, 8)], 1.0, max_relative = 1e-4);
        assert!(solve(-information, &DVector::zeros(twin + 1)).is_none());
    }
}
