//! Supposed courses of the speed, and the fit that sets one free; the equations stand in `current.rs`.

use super::{
    SpeedShape, Unreadable,
    least_squares::{Normal, project},
    smooth::{basis, combine, integral_basis},
};
use std::f64::consts::PI;

/// Order of the current's smooth part.
pub(super) const SMOOTH_ORDER: usize = 9;
/// Harmonics of the ripple fitted.
const HARMONICS: usize = 2;

/// A supposed course: g, its integral, its time constant.
pub(super) struct Course {
    pub g: Vec<f64>,
    /// ∫ g dt, s.
    pub x_s: Vec<f64>,
    pub time_constant_s: Option<f64>,
}

/// The courses worth a look for a shape, at the times used; `all_times` belong to given values.
pub(super) fn courses(
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
        SpeedShape::RiseFromRest { start_s } => constants(span / 20.0, span * 2.0)
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
        SpeedShape::DecayToRest => constants(span / 6.0, span * 4.0)
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
pub(super) struct CourseFit {
    pub frequency: f64,
    pub frequency_sd: f64,
    pub amplitude: f64,
    pub cycles: f64,
    pub course_hz: Vec<f64>,
    pub course_sd_hz: Vec<f64>,
}

/// The nonlinear least-squares fit; `None` where its normal equations are singular.
pub(super) fn fit_course(
    time: &[f64],
    current: &[f64],
    course: &Course,
    frequency: f64,
    corrections: usize,
) -> Option<CourseFit> {
    let n = time.len();
    let (first, last) = (time[0], time[n - 1]);
    let smooth = basis(time, first, last, SMOOTH_ORDER);
    // Phase terms in cycles per Hz: the course itself, then the integrals of P_1 .. .
    let mut phases = vec![course.x_s.clone()];
    phases.extend(
        integral_basis(time, first, last, corrections)
            .into_iter()
            .skip(1),
    );
    let mut rates = vec![course.g.clone()];
    rates.extend(basis(time, first, last, corrections).into_iter().skip(1));
    let mut parts = vec![0.0; phases.len()];
    parts[0] = frequency;
    let prior = 0.1 * frequency;
    let terms = smooth.len();
    let count = terms + 2 * HARMONICS + phases.len();
    let mut amplitudes = [0.0; 2 * HARMONICS];
    let mut c = vec![0.0; terms];
    let mut normal = None;
    let mut noise = 0.0;
    for round in 0..25 {
        let turn = combine(&phases, &parts);
        let lines: Vec<Vec<f64>> = (1..=HARMONICS)
            .flat_map(|l| {
                let (cos, sin) = turn
                    .iter()
                    .map(|p| {
                        let (s, c) = (2.0 * PI * l as f64 * p).sin_cos();
                        (c, s)
                    })
                    .unzip();
                [cos, sin]
            })
            .collect();
        let mut columns = smooth.clone();
        columns.extend(lines.iter().cloned());
        // The linear part is solved anew each round: variable projection.
        let linear = Normal::new(&columns, &[])?.solve(&project(&columns, current));
        c.copy_from_slice(&linear[..terms]);
        amplitudes.copy_from_slice(&linear[terms..]);
        let model = combine(&columns, &linear);
        let residual: Vec<f64> = current.iter().zip(&model).map(|(i, m)| i - m).collect();
        noise = (residual.iter().map(|r| r * r).sum::<f64>()
            / n.saturating_sub(count).max(1) as f64)
            .sqrt()
            .max(f64::MIN_POSITIVE);
        let slope: Vec<f64> = (0..n)
            .map(|i| {
                (0..HARMONICS)
                    .map(|l| {
                        2.0 * PI
                            * (l + 1) as f64
                            * (amplitudes[2 * l + 1] * lines[2 * l][i]
                                - amplitudes[2 * l] * lines[2 * l + 1][i])
                    })
                    .sum()
            })
            .collect();
        for phase in &phases {
            columns.push(phase.iter().zip(&slope).map(|(p, s)| p * s).collect());
        }
        let mut extra = vec![0.0; count];
        let mut right = project(&columns, &residual);
        let weight = (noise / prior).powi(2);
        for k in 1..phases.len() {
            extra[count - phases.len() + k] = weight;
            right[count - phases.len() + k] -= weight * parts[k];
        }
        let factored = Normal::new(&columns, &extra)?;
        let step = factored.solve(&right);
        let steps = &step[count - phases.len()..];
        let reach = combine(&phases, steps)
            .iter()
            .fold(0.0f64, |a, p| a.max(p.abs()));
        let damp = if reach > 0.3 { 0.3 / reach } else { 1.0 };
        for (part, s) in parts.iter_mut().zip(steps) {
            *part += damp * s;
        }
        normal = Some(factored);
        if round > 1 && reach < 1e-5 {
            break;
        }
    }
    let normal = normal?;
    let offset = count - phases.len();
    let covariance: Vec<Vec<f64>> = (0..phases.len())
        .map(|i| {
            (0..phases.len())
                .map(|j| noise * noise * normal.inverse(offset + i, offset + j))
                .collect()
        })
        .collect();
    let course_hz = combine(&rates, &parts);
    let course_sd_hz = (0..n)
        .map(|i| {
            let mut variance = 0.0;
            for (a, row) in covariance.iter().enumerate() {
                for (b, value) in row.iter().enumerate() {
                    variance += rates[a][i] * rates[b][i] * value;
                }
            }
            variance.max(0.0).sqrt()
        })
        .collect();
    let turn = combine(&phases, &parts);
    Some(CourseFit {
        frequency: parts[0],
        frequency_sd: covariance[0][0].max(0.0).sqrt(),
        amplitude: amplitudes[0].hypot(amplitudes[1]),
        cycles: turn[n - 1] - turn[0],
        course_hz,
        course_sd_hz,
    })
}
