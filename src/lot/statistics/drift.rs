//! Does a parameter change along the order of measurement? A straight line through the lot, outliers left out.

use super::random_effects::fit;
use super::series::Series;
use crate::stats::quantiles::student_t_quantile;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Fewest motors through which a line is laid.
const LEAST: usize = 5;

/// A trend in order of measurement. With [`Series::relative`] relative to the mean, else in the unit of the parameter.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Drift {
    /// Change from the first motor measured to the last.
    pub change: f64,
    pub change_uncertainty: f64,
    /// Interval of `change` at the level of the lot.
    pub lower: f64,
    pub upper: f64,
    /// Change a unit of the order.
    pub slope: f64,
    pub slope_uncertainty: f64,
    /// Two-sided probability of such a slope without a drift.
    pub p_value: f64,
    /// Least rate of false findings over all parameters at which it counts.
    pub false_discovery_rate: f64,
}

/// The trend over the motors for which `counts` is true; `false_discovery_rate` is still the p-value.
pub(crate) fn drift(series: &Series, counts: &[bool], level: f64) -> Option<Drift> {
    let sample = series.sample(counts, true);
    let found = fit(&sample).filter(|_| sample.values.len() >= LEAST)?;
    let (slope, uncertainty) = found.slope?;
    let orders = sample.orders?;
    let first = orders.iter().copied().fold(f64::INFINITY, f64::min);
    let last = orders.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let degrees = found.degrees_of_freedom as f64;
    let student = StudentsT::new(0.0, 1.0, degrees).ok()?;
    let p_value = 2.0 * student.cdf(-(slope / uncertainty).abs());
    let (change, of_change) = (slope * (last - first), uncertainty * (last - first));
    let reach = student_t_quantile(0.5 + 0.5 * level, degrees) * of_change;
    Some(Drift {
        change,
        change_uncertainty: of_change,
        lower: change - reach,
        upper: change + reach,
        slope,
        slope_uncertainty: uncertainty,
        p_value,
        false_discovery_rate: p_value,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::motors::lot;

    #[test]
    fn a_drift_is_found_and_its_interval_holds_the_truth_as_often_as_it_says() {
        let mut held = 0;
        let lots = 300;
        for seed in 0..lots {
            let gathered = lot(30, 400 + seed, |k, _| 0.1 * k as f64 / 29.0);
            let series = &gathered.series[0];
            let found = drift(series, &[true; 30], 0.95).unwrap();
            held += u32::from(found.lower <= 0.1 && 0.1 <= found.upper);
        }
        // Binomial at 0.95: standard deviation 3.8 of 300.
        assert!((273..=297).contains(&held), "{held}");
    }
}
