//! The harmonic set fitted in time.
//!
//! `v_i = b + e_i (1 + Σ_l [p_l cos(r_l φ_i) + q_l sin(r_l φ_i)]) + n_i`, `e(t) = Σ c_j P_j(t) - b`, `φ(t) = κ ∫ e dt`.
//! Unknown: the smooth part c (V), amplitudes p, q (fraction of the EMF), κ = 2π f (rad per V·s; f the line frequency in
//! x) and the zero offset b (V, with a Gaussian prior). r_l is the ratio of line l to the base line. Noise is white
//! and stationary in time, so this is maximum likelihood and its covariance `σ² (J'J + prior)⁻¹` is the Cramér-Rao bound. That of f
//! holds what the smooth part and the zero offset leave open, not only the phase noise of the line.
//!
//! Gauss-Newton; it needs a start within about half a cycle over the record, which the spectrum gives.

use super::{
    least_squares::{Normal, project},
    smooth::{basis, combine, integral_basis},
};
use std::f64::consts::PI;

/// Fitted harmonic set.
#[derive(Clone, Debug)]
pub(super) struct Harmonics {
    /// Cycles per V·s of the base line.
    pub frequency: f64,
    pub frequency_sd: f64,
    pub zero_v: f64,
    pub zero_sd_v: f64,
    /// Ratios r_l of the lines to the base line.
    pub ratios: Vec<f64>,
    /// (p, q) of each line, fraction of the EMF.
    pub amplitudes: Vec<(f64, f64)>,
    /// EMF e_i, V.
    pub emf_v: Vec<f64>,
    /// ∫ e dt, V·s.
    pub x_v_s: Vec<f64>,
    /// v - smooth part, with all lines left in, V.
    pub rough_v: Vec<f64>,
    /// v - smooth part - lines, V.
    pub residual_v: Vec<f64>,
    pub noise_v: f64,
    /// Bayesian information criterion of the fit.
    pub criterion: f64,
    pub converged: bool,
}

/// Where the fit starts.
#[derive(Clone, Debug)]
pub(super) struct Start<'a> {
    pub order: usize,
    pub ratios: &'a [f64],
    pub frequency: f64,
    pub zero_v: f64,
    /// Prior of the zero offset: value and standard deviation, V.
    pub zero_prior_v: (f64, f64),
}

impl Harmonics {
    /// Amplitude of line `l`, fraction of the EMF.
    pub fn amplitude(&self, l: usize) -> f64 {
        self.amplitudes[l].0.hypot(self.amplitudes[l].1)
    }
}

/// Fits the set; `None` where the normal equations are singular.
pub(super) fn refine(time_s: &[f64], voltage_v: &[f64], start: &Start) -> Option<Harmonics> {
    let (first, last) = (*time_s.first()?, *time_s.last()?);
    let smooth = basis(time_s, first, last, start.order);
    let integrals = integral_basis(time_s, first, last, start.order);
    let terms = smooth.len();
    let lines = start.ratios.len();
    let n = time_s.len();

    let normal = Normal::new(&smooth, &[])?;
    let mut c = normal.solve(&project(&smooth, voltage_v));
    let mut zero = start.zero_v;
    let mut kappa = 2.0 * PI * start.frequency;
    let mut amplitudes = vec![0.0; 2 * lines];
    let parameters = terms + 2 * lines + 2;
    let elapsed: Vec<f64> = time_s.iter().map(|t| t - first).collect();

    let mut state = State::at(
        time_s,
        &smooth,
        &integrals,
        &elapsed,
        &c,
        zero,
        kappa,
        start.ratios,
    );
    // Amplitudes at the starting phase, smooth part with them: linear.
    let mut columns = smooth.clone();
    columns.extend(state.lines.iter().cloned());
    let linear = Normal::new(&columns, &[])?.solve(&project(&columns, voltage_v));
    c.copy_from_slice(&linear[..terms]);
    amplitudes.copy_from_slice(&linear[terms..]);
    state = State::at(
        time_s,
        &smooth,
        &integrals,
        &elapsed,
        &c,
        zero,
        kappa,
        start.ratios,
    );

    let mut converged = false;
    let mut noise = 0.0;
    let mut last_normal = None;
    for round in 0..25 {
        let model = state.model(&amplitudes);
        let residual: Vec<f64> = (0..n)
            .map(|i| voltage_v[i] - zero - state.emf[i] - model.lines[i])
            .collect();
        let squares: f64 = residual.iter().map(|r| r * r).sum();
        noise = (squares / (n.saturating_sub(parameters).max(1)) as f64)
            .sqrt()
            .max(f64::MIN_POSITIVE);

        let mut jacobian = Vec::with_capacity(parameters);
        for (p, integral) in smooth.iter().zip(&integrals) {
            jacobian.push(
                (0..n)
                    .map(|i| {
                        p[i] * (1.0 + model.relative[i]) + model.slope[i] * kappa * integral[i]
                    })
                    .collect(),
            );
        }
        jacobian.extend(state.lines.iter().cloned());
        jacobian.push(
            (0..n)
                .map(|i| model.slope[i] * state.x[i])
                .collect::<Vec<f64>>(),
        );
        jacobian.push(
            (0..n)
                .map(|i| -model.relative[i] - model.slope[i] * kappa * elapsed[i])
                .collect(),
        );
        let mut extra = vec![0.0; parameters];
        let weight = (noise / start.zero_prior_v.1).powi(2);
        extra[parameters - 1] = weight;
        let mut right = project(&jacobian, &residual);
        right[parameters - 1] += weight * (start.zero_prior_v.0 - zero);
        let normal = Normal::new(&jacobian, &extra)?;
        let step = normal.solve(&right);

        // A step of more than half a cycle over the record would leave the basin.
        let reach = (step[parameters - 2] * state.x[n - 1])
            .abs()
            .max((step[parameters - 1] * kappa * elapsed[n - 1]).abs());
        let damp = if reach > 2.0 { 2.0 / reach } else { 1.0 };
        for (value, s) in c.iter_mut().zip(&step) {
            *value += damp * s;
        }
        for (value, s) in amplitudes.iter_mut().zip(&step[terms..]) {
            *value += damp * s;
        }
        kappa += damp * step[parameters - 2];
        zero += damp * step[parameters - 1];
        if !(kappa.is_finite() && zero.is_finite()) {
            return None;
        }
        state = State::at(
            time_s,
            &smooth,
            &integrals,
            &elapsed,
            &c,
            zero,
            kappa,
            start.ratios,
        );
        let settled = step[parameters - 2].abs()
            < 1e-3 * noise * normal.inverse(parameters - 2, parameters - 2).sqrt()
            || step[parameters - 2].abs() < 1e-12 * kappa.abs();
        last_normal = Some(normal);
        if settled && round > 0 {
            converged = true;
            break;
        }
    }
    let normal = last_normal?;
    let model = state.model(&amplitudes);
    let rough_v: Vec<f64> = (0..n).map(|i| voltage_v[i] - zero - state.emf[i]).collect();
    let residual_v: Vec<f64> = rough_v
        .iter()
        .zip(&model.lines)
        .map(|(r, l)| r - l)
        .collect();
    let squares: f64 = residual_v.iter().map(|r| r * r).sum();
    Some(Harmonics {
        frequency: kappa / (2.0 * PI),
        frequency_sd: noise
            * normal
                .inverse(parameters - 2, parameters - 2)
                .max(0.0)
                .sqrt()
            / (2.0 * PI),
        zero_v: zero,
        zero_sd_v: noise
            * normal
                .inverse(parameters - 1, parameters - 1)
                .max(0.0)
                .sqrt(),
        ratios: start.ratios.to_vec(),
        amplitudes: amplitudes.chunks_exact(2).map(|a| (a[0], a[1])).collect(),
        emf_v: state.emf,
        x_v_s: state.x,
        rough_v,
        residual_v,
        noise_v: noise,
        criterion: n as f64 * (squares / n as f64).max(f64::MIN_POSITIVE).ln()
            + parameters as f64 * (n as f64).ln(),
        converged,
    })
}

/// Amplitudes of a set of lines at the phase of a fit, with the smooth part free: linear.
pub(super) struct LineSet {
    /// Relative amplitude of each line.
    pub amplitudes: Vec<f64>,
    pub residual_v: Vec<f64>,
    pub noise_v: f64,
}

impl LineSet {
    /// `ratios` to the base line of `fit`. Where the lines cannot be told apart the fit's own residual is returned with no amplitudes.
    pub fn at(fit: &Harmonics, ratios: &[f64]) -> LineSet {
        let n = fit.emf_v.len();
        let mut columns = basis(&fit.x_v_s, fit.x_v_s[0], fit.x_v_s[n - 1], 6);
        let terms = columns.len();
        for ratio in ratios {
            let turn = 2.0 * PI * fit.frequency * ratio;
            let (cos, sin): (Vec<f64>, Vec<f64>) = fit
                .x_v_s
                .iter()
                .zip(&fit.emf_v)
                .map(|(x, e)| ((turn * x).cos() * e, (turn * x).sin() * e))
                .unzip();
            columns.extend([cos, sin]);
        }
        let Some(normal) = Normal::new(&columns, &[]) else {
            return LineSet {
                amplitudes: Vec::new(),
                residual_v: fit.residual_v.clone(),
                noise_v: fit.noise_v,
            };
        };
        let solved = normal.solve(&project(&columns, &fit.rough_v));
        let model = combine(&columns, &solved);
        let residual_v: Vec<f64> = fit.rough_v.iter().zip(&model).map(|(v, m)| v - m).collect();
        let squares: f64 = residual_v.iter().map(|r| r * r).sum();
        LineSet {
            amplitudes: solved[terms..]
                .chunks_exact(2)
                .map(|a| a[0].hypot(a[1]))
                .collect(),
            noise_v: (squares / n.saturating_sub(columns.len()).max(1) as f64)
                .sqrt()
                .max(f64::MIN_POSITIVE),
            residual_v,
        }
    }
}

/// EMF, x and line columns at the present parameters.
struct State {
    emf: Vec<f64>,
    x: Vec<f64>,
    /// cos and sin of each line times the EMF, in turn.
    lines: Vec<Vec<f64>>,
    ratios: Vec<f64>,
}

struct Model {
    lines: Vec<f64>,
    /// Lines over EMF.
    relative: Vec<f64>,
    /// Derivative of the lines with respect to the base phase φ, V/rad.
    slope: Vec<f64>,
}

impl State {
    #[allow(clippy::too_many_arguments)]
    fn at(
        time_s: &[f64],
        smooth: &[Vec<f64>],
        integrals: &[Vec<f64>],
        elapsed: &[f64],
        c: &[f64],
        zero: f64,
        kappa: f64,
        ratios: &[f64],
    ) -> State {
        let mut emf = combine(smooth, c);
        emf.iter_mut().for_each(|e| *e -= zero);
        let mut x = combine(integrals, c);
        for (x, t) in x.iter_mut().zip(elapsed) {
            *x -= zero * t;
        }
        let n = time_s.len();
        let mut lines = vec![vec![0.0; n]; 2 * ratios.len()];
        for (l, ratio) in ratios.iter().enumerate() {
            for i in 0..n {
                let (s, co) = (ratio * kappa * x[i]).sin_cos();
                lines[2 * l][i] = emf[i] * co;
                lines[2 * l + 1][i] = emf[i] * s;
            }
        }
        State {
            emf,
            x,
            lines,
            ratios: ratios.to_vec(),
        }
    }

    fn model(&self, amplitudes: &[f64]) -> Model {
        let n = self.emf.len();
        let mut lines = vec![0.0; n];
        let mut slope = vec![0.0; n];
        for (l, ratio) in self.ratios.iter().enumerate() {
            let (p, q) = (amplitudes[2 * l], amplitudes[2 * l + 1]);
            let (cos, sin) = (&self.lines[2 * l], &self.lines[2 * l + 1]);
            for i in 0..n {
                lines[i] += p * cos[i] + q * sin[i];
                slope[i] += ratio * (q * cos[i] - p * sin[i]);
            }
        }
        let relative = lines
            .iter()
            .zip(&self.emf)
            .map(|(l, e)| if *e == 0.0 { 0.0 } else { l / e })
            .collect();
        Model {
            lines,
            relative,
            slope,
        }
    }
}
