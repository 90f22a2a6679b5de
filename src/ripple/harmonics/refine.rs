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

use super::model::{Frame, Parameters, Pass, Rows};
use crate::ripple::numerics::least_squares::{BLOCK, Normal, project};
use nalgebra::DMatrix;
use std::f64::consts::PI;

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

    fn parameters(&self) -> Parameters<'_> {
        Parameters {
            c: self.smooth.clone(),
            amplitudes: self.amplitudes.iter().flat_map(|(p, q)| [*p, *q]).collect(),
            kappa: 2.0 * PI * self.frequency,
            zero: self.zero_v,
            ratios: &self.ratios,
        }
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
        let parameters = harmonics.fit.parameters();
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

/// Most rounds of the fit.
const ROUNDS: usize = 25;

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
    let mut at = start.parameters(frame, voltage_v, order, ratios)?;
    let new_lines = ratios.iter().any(|r| start.amplitude(*r).is_none());
    let known_smooth = start.smooth(order).is_some();
    let mut rows = [0, 1].map(|_| Rows::new(order + 1, ratios.len()));
    let mut last = None;
    let mut converged = false;
    for round in 0..ROUNDS {
        // Lines seen for the first time: smooth part and amplitudes, which are linear, come before the phase.
        let linear = round == 0 && new_lines;
        let step = Step::from(frame, voltage_v, &at, &mut rows, linear)?;
        let x_end = rows[1].x[(voltage_v.len() - 1) % BLOCK];
        step.take(&mut at, x_end, frame.span_s());
        if !(at.kappa.is_finite() && at.zero.is_finite()) {
            return None;
        }
        let settled = step.is_small(&at, tolerance);
        // A smooth part begun anew is not near its end after one step, even where the frequency is.
        let begun = !linear && (round > 0 || known_smooth);
        last = Some(step);
        if settled && begun {
            converged = true;
            break;
        }
    }
    Some(last?.into_fit(at, order, voltage_v.len(), converged))
}

impl<'a> Start<'a> {
    fn from(&self) -> Option<&'a Fit> {
        match self {
            Start::Seen(..) => None,
            Start::From(fit) => Some(fit),
        }
    }

    /// Smooth part of the earlier fit, where its order is no higher.
    fn smooth(&self, order: usize) -> Option<&'a [f64]> {
        let fit = self.from().filter(|fit| fit.order <= order)?;
        Some(&fit.smooth)
    }

    /// Amplitudes (p, q) of a line of the earlier fit.
    fn amplitude(&self, ratio: f64) -> Option<(f64, f64)> {
        let fit = self.from()?;
        let l = fit.ratios.iter().position(|r| *r == ratio)?;
        Some(fit.amplitudes[l])
    }

    fn parameters<'r>(
        &self,
        frame: &Frame,
        voltage_v: &[f64],
        order: usize,
        ratios: &'r [f64],
    ) -> Option<Parameters<'r>> {
        let terms = order + 1;
        let (frequency, zero) = match self {
            Start::Seen(frequency, zero) => (*frequency, *zero),
            Start::From(fit) => (fit.frequency, fit.zero_v),
        };
        let c = match self.smooth(order) {
            Some(smooth) => {
                let mut c = smooth.to_vec();
                c.resize(terms, 0.0);
                c
            }
            None => {
                let smooth = &frame.smooth[..terms];
                Normal::new(smooth, &[])?.solve(&project(smooth, voltage_v))
            }
        };
        Some(Parameters {
            c,
            amplitudes: ratios
                .iter()
                .flat_map(|r| self.amplitude(*r).map_or([0.0; 2], |(p, q)| [p, q]))
                .collect(),
            kappa: 2.0 * PI * frequency,
            zero,
            ratios,
        })
    }
}

/// One Gauss-Newton step: of the smooth part, the amplitudes, κ and the zero offset, in this order.
struct Step {
    change: Vec<f64>,
    normal: Normal,
    noise: f64,
    /// Squared residual that the step leaves.
    squares: f64,
}

impl Step {
    /// `linear`: κ and the zero offset are held.
    fn from(
        frame: &Frame,
        voltage_v: &[f64],
        at: &Parameters,
        rows: &mut [Rows; 2],
        linear: bool,
    ) -> Option<Step> {
        let pass = Pass::over(frame, voltage_v, at, rows);
        let parameters = pass.right.len();
        let (k, z) = (parameters - 2, parameters - 1);
        let freedom = voltage_v.len().saturating_sub(parameters).max(1);
        let noise = (pass.squares / freedom as f64)
            .sqrt()
            .max(f64::MIN_POSITIVE);
        let weight = (noise / frame.zero_prior_v.1).powi(2);
        let mut right = pass.right;
        right[z] += weight * (frame.zero_prior_v.0 - at.zero);
        let mut extra = vec![0.0; parameters];
        extra[z] = weight;
        if linear {
            extra[k] = f64::MAX.sqrt();
            extra[z] = extra[k];
        }
        let normal = Normal::of(pass.gram, &extra)?;
        let change = normal.solve(&right);
        let squares = pass.squares - change.iter().zip(&right).map(|(s, r)| s * r).sum::<f64>();
        Some(Step {
            change,
            normal,
            noise,
            squares,
        })
    }

    /// Places of κ and of the zero offset.
    fn places(&self) -> (usize, usize) {
        (self.change.len() - 2, self.change.len() - 1)
    }

    /// Moves the parameters; `x_end` (V·s) and `span_s` at the last row.
    fn take(&self, at: &mut Parameters, x_end: f64, span_s: f64) {
        let (step, (k, z)) = (&self.change, self.places());
        // A step of more than half a cycle over the record would leave the basin.
        let reach = (step[k] * x_end)
            .abs()
            .max((step[z] * at.kappa * span_s).abs());
        let damp = if reach > 2.0 { 2.0 / reach } else { 1.0 };
        let terms = at.c.len();
        for (value, s) in at.c.iter_mut().zip(step) {
            *value += damp * s;
        }
        for (value, s) in at.amplitudes.iter_mut().zip(&step[terms..]) {
            *value += damp * s;
        }
        at.kappa += damp * step[k];
        at.zero += damp * step[z];
    }

    /// True where κ moves by less than `tolerance` standard deviations.
    fn is_small(&self, at: &Parameters, tolerance: f64) -> bool {
        let k = self.places().0;
        let step = self.change[k].abs();
        let sds = step / (self.noise * self.normal.inverse(k, k).max(0.0).sqrt());
        sds < tolerance || step < 1e-12 * at.kappa.abs()
    }

    fn into_fit(self, at: Parameters, order: usize, rows: usize, converged: bool) -> Fit {
        let (k, z) = self.places();
        let n = rows as f64;
        let sd = |i: usize| self.noise * self.normal.inverse(i, i).max(0.0).sqrt();
        let (frequency_sd, zero_sd_v) = (sd(k) / (2.0 * PI), sd(z));
        Fit {
            order,
            frequency: at.kappa / (2.0 * PI),
            frequency_sd,
            zero_v: at.zero,
            zero_sd_v,
            ratios: at.ratios.to_vec(),
            amplitudes: at
                .amplitudes
                .chunks_exact(2)
                .map(|a| (a[0], a[1]))
                .collect(),
            noise_v: self.noise,
            criterion: n * (self.squares / n).max(f64::MIN_POSITIVE).ln()
                + self.change.len() as f64 * n.ln(),
            converged,
            smooth: at.c,
            normal: self.normal,
        }
    }
}
