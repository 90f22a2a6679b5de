//! The harmonic set fitted in time.
//!
//! `v_i = b + e_i (1 + Σ_l [p_l cos(r_l φ_i) + q_l sin(r_l φ_i)]) + n_i`, `e(t) = Σ c_j P_j(t) - b`, `φ(t) = κ ∫ e dt`.
//! Unknown: the smooth part c (V), amplitudes p, q (fraction of the EMF), κ = 2π f (rad per V·s; f the line frequency in
//! x) and the zero offset b (V, with a Gaussian prior). r_l is the ratio of line l to the base line. Noise is white
//! and stationary in time, so this is maximum likelihood and its covariance `σ² (J'J + prior)⁻¹` is the Cramér-Rao bound. That of f
//! holds what the smooth part and the zero offset leave open, not only the phase noise of the line.
//!
//! Gauss-Newton; it needs a start within about half a cycle over the record, which the spectrum gives. The matrix J'J is worked out in
//! every round: lines of high order, smeared at first, grow as the phase comes right, and with a matrix from before that fits ended
//! beside the minimum or not at all (nine of 704 drawn benches told a wrong K for certain; with a fresh one those nine are right).
//! Rows are taken in blocks so that no column is ever laid down in full.

use crate::ripple::numerics::least_squares::{BLOCK, Normal, add_products, dot, project};
use crate::ripple::numerics::smooth::{basis, integrate};
use crate::ripple::numerics::turn::turn;
use nalgebra::DMatrix;
use std::f64::consts::PI;

/// Highest order of the smooth part.
const MOST_ORDER: usize = 9;

/// What all fits of a record share.
pub(crate) struct Frame {
    /// `P_j` at each row, up to one order beyond [`MOST_ORDER`], from which `∫ P_j dt` follows.
    smooth: Vec<Vec<f64>>,
    /// Half of the time from the first row to the last, s.
    half_s: f64,
    /// Time from the first row, s.
    elapsed: Vec<f64>,
    /// Prior of the zero offset: value and standard deviation, V.
    zero_prior_v: (f64, f64),
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
}

/// Fitted parameters.
pub(crate) struct Fit {
    pub order: usize,
    /// Cycles per V·s of the base line.
    pub frequency: f64,
    pub frequency_sd: f64,
    pub zero_v: f64,
    pub zero_sd_v: f64,
    /// Ratios r_l of the lines to the base line.
    pub ratios: Vec<f64>,
    /// (p, q) of each line, fraction of the EMF.
    pub amplitudes: Vec<(f64, f64)>,
    pub noise_v: f64,
    /// Bayesian information criterion of the fit.
    pub criterion: f64,
    pub converged: bool,
    smooth: Vec<f64>,
    normal: Normal,
}

/// Where a fit starts.
pub(crate) enum Start<'a> {
    /// A frequency (cycles per V·s) and a zero offset (V).
    Seen(f64, f64),
    /// An earlier fit of nearly the same record.
    From(&'a Fit),
}

/// The parameters of a fit and the record laid out by them.
pub(crate) struct Harmonics {
    pub fit: Fit,
    /// EMF e_i, V.
    pub emf_v: Vec<f64>,
    /// ∫ e dt, V·s.
    pub x_v_s: Vec<f64>,
    /// v - smooth part, with all lines left in, V.
    pub rough_v: Vec<f64>,
    /// v - smooth part - lines, V.
    pub residual_v: Vec<f64>,
}

impl Fit {
    /// Amplitude of line `l`, fraction of the EMF.
    pub fn amplitude(&self, l: usize) -> f64 {
        self.amplitudes[l].0.hypot(self.amplitudes[l].1)
    }

    /// How many times its noise variance the squared residual would grow, at least about, without the terms above `order` (Wald).
    pub fn worth_above(&self, order: usize) -> Option<f64> {
        let above: Vec<usize> = (order + 1..self.smooth.len()).collect();
        let covariance = DMatrix::from_fn(above.len(), above.len(), |i, j| {
            self.normal.inverse(above[i], above[j])
        });
        let terms = nalgebra::DVector::from_iterator(
            above.len(),
            above.iter().map(|j| self.smooth[*j] / self.noise_v),
        );
        Some(terms.dot(&covariance.cholesky()?.solve(&terms)))
    }

    /// Lays the record out.
    pub fn laid_out(self, frame: &Frame, voltage_v: &[f64]) -> Harmonics {
        let n = voltage_v.len();
        let mut rows = Rows::new(self.smooth.len(), self.ratios.len());
        let mut harmonics = Harmonics {
            emf_v: Vec::with_capacity(n),
            x_v_s: Vec::with_capacity(n),
            rough_v: Vec::with_capacity(n),
            residual_v: Vec::with_capacity(n),
            fit: self,
        };
        let parameters = Parameters::of(&harmonics.fit);
        for first in (0..n).step_by(BLOCK) {
            let count = BLOCK.min(n - first);
            rows.read(frame, &parameters, first, count);
            let smooth = rows.emf[..count].iter().map(|e| e + parameters.zero);
            let voltage = &voltage_v[first..first + count];
            let rough = voltage.iter().zip(smooth).map(|(v, s)| v - s);
            harmonics.rough_v.extend(rough);
            harmonics.emf_v.extend_from_slice(&rows.emf[..count]);
            harmonics.x_v_s.extend_from_slice(&rows.x[..count]);
            let left = harmonics.rough_v[first..].iter().zip(&rows.lines);
            harmonics.residual_v.extend(left.map(|(r, l)| r - l));
        }
        harmonics
    }
}

/// Parameters on the way.
struct Parameters<'a> {
    c: Vec<f64>,
    amplitudes: Vec<f64>,
    /// 2π times the frequency.
    kappa: f64,
    zero: f64,
    ratios: &'a [f64],
}

impl Parameters<'_> {
    fn of(fit: &Fit) -> Parameters<'_> {
        Parameters {
            c: fit.smooth.clone(),
            amplitudes: fit.amplitudes.iter().flat_map(|(p, q)| [*p, *q]).collect(),
            kappa: 2.0 * PI * fit.frequency,
            zero: fit.zero_v,
            ratios: &fit.ratios,
        }
    }
}

/// The model over a block of rows.
struct Rows {
    emf: [f64; BLOCK],
    x: [f64; BLOCK],
    lines: [f64; BLOCK],
    /// Derivative of the lines with respect to the base phase φ, V/rad.
    slope: [f64; BLOCK],
    /// `∫ P_j dt` of each term of the smooth part, s.
    integrals: Vec<[f64; BLOCK]>,
    /// The columns of J: smooth part, cos and sin of each line times the EMF, κ, zero offset.
    columns: Vec<[f64; BLOCK]>,
    terms: usize,
}

impl Rows {
    fn new(terms: usize, lines: usize) -> Rows {
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
    fn read(&mut self, frame: &Frame, at: &Parameters, first: usize, count: usize) {
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
struct Pass {
    /// J'r.
    right: Vec<f64>,
    /// J'J, lower triangle.
    gram: DMatrix<f64>,
    squares: f64,
}

impl Pass {
    fn over(frame: &Frame, voltage_v: &[f64], at: &Parameters, rows: &mut Rows) -> Pass {
        let n = voltage_v.len();
        let parameters = rows.columns.len();
        let mut pass = Pass {
            right: vec![0.0; parameters],
            gram: DMatrix::zeros(parameters, parameters),
            squares: 0.0,
        };
        for first in (0..n).step_by(BLOCK) {
            let count = BLOCK.min(n - first);
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

/// Fits the set; `None` where the normal equations are singular. `tolerance`: step of the frequency at which the fit ends, in
/// standard deviations.
pub(crate) fn refine(
    frame: &Frame,
    voltage_v: &[f64],
    order: usize,
    ratios: &[f64],
    start: Start,
    tolerance: f64,
) -> Option<Fit> {
    let terms = order + 1;
    let n = voltage_v.len();
    let (frequency, zero, from) = match start {
        Start::Seen(frequency, zero) => (frequency, zero, None),
        Start::From(fit) => (fit.frequency, fit.zero_v, Some(fit)),
    };
    let known = |ratio: &f64| {
        let fit = from?;
        let l = fit.ratios.iter().position(|r| r == ratio)?;
        Some(fit.amplitudes[l])
    };
    let smooth = &frame.smooth[..terms];
    let mut at = Parameters {
        c: match from {
            Some(fit) if fit.order <= order => {
                let mut c = fit.smooth.clone();
                c.resize(terms, 0.0);
                c
            }
            _ => Normal::new(smooth, &[])?.solve(&project(smooth, voltage_v)),
        },
        amplitudes: ratios
            .iter()
            .flat_map(|r| known(r).map_or([0.0; 2], |(p, q)| [p, q]))
            .collect(),
        kappa: 2.0 * PI * frequency,
        zero,
        ratios,
    };
    let parameters = terms + 2 * ratios.len() + 2;
    let (k, z) = (parameters - 2, parameters - 1);
    let mut rows = Rows::new(terms, ratios.len());
    let span_s = frame.elapsed[n - 1];

    let mut last_normal = None;
    let mut converged = false;
    let (mut noise, mut squares) = (0.0, 0.0);
    for round in 0..25 {
        let pass = Pass::over(frame, voltage_v, &at, &mut rows);
        noise = (pass.squares / n.saturating_sub(parameters).max(1) as f64)
            .sqrt()
            .max(f64::MIN_POSITIVE);
        let weight = (noise / frame.zero_prior_v.1).powi(2);
        let mut right = pass.right;
        right[z] += weight * (frame.zero_prior_v.0 - at.zero);
        // Lines seen for the first time: smooth part and amplitudes, which are linear, come before the phase.
        let linear = round == 0 && ratios.iter().any(|r| known(r).is_none());
        let mut extra = vec![0.0; parameters];
        extra[z] = weight;
        if linear {
            extra[k] = f64::MAX.sqrt();
            extra[z] = extra[k];
        }
        let normal = Normal::of(pass.gram, &extra)?;
        let step = normal.solve(&right);
        squares = pass.squares - step.iter().zip(&right).map(|(s, r)| s * r).sum::<f64>();

        // A step of more than half a cycle over the record would leave the basin.
        let x_end = rows.x[(n - 1) % BLOCK];
        let reach = (step[k] * x_end)
            .abs()
            .max((step[z] * at.kappa * span_s).abs());
        let damp = if reach > 2.0 { 2.0 / reach } else { 1.0 };
        for (value, s) in at.c.iter_mut().zip(&step) {
            *value += damp * s;
        }
        for (value, s) in at.amplitudes.iter_mut().zip(&step[terms..]) {
            *value += damp * s;
        }
        at.kappa += damp * step[k];
        at.zero += damp * step[z];
        if !(at.kappa.is_finite() && at.zero.is_finite()) {
            return None;
        }
        let sds = step[k].abs() / (noise * normal.inverse(k, k).max(0.0).sqrt());
        let settled = sds < tolerance || step[k].abs() < 1e-12 * at.kappa.abs();
        // A smooth part begun anew is not near its end after one step, even where the frequency is.
        let begun = !linear && (round > 0 || from.is_some_and(|fit| fit.order <= order));
        last_normal = Some(normal);
        if settled && begun {
            converged = true;
            break;
        }
    }
    let normal = last_normal?;
    let sd = |i: usize| noise * normal.inverse(i, i).max(0.0).sqrt();
    let (frequency_sd, zero_sd_v) = (sd(k) / (2.0 * PI), sd(z));
    Some(Fit {
        order,
        frequency: at.kappa / (2.0 * PI),
        frequency_sd,
        zero_v: at.zero,
        zero_sd_v,
        ratios: ratios.to_vec(),
        amplitudes: at
            .amplitudes
            .chunks_exact(2)
            .map(|a| (a[0], a[1]))
            .collect(),
        noise_v: noise,
        criterion: n as f64 * (squares / n as f64).max(f64::MIN_POSITIVE).ln()
            + parameters as f64 * (n as f64).ln(),
        converged,
        smooth: at.c,
        normal,
    })
}
