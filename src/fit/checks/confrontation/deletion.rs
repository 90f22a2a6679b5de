//! The estimate without one item of its evidence: to first order, or fitted again.
//!
//! With the covariance C of the fit, a row of residual r and derivatives g (in units of its standard deviation) has the leverage
//! `h = gᵀCg`, and its difference from what the others predict is `r/√(1 − h)` of its own standard uncertainties. A large one is not
//! linear, and it has bent the weights too: so the fit is repeated without the item, with the weights of its own residuals.

use crate::bench::Bench;
use crate::fit::estimate::Estimate;
use crate::fit::joint::descent::{CLOSE, COARSE, FINE, solve};
use crate::fit::joint::weights::reweigh;
use crate::fit::model::{Prediction, Waves};
use crate::fit::problem::Problem;
use crate::fit::references::{Group, ReadingTerm};
use crate::fit::solve::Solution;
use crate::fit::unknowns::{Direction, Entry, Links, ParameterKind};
use crate::stats::arrow::Inverse;
use nalgebra::{DMatrix, DVector};
use std::sync::Arc;

/// Information left, relative to before, below which an entry is only seen by what is left out.
const NOTHING_LEFT: f64 = 1e-9;

/// Trials of one descent.
const MOST_TRIALS: u64 = 40;

/// One item that is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Dropped {
    /// A reading or speed reference, by its place.
    Reading(usize),
    /// All residuals of a group.
    Group(Group),
    /// The stated accuracy of an entry.
    Prior(Entry),
    /// The rows of a capture.
    Capture(usize),
    /// That a capture has the same scale as all others.
    Scale(usize, Direction),
}

/// A minimum of the problem with the covariance of its entries.
pub struct Point {
    pub x: DVector<f64>,
    /// Zero for entries that nothing determines.
    pub covariance: DMatrix<f64>,
    pub predictions: Arc<Vec<Prediction>>,
    /// Entries that nothing else sees than what was left out.
    pub unseen: Vec<Entry>,
}

/// Leverage of a row with these derivatives.
pub fn leverage(covariance: &DMatrix<f64>, gradient: &[(Entry, f64)]) -> f64 {
    let mut sum = 0.0;
    for &(a, ga) in gradient {
        for &(b, gb) in gradient {
            sum += ga * gb * covariance[a.with(b)];
        }
    }
    sum.max(0.0)
}

/// The minimum without some items, under the weights of its own residuals; `None` where the fit without them does not end at a minimum.
pub fn without(estimate: &mut Estimate, bench: &Bench, dropped: &[Dropped]) -> Option<Point> {
    let kept = Kept::of(&estimate.problem);
    let solution = estimate.solution.clone();
    estimate.problem.allow_check();
    let found = refit(&mut estimate.problem, &solution, bench, dropped);
    estimate.problem.lift_bound();
    kept.restore(&mut estimate.problem);
    found
}

/// What a fit without an item changes in the problem.
struct Kept {
    readings: Vec<ReadingTerm>,
    deviations: Vec<Vec<f64>>,
    waves: Vec<Waves>,
    links: Vec<Links>,
    priors: Vec<Option<(f64, f64)>>,
    frozen: Vec<Option<f64>>,
}

impl Kept {
    fn of(problem: &Problem) -> Self {
        let layout = &problem.layout;
        Kept {
            readings: problem.readings.clone(),
            deviations: problem.deviations.clone(),
            waves: problem.models.iter().map(|m| m.waves.clone()).collect(),
            links: problem.models.iter().map(|m| m.links.clone()).collect(),
            priors: layout.parameters.iter().map(|p| p.prior).collect(),
            frozen: layout
                .entries()
                .map(|(entry, _)| problem.frozen_at(entry))
                .collect(),
        }
    }

    fn restore(self, problem: &mut Problem) {
        problem.readings = self.readings;
        problem.deviations = self.deviations;
        let of_models = self.waves.into_iter().zip(self.links);
        for (model, (waves, links)) in problem.models.iter_mut().zip(of_models) {
            model.waves = waves;
            model.links = links;
        }
        for (parameter, prior) in problem.layout.parameters.iter_mut().zip(self.priors) {
            parameter.prior = prior;
        }
        for (k, frozen) in self.frozen.into_iter().enumerate() {
            match frozen {
                Some(value) => problem.freeze(Entry::new(k), value),
                None => problem.thaw(Entry::new(k)),
            }
        }
        problem.forget();
    }
}

fn refit(
    problem: &mut Problem,
    solution: &Solution,
    bench: &Bench,
    dropped: &[Dropped],
) -> Option<Point> {
    leave_out(problem, dropped);
    let x = &solution.x;
    let before = &solution.equations.normal;
    let equations = problem.equations_of(x, &problem.predict(x)?)?;
    let unseen: Vec<Entry> = problem
        .layout
        .entries()
        .map(|(entry, _)| entry)
        .filter(|entry| {
            let left = equations.normal[entry.diagonal()];
            !problem.frozen(*entry) && left <= NOTHING_LEFT * before[entry.diagonal()]
        })
        .collect();
    for &entry in &unseen {
        problem.freeze(entry, x[entry]);
    }
    let first = solve(problem, x, MOST_TRIALS, COARSE, CLOSE, None).ok()?;
    reweigh(problem, bench, &first.x);
    leave_out_rows(problem, dropped);
    let second = Some(&first.second_order);
    let solved = solve(problem, &first.x, MOST_TRIALS, FINE, CLOSE, second).ok()?;
    if !solved.reason.converged() {
        return None;
    }
    let free: Vec<usize> = (0..solved.x.len())
        .filter(|&k| {
            let entry = Entry::new(k);
            !problem.frozen(entry)
                && !solved.active[k]
                && solved.equations.normal[entry.diagonal()] > 0.0
        })
        .collect();
    let covariance = Inverse::over(&solved.equations.normal, &free, 1e-13).matrix();
    let predictions = problem.predict(&solved.x)?;
    Some(Point {
        x: solved.x,
        covariance,
        predictions,
        unseen,
    })
}

fn leave_out(problem: &mut Problem, dropped: &[Dropped]) {
    let mut place = 0;
    problem.readings.retain(|term| {
        place += 1;
        let gone = |item: Dropped| dropped.contains(&item);
        let of_group = term.group().is_some_and(|group| {
            let with_capture = match group {
                Group::Shaft(k) => gone(Dropped::Capture(k)),
                Group::Table(_) => false,
            };
            gone(Dropped::Group(group)) || with_capture
        });
        !gone(Dropped::Reading(place - 1)) && !of_group
    });
    let own_scale = problem.layout.find(&ParameterKind::OwnScale);
    for item in dropped {
        match item {
            Dropped::Prior(entry) => problem.layout.parameters[entry.index()].prior = None,
            Dropped::Scale(k, direction) => {
                if let Some(entry) = own_scale {
                    problem.models[*k].links.add(*direction, entry);
                    problem.thaw(entry);
                    problem.forget();
                }
            }
            _ => {}
        }
    }
    leave_out_rows(problem, dropped);
}

/// Rows of infinite standard deviation weigh nothing.
fn leave_out_rows(problem: &mut Problem, dropped: &[Dropped]) {
    for item in dropped {
        if let Dropped::Capture(k) = item {
            problem.deviations[*k].fill(f64::INFINITY);
        }
    }
}
