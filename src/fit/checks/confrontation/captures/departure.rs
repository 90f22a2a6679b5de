//! Each capture with a scale of its own: how far its resistance, its current or its voltage departs from what all others have.
//!
//! To first order the capture's own part of the normal equations tells it. An entry t that acts in capture k alone as the shared entry p does
//! everywhere has the score `g_k[p]` and the information `S = N_k[pp] − N_k[p·] C N_k[·p]` (score test, C. R. Rao, Mathematical
//! Proceedings of the Cambridge Philosophical Society 44 (1948) 50-57). What departs far has bent the fit and its weights, so that the fit is
//! repeated with that entry free.

use super::super::deletion::{Dropped, Point, without};
use crate::bench::Bench;
use crate::fit::confrontation::Agreement;
use crate::fit::estimate::Estimate;
use crate::fit::unknowns::{Direction, ParameterKind};
use crate::fit::wording::{Contradiction, OwnScale};
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k};
use std::cmp::Ordering;

/// First-order departure, in standard uncertainties, from which the fit is repeated with it free.
const REFIT: f64 = 2.0;

/// Most captures for which it is repeated.
const MOST_REFITS: usize = 3;

/// Share of a capture's largest first-order departure from which another scale explains it about as well.
const AS_GOOD: f64 = 0.8;

/// Share by which captures of one motor may differ beside their noise: contact, rotor position and iron from one record to the next (common
/// practice, no source).
const USUAL: f64 = 0.01;

const SCALES: [(OwnScale, Direction); 3] = [
    (OwnScale::Resistance, Direction::RESISTANCE),
    (OwnScale::Current, Direction::CURRENT_GAIN),
    (OwnScale::Voltage, Direction::VOLTAGE_GAIN),
];

/// How far a capture departs in one of its scales, to first order.
#[derive(Clone, Copy, Debug)]
struct Departure {
    scale: OwnScale,
    direction: Direction,
    /// In standard uncertainties.
    deviation: f64,
}

/// A capture that departs, in a fit that lets it.
pub struct Departing {
    pub capture: usize,
    pub deviation: f64,
    pub contradiction: Contradiction,
    pub point: Point,
}

/// The captures that agree with the others only with another scale, as fits show in which they have it.
pub fn departing(estimate: &mut Estimate, bench: &Bench) -> Vec<Departing> {
    let first = |k| first_order(estimate, bench, k);
    let mut seen: Vec<(usize, Vec<Departure>)> = (0..estimate.problem.models.len())
        .map(|k| (k, first(k)))
        .filter(|(_, found)| found.first().is_some_and(|d| d.deviation.abs() > REFIT))
        .collect();
    seen.sort_by(|a, b| larger(&a.1[0], &b.1[0]));
    let mut out = Vec::new();
    for (k, found) in seen.into_iter().take(MOST_REFITS) {
        out.extend(refitted(estimate, bench, k, &found));
        // One that is in conflict has bent the others.
        let last: Option<&Departing> = out.last();
        if last.is_some_and(|d| Agreement::of(d.deviation) == Agreement::InConflict) {
            break;
        }
    }
    out
}

fn larger(a: &Departure, b: &Departure) -> Ordering {
    b.deviation.abs().total_cmp(&a.deviation.abs())
}

/// Those of a capture to first order, the largest first.
fn first_order(estimate: &Estimate, bench: &Bench, k: usize) -> Vec<Departure> {
    let model = &estimate.problem.models[k];
    let of_capture = estimate
        .problem
        .capture_equations(k, &estimate.predictions[k]);
    let covariance = estimate.covariance.conditional();
    let mut found: Vec<Departure> = SCALES
        .into_iter()
        .filter_map(|(scale, direction)| {
            let &(entry, _) = model.links[direction].first()?;
            let row = of_capture.normal.column(entry.index());
            let information = row[entry.index()] - row.dot(&(covariance * row));
            if information <= 0.0 {
                return None;
            }
            let log = -of_capture.gradient[entry] / information;
            let sd = (1.0 / information)
                .sqrt()
                .hypot(usual(estimate, bench, k, scale));
            Some(Departure {
                scale,
                direction,
                deviation: log / sd,
            })
        })
        .collect();
    found.sort_by(larger);
    found
}

/// Standard uncertainty (relative) of a capture's scale beside its noise.
fn usual(estimate: &Estimate, bench: &Bench, k: usize, scale: OwnScale) -> f64 {
    let stated = bench.captures[estimate.problem.models[k].capture].winding_temperature_c;
    match (scale, stated) {
        (OwnScale::Resistance, Some(here)) => {
            USUAL.hypot(copper_coefficient_per_k(here.value) * here.standard_uncertainty)
        }
        _ => USUAL,
    }
}

/// The largest of a capture's departures in fits with each that explains it about as well; `None` where it agrees there.
fn refitted(
    estimate: &mut Estimate,
    bench: &Bench,
    k: usize,
    first: &[Departure],
) -> Option<Departing> {
    let largest = first.first()?.deviation.abs();
    let as_good = first
        .iter()
        .filter(|d| d.deviation.abs() > AS_GOOD * largest);
    let mut fits: Vec<(OwnScale, Fitted)> = as_good
        .filter_map(|d| Some((d.scale, with_own_scale(estimate, bench, k, d)?)))
        .collect();
    fits.sort_by(|a, b| b.1.deviation.abs().total_cmp(&a.1.deviation.abs()));
    let mut fits = fits.into_iter();
    let (scale, fitted) = fits.next()?;
    let deviation = fitted.deviation;
    if Agreement::of(deviation) == Agreement::Agrees {
        return None;
    }
    let as_good = fits.filter(|(_, other)| other.deviation.abs() > AS_GOOD * deviation.abs());
    let model = &estimate.problem.models[k];
    let stated = bench.captures[model.capture].winding_temperature_c;
    let noted_c = stated.map_or(REFERENCE_C, |t| t.value);
    Some(Departing {
        capture: k,
        deviation,
        contradiction: Contradiction::OwnScale {
            capture: model.name.clone(),
            scale,
            factor: fitted.log.exp(),
            warmer_k: fitted.log.exp_m1() / copper_coefficient_per_k(noted_c),
            as_good: as_good.map(|(scale, _)| scale).collect(),
            deviation,
        },
        point: fitted.point,
    })
}

/// A fit in which a capture has a scale for itself.
struct Fitted {
    /// ln of that scale over the one of the others.
    log: f64,
    /// In standard uncertainties.
    deviation: f64,
    point: Point,
}

fn with_own_scale(
    estimate: &mut Estimate,
    bench: &Bench,
    k: usize,
    departure: &Departure,
) -> Option<Fitted> {
    let entry = estimate.problem.layout.find(&ParameterKind::OwnScale)?;
    let point = without(estimate, bench, &[Dropped::Scale(k, departure.direction)])?;
    let log = point.x[entry];
    let sd = point.covariance[entry.diagonal()].sqrt();
    Some(Fitted {
        log,
        deviation: log / sd.hypot(usual(estimate, bench, k, departure.scale)),
        point,
    })
}
