//! No-load and stall values at a voltage, by Monte Carlo over what the fit leaves possible.
//!
//! They bend with their inputs (a friction that is hardly known, a term at its bound), so distributions are propagated, not moments:
//! JCGM 101:2008, 5 and 7. Free entries are drawn from the normal distribution of the fit; an entry held at its bound from the part of
//! its own above that bound, the free ones following; motors with a negative friction or drop are drawn again.
//!
//! A term that the captures do not show (windage, brush drop, armature reaction) may as well be absent: then all motors would lie on one
//! side of the one that has none of it. So each motor is taken a second time without such terms, the others following, and the interval
//! covers both models.

use super::estimate::Estimate;
use super::uncertainty::{Interval, LARGEST_RELATIVE};
use super::unknowns::{Entry, ParameterKind, STEADY_KINDS, motor};
use crate::stats::covariance::NormalVectors;
use crate::stats::monte_carlo::Outcomes;
use crate::stats::truncated::TruncatedNormal;
use nalgebra::{DMatrix, DVector};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

/// Motors drawn: ends of a 95 % interval are then known to 1 % of its width.
pub const TRIALS: usize = 10_000;
const SEED: u64 = 1;
/// Draws refused for each one kept, on the average, beyond which the distribution lies outside the physical range.
const MOST_REFUSED: usize = 50;
/// Share of motors that may be without a quantity (friction holds them) before it is not told.
const MOST_UNDEFINED: f64 = 0.005;

/// One quantity with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OperatingValue {
    /// Key in the motor file.
    pub name: &'static str,
    /// UCUM code.
    pub unit: &'static str,
    /// Mean and standard deviation of all motors; the interval holds the shortest one with and the shortest one without the terms that
    /// the captures do not show.
    pub interval: Interval,
}

/// Numbers that are drawn: the entries of [`STEADY_KINDS`], then the logarithm of the back-EMF constant.
const DRAWN: usize = CONSTANT + 1;
/// Those of them that are not negative.
const NOT_NEGATIVE: std::ops::RangeInclusive<usize> = 1..=4;
const REACTION: usize = 6;
/// Windage, brush drop, armature reaction.
const MAY_BE_ABSENT: [usize; 3] = [3, 4, REACTION];
const CONSTANT: usize = STEADY_KINDS.len();

/// An entry held at its bound: what it may be above it, and how the drawn ones follow.
struct Bound {
    above: TruncatedNormal,
    follow: DVector<f64>,
}

impl Estimate {
    /// No-load speed and current, stall torque and current on `voltage_v` (V), the winding as warm as R's temperature says.
    ///
    /// Absent: what needs a back-EMF constant that nothing tells, what is known to less than half of itself, and what some of the
    /// motors drawn do not have.
    pub fn operating(&self, voltage_v: f64) -> Vec<OperatingValue> {
        let names = [
            ("no_load_speed", "rad/s"),
            ("no_load_current", "A"),
            ("stall_torque", "N.m"),
            ("stall_current", "A"),
        ];
        let Some([with, without]) = self.draw_steady_states(voltage_v) else {
            return Vec::new();
        };
        names
            .into_iter()
            .zip(with.into_iter().zip(without))
            .filter_map(|((name, unit), (with, without))| {
                let interval = self.of_both(with, without)?;
                let vague = interval.standard_uncertainty > LARGEST_RELATIVE * interval.value;
                (!vague && interval.value > 0.0).then_some(OperatingValue {
                    name,
                    unit,
                    interval,
                })
            })
            .collect()
    }

    /// What the two models together say.
    fn of_both(&self, with: Vec<f64>, without: Vec<f64>) -> Option<Interval> {
        let level = self.options.level;
        let both = Outcomes::new(with.iter().chain(&without).copied()).ok()?;
        if both.undefined as f64 > MOST_UNDEFINED * 2.0 * TRIALS as f64 {
            return None;
        }
        let (a, b) = Outcomes::new(with).ok()?.shortest_interval(level).ok()?;
        let (c, d) = Outcomes::new(without).ok()?.shortest_interval(level).ok()?;
        Some(Interval {
            value: both.mean(),
            standard_uncertainty: both.standard_uncertainty(),
            lower: a.min(c),
            upper: b.max(d),
        })
    }

    /// Columns of the four quantities, with and without the terms that the captures do not show; NaN where a motor drawn has none.
    fn draw_steady_states(&self, voltage_v: f64) -> Option<[[Vec<f64>; 4]; 2]> {
        let layout = &self.problem.layout;
        let x = &self.solution.x;
        let entries: Vec<Option<Entry>> = STEADY_KINDS
            .iter()
            .chain([&ParameterKind::LogBackEmfConstant])
            .map(|kind| layout.find(kind))
            .collect();
        let mean =
            DVector::from_iterator(DRAWN, entries.iter().map(|e| e.map_or(f64::NAN, |k| x[k])));
        if mean.iter().take(CONSTANT).any(|v| !v.is_finite()) || voltage_v <= 0.0 {
            return None;
        }
        let conditional = self.covariance.conditional();
        let between = |a: Option<Entry>, b: Option<Entry>| match (a, b) {
            (Some(a), Some(b)) => conditional[a.with(b)],
            _ => 0.0,
        };
        let spread = DMatrix::from_fn(DRAWN, DRAWN, |a, b| between(entries[a], entries[b]));
        let centred = DVector::zeros(DRAWN);
        let normal = NormalVectors::new(centred, &spread).ok()?;
        let bounds: Vec<Bound> = self
            .covariance
            .held_entries(layout)
            .map(|(k, lower)| {
                let (centre, spread) = self.covariance.bound_moments(k);
                let moved = self.covariance.following(k);
                Bound {
                    above: TruncatedNormal::above_zero(centre - lower, spread),
                    follow: DVector::from_iterator(
                        DRAWN,
                        entries.iter().map(|e| match e {
                            Some(entry) if *entry == k => 1.0,
                            Some(entry) => moved[*entry],
                            None => 0.0,
                        }),
                    ),
                }
            })
            .collect();
        let absences = absences(&mean, spread);
        let mut random = StdRng::seed_from_u64(SEED);
        let mut columns: [[Vec<f64>; 4]; 2] =
            std::array::from_fn(|_| std::array::from_fn(|_| Vec::with_capacity(TRIALS)));
        let mut left = MOST_REFUSED * TRIALS;
        while columns[0][0].len() < TRIALS {
            left = left.checked_sub(1)?;
            let mut y = &mean + normal.draw(&mut random);
            let mut plain = y.clone();
            for (k, follow) in &absences {
                let gone = plain[*k];
                plain.axpy(-gone, follow, 1.0);
            }
            for bound in &bounds {
                let part: f64 = random.random();
                y.axpy(bound.above.quantile(part), &bound.follow, 1.0);
            }
            let possible = |y: &DVector<f64>| NOT_NEGATIVE.chain([REACTION]).all(|k| y[k] >= 0.0);
            if !possible(&y) {
                continue;
            }
            // Rounding leaves a term that was taken out a hair off zero.
            absences.iter().for_each(|(k, _)| plain[*k] = 0.0);
            let plain = if possible(&plain) { &plain } else { &y };
            for (columns, y) in columns.iter_mut().zip([&y, plain]) {
                for (column, value) in columns.iter_mut().zip(steady_states(y, voltage_v)) {
                    column.push(value);
                }
            }
        }
        Some(columns)
    }
}

/// Terms that stand less than two standard deviations from zero: their place, and how all move with each of them once those before it
/// are gone.
fn absences(mean: &DVector<f64>, mut spread: DMatrix<f64>) -> Vec<(usize, DVector<f64>)> {
    let mut out = Vec::new();
    for k in MAY_BE_ABSENT {
        let variance = spread[(k, k)];
        if variance > 0.0 && mean[k] < 2.0 * variance.sqrt() {
            let follow = spread.column(k) / variance;
            spread -= &follow * follow.transpose() * variance;
            out.push((k, follow));
        }
    }
    out
}

/// No-load speed and current, stall torque and current.
fn steady_states(y: &DVector<f64>, voltage_v: f64) -> [f64; 4] {
    let motor = motor(std::array::from_fn(|k| y[k]));
    // NaN where nothing tells the constant.
    let k = y[CONSTANT].exp();
    let held = motor.rotor_held(voltage_v);
    let (speed, current) = motor
        .no_load(voltage_v)
        .map_or((f64::NAN, f64::NAN), |free| {
            (free.speed_rad_s(k), free.current_a)
        });
    [speed, current, held.torque_nm(k), held.current_a]
}
