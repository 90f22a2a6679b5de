//! Which items disagree: the worst is taken out and the fit repeated, until the rest agree.
//!
//! One wrong item bends the fit and makes sound ones look off. With the worst out of the way each of the others is compared with what
//! sound ones predict.

use super::contradict;
use super::deletion::{Dropped, Point, without};
use super::group;
use super::item::{Item, Predicted, items};
use super::ohmmeter;
use super::sides::{Side, capture_sides, reading_sides};
use crate::bench::Bench;
use crate::fit::confrontation::{Agreement, Confrontation, EvidenceKind};
use crate::fit::estimate::Estimate;
use crate::fit::references::ReadingTerm;
use crate::fit::unknowns::ParameterKind;
use crate::fit::wording::Contradiction;
use std::sync::Arc;

/// First-order deviation from which the fit is repeated without the item.
const REFIT: f64 = 2.5;
/// A deviation just beyond that.
const JUST_REFIT: f64 = 1.01 * REFIT;
/// Weight of an instrument's deviation beside that of a reading when the worst is chosen (common practice, no source).
const INSTRUMENT: f64 = 0.5;
/// Most such fits.
const MOST_REFITS: usize = 5;

/// Pull of a gain or zero, in its own stated standard uncertainties, that is worth a line.
const PUSHED: f64 = 2.0;

/// What the search found.
#[derive(Default)]
pub struct Found {
    pub confrontations: Vec<Confrontation>,
    /// Where the parameters go with either side of a conflict.
    pub sides: Vec<Side>,
}

/// Compares every reading, speed reference and stated accuracy with what the others predict of it. `departure`: share of a voltage by which the
/// model departs from the records for as long as a stretch lasts.
pub fn search(estimate: &mut Estimate, bench: &Bench, departure: f64) -> Found {
    let all = items(&estimate.problem, bench);
    let mut search = Search {
        bench,
        departure,
        left: (0..all.len()).collect(),
        out: Vec::new(),
        at: full_fit(estimate),
        results: vec![None; all.len()],
        sides: Vec::new(),
        all,
    };
    for _ in 0..MOST_REFITS {
        if !search.take_worst(estimate) {
            break;
        }
    }
    search.conclude(estimate)
}

struct Search<'a> {
    bench: &'a Bench,
    departure: f64,
    all: Vec<Item>,
    /// Items not yet fitted without.
    left: Vec<usize>,
    /// Items in conflict, with which the fit at `at` goes without.
    out: Vec<usize>,
    at: Point,
    results: Vec<Option<Predicted>>,
    sides: Vec<Side>,
}

impl Search<'_> {
    /// First-order comparison of an item with the others at the present point.
    fn first_order(&self, estimate: &Estimate, item: &Item) -> Option<Predicted> {
        let at = &self.at;
        if let Some(ReadingTerm::Resistance(meter)) = &item.term {
            return ohmmeter::predicted_within(estimate, meter, at);
        }
        if !item.members.is_empty() {
            return group::predicted_within(&item.members, at);
        }
        item.predicted_within(&estimate.problem, at, self.departure)
    }

    /// Fits without the worst of the items left; false where all of them agree.
    fn take_worst(&mut self, estimate: &mut Estimate) -> bool {
        let deviations = self.left.iter().map(|&k| {
            let found = self.first_order(estimate, &self.all[k]);
            // An ohmmeter may have bent the fit until the captures no longer know the resistance: only a fit without it shows.
            let bent = matches!(self.all[k].term, Some(ReadingTerm::Resistance(_)));
            let unknown = if bent { JUST_REFIT } else { 0.0 };
            (k, found.map_or(unknown, |p| p.deviation.abs()))
        });
        // A gain that is pushed stands between two readings that contradict each other: a reading comes before it.
        let weight = |k: usize| match self.all[k].dropped {
            Dropped::Prior(_) => INSTRUMENT,
            _ => 1.0,
        };
        let worst = deviations
            .filter(|(_, d)| *d > REFIT)
            .map(|(k, d)| (k, weight(k) * d))
            .reduce(|a, b| if b.1 > 1.02 * a.1 { b } else { a });
        let Some((worst, _)) = worst else {
            return false;
        };
        self.left.retain(|&k| k != worst);
        let mut dropped: Vec<Dropped> = self.out.iter().map(|&k| self.all[k].dropped).collect();
        dropped.push(self.all[worst].dropped);
        let item = &self.all[worst];
        let Some(point) = without(estimate, self.bench, &dropped) else {
            self.results[worst] = self.first_order(estimate, item);
            return true;
        };
        let predicted = match &item.term {
            Some(ReadingTerm::Resistance(meter)) => {
                ohmmeter::predicted_without(estimate, meter, &point)
            }
            None if !item.members.is_empty() => group::predicted_without(&item.members, &point),
            _ => item.predicted_without(&estimate.problem, &point, self.departure),
        };
        self.results[worst] = predicted;
        if predicted.is_some_and(|p| Agreement::of(p.deviation) > Agreement::Agrees) {
            if predicted.is_some_and(|p| Agreement::of(p.deviation) == Agreement::InConflict) {
                let sides = if item.members.is_empty() {
                    let row = item.row(&estimate.problem, &point);
                    reading_sides(&point, row.as_ref())
                } else {
                    capture_sides(estimate, &point)
                };
                self.sides.extend(sides);
            }
            self.out.push(worst);
            self.at = point;
        }
        true
    }

    fn conclude(mut self, estimate: &Estimate) -> Found {
        for k in self.left.clone() {
            self.results[k] = self.first_order(estimate, &self.all[k]);
        }
        let confrontations = (0..self.all.len())
            .filter_map(|k| self.confrontation(estimate, k))
            .collect();
        Found {
            confrontations,
            sides: self.sides,
        }
    }

    /// One line; of an instrument only where it is pushed.
    fn confrontation(&self, estimate: &Estimate, k: usize) -> Option<Confrontation> {
        let (item, predicted) = (&self.all[k], self.results[k]);
        if !item.members.is_empty() {
            let Some(predicted) = predicted else {
                return Some(Confrontation::alone(item.kind, item.name.clone()));
            };
            return Some(Confrontation::with_deviation(
                item.kind,
                item.name.clone(),
                predicted.deviation,
                || Contradiction::Readings {
                    item: item.name.clone(),
                    deviation: predicted.deviation,
                },
            ));
        }
        let Some(term) = &item.term else {
            return self.of_prior(estimate, item, predicted?);
        };
        let (value, sign, unit) = term.value();
        let alone = Confrontation::alone(item.kind, item.name.clone());
        let Some(predicted) = predicted else {
            return Some(alone.with_values(value, None, None, unit));
        };
        let sd = term.relative_sd();
        let model = value * (sign * predicted.residual * sd).exp();
        let others = self.others(k);
        let line = Confrontation::with_deviation(
            item.kind,
            item.name.clone(),
            predicted.deviation,
            || contradict::of_reading(estimate, term, predicted, model, &others),
        );
        Some(line.with_values(
            value,
            Some(model),
            Some(model * predicted.spread * sd),
            unit,
        ))
    }

    fn of_prior(
        &self,
        estimate: &Estimate,
        item: &Item,
        predicted: Predicted,
    ) -> Option<Confrontation> {
        let Dropped::Prior(entry) = item.dropped else {
            return None;
        };
        let (mean, sd) = estimate.problem.layout[entry].prior?;
        let pushed = (estimate.solution.x[entry] - mean) / sd;
        let agreement = Agreement::of(predicted.deviation);
        let worth_a_line = match item.kind {
            EvidenceKind::SpeedReference => true,
            EvidenceKind::Contact => false,
            _ => pushed.abs() > PUSHED,
        };
        if agreement == Agreement::Agrees && !worth_a_line {
            return None;
        }
        let needed = mean + predicted.residual * sd;
        let (stated, model, scale, unit) =
            contradict::stated_entry(estimate, self.bench, entry, needed);
        let line = Confrontation::with_deviation(
            item.kind,
            item.name.clone(),
            predicted.deviation,
            || {
                let (name, share) = (item.name.clone(), needed / sd);
                let deviation = predicted.deviation;
                match item.kind {
                    EvidenceKind::SpeedReference => Contradiction::Attached {
                        item: name,
                        share,
                        deviation,
                    },
                    EvidenceKind::Contact => Contradiction::Contact {
                        drop_v: brush_drop(estimate),
                        flat_from_a: model,
                        usual_a: stated,
                        deviation,
                    },
                    _ => Contradiction::Instrument {
                        item: name,
                        share,
                        deviation,
                    },
                }
            },
        );
        Some(line.with_values(
            stated,
            Some(model),
            Some(scale * predicted.spread * sd),
            unit,
        ))
    }

    /// Names of what a speed reference is compared with.
    fn others(&self, k: usize) -> Vec<(String, ReadingTerm)> {
        let same = |item: &&Item| item.kind == self.all[k].kind && item.name != self.all[k].name;
        self.all
            .iter()
            .enumerate()
            .filter(|(j, _)| !self.out.contains(j))
            .map(|(_, item)| item)
            .filter(same)
            .filter_map(|item| Some((item.name.clone(), item.term.clone()?)))
            .collect()
    }
}

/// Fitted brush drop, V.
fn brush_drop(estimate: &Estimate) -> f64 {
    let entry = estimate.problem.layout.find(&ParameterKind::BrushDrop);
    entry.map_or(0.0, |entry| estimate.solution.x[entry])
}

/// The fit with everything.
pub fn full_fit(estimate: &Estimate) -> Point {
    Point {
        x: estimate.solution.x.clone(),
        covariance: estimate.covariance.conditional().clone(),
        predictions: Arc::clone(&estimate.predictions),
        unseen: Vec::new(),
    }
}
