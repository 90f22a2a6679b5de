//! The model of a harmonic set and its partial derivatives, a block of rows at a time, so that no column is ever laid down in full.
//!
//! The equation stands in `refine.rs`.

use crate::ripple::numerics::least_squares::{BLOCK, add_products, dot, half_of};
use crate::ripple::numerics::smooth::{basis, integrate};
use crate::ripple::numerics::turn::turn;
use nalgebra::DMatrix;
use std::f64::consts::PI;
use std::ops::Range;

/// Highest order of the smooth part.
const MOST_ORDER: usize = 9;

/// What all fits of a record share.
pub(crate) struct Frame {
    /// `P_j` at each row, up to one order beyond [`MOST_ORDER`], from which `∫ P_j dt` follows.
    pub smooth: Vec<Vec<f64>>,
    /// Half of the time from the first row to the last, s.
    half_s: f64,
    /// Time from the first row, s.
    pub elapsed: Vec<f64>,
    /// Prior of the zero offset: value and standard deviation, V.
    pub zero_prior_v: (f64, f64),
}

impl Frame {
    /// At least two rows.
    pub fn of(time_s: &[f64], zero_prior_v: (f64, f64)) -> Frame {
        let (first, last) = (time_s[0], time_s[time_s.len() - 1]);
        Frame {
            smooth: basis(time_s, first, last, MOST_ORDER + 1),
            half_s: (last - first) / 2.0,
            elapsed: time_s.iter().map(|t| t - first).collect(),
            zero_prior_v,
        }
    }

    /// Time from the first row to the last, s.
    pub fn span_s(&self) -> f64 {
        self.elapsed[self.elapsed.len() - 1]
    }
}

/// Parameters on the way.
pub(crate) struct Parameters<'a> {
    pub c: Vec<f64>,
    pub amplitudes: Vec<f64>,
    /// 2π times the frequency.
    pub kappa: f64,
    pub zero: f64,
    pub ratios: &'a [f64],
}

/// The model over a block of rows.
pub(crate) struct Rows {
    pub emf: [f64; BLOCK],
    pub x: [f64; BLOCK],
    pub lines: [f64; BLOCK],
    /// Derivative of the lines with respect to the base phase φ, V/rad.
    slope: [f64; BLOCK],
    /// `∫ P_j dt` of each term of the smooth part, s.
    integrals: Vec<[f64; BLOCK]>,
    /// The columns of J: smooth part, cos and sin of each line times the EMF, κ, zero offset.
    pub columns: Vec<[f64; BLOCK]>,
    terms: usize,
}

impl Rows {
    pub fn new(terms: usize, lines: usize) -> Rows {
        let none = [0.0; BLOCK];
        Rows {
            emf: none,
            x: none,
            lines: none,
            slope: none,
            integrals: vec![none; terms],
            columns: vec![none; terms + 2 * lines + 2],
            terms,
        }
    }

    /// EMF, x and lines of `count` rows from `first` on.
    pub fn read(&mut self, frame: &Frame, at: &Parameters, first: usize, count: usize) {
        let rows = first..first + count;
        let elapsed = &frame.elapsed[rows.clone()];
        for (i, elapsed) in elapsed.iter().enumerate() {
            self.emf[i] = -at.zero;
            self.x[i] = -at.zero * elapsed;
        }
        for (j, (c, integral)) in at.c.iter().zip(&mut self.integrals).enumerate() {
            let (p, integral) = (&frame.smooth[j][rows.clone()], &mut integral[..count]);
            integrate(&frame.smooth, j, frame.half_s, rows.clone(), integral);
            for i in 0..count {
                self.emf[i] += c * p[i];
                self.x[i] += c * integral[i];
            }
        }
        self.lines = [0.0; BLOCK];
        self.slope = [0.0; BLOCK];
        let columns = self.columns[self.terms..].chunks_exact_mut(2);
        for ((ratio, a), pair) in at
            .ratios
            .iter()
            .zip(at.amplitudes.chunks_exact(2))
            .zip(columns)
        {
            let [cos, sin] = pair else { continue };
            let turns = ratio * at.kappa / (2.0 * PI);
            for i in 0..BLOCK {
                let (c, s) = turn(turns * self.x[i]);
                cos[i] = self.emf[i] * c;
                sin[i] = self.emf[i] * s;
                self.lines[i] += a[0] * cos[i] + a[1] * sin[i];
                self.slope[i] += ratio * (a[1] * cos[i] - a[0] * sin[i]);
            }
        }
    }

    /// The other columns of J for rows read.
    fn differentiate(&mut self, frame: &Frame, at: &Parameters, first: usize, count: usize) {
        let rows = first..first + count;
        let elapsed = &frame.elapsed[rows.clone()];
        let mut relative = [0.0; BLOCK];
        let mut turned = [0.0; BLOCK];
        for i in 0..count {
            let e = self.emf[i];
            relative[i] = if e == 0.0 { 0.0 } else { self.lines[i] / e };
            turned[i] = self.slope[i] * at.kappa;
        }
        for (column, (p, integral)) in self.columns[..self.terms]
            .iter_mut()
            .zip(frame.smooth.iter().zip(&self.integrals))
        {
            let (p, integral) = (&p[rows.clone()], &integral[..count]);
            for i in 0..count {
                column[i] = p[i] * (1.0 + relative[i]) + turned[i] * integral[i];
            }
        }
        let last = self.columns.len() - 1;
        for i in 0..count {
            self.columns[last - 1][i] = self.slope[i] * self.x[i];
            self.columns[last][i] = -relative[i] - turned[i] * elapsed[i];
        }
    }
}

/// Sums over the record at one set of parameters.
pub(crate) struct Pass {
    /// J'r.
    pub right: Vec<f64>,
    /// J'J, lower triangle.
    pub gram: DMatrix<f64>,
    pub squares: f64,
}

impl Pass {
    /// The sums of the two halves of the record, side by side. `rows`: for each half; the second then holds the last block.
    pub fn over(frame: &Frame, voltage_v: &[f64], at: &Parameters, rows: &mut [Rows; 2]) -> Pass {
        let n = voltage_v.len();
        let half = half_of(n);
        let [one, other] = rows;
        let (mut first, second) = rayon::join(
            || Pass::of_rows(frame, voltage_v, at, one, 0..half),
            || Pass::of_rows(frame, voltage_v, at, other, half..n),
        );
        first.squares += second.squares;
        first.gram += second.gram;
        for (sum, more) in first.right.iter_mut().zip(second.right) {
            *sum += more;
        }
        first
    }

    fn of_rows(
        frame: &Frame,
        voltage_v: &[f64],
        at: &Parameters,
        rows: &mut Rows,
        part: Range<usize>,
    ) -> Pass {
        let parameters = rows.columns.len();
        let mut pass = Pass {
            right: vec![0.0; parameters],
            gram: DMatrix::zeros(parameters, parameters),
            squares: 0.0,
        };
        for first in part.clone().step_by(BLOCK) {
            let count = BLOCK.min(part.end - first);
            rows.read(frame, at, first, count);
            rows.differentiate(frame, at, first, count);
            let mut residual = [0.0; BLOCK];
            for (i, v) in voltage_v[first..first + count].iter().enumerate() {
                residual[i] = v - at.zero - rows.emf[i] - rows.lines[i];
            }
            let columns: Vec<&[f64]> = rows.columns.iter().map(|c| &c[..count]).collect();
            pass.squares += dot(&residual, &residual);
            for (sum, column) in pass.right.iter_mut().zip(&columns) {
                *sum += dot(column, &residual[..count]);
            }
            add_products(&mut pass.gram, &columns);
        }
        pass
    }
}
