//! One pass over a current's record: all products that a round of the trajectory's fit needs.

use crate::ripple::numerics::least_squares::{
    BLOCK, Normal, add_products_from, dot, gram_of, in_halves, project,
};
use crate::ripple::numerics::turn::turn;
use nalgebra::DMatrix;
use std::f64::consts::PI;
use std::ops::{AddAssign, Range};

/// Harmonics of the ripple fitted.
const HARMONICS: usize = 2;
/// Cosine and sine of each.
pub(crate) const LINES: usize = 2 * HARMONICS;
/// Most phase terms.
const MOST_PHASES: usize = 8;

/// What stays the same from round to round.
pub(crate) struct Passes<'a> {
    /// Columns of the smooth part.
    pub smooth: Vec<Vec<f64>>,
    /// Columns of the phase, turns per Hz.
    pub phases: Vec<Vec<f64>>,
    data: &'a [f64],
    /// Products of the smooth columns with each other, and with the data.
    gram: DMatrix<f64>,
    right: Vec<f64>,
    square: f64,
}

/// Products of the columns smooth, lines, phases with each other (lower triangle) and with the data.
pub(crate) struct Products {
    pub gram: DMatrix<f64>,
    pub right: Vec<f64>,
    /// Of the data with itself.
    square: f64,
}

impl<'a> Passes<'a> {
    /// Columns are as long as `data`; an even number of smooth ones and at most [`MOST_PHASES`] of the phase.
    pub fn new(smooth: Vec<Vec<f64>>, phases: Vec<Vec<f64>>, data: &'a [f64]) -> Self {
        debug_assert!(smooth.len().is_multiple_of(2) && phases.len() <= MOST_PHASES);
        Passes {
            gram: gram_of(&smooth),
            right: project(&smooth, data),
            square: dot(data, data),
            smooth,
            phases,
            data,
        }
    }

    /// Number of the linear columns: the smooth ones and the lines.
    pub fn linear(&self) -> usize {
        self.smooth.len() + LINES
    }

    /// Noise of the data by the squares that a fit leaves, with all columns free.
    pub fn noise(&self, squares: f64) -> f64 {
        let freedom = self
            .data
            .len()
            .saturating_sub(self.linear() + self.phases.len());
        (squares / freedom.max(1) as f64)
            .sqrt()
            .max(f64::MIN_POSITIVE)
    }

    /// The products with the phase `Σ parts · phases` and, for its slopes, these amplitudes: those of the two halves of the record, side by side.
    pub fn over(&self, parts: &[f64], amplitudes: &[f64; LINES]) -> Products {
        let terms = self.smooth.len();
        let mut sums = in_halves(self.data.len(), |part| {
            self.of_rows(parts, amplitudes, part)
        });
        let smooth = &mut sums.gram.view_mut((0, 0), (terms, terms));
        smooth.copy_from(&self.gram);
        sums.right[..terms].copy_from_slice(&self.right);
        sums.square = self.square;
        sums
    }

    /// The same of some rows, without the products of the smooth columns alone.
    fn of_rows(&self, parts: &[f64], amplitudes: &[f64; LINES], part: Range<usize>) -> Products {
        let terms = self.smooth.len();
        let count = terms + LINES + self.phases.len();
        let mut gram = DMatrix::zeros(count, count);
        let mut right = vec![0.0; count];
        let mut lines = [[0.0; BLOCK]; LINES];
        let mut moved = [[0.0; BLOCK]; MOST_PHASES];
        for start in part.clone().step_by(BLOCK) {
            let end = (start + BLOCK).min(part.end);
            let rows = end - start;
            let mut turns = [0.0; BLOCK];
            for (phase, part) in self.phases.iter().zip(parts) {
                for (sum, p) in turns.iter_mut().zip(&phase[start..end]) {
                    *sum += part * p;
                }
            }
            let mut slope = [0.0; BLOCK];
            for i in 0..BLOCK {
                let (c, s) = turn(turns[i]);
                let (c2, s2) = (1.0 - 2.0 * s * s, 2.0 * s * c);
                lines[0][i] = c;
                lines[1][i] = s;
                lines[2][i] = c2;
                lines[3][i] = s2;
                slope[i] = 2.0
                    * PI
                    * (amplitudes[1] * c - amplitudes[0] * s
                        + 2.0 * (amplitudes[3] * c2 - amplitudes[2] * s2));
            }
            for (column, phase) in moved.iter_mut().zip(&self.phases) {
                for ((out, p), s) in column.iter_mut().zip(&phase[start..end]).zip(&slope) {
                    *out = p * s;
                }
            }
            let columns: Vec<&[f64]> = self
                .smooth
                .iter()
                .map(|c| &c[start..end])
                .chain(lines.iter().map(|c| &c[..rows]))
                .chain(moved[..self.phases.len()].iter().map(|c| &c[..rows]))
                .collect();
            add_products_from(&mut gram, &columns, terms);
            for (sum, column) in right[terms..].iter_mut().zip(&columns[terms..]) {
                *sum += dot(column, &self.data[start..end]);
            }
        }
        Products {
            gram,
            right,
            square: 0.0,
        }
    }
}

impl AddAssign for Products {
    fn add_assign(&mut self, more: Products) {
        self.gram += more.gram;
        for (sum, more) in self.right.iter_mut().zip(more.right) {
            *sum += more;
        }
        self.square += more.square;
    }
}

impl Products {
    /// The first `linear` columns fitted alone: all coefficients, and those of the lines, which come last among them.
    pub fn solution(&self, linear: usize) -> Option<(Vec<f64>, [f64; LINES])> {
        let gram = self.gram.view((0, 0), (linear, linear)).into_owned();
        let solved = Normal::of(gram, &[])?.solve(&self.right[..linear]);
        let amplitudes = std::array::from_fn(|k| solved[linear - LINES + k]);
        Some((solved, amplitudes))
    }

    /// Sum of the squares that such a fit leaves.
    pub fn residual(&self, solved: &[f64]) -> f64 {
        let explained: f64 = solved.iter().zip(&self.right).map(|(s, r)| s * r).sum();
        (self.square - explained).max(0.0)
    }
}
