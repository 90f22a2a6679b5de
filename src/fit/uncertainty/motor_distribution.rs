//! What captures and readings leave possible of the motor's own unknowns, everything else integrated out.

use super::covariance::known_of;
use crate::fit::estimate::Estimate;
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::stats::arrow::Inverse;
use nalgebra::{DMatrix, DVector};

/// The motor's own unknowns.
const MOTOR: [ParameterKind; 13] = [
    ParameterKind::LogResistance,
    ParameterKind::LogInductance,
    ParameterKind::LogCapacitance,
    ParameterKind::FrictionCurrent,
    ParameterKind::ViscousConductance,
    ParameterKind::Windage,
    ParameterKind::BrushDrop,
    ParameterKind::LogBrushScale,
    ParameterKind::LogBackEmfConstant,
    ParameterKind::Saturation,
    ParameterKind::Reaction,
    ParameterKind::EddyShare,
    ParameterKind::LogEddyResistance,
];

/// Terms without which a motor may be as well, where the captures do not show them.
const MAY_BE_ABSENT: [ParameterKind; 3] = [
    ParameterKind::Windage,
    ParameterKind::BrushDrop,
    ParameterKind::Reaction,
];

/// Spreads from zero below which such a term counts as not shown.
const NOT_SHOWN: f64 = 2.0;

/// A normal distribution about the solution in information form, to be cut where an unknown that is no logarithm would be negative.
#[derive(Clone, Debug)]
pub struct MotorDistribution {
    /// What the coordinates are, those that anything touches.
    pub kinds: Vec<ParameterKind>,
    /// The solution.
    pub at: DVector<f64>,
    /// Information on departures from it.
    pub information: DMatrix<f64>,
    /// What pulls away from it: the distribution before it is cut has its centre at `information⁻¹ pull`.
    pub pull: DVector<f64>,
    /// Terms that may as well be absent.
    pub may_be_absent: Vec<ParameterKind>,
}

impl Estimate {
    /// The distribution of the motor's own unknowns.
    pub fn motor_distribution(&self) -> MotorDistribution {
        let layout = &self.problem.layout;
        let touched = |entry: &Entry| self.covariance.is_touched(*entry);
        let own: Vec<(ParameterKind, Entry)> = MOTOR
            .into_iter()
            .filter_map(|kind| {
                layout
                    .find(&kind)
                    .filter(touched)
                    .map(|entry| (kind, entry))
            })
            .collect();
        let entries: Vec<usize> = own.iter().map(|(_, entry)| entry.index()).collect();
        let others: Vec<usize> = layout
            .entries()
            .map(|(entry, _)| entry)
            .filter(touched)
            .map(Entry::index)
            .filter(|k| !entries.contains(k))
            .collect();
        let (information, pull) = self.without(&others, &entries);
        let not_shown = |(kind, entry): &&(ParameterKind, Entry)| {
            let clearance = self.covariance.possible().clearance(entry.index());
            MAY_BE_ABSENT.contains(kind) && clearance.is_some_and(|by| by < NOT_SHOWN)
        };
        let may_be_absent = own.iter().filter(not_shown).map(|(kind, _)| kind.clone());
        MotorDistribution {
            may_be_absent: may_be_absent.collect(),
            at: DVector::from_iterator(own.len(), own.iter().map(|(_, k)| self.solution.x[*k])),
            kinds: own.into_iter().map(|(kind, _)| kind).collect(),
            information,
            pull,
        }
    }

    /// Information and pull on `kept` with `others` integrated out, their bounds as sites, and the clock's error.
    fn without(&self, others: &[usize], kept: &[usize]) -> (DMatrix<f64>, DVector<f64>) {
        let possible = self.covariance.possible();
        let touched: Vec<usize> = [others, kept].concat();
        let normal = &self.solution.equations.normal;
        let (mut all, mut pull) = known_of(&self.problem, &self.solution, normal, &touched);
        for &k in others {
            all[(k, k)] += possible.site_information[k];
            pull[k] += possible.site_pull[k];
        }
        let given = Inverse::over(&all, others, 1e-14);
        let reduced = |vector: &DVector<f64>| {
            let followed = given.times(vector);
            let each = kept
                .iter()
                .map(|&k| vector[k] - all.column(k).dot(&followed));
            DVector::from_iterator(kept.len(), each)
        };
        let m = kept.len();
        let follow: Vec<DVector<f64>> = kept
            .iter()
            .map(|&k| given.times(&all.column(k).into_owned()))
            .collect();
        let left = DMatrix::from_fn(m, m, |a, b| {
            let (a, b) = (a.min(b), a.max(b));
            all[(kept[a], kept[b])] - all.column(kept[a]).dot(&follow[b])
        });
        let pull = reduced(&pull);
        match self.covariance.pull_of_clock() {
            // Sherman and Morrison: the inverse of the covariance with the clock's part added.
            Some(clock) => {
                let clock = reduced(clock);
                let every: Vec<usize> = (0..m).collect();
                let spread = Inverse::over(&left, &every, 1e-14);
                let widened = 1.0 + clock.dot(&spread.times(&clock));
                (&left - &clock * clock.transpose() / widened, pull)
            }
            None => (left, pull),
        }
    }
}
