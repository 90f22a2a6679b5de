//! Covariance of a sum of correlated, unequally noisy scores: the meat of a sandwich covariance.
//!
//! With scores `s_t` (the gradient of observation t's share of the cost, a vector of length p) the covariance of
//! `Σ s_t` is estimated by
//!
//! ```text
//! M = Σ_t s_t s_tᵀ + Σ_{l=1}^{m} (1 − l/(m+1)) Σ_t (s_t s_{t−l}ᵀ + s_{t−l} s_tᵀ)
//! ```
//!
//! (Newey & West 1987, Bartlett weights), which is positive semidefinite, and the covariance of a fit with
//! Gauss-Newton matrix N is then `N⁻¹ M N⁻¹`. M is a sum, not a mean: no factor n is hidden in it. Pairs never reach
//! across a group break, so each capture is its own record. Lags count observations, not time: on a grid of unequal
//! steps the weights follow the grid.
//!
//! The Bartlett weights lose part of a correlation. Share of the true variance of the sum of a first-order
//! autoregression that comes back, mean of 200 records of 1000 values (of 5000):
//!
//! | r | Andrews | Newey & West 1994 | Andrews, prewhitened |
//! | --- | --- | --- | --- |
//! | 0 | 1.00 (1.00) | 0.99 (0.99) | 1.00 (1.00) |
//! | 0.5 | 0.90 (0.93) | 0.90 (0.93) | 1.00 (0.99) |
//! | 0.8 | 0.84 (0.90) | 0.78 (0.88) | 0.99 (0.98) |
//! | 0.9 | 0.79 (0.88) | 0.61 (0.80) | 0.98 (0.98) |
//!
//! so an interval that is to cover 95 % should come from [`prewhitened_meat`], and a correlation that has a
//! cause should be modelled first.

use super::Invalid;
use nalgebra::DMatrix;

/// How far the correlation is followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lag {
    /// No correlation: heteroscedasticity only (White 1980).
    Zero,
    /// The largest lag m given.
    Fixed(usize),
    /// Andrews 1991 (eq. 6.2, 6.4): mean-square optimal if each score is a first-order autoregression; its lag-one
    /// correlation is capped at 0.97 (Andrews & Monahan 1992).
    AndrewsAr1,
    /// Newey & West 1994: from the first `4 (n/100)^(2/9)` autocovariances themselves, no model of them.
    NeweyWest1994,
}

/// Scores of one fit: row-major, `parameters` to an observation.
#[derive(Debug, Clone, Copy)]
pub struct Scores<'a> {
    /// `n × parameters` numbers, row by row.
    pub values: &'a [f64],
    /// p, the length of a row.
    pub parameters: usize,
    /// Rows at which a new group begins (0 may be left out), rising. Empty: one group.
    pub group_starts: &'a [usize],
}

/// The meat and the lag it was computed with.
#[derive(Debug, Clone, PartialEq)]
pub struct Meat {
    /// p × p, symmetric, positive semidefinite.
    pub matrix: DMatrix<f64>,
    /// Largest lag m with a weight; 0 is no correlation.
    pub lag: usize,
    /// Coefficient ρ the scores were whitened with; 0 where they were not.
    pub prewhitening: f64,
}

/// The meat of `scores`; see the module for its definition.
///
/// # Errors
/// When the shape does not fit, there are no observations, or a score is not finite.
pub fn meat(scores: Scores<'_>, lag: Lag) -> Result<Meat, Invalid> {
    Ok(weighted_sum(&scores.groups()?, scores.parameters, lag, 0.0))
}

/// The same with the scores whitened first by one autoregression coefficient ρ common to all parameters,
/// `s_t − ρ s_{t−1}`, and the result coloured again by `1/(1 − ρ)²` (Andrews & Monahan 1992). One common ρ, because the
/// scores of one observation all carry the same residual; it is found from the scores, each parameter weighted by the
/// inverse of its variance, and capped at ±0.97. The first score of a group is scaled by √(1 − ρ²) (Prais & Winsten).
///
/// # Errors
/// As [`meat`].
pub fn prewhitened_meat(scores: Scores<'_>, lag: Lag) -> Result<Meat, Invalid> {
    let groups = scores.groups()?;
    let p = scores.parameters;
    let rho = common_correlation(&groups, p);
    let whitened: Vec<Vec<f64>> = groups
        .iter()
        .map(|group| {
            let first = group[..p].iter().map(|s| s * (1.0 - rho * rho).sqrt());
            let rest = group[p..]
                .iter()
                .zip(*group)
                .map(|(s, earlier)| s - rho * earlier);
            first.chain(rest).collect()
        })
        .collect();
    let whitened: Vec<&[f64]> = whitened.iter().map(Vec::as_slice).collect();
    Ok(weighted_sum(&whitened, p, lag, rho))
}

fn common_correlation(groups: &[&[f64]], p: usize) -> f64 {
    let correlations: Vec<f64> = (0..p)
        .filter_map(|parameter| {
            let variance = lagged_product(groups, p, parameter, 0);
            (variance > 0.0).then(|| lagged_product(groups, p, parameter, 1) / variance)
        })
        .collect();
    if correlations.is_empty() {
        return 0.0;
    }
    (correlations.iter().sum::<f64>() / correlations.len() as f64).clamp(-CAP, CAP)
}

fn weighted_sum(groups: &[&[f64]], p: usize, lag: Lag, rho: f64) -> Meat {
    let longest = groups
        .iter()
        .map(|group| group.len() / p)
        .max()
        .unwrap_or(0);
    let lag = match lag {
        Lag::Zero => 0,
        Lag::Fixed(lag) => lag,
        Lag::AndrewsAr1 => andrews_lag(groups, p),
        Lag::NeweyWest1994 => newey_west_lag(groups, p),
    }
    .min(longest.saturating_sub(1));
    let mut matrix = DMatrix::zeros(p, p);
    let mut smoothed = vec![0.0; p];
    for group in groups {
        let rows = group.len() / p;
        for t in 0..rows {
            let row = &group[t * p..(t + 1) * p];
            // M = Σ s_t u_tᵀ + u_t s_tᵀ with u_t = s_t/2 + Σ_l w_l s_{t−l}: p numbers a lag instead of p².
            for (u, s) in smoothed.iter_mut().zip(row) {
                *u = 0.5 * s;
            }
            for back in 1..=lag.min(t) {
                let weight = 1.0 - back as f64 / (lag + 1) as f64;
                let earlier = &group[(t - back) * p..(t - back + 1) * p];
                for (u, s) in smoothed.iter_mut().zip(earlier) {
                    *u += weight * s;
                }
            }
            for i in 0..p {
                for j in 0..p {
                    matrix[(i, j)] += row[i] * smoothed[j];
                }
            }
        }
    }
    let colour = (1.0 - rho).powi(2).recip();
    Meat {
        matrix: (&matrix + matrix.transpose()) * colour,
        lag,
        prewhitening: rho,
    }
}

impl<'a> Scores<'a> {
    pub(super) fn groups(&self) -> Result<Vec<&'a [f64]>, Invalid> {
        let p = self.parameters;
        if p == 0 || self.values.is_empty() || !self.values.len().is_multiple_of(p) {
            return Err(Invalid("scores come in whole rows, one or more"));
        }
        if !self.values.iter().all(|value| value.is_finite()) {
            return Err(Invalid("scores are finite numbers"));
        }
        let rows = self.values.len() / p;
        let mut groups = Vec::with_capacity(self.group_starts.len() + 1);
        let mut from = 0;
        for &start in self.group_starts.iter().chain([&rows]) {
            if start < from || start > rows {
                return Err(Invalid("group starts rise, up to the number of rows"));
            }
            if start > from {
                groups.push(&self.values[from * p..start * p]);
            }
            from = start;
        }
        Ok(groups)
    }
}

/// `Σ_t s_t s_{t−lag}` of one parameter over all groups.
fn lagged_product(groups: &[&[f64]], p: usize, parameter: usize, lag: usize) -> f64 {
    let mut sum = 0.0;
    for group in groups {
        let rows = group.len() / p;
        for t in lag..rows {
            sum += group[t * p + parameter] * group[(t - lag) * p + parameter];
        }
    }
    sum
}

fn observations(groups: &[&[f64]], p: usize) -> usize {
    groups.iter().map(|group| group.len()).sum::<usize>() / p
}

/// Largest lag-one correlation taken at its word (Andrews & Monahan 1992).
const CAP: f64 = 0.97;

/// Constant of the Bartlett kernel, `(3/2)^(1/3)` (Andrews 1991, eq. 6.2).
const BARTLETT: f64 = 1.144_714_242_553_332;

/// Turns the real bandwidth S, weights `1 − l/S`, into the largest lag with a weight.
fn lag_of(curvature: f64, observations: usize) -> usize {
    let bandwidth = BARTLETT * (curvature * observations as f64).cbrt();
    if bandwidth.is_finite() && bandwidth > 1.0 {
        (bandwidth.ceil() as usize).saturating_sub(1)
    } else {
        0
    }
}

fn andrews_lag(groups: &[&[f64]], p: usize) -> usize {
    let (mut above, mut below) = (0.0, 0.0);
    for parameter in 0..p {
        let variance = lagged_product(groups, p, parameter, 0);
        if variance <= 0.0 {
            continue;
        }
        // Every parameter is weighted by the inverse of its own variance, so units do not matter.
        let r = (lagged_product(groups, p, parameter, 1) / variance).clamp(-CAP, CAP);
        let innovation = (1.0 - r * r).powi(2);
        above += 4.0 * r * r * innovation / ((1.0 - r).powi(6) * (1.0 + r).powi(2));
        below += innovation / (1.0 - r).powi(4);
    }
    lag_of(above / below, observations(groups, p))
}

fn newey_west_lag(groups: &[&[f64]], p: usize) -> usize {
    let rows = observations(groups, p);
    let first = (4.0 * (rows as f64 / 100.0).powf(2.0 / 9.0)) as usize;
    let (mut above, mut below) = (0.0, 0.0);
    for parameter in 0..p {
        let variance = lagged_product(groups, p, parameter, 0);
        if variance <= 0.0 {
            continue;
        }
        let (mut s0, mut s1) = (1.0, 0.0);
        for lag in 1..=first {
            let r = lagged_product(groups, p, parameter, lag) / variance;
            s0 += 2.0 * r;
            s1 += 2.0 * lag as f64 * r;
        }
        above += s1 * s1;
        below += s0 * s0;
    }
    lag_of(above / below, rows)
}

#[cfg(test)]
mod tests;
