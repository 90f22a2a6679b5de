//! How much a parameter differs from motor to motor.

use super::random_effects::{fit, variance_interval};
use super::series::{Series, counted};
use serde::Serialize;

/// Fewest motors of which a spread is told.
pub(super) const LEAST: usize = 3;

/// Mean and spread of one parameter over a lot, outliers left out. With [`Series::relative`] all but the mean are relative
/// to the mean, else in the unit of the parameter.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Spread {
    /// Motors that count.
    pub motors: usize,
    /// Mean (relative: geometric) in the SI unit.
    pub mean: f64,
    /// Of the mean, the part common to all motors included.
    pub mean_uncertainty: f64,
    /// Standard deviation between motors, the measurement's own part taken out.
    pub deviation: f64,
    /// Interval of `deviation` at the level of the lot.
    pub deviation_lower: f64,
    pub deviation_upper: f64,
    /// Standard deviation as the values stand.
    pub observed_deviation: f64,
    /// Median of the motors' own standard uncertainties.
    pub own_uncertainty: f64,
    /// Median of what their uncertainties have in common: the gains of the instruments.
    pub common_uncertainty: f64,
}

/// Spread over the motors for which `counts` is true. `None` with fewer than three, or values that cannot be weighed.
pub(crate) fn spread(series: &Series, counts: &[bool], level: f64) -> Option<Spread> {
    let sample = series.sample(counts, false);
    let found = fit(&sample).filter(|_| sample.values.len() >= LEAST)?;
    let (lower, upper) = variance_interval(&sample, level)?;
    let values = &sample.values;
    let plain = values.iter().sum::<f64>() / values.len() as f64;
    let squares: f64 = values.iter().map(|x| (x - plain).powi(2)).sum();
    let common = median(counted(&series.common, counts).collect());
    let mean = series.back(found.mean);
    let scale = if series.relative { mean } else { 1.0 };
    Some(Spread {
        motors: values.len(),
        mean,
        mean_uncertainty: scale * found.mean_uncertainty.hypot(common),
        deviation: found.variance.sqrt(),
        deviation_lower: lower.sqrt(),
        deviation_upper: upper.sqrt(),
        observed_deviation: (squares / (values.len() - 1) as f64).sqrt(),
        own_uncertainty: median(counted(&series.own, counts).collect()),
        common_uncertainty: common,
    })
}

/// Median of finite values; 0 for none.
pub(super) fn median(values: Vec<f64>) -> f64 {
    crate::stats::robust::median(&values).unwrap_or(0.0)
}
