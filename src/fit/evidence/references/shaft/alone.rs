//! Sensors on the shaft where nothing else gives the back-EMF constant: each must follow the speed that voltage and current show, whatever the
//! constant. A counter that begins again, lost counts or a channel of another capture must not bend the fit.

use super::super::group::Group;
use super::super::reading_term::ReadingTerm;
use super::super::term::Term;
use super::beside::{deviation, of_captures};
use super::term::ShaftTerm;
use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::joint::preliminary_fit::PreliminaryFit;
use crate::fit::model::{CaptureModel, Prediction};
use crate::fit::references::tables::{BalanceOf, Residual};
use crate::fit::unknowns::Entry;
use crate::fit::wording::{Contradiction, Remark, RemarkKind};

/// Share of the angle by which a sensor may depart from the plain motor, which still lacks the terms that bend it (common practice, no source).
const SHARE_LEFT: f64 = 0.05;

/// Standard uncertainty of ln K of which nothing is known.
const UNKNOWN: f64 = 10.0;

/// Sensors that follow the plain motor, and the constant that the first of them makes.
#[derive(Default)]
pub struct SensorsAlone {
    pub terms: Vec<ReadingTerm>,
    /// ln of the constant, V·s/rad.
    pub log_constant: Option<f64>,
    /// Sensors that do not follow it, with which the fit goes without.
    pub confrontations: Vec<Confrontation>,
}

/// Sorts the terms of each capture by whether they follow the plain motor, each with a constant of its own.
pub fn sensors_alone(
    terms: Vec<ShaftTerm>,
    constant: Entry,
    preliminary: &PreliminaryFit<'_>,
    predictions: &[Prediction],
    models: &[CaptureModel],
) -> SensorsAlone {
    let mut out = SensorsAlone::default();
    for group in of_captures(terms) {
        let rows: Vec<Term> = group
            .iter()
            .map(|t| t.evaluate(preliminary.x, predictions))
            .collect();
        // Angles that the sensor shows and the model has, in standard deviations.
        let angles: Vec<(f64, f64)> = group
            .iter()
            .zip(&rows)
            .map(|(t, row)| {
                (
                    t.turned_rad / t.sd_rad,
                    t.turned_rad / t.sd_rad - row.residual,
                )
            })
            .collect();
        let sum = |of: fn(&(f64, f64)) -> f64| angles.iter().map(of).sum::<f64>();
        let factor = sum(|(shown, model)| shown * model) / sum(|(_, model)| model * model);
        let left = angles
            .iter()
            .map(|(shown, model)| (shown - factor * model).powi(2));
        let share = (left.sum::<f64>() / sum(|(shown, _)| shown * shown)).sqrt();
        let mut x = preliminary.x.clone();
        x[constant] -= factor.max(f64::MIN_POSITIVE).ln();
        let mut covariance = preliminary.covariance.clone();
        covariance[constant.diagonal()] += UNKNOWN * UNKNOWN;
        let scaled = PreliminaryFit {
            x: &x,
            covariance,
            voltage_share: preliminary.voltage_share,
        };
        let rows: Vec<Term> = group.iter().map(|t| t.evaluate(&x, predictions)).collect();
        let deviation = match factor > 0.0 && share.is_finite() {
            true if share <= SHARE_LEFT => 0.0,
            true => deviation(&rows, constant, &scaled),
            false => f64::INFINITY,
        };
        let line = followed(&group, models, deviation, share);
        if line.in_conflict() {
            out.confrontations.push(line);
        } else {
            out.log_constant = out.log_constant.or(Some(x[constant]));
            out.terms.extend(group.into_iter().map(ReadingTerm::Shaft));
        }
    }
    out
}

/// Whether a sensor follows the motor, and what it means where it does not.
fn followed(
    group: &[ShaftTerm],
    models: &[CaptureModel],
    deviation: f64,
    share: f64,
) -> Confrontation {
    let (name, channel) = (&models[group[0].model].name, &group[0].name);
    Confrontation::with_deviation(
        EvidenceKind::SpeedReference,
        format!("{channel} ({name})"),
        deviation,
        || Contradiction::SensorCourse {
            capture: name.clone(),
            channel: channel.to_string(),
            share,
        },
    )
}

/// What to know where one channel alone gives the constant: a factor in it shows nowhere.
pub fn unchecked_sensor(readings: &[ReadingTerm]) -> Option<Remark> {
    let mut channel: Option<&str> = None;
    for reading in readings {
        let shown = match (reading, reading.group()) {
            (ReadingTerm::Shaft(term), Some(Group::Shaft(_))) => &*term.name,
            (ReadingTerm::Resistance(_) | ReadingTerm::Inductance(_), _) => continue,
            (ReadingTerm::Row(row), _) if is_blind(&row.what) => continue,
            _ => return None,
        };
        if channel.is_some_and(|other| other != shown) {
            return None;
        }
        channel = Some(shown);
    }
    let channel = channel?.to_owned();
    Some(RemarkKind::SensorAlone { channel }.of_bench())
}

/// A row that says nothing of speed or torque.
fn is_blind(what: &Residual) -> bool {
    match what {
        Residual::Inductance(_) => true,
        Residual::Balance(balance) => balance.held && balance.of == BalanceOf::Voltage,
    }
}
