//! A multivariate normal distribution of which some coordinates cannot lie below a bound: what least squares leave possible of
//! quantities that are not negative.
//!
//! ```text
//! p(y) ∝ exp(−½ yᵀ P y + hᵀ y)   where y_k ≥ l_k for every bounded k
//! ```
//! P (information, symmetric) may be singular: what the data leave open only together with others, such as two frictions whose sum they
//! fix, is then confined by the bounds alone. Mean, covariance and marginals by expectation propagation with one Gaussian site a bound
//! (Minka 2001, Proc. UAI 17, 362-369; for cut normals Cunningham, Hennig & Lacoste-Julien 2011, arXiv:1111.6832); without a bound
//! near, they are exact. Draws are exact whatever the approximation: it only proposes (independence chain, Tierney 1994, Annals of
//! Statistics 22, 1701-1762).

use crate::stats::StatsError;
use crate::stats::arrow::Inverse;
use crate::stats::covariance::NormalVectors;
use crate::stats::truncated::TruncatedNormal;
use nalgebra::{DMatrix, DVector};
use rand::Rng;

/// Share of the largest information, after scaling to a unit diagonal, below which a direction counts as unseen.
const UNSEEN: f64 = 1e-12;
/// Share below which what pulls along a direction is rounding, too.
const ROUNDING: f64 = 1e-10;
/// Rounds over all bounds before the approximation is taken as it is, and the relative change at which it has settled.
const MOST_ROUNDS: usize = 400;
const SETTLED: f64 = 1e-9;

/// Mean, covariance and what the bounds add to the information.
#[derive(Clone, Debug)]
pub struct CutNormal {
    /// Of the cut distribution.
    pub mean: DVector<f64>,
    /// Of the cut distribution.
    pub covariance: DMatrix<f64>,
    /// Information that each bound stands for; zero where none is near.
    pub site_information: DVector<f64>,
    /// With it: pull that each bound stands for.
    pub site_pull: DVector<f64>,
    lower: Vec<Option<f64>>,
    /// Marginal of each bounded coordinate without its own bound: centre and spread above the bound.
    cavities: Vec<Option<(f64, f64)>>,
}

impl CutNormal {
    /// `information` n × n, `pull` of length n, a lower bound or none for each coordinate. A coordinate without information (a zero
    /// on the diagonal) stays at zero with no variance.
    ///
    /// # Errors
    /// When shapes differ or an entry is not finite.
    pub fn new(
        information: &DMatrix<f64>,
        pull: &DVector<f64>,
        lower: &[Option<f64>],
    ) -> Result<Self, StatsError> {
        let n = pull.len();
        if information.shape() != (n, n) || lower.len() != n {
            return Err(StatsError::Dimension {
                what: "the information matrix",
                found: information.len(),
                expected: n * n,
            });
        }
        crate::stats::all_finite("information", information.as_slice())?;
        crate::stats::all_finite("pull", pull.as_slice())?;
        let seen = |k: &usize| information[(*k, *k)] > 0.0;
        let bounded: Vec<usize> = (0..n)
            .filter(seen)
            .filter(|&k| lower[k].is_some())
            .collect();
        let free: Vec<usize> = (0..n)
            .filter(seen)
            .filter(|&k| lower[k].is_none())
            .collect();
        let of_bounds = Sites::settle(Marginal::of(information, pull, &free, &bounded, lower));
        let mut out = CutNormal {
            lower: lower.to_vec(),
            ..CutNormal::nothing(n)
        };
        for (place, &k) in bounded.iter().enumerate() {
            let (scale, bound) = (of_bounds.marginal.scale[place], lower[k].unwrap_or(0.0));
            let site = of_bounds.information[place] * scale * scale;
            out.site_information[k] = site;
            out.site_pull[k] = of_bounds.pull[place] * scale + site * bound;
            let (centre, spread) = of_bounds.cavity(place);
            out.cavities[k] = Some((centre / scale, spread / scale));
        }
        let seen: Vec<usize> = (0..n).filter(seen).collect();
        let mut closed = information.clone();
        closed += DMatrix::from_diagonal(&out.site_information);
        out.covariance = inverse(&closed, &seen);
        out.mean = &out.covariance * (pull + &out.site_pull);
        Ok(out)
    }

    /// No knowledge of any of `n` coordinates: all stay at zero.
    pub fn nothing(n: usize) -> Self {
        CutNormal {
            mean: DVector::zeros(n),
            covariance: DMatrix::zeros(n, n),
            site_information: DVector::zeros(n),
            site_pull: DVector::zeros(n),
            lower: vec![None; n],
            cavities: vec![None; n],
        }
    }

    /// Marginal of a bounded coordinate, counted from its bound; `None` for one without a bound or without information.
    pub fn above_bound(&self, k: usize) -> Option<TruncatedNormal> {
        let (centre, spread) = self.cavities[k]?;
        Some(TruncatedNormal::above_zero(centre, spread))
    }

    /// How far the marginal's centre, without its own bound, lies above the bound in its spreads.
    pub fn clearance(&self, k: usize) -> Option<f64> {
        self.cavities[k].map(|(centre, spread)| centre / spread)
    }

    /// Draws vectors one after the other.
    ///
    /// # Errors
    /// When the covariance is none of a distribution.
    pub fn sampler(&self) -> Result<Sampler<'_>, StatsError> {
        Ok(Sampler {
            of: self,
            proposal: NormalVectors::new(self.mean.clone(), &self.covariance)?,
            at: None,
            proposed: self.mean.clone(),
            white: self.mean.clone(),
        })
    }

    /// Logarithm of the distribution over its approximation, up to a constant; `None` below a bound.
    fn log_weight(&self, y: &DVector<f64>) -> Option<f64> {
        let mut sum = 0.0;
        for (k, bound) in self.lower.iter().enumerate() {
            if bound.is_some_and(|bound| y[k] < bound && self.cavities[k].is_some()) {
                return None;
            }
            sum += y[k] * (0.5 * self.site_information[k] * y[k] - self.site_pull[k]);
        }
        Some(sum)
    }
}

/// Proposals refused in a row before the bounds are taken to be out of reach.
const MOST_REFUSALS: usize = 100_000;
/// Steps of the chain between two draws where bounds are near.
const THINNING: usize = 4;

/// A chain of draws.
#[derive(Clone, Debug)]
pub struct Sampler<'a> {
    of: &'a CutNormal,
    proposal: NormalVectors,
    /// The chain's last vector and its log weight.
    at: Option<(DVector<f64>, f64)>,
    /// The last proposal, and what it was made of.
    proposed: DVector<f64>,
    white: DVector<f64>,
}

impl Sampler<'_> {
    /// The next vector; `None` where the bounds are out of reach of what is proposed.
    pub fn draw(&mut self, random: &mut impl Rng) -> Option<DVector<f64>> {
        let plain = self.of.site_information.iter().all(|site| *site == 0.0);
        let steps = match (&self.at, plain) {
            (_, true) => 1,
            (Some(_), false) => THINNING,
            (None, false) => 10 * THINNING,
        };
        for _ in 0..steps {
            let weight = self.propose(random)?;
            let accepted = match &self.at {
                Some((_, before)) if !plain => {
                    let level: f64 = random.random();
                    level.ln() < weight - before
                }
                _ => true,
            };
            if accepted {
                let empty = || (self.white.clone(), weight);
                let (at, of_at) = self.at.get_or_insert_with(empty);
                std::mem::swap(at, &mut self.proposed);
                *of_at = weight;
            }
        }
        self.at.as_ref().map(|(y, _)| y.clone())
    }

    /// Makes a proposal inside the bounds and gives its log weight. What lies outside has none: refusing it here only shortens the chain's waits.
    fn propose(&mut self, random: &mut impl Rng) -> Option<f64> {
        (0..MOST_REFUSALS).find_map(|_| {
            self.proposal
                .draw_into(random, &mut self.white, &mut self.proposed);
            self.of.log_weight(&self.proposed)
        })
    }
}

/// What is known of the bounded coordinates, each counted from its bound and scaled to unit information of its own.
struct Marginal {
    information: DMatrix<f64>,
    pull: DVector<f64>,
    scale: Vec<f64>,
}

impl Marginal {
    fn of(
        information: &DMatrix<f64>,
        pull: &DVector<f64>,
        free: &[usize],
        bounded: &[usize],
        lower: &[Option<f64>],
    ) -> Self {
        let given = inverse(information, free);
        let scale: Vec<f64> = bounded
            .iter()
            .map(|&k| information[(k, k)].sqrt())
            .collect();
        let at_bounds = DVector::from_fn(pull.len(), |k, _| match lower[k] {
            Some(bound) if information[(k, k)] > 0.0 => bound,
            _ => 0.0,
        });
        let pull = pull - information * at_bounds;
        let followed = &given * &pull;
        let m = bounded.len();
        let left = DMatrix::from_fn(m, m, |a, b| {
            let (a, b) = (bounded[a], bounded[b]);
            let through = information.column(a).dot(&(&given * information.column(b)));
            information[(a, b)] - through
        });
        let scaled = DMatrix::from_fn(m, m, |a, b| {
            0.5 * (left[(a, b)] + left[(b, a)]) / (scale[a] * scale[b])
        });
        let pull = DVector::from_fn(m, |a, _| {
            let k = bounded[a];
            (pull[k] - information.column(k).dot(&followed)) / scale[a]
        });
        let (information, pull) = without_rounding(scaled, &pull);
        Marginal {
            information,
            pull,
            scale,
        }
    }
}

/// Directions that only rounding informs get next to no information and no pull.
fn without_rounding(scaled: DMatrix<f64>, pull: &DVector<f64>) -> (DMatrix<f64>, DVector<f64>) {
    if pull.is_empty() {
        return (scaled, pull.clone());
    }
    let eigen = scaled.symmetric_eigen();
    let vectors = &eigen.eigenvectors;
    let mut along = vectors.transpose() * pull;
    for (value, along) in eigen.eigenvalues.iter().zip(along.iter_mut()) {
        if *value < ROUNDING {
            *along = 0.0;
        }
    }
    let values = DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| v.max(UNSEEN)));
    (vectors * values * vectors.transpose(), vectors * along)
}

/// Expectation propagation: one Gaussian site a bound.
struct Sites {
    marginal: Marginal,
    information: DVector<f64>,
    pull: DVector<f64>,
    covariance: DMatrix<f64>,
    mean: DVector<f64>,
}

impl Sites {
    fn settle(marginal: Marginal) -> Self {
        let m = marginal.pull.len();
        let mut sites = Sites {
            marginal,
            information: DVector::zeros(m),
            pull: DVector::zeros(m),
            covariance: DMatrix::zeros(m, m),
            mean: DVector::zeros(m),
        };
        sites.update();
        for _ in 0..MOST_ROUNDS {
            let mut moved: f64 = 0.0;
            for k in 0..m {
                let (mean_before, spread_before) = sites.moments(k);
                sites.match_moments(k);
                let (mean, spread) = sites.moments(k);
                moved = moved.max(((mean - mean_before) / spread).abs());
                moved = moved.max((spread / spread_before - 1.0).abs());
            }
            if moved < SETTLED {
                break;
            }
        }
        sites
    }

    fn update(&mut self) {
        let all: Vec<usize> = (0..self.pull.len()).collect();
        let closed = &self.marginal.information + DMatrix::from_diagonal(&self.information);
        self.covariance = inverse(&closed, &all);
        self.mean = &self.covariance * (&self.marginal.pull + &self.pull);
    }

    /// Mean and standard deviation of coordinate k.
    fn moments(&self, k: usize) -> (f64, f64) {
        (self.mean[k], self.covariance[(k, k)].sqrt())
    }

    /// Centre and spread of coordinate k without its own bound.
    fn cavity(&self, k: usize) -> (f64, f64) {
        let variance = self.covariance[(k, k)];
        let information = (1.0 / variance - self.information[k]).max(UNSEEN / variance);
        let centre = (self.mean[k] / variance - self.pull[k]) / information;
        (centre, information.sqrt().recip())
    }

    /// Gives coordinate k the mean and variance that its bound leaves it.
    fn match_moments(&mut self, k: usize) {
        let (centre, spread) = self.cavity(k);
        let cut = TruncatedNormal::above_zero(centre, spread);
        let variance = cut.standard_deviation().powi(2);
        let (information, mean) = (1.0 / variance - 1.0 / (spread * spread), cut.mean());
        if !(information.is_finite() && mean.is_finite()) {
            return;
        }
        // A bound so far off that it changes nothing is none.
        let near = information * spread * spread > 1e-12;
        self.information[k] = if near { information } else { 0.0 };
        self.pull[k] = if near {
            mean / variance - centre / (spread * spread)
        } else {
            0.0
        };
        self.update();
    }
}

/// Inverse over some of the coordinates, zero elsewhere, symmetric to the last bit.
fn inverse(information: &DMatrix<f64>, over: &[usize]) -> DMatrix<f64> {
    let found = Inverse::over(information, over, UNSEEN).matrix();
    (&found + found.transpose()) * 0.5
}

#[cfg(test)]
mod tests;
