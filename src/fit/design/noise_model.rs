//! What a fit shows of the noise of its rows, for rows that are not recorded yet.
//!
//! A planned row is taken to be as noisy, relative to the largest reading of its segment, as the row at the same place of the segment
//! most like it: same role and terminal condition before same condition before same channel, and of several the one whose
//! largest reading is nearest. Averages over more samples are quieter in proportion. What the model itself is trusted to is
//! the share that the fit found. Where no segment shows a channel at all a usual figure is assumed, and that is reported.

use crate::bench::{Bench, Role};
use crate::fit::data::{MODEL_SHARE, Quantity, Scatter, SegmentKind, deviations, groups};
use crate::fit::estimate::Estimate;
use crate::fit::joint::weights::{independent_rows, noise_of_rows};
use crate::fit::model::{CaptureModel, Row};

/// Relative standard deviation of a bin of voltage and of current where nothing like it was recorded (common practice, no
/// source).
const USUAL_NOISE: [f64; 2] = [0.003, 0.01];

/// The same for the departure of a segment that lasts for a few turns only, where ripple does not average out.
const USUAL_SHORT: [f64; 2] = [0.01, 0.03];

/// The same for the mean of a channel over a stretch at zero: a thousandth of its largest reading.
const USUAL_ZERO: f64 = 1e-3;

/// Rows of one channel in one segment of a capture: what decides how noisy they are.
#[derive(Clone, Copy, Debug)]
struct RowGroup {
    role: Role,
    kind: SegmentKind,
    quantity: Quantity,
    /// Whether the true value is zero.
    zero: bool,
    /// Independent rows that a segment of a few turns is worth, however many it has.
    worth: Option<f64>,
    count: usize,
    /// Largest reading of the segment; of the whole capture for a zero.
    peak: f64,
}

impl RowGroup {
    /// `group`: its places among the rows of the capture.
    fn of(model: &CaptureModel, rows: &[Row], group: &[usize]) -> Self {
        let first = &rows[group[0]];
        let zero = first.zero_uncertainty.is_some();
        let largest = |of: &mut dyn Iterator<Item = &Row>| {
            of.map(|row| row.recorded.abs()).fold(1e-12, f64::max)
        };
        let peak = if zero {
            largest(&mut rows.iter().filter(|row| row.quantity == first.quantity))
        } else {
            largest(&mut group.iter().map(|&k| &rows[k]))
        };
        RowGroup {
            role: model.role,
            kind: model.segments[first.segment].kind,
            quantity: first.quantity,
            zero,
            worth: independent_rows(model, first.segment),
            count: group.len(),
            peak,
        }
    }

    /// Whether the model's own departures come on top of the noise.
    fn with_departures(&self) -> bool {
        !self.zero && self.worth.is_none()
    }

    /// Samples that a row counts for.
    fn samples(&self, row: &Row) -> f64 {
        match (self.zero, self.worth) {
            (true, _) => 1.0,
            (_, Some(worth)) => worth / self.count as f64,
            _ => row.samples as f64,
        }
    }

    /// Variance of a row's noise over `peak²`, times its samples, where nothing like it was recorded.
    fn usual_variance(&self, samples: f64) -> f64 {
        let quantity = self.quantity as usize;
        if self.zero {
            USUAL_ZERO * USUAL_ZERO
        } else if self.worth.is_some() {
            USUAL_SHORT[quantity].powi(2)
        } else {
            USUAL_NOISE[quantity].powi(2) * samples
        }
    }

    /// Whether both are of one kind of segment in one kind of capture.
    fn same_kind(&self, other: &Self) -> bool {
        self.role == other.role && self.kind == other.kind
    }

    /// Whether the noise of one says anything of the other's.
    fn comparable(&self, other: &Self) -> bool {
        self.quantity == other.quantity
            && self.zero == other.zero
            && self.with_departures() == other.with_departures()
    }

    /// How unlike two comparable ones are.
    fn distance(&self, other: &Self) -> f64 {
        let far = f64::from(u8::from(self.kind != other.kind)) * 2.0
            + f64::from(u8::from(self.role != other.role));
        1e3 * far + (self.peak / other.peak).ln().abs()
    }
}

/// A group of recorded rows with its noise.
#[derive(Clone, Debug)]
struct RecordedNoise {
    group: RowGroup,
    /// Variance of each row's noise over `peak²`, times the samples in it.
    variance: Vec<f64>,
}

/// Noise of recorded rows, to be asked for that of planned ones.
#[derive(Clone, Debug)]
pub struct NoiseModel {
    recorded: Vec<RecordedNoise>,
    share: [f64; 2],
}

impl NoiseModel {
    /// Reads the noise off the residuals of a solved problem.
    pub(crate) fn of(bench: &Bench, estimate: &Estimate) -> Self {
        let problem = &estimate.problem;
        let (scatters, share) =
            noise_of_rows(problem, bench, &estimate.solution.x, &estimate.predictions);
        let mut recorded = Vec::new();
        for (k, scatters) in scatters.iter().enumerate() {
            let rows = &estimate.predictions[k].rows;
            for scatter in scatters {
                let group = RowGroup::of(&problem.models[k], rows, &scatter.rows);
                let each = scatter.rows.iter().zip(&scatter.variance);
                let variance = each.map(|(&row, variance)| {
                    variance * group.samples(&rows[row]) / (group.peak * group.peak)
                });
                recorded.push(RecordedNoise {
                    group,
                    variance: variance.collect(),
                });
            }
        }
        NoiseModel { recorded, share }
    }

    /// The recorded rows that are most like a group.
    fn nearest(&self, group: &RowGroup) -> Option<&RecordedNoise> {
        self.recorded
            .iter()
            .filter(|r| r.group.comparable(group))
            .min_by(|a, b| {
                let [a, b] = [a, b].map(|r| r.group.distance(group));
                a.total_cmp(&b)
            })
    }

    /// Largest variance of a sample of the current while the motor ran on its supply, A².
    fn running(&self) -> Option<f64> {
        let runs = |group: &RowGroup| {
            matches!(group.role, Role::RunDown | Role::Steady)
                && group.kind == SegmentKind::Connected
                && group.quantity == Quantity::Current
                && !group.zero
        };
        self.recorded
            .iter()
            .filter(|r| runs(&r.group))
            .map(|r| {
                let sum = r.variance.iter().sum::<f64>();
                r.group.peak * r.group.peak * sum / r.variance.len() as f64
            })
            .reduce(f64::max)
    }

    /// Standard deviations of a planned capture's rows, and whether a usual figure had to be assumed for one of its channels.
    pub(crate) fn deviations(&self, model: &CaptureModel, rows: &[Row]) -> (Vec<f64>, bool) {
        let (mut assumed, mut unlike) = (false, false);
        let mut scatter = Vec::new();
        for places in groups(rows) {
            let group = RowGroup::of(model, rows, &places);
            let like = self.nearest(&group);
            let of_its_kind = like.is_some_and(|r| r.group.same_kind(&group));
            assumed |= like.is_none() && !group.zero;
            unlike |= group.with_departures() && !of_its_kind;
            let starts = group.role == Role::Start && group.kind == SegmentKind::Connected;
            let ripple = (starts && !of_its_kind).then(|| self.running()).flatten();
            let row = |k: usize| &rows[places[k]];
            scatter.push(Scatter {
                variance: (0..places.len())
                    .map(|k| planned_variance(&group, row(k), k, like, ripple))
                    .collect(),
                with_departures: group.with_departures(),
                rows: places,
            });
        }
        // Of a kind of capture that nobody made yet the model is trusted half as the others say, half as usual.
        let share = if unlike {
            std::array::from_fn(|q| (0.5 * (self.share[q].powi(2) + MODEL_SHARE[q].powi(2))).sqrt())
        } else {
            self.share
        };
        (deviations(rows, &scatter, share), assumed)
    }
}

/// Variance of the k-th row of a planned group. `like`: recorded rows whose noise it shares; `ripple`: variance of a sample of the current at
/// full speed, where none of its kind shows it.
fn planned_variance(
    group: &RowGroup,
    row: &Row,
    k: usize,
    like: Option<&RecordedNoise>,
    ripple: Option<f64>,
) -> f64 {
    let samples = group.samples(row);
    let relative = match like {
        Some(r) => r.variance[(2 * k + 1) * r.variance.len() / (2 * group.count)],
        None => group.usual_variance(samples),
    };
    let own = relative * group.peak * group.peak / samples;
    let of_ripple = ripple.map_or(0.0, |variance| {
        // It grows with the speed, which the fall of the current shows.
        let speed = 1.0 - row.recorded.abs() / group.peak;
        variance * speed * speed / samples
    });
    own.max(of_ripple)
}
