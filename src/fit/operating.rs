//! No-load and stall values at a voltage, by Monte Carlo over what the fit leaves possible.
//!
//! They bend with their inputs (a friction that is hardly known, a term at its bound), so distributions are propagated, not moments:
//! JCGM 101:2008, 5 and 7. Free entries are drawn from the normal distribution of the fit; an entry held at its bound from the part of
//! its own above that bound, the free ones following; motors with a negative friction or drop are drawn again.

use super::estimate::Estimate;
use super::layout::Slot;
use super::reported::{Interval, LARGEST_RELATIVE};
use crate::motor::TerminalParameters;
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
    /// Mean, standard deviation and shortest interval of the drawn values, which holds the end at which a term is absent.
    pub interval: Interval,
}

/// Entries of the fit that a steady state depends on, in the order in which they are drawn.
const SLOTS: [Slot; 8] = [
    Slot::LogResistance,
    Slot::FrictionCurrent,
    Slot::ViscousConductance,
    Slot::Windage,
    Slot::BrushDrop,
    Slot::LogBrushScale,
    Slot::Reaction,
    Slot::LogBackEmfConstant,
];
/// Those of them that are not negative.
const NOT_NEGATIVE: std::ops::RangeInclusive<usize> = 1..=4;
const REACTION: usize = 6;
const CONSTANT: usize = 7;

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
        let columns = self.draw_steady_states(voltage_v);
        let names = [
            ("no_load_speed", "rad/s"),
            ("no_load_current", "A"),
            ("stall_torque", "N.m"),
            ("stall_current", "A"),
        ];
        columns
            .into_iter()
            .flatten()
            .zip(names)
            .filter_map(|(column, (name, unit))| {
                let outcomes = Outcomes::new(column).ok()?;
                if outcomes.undefined as f64 > MOST_UNDEFINED * TRIALS as f64 {
                    return None;
                }
                let (lower, upper) = outcomes.shortest_interval(self.options.level).ok()?;
                let interval = Interval {
                    value: outcomes.mean(),
                    standard_uncertainty: outcomes.standard_uncertainty(),
                    lower,
                    upper,
                };
                let vague = interval.standard_uncertainty > LARGEST_RELATIVE * interval.value;
                (!vague && interval.value > 0.0).then_some(OperatingValue {
                    name,
                    unit,
                    interval,
                })
            })
            .collect()
    }

    /// Columns of the four quantities; NaN where a motor drawn has none.
    fn draw_steady_states(&self, voltage_v: f64) -> Option<[Vec<f64>; 4]> {
        let layout = &self.problem.layout;
        let x = &self.solution.x;
        let entries: Vec<Option<usize>> = SLOTS.iter().map(|slot| layout.find(slot)).collect();
        let mean = DVector::from_iterator(
            SLOTS.len(),
            entries.iter().map(|e| e.map_or(f64::NAN, |k| x[k])),
        );
        if mean.iter().take(CONSTANT).any(|v| !v.is_finite()) || voltage_v <= 0.0 {
            return None;
        }
        let conditional = self.covariance.conditional();
        let between = |a: Option<usize>, b: Option<usize>| match (a, b) {
            (Some(a), Some(b)) => conditional[(a, b)],
            _ => 0.0,
        };
        let spread = DMatrix::from_fn(SLOTS.len(), SLOTS.len(), |a, b| {
            between(entries[a], entries[b])
        });
        let centred = DVector::zeros(SLOTS.len());
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
                        SLOTS.len(),
                        entries.iter().map(|e| match e {
                            Some(entry) if *entry == k => 1.0,
                            Some(entry) => moved[*entry],
                            None => 0.0,
                        }),
                    ),
                }
            })
            .collect();
        let mut random = StdRng::seed_from_u64(SEED);
        let mut columns = std::array::from_fn(|_| Vec::with_capacity(TRIALS));
        let mut left = MOST_REFUSED * TRIALS;
        while columns[0].len() < TRIALS {
            left = left.checked_sub(1)?;
            let mut y = &mean + normal.draw(&mut random);
            for bound in &bounds {
                let part: f64 = random.random();
                y.axpy(bound.above.quantile(part), &bound.follow, 1.0);
            }
            if NOT_NEGATIVE.chain([REACTION]).any(|k| y[k] < 0.0) {
                continue;
            }
            for (column, value) in columns.iter_mut().zip(steady_states(&y, voltage_v)) {
                column.push(value);
            }
        }
        Some(columns)
    }
}

/// No-load speed and current, stall torque and current.
fn steady_states(y: &DVector<f64>, voltage_v: f64) -> [f64; 4] {
    let motor = TerminalParameters {
        windage_a_per_v2: y[3],
        brush_drop_v: y[4],
        brush_scale_a: y[5].exp(),
        armature_reaction_per_a: y[REACTION],
        ..TerminalParameters::plain(y[0].exp(), 0.0, 0.0, y[1], y[2])
    };
    // NaN where nothing tells the constant.
    let k = y[CONSTANT].exp();
    let stalled = motor.stalled(voltage_v);
    let (speed, current) = motor
        .running_freely(voltage_v)
        .map_or((f64::NAN, f64::NAN), |s| (s.back_emf_v / k, s.current_a));
    [
        speed,
        current,
        k * stalled.torque_current_a,
        stalled.current_a,
    ]
}
