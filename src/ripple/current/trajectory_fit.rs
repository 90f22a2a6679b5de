//! The fit that sets a supposed trajectory free; the equations stand in `analyse.rs`.
//!
//! Smooth part and amplitudes are linear and solved anew in each round (variable projection, Golub & Pereyra 1973); the slopes that the phases
//! move the ripple with take the amplitudes of the round before, so that one pass over the record gives all products.

use super::normal_pass::{LINES, Passes, Products};
use super::trajectory::{SMOOTH_ORDER, Trajectory};
use crate::ripple::numerics::least_squares::Normal;
use crate::ripple::numerics::smooth::{basis, combine, integral_basis};

/// A trajectory set free.
pub(crate) struct TrajectoryFit {
    pub frequency: f64,
    pub frequency_sd: f64,
    pub amplitude: f64,
    pub cycles: f64,
    /// Ripple frequency and its standard uncertainty at each row, Hz.
    pub frequency_hz: Vec<f64>,
    pub standard_uncertainty_hz: Vec<f64>,
}

/// Most rounds of the fit.
const ROUNDS: usize = 25;
/// Turns of the ripple that a round may move it by at any time.
const LARGEST_STEP: f64 = 0.3;
/// Turns below which it has settled, and below which it is nearly there when the rounds are over: what the ratio of the last two steps leaves to
/// come then counts as a further standard deviation.
const SETTLED: f64 = 1e-4;
const NEARLY: f64 = 0.1;
/// Largest ratio of two steps that is taken at its word.
const SLOWEST: f64 = 0.98;
/// Share by which the cost may rise before a step counts as too long.
const ROUGHNESS: f64 = 1e-9;
/// Standard deviation of each correction before the data, as a share of the frequency.
const PRIOR: f64 = 0.1;

/// The nonlinear least-squares fit of `rough`, a current with its smooth part of [`SMOOTH_ORDER`] taken off or not; `None` where its normal
/// equations are singular, or where it does not settle.
pub(crate) fn fit_trajectory(
    time: &[f64],
    rough: &[f64],
    trajectory: &Trajectory,
    frequency: f64,
    corrections: usize,
) -> Option<TrajectoryFit> {
    let (first, last) = (time[0], time[time.len() - 1]);
    // Phase terms in turns per Hz: the trajectory itself, then the integrals of P_1 .. .
    let mut phases = vec![trajectory.x_s.clone()];
    phases.extend(
        integral_basis(time, first, last, corrections)
            .into_iter()
            .skip(1),
    );
    let mut rates = vec![trajectory.g.clone()];
    rates.extend(basis(time, first, last, corrections).into_iter().skip(1));
    let passes = Passes::new(basis(time, first, last, SMOOTH_ORDER), phases, rough);
    Some(descend(&passes, frequency)?.into_fit(&passes, &rates))
}

/// Where the descent ended.
struct End {
    /// Frequency and corrections, Hz.
    parts: Vec<f64>,
    amplitudes: [f64; LINES],
    round: Round,
    /// Largest move of the last round, turns, and its ratio to the one before.
    reach: f64,
    ratio: f64,
}

fn descend(passes: &Passes, frequency: f64) -> Option<End> {
    let mut parts = vec![0.0; passes.phases.len()];
    parts[0] = frequency;
    let prior = PRIOR * frequency;
    let linear = passes.linear();
    let mut amplitudes = passes.over(&parts, &[0.0; LINES]).solution(linear)?.1;
    // A full Gauss-Newton step overshoots where the ripple is no sinusoid of constant amplitude, and may swing for ever.
    // Where the cost is least so far, and the step from there that was tried last.
    let mut best: Option<(f64, Vec<f64>, Vec<f64>)> = None;
    let mut last = None;
    let (mut reach, mut ratio) = (f64::INFINITY, 1.0);
    for round in 0..ROUNDS {
        let products = passes.over(&parts, &amplitudes);
        let (solved, found) = products.solution(linear)?;
        let left = products.residual(&solved);
        let noise = passes.noise(left);
        let weight = (noise / prior).powi(2);
        let pulled: f64 = parts[1..].iter().map(|d| weight * d * d).sum();
        if let Some((least, at, step)) = &mut best
            && left + pulled > *least * (1.0 + ROUGHNESS)
        {
            step.iter_mut().for_each(|s| *s *= 0.5);
            parts = at.iter().zip(step.iter()).map(|(a, s)| a + s).collect();
            continue;
        }
        amplitudes = found;
        let now = Round::of(products, &solved, &parts, noise, weight)?;
        let moved = combine(&passes.phases, &now.step);
        let before = reach;
        reach = moved.iter().fold(0.0f64, |a, p| a.max(p.abs()));
        ratio = reach / before;
        let damp = (LARGEST_STEP / reach).min(1.0);
        let step: Vec<f64> = now.step.iter().map(|s| damp * s).collect();
        last = Some(now);
        if round > 1 && reach < SETTLED {
            break;
        }
        let next = parts.iter().zip(&step).map(|(p, s)| p + s).collect();
        best = Some((left + pulled, std::mem::replace(&mut parts, next), step));
    }
    let round = last.filter(|_| reach < NEARLY)?;
    Some(End {
        parts,
        amplitudes,
        round,
        reach,
        ratio,
    })
}

/// The normal equations of one round and the step of the phases that they give.
struct Round {
    normal: Normal,
    step: Vec<f64>,
    noise: f64,
}

impl Round {
    /// `solved`: the linear part at these phases; `weight` of the corrections' prior.
    fn of(
        products: Products,
        solved: &[f64],
        parts: &[f64],
        noise: f64,
        weight: f64,
    ) -> Option<Round> {
        let linear = solved.len();
        let count = linear + parts.len();
        let mut extra = vec![0.0; count];
        let mut right = vec![0.0; count];
        for (k, part) in parts.iter().enumerate() {
            let row = linear + k;
            let explained: f64 = (0..linear)
                .map(|j| products.gram[(row, j)] * solved[j])
                .sum();
            right[row] = products.right[row] - explained;
            if k > 0 {
                extra[row] = weight;
                right[row] -= weight * part;
            }
        }
        let normal = Normal::of(products.gram, &extra)?;
        Some(Round {
            step: normal.solve(&right).split_off(linear),
            normal,
            noise,
        })
    }
}

impl End {
    /// `rates`: the columns of the frequency, of which the phases are the integrals.
    fn into_fit(self, passes: &Passes, rates: &[Vec<f64>]) -> TrajectoryFit {
        let (parts, linear) = (&self.parts, passes.linear());
        let turn = combine(&passes.phases, parts);
        let cycles = turn[turn.len() - 1] - turn[0];
        let to_come = if self.reach < SETTLED {
            0.0
        } else {
            self.reach / (1.0 - self.ratio.min(SLOWEST)) / cycles.abs()
        };
        let Round { normal, noise, .. } = &self.round;
        let covariance: Vec<Vec<f64>> = (0..parts.len())
            .map(|i| {
                (0..parts.len())
                    .map(|j| noise * noise * normal.inverse(linear + i, linear + j))
                    .collect()
            })
            .collect();
        let frequency_hz = combine(rates, parts);
        let standard_uncertainty_hz = (0..frequency_hz.len())
            .map(|i| {
                let mut variance = 0.0;
                for (a, row) in covariance.iter().enumerate() {
                    for (b, value) in row.iter().enumerate() {
                        variance += rates[a][i] * rates[b][i] * value;
                    }
                }
                variance.max(0.0).sqrt().hypot(to_come * frequency_hz[i])
            })
            .collect();
        TrajectoryFit {
            frequency: parts[0],
            frequency_sd: covariance[0][0].max(0.0).sqrt().hypot(to_come * parts[0]),
            amplitude: self.amplitudes[0].hypot(self.amplitudes[1]),
            cycles,
            frequency_hz,
            standard_uncertainty_hz,
        }
    }
}

impl TrajectoryFit {
    /// The covariance knows nothing of a trajectory that no polynomial of this order follows: what a stiffer one gives otherwise counts as a
    /// further standard deviation, as does `share` of the frequency.
    pub fn widen_by(&mut self, stiffer: &TrajectoryFit, share: f64) {
        let both = self.frequency_hz.iter().zip(&stiffer.frequency_hz);
        for (sd, (one, other)) in self.standard_uncertainty_hz.iter_mut().zip(both) {
            *sd = sd.hypot(one - other).hypot(share * one);
        }
        self.frequency_sd = self
            .frequency_sd
            .hypot(self.frequency - stiffer.frequency)
            .hypot(share * self.frequency);
    }
}
