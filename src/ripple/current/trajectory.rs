//! Supposed courses of the speed, and the fit that sets one free; the equations stand in `current.rs`.

use super::analyse::SpeedShape;
use super::normal_pass::{LINES, Passes};
use crate::ripple::error::Unreadable;
use crate::ripple::numerics::least_squares::Normal;
use crate::ripple::numerics::smooth::{basis, combine, integral_basis};

/// Order of the current's smooth part.
pub(crate) const SMOOTH_ORDER: usize = 9;

/// A supposed course: g, its integral, its time constant.
pub(crate) struct Course {
    pub g: Vec<f64>,
    /// ∫ g dt, s.
    pub x_s: Vec<f64>,
    pub time_constant_s: Option<f64>,
}

/// Root mean square of the difference from a rough course, both with their largest value 1, up to which a course is near it.
const NEAR: f64 = 0.1;

/// The courses worth a look for a shape, at the times used; `all_times` belong to given values.
pub(crate) fn courses(
    shape: SpeedShape,
    time: &[f64],
    all_times: &[f64],
) -> Result<Vec<Course>, Unreadable> {
    let all = every_course(shape, time, all_times)?;
    let (SpeedShape::RiseFromRest { like, .. } | SpeedShape::DecayToRest { like }) = shape else {
        return Ok(all);
    };
    let Some(rough) = like else {
        return Ok(all);
    };
    let rough = every_course(SpeedShape::Given(rough), time, all_times)?;
    let distances: Vec<f64> = all.iter().map(|c| distance(c, &rough[0])).collect();
    let nearest = distances.iter().copied().fold(f64::MAX, f64::min);
    let near = all.into_iter().zip(distances);
    Ok(near
        .filter(|(_, d)| *d <= NEAR.max(nearest))
        .map(|(course, _)| course)
        .collect())
}

/// Root mean square of the difference of two courses, each with its largest value 1.
fn distance(one: &Course, other: &Course) -> f64 {
    let scale = |c: &Course| c.g.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let (a, b) = (scale(one), scale(other));
    let square: f64 = one
        .g
        .iter()
        .zip(&other.g)
        .map(|(x, y)| (x / a - y / b).powi(2))
        .sum();
    (square / one.g.len() as f64).sqrt()
}

fn every_course(
    shape: SpeedShape,
    time: &[f64],
    all_times: &[f64],
) -> Result<Vec<Course>, Unreadable> {
    let first = time[0];
    let span = time[time.len() - 1] - first;
    // Steps of 8 % in the time constant smear a line of a hundred cycles by less than half a cycle at the best one.
    let constants = |least: f64, most: f64| {
        let steps = ((most / least).ln() / 0.08).ceil() as i32;
        (0..=steps).map(move |k| least * (f64::from(k) * 0.08).exp())
    };
    Ok(match shape {
        SpeedShape::Constant => vec![Course {
            g: vec![1.0; time.len()],
            x_s: time.iter().map(|t| t - first).collect(),
            time_constant_s: None,
        }],
        SpeedShape::RiseFromRest { start_s, .. } => constants(span / 20.0, span * 2.0)
            .map(|tau| Course {
                g: time
                    .iter()
                    .map(|t| 1.0 - (-(t - start_s) / tau).exp())
                    .collect(),
                x_s: time
                    .iter()
                    .map(|t| {
                        (t - first)
                            + tau
                                * ((-(t - start_s) / tau).exp() - (-(first - start_s) / tau).exp())
                    })
                    .collect(),
                time_constant_s: Some(tau),
            })
            .collect(),
        SpeedShape::DecayToRest { .. } => constants(span / 6.0, span * 4.0)
            .flat_map(|tau| [0.0, 0.15, 0.4].map(|c| (tau, c)))
            .map(|(tau, c)| Course {
                g: time
                    .iter()
                    .map(|t| (1.0 + c) * (-(t - first) / tau).exp() - c)
                    .collect(),
                x_s: time
                    .iter()
                    .map(|t| (1.0 + c) * tau * (1.0 - (-(t - first) / tau).exp()) - c * (t - first))
                    .collect(),
                time_constant_s: Some(tau),
            })
            // A course through zero turns the rotor back, which no brake does.
            .filter(|course| course.g.last().is_some_and(|g| *g > 0.02))
            .collect(),
        SpeedShape::Given(values) => {
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
            vec![Course {
                g,
                x_s,
                time_constant_s: None,
            }]
        }
    })
}

/// A course set free.
pub(crate) struct CourseFit {
    pub frequency: f64,
    pub frequency_sd: f64,
    pub amplitude: f64,
    pub cycles: f64,
    pub course_hz: Vec<f64>,
    pub course_sd_hz: Vec<f64>,
}

/// Most rounds of the fit.
const ROUNDS: usize = 25;
/// Turns of the ripple that a round may move it by at any time.
const LARGEST_STEP: f64 = 0.3;
/// Turns below which it has settled, and below which it is nearly there when the rounds are over: what the ratio of the last two steps leaves to
/// come then counts as a further standard deviation.
const SETTLED: f64 = 1e-4;
const NEARLY: f64 = 0.1;
/// Largest ratio of two steps that is taken at its word.
const SLOWEST: f64 = 0.98;
/// Share by which the cost may rise before a step counts as too long.
const ROUGHNESS: f64 = 1e-9;

/// The nonlinear least-squares fit of `rough`, a current with its smooth part of [`SMOOTH_ORDER`] taken off or not; `None` where its normal
/// equations are singular, or where it does not settle.
///
/// Smooth part and amplitudes are linear and solved anew in each round (variable projection, Golub & Pereyra 1973); the slopes that the phases
/// move the ripple with take the amplitudes of the round before, so that one pass over the record gives all products.
pub(crate) fn fit_course(
    time: &[f64],
    rough: &[f64],
    course: &Course,
    frequency: f64,
    corrections: usize,
) -> Option<CourseFit> {
    let n = time.len();
    let (first, last) = (time[0], time[n - 1]);
    // Phase terms in turns per Hz: the course itself, then the integrals of P_1 .. .
    let mut phases = vec![course.x_s.clone()];
    phases.extend(
        integral_basis(time, first, last, corrections)
            .into_iter()
            .skip(1),
    );
    let passes = Passes::new(basis(time, first, last, SMOOTH_ORDER), phases, rough);
    let linear = passes.smooth.len() + LINES;
    let count = linear + passes.phases.len();
    let mut parts = vec![0.0; passes.phases.len()];
    parts[0] = frequency;
    let prior = 0.1 * frequency;
    let mut amplitudes = passes.over(&parts, &[0.0; LINES]).solution(linear)?.1;
    // A full Gauss-Newton step overshoots where the ripple is no sinusoid of constant amplitude, and may swing for ever.
    // Where the cost is least so far, and the step from there that was tried last.
    let mut best: Option<(f64, Vec<f64>, Vec<f64>)> = None;
    let mut solved_last = None;
    let (mut reach, mut ratio) = (f64::INFINITY, 1.0);
    for round in 0..ROUNDS {
        let products = passes.over(&parts, &amplitudes);
        let (solved, found) = products.solution(linear)?;
        let left = products.residual(&solved);
        let noise = (left / n.saturating_sub(count).max(1) as f64)
            .sqrt()
            .max(f64::MIN_POSITIVE);
        let weight = (noise / prior).powi(2);
        let pulled: f64 = parts[1..].iter().map(|d| weight * d * d).sum();
        if let Some((least, at, step)) = &mut best
            && left + pulled > *least * (1.0 + ROUGHNESS)
        {
            step.iter_mut().for_each(|s| *s *= 0.5);
            parts = at.iter().zip(step.iter()).map(|(a, s)| a + s).collect();
            continue;
        }
        amplitudes = found;
        let mut extra = vec![0.0; count];
        let mut right = vec![0.0; count];
        for (k, part) in parts.iter().enumerate() {
            let row = linear + k;
            let explained: f64 = (0..linear)
                .map(|j| products.gram[(row, j)] * solved[j])
                .sum();
            right[row] = products.right[row] - explained;
            if k > 0 {
                extra[row] = weight;
                right[row] -= weight * part;
            }
        }
        let normal = Normal::of(products.gram, &extra)?;
        let full = normal.solve(&right).split_off(linear);
        let moved = combine(&passes.phases, &full);
        let before = reach;
        reach = moved.iter().fold(0.0f64, |a, p| a.max(p.abs()));
        ratio = reach / before;
        solved_last = Some((normal, noise));
        if round > 1 && reach < SETTLED {
            break;
        }
        let damp = (LARGEST_STEP / reach).min(1.0);
        let step: Vec<f64> = full.iter().map(|s| damp * s).collect();
        let next = parts.iter().zip(&step).map(|(p, s)| p + s).collect();
        best = Some((left + pulled, std::mem::replace(&mut parts, next), step));
    }
    let (normal, noise) = solved_last.filter(|_| reach < NEARLY)?;
    let turn = combine(&passes.phases, &parts);
    let cycles = turn[n - 1] - turn[0];
    let to_come = if reach < SETTLED {
        0.0
    } else {
        reach / (1.0 - ratio.min(SLOWEST)) / cycles.abs()
    };
    let covariance: Vec<Vec<f64>> = (0..parts.len())
        .map(|i| {
            (0..parts.len())
                .map(|j| noise * noise * normal.inverse(linear + i, linear + j))
                .collect()
        })
        .collect();
    let mut rates = vec![course.g.clone()];
    rates.extend(basis(time, first, last, corrections).into_iter().skip(1));
    let course_hz = combine(&rates, &parts);
    let course_sd_hz = (0..n)
        .map(|i| {
            let mut variance = 0.0;
            for (a, row) in covariance.iter().enumerate() {
                for (b, value) in row.iter().enumerate() {
                    variance += rates[a][i] * rates[b][i] * value;
                }
            }
            variance.max(0.0).sqrt().hypot(to_come * course_hz[i])
        })
        .collect();
    Some(CourseFit {
        frequency: parts[0],
        frequency_sd: covariance[0][0].max(0.0).sqrt().hypot(to_come * parts[0]),
        amplitude: amplitudes[0].hypot(amplitudes[1]),
        cycles,
        course_hz,
        course_sd_hz,
    })
}
