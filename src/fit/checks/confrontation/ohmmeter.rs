//! An ohmmeter beside the resistance that the captures show.
//!
//! It may read more than R, never less: its small current leaves a carbon contact far from its plateau. So a meter that reads less
//! contradicts at once, one that reads more only beyond what its brushes make usual.

use super::deletion::{Point, leverage};
use super::item::Predicted;
use crate::bench::Stated;
use crate::fit::estimate::Estimate;
use crate::fit::references::ResistanceTerm;
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k};

/// Standard uncertainty (relative) above which the captures do not know the resistance by themselves.
const KNOWN: f64 = 0.3;

/// What the captures say of the resistance, at a minimum that the meter has helped to make.
pub fn predicted_within(
    estimate: &Estimate,
    meter: &ResistanceTerm,
    at: &Point,
) -> Option<Predicted> {
    let row = meter.evaluate(&at.x)?;
    let left = 1.0 - leverage(&at.covariance, &row.gradient);
    if left < 1e-9 {
        return None;
    }
    // Taking the row out moves R by C g r/(1 − h) and adds (C g)²/(1 − h) to its variance.
    let column: f64 = row
        .gradient
        .iter()
        .map(|&(entry, by)| at.covariance[meter.resistance.with(entry)] * by)
        .sum();
    let log_ohm = at.x[meter.resistance] + column * row.residual / left;
    let variance = at.covariance[meter.resistance.diagonal()] + column * column / left;
    compared(estimate, meter, log_ohm, variance)
}

/// The same at a minimum without the meter.
pub fn predicted_without(
    estimate: &Estimate,
    meter: &ResistanceTerm,
    at: &Point,
) -> Option<Predicted> {
    if at.unseen.contains(&meter.resistance) {
        return None;
    }
    let variance = at.covariance[meter.resistance.diagonal()];
    compared(estimate, meter, at.x[meter.resistance], variance)
}

fn compared(
    estimate: &Estimate,
    meter: &ResistanceTerm,
    log_ohm: f64,
    variance: f64,
) -> Option<Predicted> {
    let captures_sd = variance.max(0.0).sqrt();
    if captures_sd >= KNOWN {
        return None;
    }
    let reference = estimate.temperature_c.unwrap_or(Stated {
        value: REFERENCE_C,
        standard_uncertainty: 0.0,
    });
    let per_k = copper_coefficient_per_k(reference.value);
    let sd = captures_sd
        .hypot(meter.relative_sd)
        .hypot(per_k * reference.standard_uncertainty)
        .hypot(per_k * meter.temperature_sd_k);
    // ln of the meter's reading, brought to the captures' temperature, over their resistance.
    let log_ratio = meter.ohm.ln() - meter.temperature_ratio.ln() - log_ohm;
    let usual = estimate.problem.layout[meter.excess].prior?.1;
    let (deviation, spread) = if log_ratio < 0.0 {
        (log_ratio / sd, sd)
    } else {
        let spread = usual.hypot(log_ratio.exp() * sd);
        (log_ratio.exp_m1() / spread, spread)
    };
    Some(Predicted {
        deviation,
        residual: -log_ratio / meter.relative_sd,
        spread: spread / meter.relative_sd,
    })
}
