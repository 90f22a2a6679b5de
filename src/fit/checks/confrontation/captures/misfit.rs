//! Residuals of each capture beside the size of its own signal.
//!
//! The weights of the rows come from the residuals themselves, so that a capture which the model cannot follow only gets little weight and
//! chi-squared shows nothing of it. Here the residuals are averaged over stretches, which takes noise and ripple out, and what is left is compared with what was
//! recorded. Limits: those of sound drawn benches, see [`LARGEST`].

use super::super::item::capture_item;
use crate::bench::Role;
use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::estimate::Estimate;
use crate::fit::model::Prediction;
use crate::fit::wording::Contradiction;
use crate::fit::{Quantity, Row};

/// Stretches of a segment over which residuals are averaged.
const STRETCHES: usize = 12;

/// Rows below which a channel shows no course.
const LEAST_ROWS: usize = 12;

/// Systematic part of the residuals over the signal (root mean squares) that counts as five standard uncertainties, of voltage and current: in
/// captures of a transient, and in those that show little more than a no-load current and its ripple.
const LARGEST: [[f64; 2]; 2] = [[0.10, 0.25], [0.10, 0.60]];

/// What a channel of a capture leaves unexplained.
#[derive(Clone, Copy, Debug)]
pub struct Misfit {
    pub quantity: Quantity,
    /// Root mean square of the averaged residuals, V or A.
    pub systematic: f64,
    /// Root mean square of what was recorded, V or A.
    pub signal: f64,
    /// Share that counts as five standard uncertainties.
    largest: f64,
}

impl Misfit {
    /// Systematic part over signal.
    pub fn share(&self) -> f64 {
        self.systematic / self.signal
    }

    /// In units in which five are a conflict.
    fn deviation(&self) -> f64 {
        5.0 * self.share() / self.largest
    }
}

/// The worse channel of each capture.
pub fn confront(estimate: &Estimate) -> Vec<(usize, Confrontation)> {
    let captures = estimate.predictions.iter().enumerate();
    captures
        .filter_map(|(k, prediction)| {
            let model = &estimate.problem.models[k];
            let worst = misfits(prediction, model.role)
                .into_iter()
                .max_by(|a, b| a.deviation().total_cmp(&b.deviation()))?;
            let name = &model.name;
            let line = Confrontation::with_deviation(
                EvidenceKind::Capture,
                capture_item(name),
                worst.deviation(),
                || contradiction(name, &worst),
            );
            Some((k, line))
        })
        .collect()
}

fn contradiction(name: &str, worst: &Misfit) -> Contradiction {
    let (channel, unit) = match worst.quantity {
        Quantity::Voltage => ("voltage", "V"),
        Quantity::Current => ("current", "A"),
    };
    Contradiction::Misfit {
        capture: name.to_owned(),
        channel,
        unit,
        systematic: worst.systematic,
        signal: worst.signal,
    }
}

/// Of each channel of a capture.
pub fn misfits(prediction: &Prediction, role: Role) -> Vec<Misfit> {
    let transient = matches!(
        role,
        Role::Start | Role::LockedRotor | Role::Brake | Role::TurnOff
    );
    [Quantity::Voltage, Quantity::Current]
        .into_iter()
        .filter_map(|quantity| of_channel(prediction, quantity, transient))
        .collect()
}

fn of_channel(prediction: &Prediction, quantity: Quantity, transient: bool) -> Option<Misfit> {
    let compared = prediction.rows.iter();
    let rows: Vec<&Row> = compared
        .filter(|r| r.quantity == quantity && r.zero_uncertainty.is_none())
        .collect();
    if rows.len() < LEAST_ROWS {
        return None;
    }
    let (mut systematic, mut count) = (0.0, 0.0);
    for segment in rows.chunk_by(|a, b| a.segment == b.segment) {
        let length = segment.len().div_ceil(STRETCHES);
        for stretch in segment.chunks(length) {
            let sum: f64 = stretch.iter().map(|r| r.predicted.value - r.recorded).sum();
            let rows = stretch.len() as f64;
            systematic += rows * (sum / rows).powi(2);
            count += rows;
        }
    }
    let signal: f64 = rows.iter().map(|r| r.recorded * r.recorded).sum();
    Some(Misfit {
        quantity,
        systematic: (systematic / count).sqrt(),
        signal: (signal / count).sqrt().max(1e-12),
        largest: LARGEST[usize::from(!transient)][quantity as usize],
    })
}
