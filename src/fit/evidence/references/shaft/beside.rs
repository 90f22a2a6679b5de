//! Sensors on the shaft beside other speed references: each takes part where it agrees with what the fit says without it.
//!
//! A sensor weighs so much that a wrong count of its lines would bend the whole fit, and the weights of the rows with it. So where something
//! else gives the back-EMF constant, the plain motor is fitted without sensors first.

use super::super::reading_term::ReadingTerm;
use super::super::term::Term;
use super::term::ShaftTerm;
use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::joint::preliminary_fit::PreliminaryFit;
use crate::fit::model::{CaptureModel, Prediction};
use crate::fit::unknowns::Entry;
use crate::fit::wording::Contradiction;
use crate::stats::chi_squared::normal_equivalent;
use nalgebra::{DMatrix, DVector};

/// Relative standard uncertainty of a constant that a sensor in conflict makes (common practice, no source).
const CONSTANT_SD: f64 = 0.01;

/// What the sensors add.
#[derive(Default)]
pub struct ShaftReferences {
    pub terms: Vec<ReadingTerm>,
    /// Sensors that contradict the other references, with which the fit goes without.
    pub confrontations: Vec<Confrontation>,
    /// ln of the constants that those make, with their standard uncertainties.
    pub constants: Vec<(f64, f64)>,
}

/// Sorts the terms of each capture by whether they agree with the preliminary fit.
pub fn shaft_references_beside(
    terms: Vec<ShaftTerm>,
    constant: Entry,
    preliminary: &PreliminaryFit<'_>,
    predictions: &[Prediction],
    models: &[CaptureModel],
) -> ShaftReferences {
    let mut out = ShaftReferences::default();
    for group in of_captures(terms) {
        let model = group[0].model;
        let rows = group.iter().map(|t| t.evaluate(preliminary.x, predictions));
        let rows: Vec<Term> = rows.collect();
        let deviation = deviation(&rows, constant, preliminary);
        let recorded: f64 = group.iter().map(|t| t.turned_rad).sum();
        let parts = group.iter().zip(&rows);
        let predicted: f64 = parts
            .map(|(t, row)| t.turned_rad - row.residual * t.sd_rad)
            .sum();
        let ratio = recorded / predicted;
        let (name, channel) = (models[model].name.clone(), group[0].name.clone());
        let line = Confrontation::with_deviation(
            EvidenceKind::SpeedReference,
            format!("{channel} ({name})"),
            deviation,
            || Contradiction::SensorConstant {
                capture: name.clone(),
                channel: channel.to_string(),
                ratio,
                deviation,
            },
        );
        if line.in_conflict() {
            if ratio > 0.0 {
                let log_constant = preliminary.x[constant] - ratio.ln();
                out.constants.push((log_constant, CONSTANT_SD));
            }
            out.confrontations.push(line);
        } else {
            out.terms.extend(group.into_iter().map(ReadingTerm::Shaft));
        }
    }
    out
}

/// The terms of each capture, which come one behind the other.
pub(super) fn of_captures(terms: Vec<ShaftTerm>) -> Vec<Vec<ShaftTerm>> {
    let mut out: Vec<Vec<ShaftTerm>> = Vec::new();
    for term in terms {
        match out.last_mut().filter(|group| group[0].model == term.model) {
            Some(group) => group.push(term),
            None => out.push(vec![term]),
        }
    }
    out
}

/// Of the residuals `r`, whose covariance is `1 + G (C + m² k kᵀ) Gᵀ`: C of the fit, m the share of a voltage that the model misses, which moves
/// every back-EMF as ln K does.
pub(super) fn deviation(rows: &[Term], constant: Entry, preliminary: &PreliminaryFit<'_>) -> f64 {
    let n = preliminary.x.len();
    let slopes: Vec<DVector<f64>> = rows.iter().map(|row| row.gradient_vector(n)).collect();
    let slopes = DMatrix::from_columns(&slopes);
    let mut spread = preliminary.covariance.clone();
    spread[constant.diagonal()] += preliminary.voltage_share * preliminary.voltage_share;
    let identity = DMatrix::identity(rows.len(), rows.len());
    let covariance = identity + slopes.transpose() * spread * &slopes;
    let residuals = DVector::from_iterator(rows.len(), rows.iter().map(|row| row.residual));
    let solved = covariance.cholesky().map(|c| c.solve(&residuals));
    let chi_squared = solved.map_or(f64::INFINITY, |solved| solved.dot(&residuals));
    normal_equivalent(chi_squared, rows.len() as f64)
}
