//! Motors that do not belong to the rest, with the reason.
//!
//! Every value is held against mean and spread of the others, `z = (x - mean)/√(τ² + u² + u_mean²)`, with the tail of Student's distribution. What
//! is found is left out of mean and spread, and all are judged again until nothing changes; the first judgement uses
//! median and median deviation, which outliers do not move. Over all parameters and motors the rate of false findings is
//! limited to [`RATE`] (see [`super::false_discovery`]).

use super::false_discovery::adjusted;
use super::random_effects::fit;
use super::series::Series;
use super::spread::median;
use crate::stats::robust::robust_standard_deviation;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Expected share of false ones among all findings.
pub const RATE: f64 = 0.05;
/// Fewest motors among which one can stand out.
const LEAST: usize = 5;
const ROUNDS: usize = 20;

/// One parameter of one motor that stands out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Row of the motor in the manifest.
    #[serde(skip)]
    pub row: u64,
    pub parameter: String,
    /// In the SI unit.
    pub value: f64,
    /// Distance from the mean in standard deviations, spread and measurement together.
    pub sigmas: f64,
    /// Least rate of false findings at which it counts.
    pub false_discovery_rate: f64,
}

/// Which values stand out, one flag a value of each series, and what stands out of which motor.
pub(crate) fn outliers(series: &[Series]) -> (Vec<Vec<bool>>, Vec<Finding>) {
    let mut flags: Vec<Vec<bool>> = series.iter().map(|s| vec![false; s.values.len()]).collect();
    let mut scores: Vec<Vec<f64>> = series.iter().map(robust_scores).collect();
    let mut rates = judge(series, &flags, &scores);
    for _ in 0..ROUNDS {
        let next: Vec<Vec<bool>> = rates
            .iter()
            .map(|of| of.iter().map(|rate| *rate <= RATE).collect())
            .collect();
        scores = series
            .iter()
            .zip(&next)
            .map(|(s, f)| plain_scores(s, f))
            .collect();
        rates = judge(series, &next, &scores);
        let same = next == flags;
        flags = next;
        if same {
            break;
        }
    }
    // What is said is what the last round found, so that flags and reasons agree.
    let mut found = Vec::new();
    for (s, one) in series.iter().enumerate() {
        for k in 0..one.values.len() {
            flags[s][k] = rates[s][k] <= RATE;
            if flags[s][k] {
                found.push(Finding {
                    row: one.rows[k],
                    parameter: one.name.key().to_owned(),
                    value: one.back(one.values[k]),
                    sigmas: scores[s][k],
                    false_discovery_rate: rates[s][k],
                });
            }
        }
    }
    (flags, found)
}

/// Distance of each value in units of what it may differ by: against median and median deviation.
fn robust_scores(series: &Series) -> Vec<f64> {
    if series.values.len() < LEAST {
        return vec![0.0; series.values.len()];
    }
    let centre = median(series.values.clone());
    let scale = robust_standard_deviation(&series.values).unwrap_or(0.0);
    let own = median(series.own.clone());
    let between = (scale * scale - own * own).max(0.0);
    scores(series, centre, between, 0.0)
}

/// The same against mean and spread of those that are not flagged.
fn plain_scores(series: &Series, flags: &[bool]) -> Vec<f64> {
    let counts: Vec<bool> = flags.iter().map(|flag| !flag).collect();
    let sample = series.sample(&counts, false);
    let found = fit(&sample).filter(|_| sample.values.len() >= LEAST - 1);
    match found {
        Some(found) => scores(series, found.mean, found.variance, found.mean_uncertainty),
        None => vec![0.0; flags.len()],
    }
}

fn scores(series: &Series, centre: f64, between: f64, of_mean: f64) -> Vec<f64> {
    series
        .values
        .iter()
        .zip(&series.own)
        .map(|(x, u)| {
            let deviation = (between + u * u + of_mean * of_mean).sqrt();
            (x - centre) / deviation
        })
        .collect()
}

/// Rates of false findings, over all series together.
fn judge(series: &[Series], flags: &[Vec<bool>], scores: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let mut p_values = Vec::new();
    for ((one, flags), scores) in series.iter().zip(flags).zip(scores) {
        let kept = flags.iter().filter(|f| !**f).count();
        let student = StudentsT::new(0.0, 1.0, kept.saturating_sub(1).max(1) as f64).ok();
        p_values.extend(scores.iter().map(|z| match &student {
            Some(student) if one.values.len() >= LEAST => 2.0 * student.cdf(-z.abs()),
            _ => 1.0,
        }));
    }
    let mut rates = adjusted(&p_values).into_iter();
    series
        .iter()
        .map(|one| rates.by_ref().take(one.values.len()).collect())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::motors::lot;

    #[test]
    fn a_strange_motor_is_found_with_its_parameter_and_the_others_are_left_alone() {
        let gathered = lot(
            40,
            11,
            |k, parameter| {
                if k == 17 && parameter == 1 { 0.30 } else { 0.0 }
            },
        );
        let (flags, found) = outliers(&gathered.series);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].row, 17);
        assert_eq!(found[0].parameter, "armature_inductance");
        assert!(found[0].sigmas > 4.0);
        assert_eq!(flags[1].iter().filter(|f| **f).count(), 1);
        assert!(flags[1][17]);
    }

    #[test]
    fn several_strange_motors_do_not_hide_each_other() {
        let gathered = lot(40, 5, |k, parameter| {
            if k % 10 == 3 && parameter == 0 {
                0.4
            } else {
                0.0
            }
        });
        let (flags, found) = outliers(&gathered.series);
        assert_eq!(found.len(), 4, "{found:?}");
        assert!([3, 13, 23, 33].iter().all(|&k| flags[0][k]));
    }

    #[test]
    fn a_plain_lot_seldom_has_any() {
        // At this rate a lot of which nothing is strange shows anything at all once in twenty (a global null makes every
        // finding false): 200 lots would show 10 with a standard deviation of 3.1.
        let showing = (0..200u64)
            .filter(|seed| {
                !outliers(&lot(25, 1000 + seed, |_, _| 0.0).series)
                    .1
                    .is_empty()
            })
            .count();
        assert!(showing <= 22, "{showing}");
    }

    #[test]
    fn few_motors_say_nothing() {
        let gathered = lot(4, 3, |k, _| if k == 1 { 2.0 } else { 0.0 });
        assert!(outliers(&gathered.series).1.is_empty());
    }
}
