//! What a fit shows of the noise of its rows, for rows that are not recorded yet.
//!
//! A planned row is taken to be as noisy, relative to the largest reading of its segment, as the row at the same place of the segment
//! most like it: same role and terminal condition before same condition before same channel, and of several the one whose
//! largest reading is nearest. Averages over more samples are quieter in proportion. What the model itself is trusted to is
//! the share that the fit found. Where no segment shows a channel at all a usual figure is assumed, and that is reported.

use crate::bench::{Bench, Role};
use crate::fit::data::{MODEL_SHARE, Quantity, Scatter, SegmentKind, deviations, groups};
use crate::fit::estimate::Estimate;
use crate::fit::model::{CaptureModel, Row};
use crate::fit::weights::{independent_rows, noise_of_rows};

/// Relative standard deviation of a bin of voltage and of current where nothing like it was recorded (common practice, no
/// source).
const USUAL_NOISE: [f64; 2] = [0.003, 0.01];

/// The same for the departure of a segment that lasts for a few turns only, where ripple does not average out.
const USUAL_SHORT: [f64; 2] = [0.01, 0.03];

/// The same for the mean of a channel over a stretch at zero: a thousandth of its largest reading.
const USUAL_ZERO: f64 = 1e-3;

/// Rows of one channel in one segment of a recorded capture.
#[derive(Clone, Debug)]
struct RecordedNoise {
    role: Role,
    kind: SegmentKind,
    quantity: Quantity,
    zero: bool,
    with_departures: bool,
    /// Largest reading of the segment; of the whole capture for a zero.
    peak: f64,
    /// Variance of each row's noise over `peak²`, times the samples in it.
    noise: Vec<f64>,
}

/// Noise of recorded rows, to be asked for that of planned ones.
#[derive(Clone, Debug)]
pub struct NoiseModel {
    recorded: Vec<RecordedNoise>,
    share: [f64; 2],
}

fn largest(rows: &[Row], of: impl Iterator<Item = usize>) -> f64 {
    of.map(|k| rows[k].recorded.abs()).fold(1e-12, f64::max)
}

fn of_channel(rows: &[Row], quantity: Quantity) -> f64 {
    largest(
        rows,
        (0..rows.len()).filter(|&k| rows[k].quantity == quantity),
    )
}

impl NoiseModel {
    /// Reads the noise off the residuals of a solved problem.
    pub(crate) fn of(bench: &Bench, estimate: &Estimate) -> Self {
        let problem = &estimate.problem;
        let (scatters, share) =
            noise_of_rows(problem, bench, &estimate.solution.x, &estimate.predictions);
        let mut recorded = Vec::new();
        for (k, scatter) in scatters.iter().enumerate() {
            let rows = &estimate.predictions[k].rows;
            let model = &problem.models[k];
            for group in scatter {
                let first = &rows[group.rows[0]];
                let zero = first.zero_uncertainty.is_some();
                let peak = if zero {
                    of_channel(rows, first.quantity)
                } else {
                    largest(rows, group.rows.iter().copied())
                };
                let special = independent_rows(model.role, &model.segments, first.segment);
                let noise = group
                    .rows
                    .iter()
                    .zip(&group.variance)
                    .map(|(&row, variance)| {
                        let samples = match (zero, special) {
                            (true, _) => 1.0,
                            // Such a segment is worth a number of rows, however many it has.
                            (_, Some(count)) => count / group.rows.len() as f64,
                            _ => rows[row].samples as f64,
                        };
                        variance * samples / (peak * peak)
                    });
                recorded.push(RecordedNoise {
                    role: model.role,
                    kind: model.segments[first.segment].kind,
                    quantity: first.quantity,
                    zero,
                    with_departures: group.with_departures,
                    peak,
                    noise: noise.collect(),
                });
            }
        }
        NoiseModel { recorded, share }
    }

    fn nearest(
        &self,
        role: Role,
        kind: SegmentKind,
        quantity: Quantity,
        zero: bool,
        with_departures: bool,
        peak: f64,
    ) -> Option<&RecordedNoise> {
        let fitting = |t: &&RecordedNoise| {
            t.quantity == quantity && t.zero == zero && t.with_departures == with_departures
        };
        let unlike = |t: &RecordedNoise| {
            let far =
                f64::from(u8::from(t.kind != kind)) * 2.0 + f64::from(u8::from(t.role != role));
            1e3 * far + (t.peak / peak).ln().abs()
        };
        self.recorded
            .iter()
            .filter(fitting)
            .min_by(|a, b| unlike(a).total_cmp(&unlike(b)))
    }

    /// Largest variance of a sample of the current while the motor ran on its supply, A².
    fn running(&self) -> Option<f64> {
        let runs = |t: &&RecordedNoise| {
            matches!(t.role, Role::RunDown | Role::Steady)
                && t.kind == SegmentKind::Connected
                && t.quantity == Quantity::Current
                && !t.zero
        };
        self.recorded
            .iter()
            .filter(runs)
            .map(|t| t.peak * t.peak * t.noise.iter().sum::<f64>() / t.noise.len() as f64)
            .reduce(f64::max)
    }

    /// Standard deviations of a planned capture's rows, and whether a usual figure had to stand in for one of its channels.
    pub(crate) fn deviations(&self, model: &CaptureModel, rows: &[Row]) -> (Vec<f64>, bool) {
        let (mut assumed, mut unlike) = (false, false);
        let scatter: Vec<Scatter> = groups(rows)
            .into_iter()
            .map(|group| {
                let first = &rows[group[0]];
                let zero = first.zero_uncertainty.is_some();
                let special = independent_rows(model.role, &model.segments, first.segment);
                let with_departures = !zero && special.is_none();
                let peak = if zero {
                    of_channel(rows, first.quantity)
                } else {
                    largest(rows, group.iter().copied())
                };
                let kind = model.segments[first.segment].kind;
                let like = self.nearest(
                    model.role,
                    kind,
                    first.quantity,
                    zero,
                    with_departures,
                    peak,
                );
                let n = group.len();
                let of_its_kind = like.is_some_and(|t| t.role == model.role && t.kind == kind);
                unlike |= with_departures && !of_its_kind;
                let starts = model.role == Role::Start && kind == SegmentKind::Connected;
                let running = (starts && !of_its_kind).then(|| self.running()).flatten();
                let variance = (0..n)
                    .map(|k| {
                        let samples = match (zero, special) {
                            (true, _) => 1.0,
                            (_, Some(count)) => count / n as f64,
                            _ => rows[group[k]].samples as f64,
                        };
                        let relative = match like {
                            Some(t) => t.noise[(2 * k + 1) * t.noise.len() / (2 * n)],
                            None if zero => USUAL_ZERO * USUAL_ZERO,
                            None if special.is_some() => {
                                USUAL_SHORT[first.quantity as usize].powi(2)
                            }
                            None => USUAL_NOISE[first.quantity as usize].powi(2) * samples,
                        };
                        let own = relative * peak * peak / samples;
                        let ripple = match running {
                            // Its ripple grows with the speed, which the fall of the current shows.
                            Some(variance) => {
                                let speed = 1.0 - rows[group[k]].recorded.abs() / peak;
                                variance * speed * speed / samples
                            }
                            None => 0.0,
                        };
                        own.max(ripple)
                    })
                    .collect();
                assumed |= like.is_none() && !zero;
                Scatter {
                    rows: group,
                    variance,
                    with_departures,
                }
            })
            .collect();
        // Of a kind of capture that nobody made yet the model is trusted half as the others say, half as usual.
        let share = if unlike {
            std::array::from_fn(|q| (0.5 * (self.share[q].powi(2) + MODEL_SHARE[q].powi(2))).sqrt())
        } else {
            self.share
        };
        (deviations(rows, &scatter, share), assumed)
    }
}
