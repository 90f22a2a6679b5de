//! Supposed trajectories of the speed.

use super::speed_shape::SpeedShape;
use crate::ripple::error::Unreadable;

/// Order of the current's smooth part.
pub(crate) const SMOOTH_ORDER: usize = 9;

/// A supposed trajectory: g, its integral, its time constant.
pub(crate) struct Trajectory {
    pub g: Vec<f64>,
    /// ∫ g dt, s.
    pub x_s: Vec<f64>,
    pub time_constant_s: Option<f64>,
}

/// Root mean square of the difference from a rough trajectory, both with their largest value 1, up to which a trajectory is near it.
const NEAR: f64 = 0.1;

/// The trajectories worth a look for a shape, at the times used; `all_times` belong to given values.
pub(crate) fn trajectories(
    shape: SpeedShape,
    time: &[f64],
    all_times: &[f64],
) -> Result<Vec<Trajectory>, Unreadable> {
    let all = every_trajectory(shape, time, all_times)?;
    let (SpeedShape::RiseFromRest { like, .. } | SpeedShape::DecayToRest { like }) = shape else {
        return Ok(all);
    };
    let Some(rough) = like else {
        return Ok(all);
    };
    let rough = every_trajectory(SpeedShape::Given(rough), time, all_times)?;
    let distances: Vec<f64> = all.iter().map(|c| distance(c, &rough[0])).collect();
    let nearest = distances.iter().copied().fold(f64::MAX, f64::min);
    let near = all.into_iter().zip(distances);
    Ok(near
        .filter(|(_, d)| *d <= NEAR.max(nearest))
        .map(|(trajectory, _)| trajectory)
        .collect())
}

/// Root mean square of the difference of two trajectories, each with its largest value 1.
fn distance(one: &Trajectory, other: &Trajectory) -> f64 {
    let scale = |c: &Trajectory| c.g.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let (a, b) = (scale(one), scale(other));
    let square: f64 = one
        .g
        .iter()
        .zip(&other.g)
        .map(|(x, y)| (x / a - y / b).powi(2))
        .sum();
    (square / one.g.len() as f64).sqrt()
}

fn every_trajectory(
    shape: SpeedShape,
    time: &[f64],
    all_times: &[f64],
) -> Result<Vec<Trajectory>, Unreadable> {
    let first = time[0];
    let span = time[time.len() - 1] - first;
    // Steps of 8 % in the time constant smear a line of a hundred cycles by less than half a cycle at the best one.
    let constants = |least: f64, most: f64| {
        let steps = ((most / least).ln() / 0.08).ceil() as i32;
        (0..=steps).map(move |k| least * (f64::from(k) * 0.08).exp())
    };
    Ok(match shape {
        SpeedShape::Constant => vec![Trajectory {
            g: vec![1.0; time.len()],
            x_s: time.iter().map(|t| t - first).collect(),
            time_constant_s: None,
        }],
        SpeedShape::RiseFromRest { start_s, .. } => constants(span / 20.0, span * 2.0)
            .map(|tau| Trajectory::rising(time, start_s, tau))
            .collect(),
        SpeedShape::DecayToRest { .. } => constants(span / 6.0, span * 4.0)
            .flat_map(|tau| {
                let fading = fading(time, first, tau);
                [0.0, 0.15, 0.4].map(|c| Trajectory::falling(time, tau, c, &fading))
            })
            // A trajectory through zero turns the rotor back, which no brake does.
            .filter(|trajectory| trajectory.g.last().is_some_and(|g| *g > 0.02))
            .collect(),
        SpeedShape::Given(values) => vec![Trajectory::given(values, time, all_times)?],
    })
}

/// `exp(-(t - start)/τ)` at each time.
fn fading(time: &[f64], start_s: f64, tau: f64) -> Vec<f64> {
    time.iter().map(|t| (-(t - start_s) / tau).exp()).collect()
}

impl Trajectory {
    /// `g = 1 - exp(-(t - start)/τ)`.
    fn rising(time: &[f64], start_s: f64, tau: f64) -> Trajectory {
        let first = time[0];
        let fading = fading(time, start_s, tau);
        Trajectory {
            g: fading.iter().map(|f| 1.0 - f).collect(),
            x_s: time
                .iter()
                .zip(&fading)
                .map(|(t, f)| (t - first) + tau * (f - fading[0]))
                .collect(),
            time_constant_s: Some(tau),
        }
    }

    /// `g = (1 + c) exp(-t/τ) - c`, t from the first row; `fading`: the exponentials.
    fn falling(time: &[f64], tau: f64, c: f64, fading: &[f64]) -> Trajectory {
        let first = time[0];
        Trajectory {
            g: fading.iter().map(|f| (1.0 + c) * f - c).collect(),
            x_s: time
                .iter()
                .zip(fading)
                .map(|(t, f)| (1.0 + c) * tau * (1.0 - f) - c * (t - first))
                .collect(),
            time_constant_s: Some(tau),
        }
    }

    /// Proportional to values at `all_times`, interpolated at `time`.
    fn given(values: &[f64], time: &[f64], all_times: &[f64]) -> Result<Trajectory, Unreadable> {
        if values.len() != all_times.len() {
            return Err(Unreadable::Lengths {
                times: all_times.len(),
                values: values.len(),
            });
        }
        let mut row = 0;
        let g: Vec<f64> = time
            .iter()
            .map(|t| {
                while row + 2 < all_times.len() && all_times[row + 1] <= *t {
                    row += 1;
                }
                let part = (t - all_times[row]) / (all_times[row + 1] - all_times[row]);
                values[row] + part * (values[row + 1] - values[row])
            })
            .collect();
        let most = g.iter().copied().fold(0.0, f64::max);
        if !(most > 0.0 && g.iter().all(|v| v.is_finite())) {
            return Err(Unreadable::Option {
                name: "shape",
                value: most,
                expected: "finite values, positive where the motor turns",
            });
        }
        let g: Vec<f64> = g.iter().map(|v| v / most).collect();
        let mut sum = 0.0;
        let mut x_s = vec![0.0];
        for (w, t) in g.windows(2).zip(time.windows(2)) {
            sum += 0.5 * (w[0] + w[1]) * (t[1] - t[0]);
            x_s.push(sum);
        }
        Ok(Trajectory {
            g,
            x_s,
            time_constant_s: None,
        })
    }
}
