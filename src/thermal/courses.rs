//! Temperatures of winding and housing over each heat record, with their band.

use super::identify::solved;
use super::problem::{Problem, Simulated, Trace};
use crate::bench::Bench;
use crate::fit::solve::LeastSquares;
use crate::motor_file::MotorFile;
use crate::stats::quantiles::normal_quantile;
use nalgebra::DVector;

/// One body over one record, °C.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Temperatures {
    /// Of the model.
    pub model_c: Vec<f64>,
    /// Bounds of that.
    pub lower_c: Vec<f64>,
    /// Bounds of that.
    pub upper_c: Vec<f64>,
    /// As the resistance or the sensor shows it; not a number where neither does.
    pub seen_c: Vec<f64>,
}

/// One record.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Its name.
    pub record: String,
    /// s.
    pub time_s: Vec<f64>,
    /// The winding.
    pub winding: Temperatures,
    /// The housing.
    pub housing: Temperatures,
}

/// The courses of all heat records of a bench; none without a thermal model. To first order in the unknowns (JCGM 100:2008, 5.2.2).
pub fn courses(bench: &Bench, file: &MotorFile, level: f64) -> Vec<Course> {
    let found = || {
        let (problem, x) = solved(bench, file).ok()?;
        let covariance = problem.normal_equations(&x)?.normal.try_inverse()?;
        let at = |x: &DVector<f64>| Some(problem.simulate(x)?.temperatures_c);
        // Unknowns are logarithms and standard deviations, so one step serves all.
        let step = 1e-3;
        let mut slopes = Vec::with_capacity(x.len());
        for k in 0..x.len() {
            let (mut up, mut down) = (x.clone(), x.clone());
            up[k] += step;
            down[k] -= step;
            slopes.push((at(&up)?, at(&down)?));
        }
        let simulated = problem.simulate(&x)?;
        let z = normal_quantile(0.5 + 0.5 * level);
        let per_k = problem.resistance_ohm_per_k(&x);
        let half_k = |record: usize, bin: usize, body: usize| {
            let gradient = DVector::from_iterator(
                x.len(),
                slopes.iter().map(|(up, down)| {
                    (up[record][bin][body] - down[record][bin][body]) / (2.0 * step)
                }),
            );
            z * gradient.dot(&(&covariance * &gradient)).max(0.0).sqrt()
        };
        let courses = problem
            .records
            .iter()
            .enumerate()
            .map(|(record, observed)| {
                let bodies = [0, 1].map(|body| {
                    let mut out = Temperatures::default();
                    for (bin, both) in simulated.temperatures_c[record].iter().enumerate() {
                        let half = half_k(record, bin, body);
                        out.model_c.push(both[body]);
                        out.lower_c.push(both[body] - half);
                        out.upper_c.push(both[body] + half);
                        out.seen_c.push(f64::NAN);
                    }
                    out
                });
                let [mut winding, mut housing] = bodies;
                add_seen(
                    &problem,
                    &simulated,
                    record,
                    per_k,
                    [&mut winding, &mut housing],
                );
                Course {
                    record: bench.heat[record].name.clone(),
                    time_s: observed.time_s.clone(),
                    winding,
                    housing,
                }
            });
        Some(courses.collect())
    };
    if bench.heat.is_empty() {
        return Vec::new();
    }
    found().unwrap_or_default()
}

/// What the traces of a record show, beside the model. `per_k`: how fast the resistance rises, Ω/K.
fn add_seen(
    problem: &Problem,
    simulated: &Simulated,
    record: usize,
    per_k: f64,
    [winding, housing]: [&mut Temperatures; 2],
) {
    let observed = &problem.records[record];
    // Residuals stand in the order of the bins; those of a trace that misses a bin have none for it.
    for (trace, has) in [
        (Trace::Voltage, observed.voltage_v.as_ref()),
        (Trace::Resistance, observed.resistance_ohm.as_ref()),
        (Trace::Housing, observed.housing_c.as_ref()),
    ] {
        let mut bins = (0..observed.time_s.len())
            .filter(|bin| has.is_some_and(|bins| bins.means[*bin].is_finite()));
        let own = simulated.residuals.iter();
        for residual in own.filter(|r| r.record == record && r.trace == trace) {
            let Some(bin) = bins.next() else { break };
            let current_a = observed
                .current_a
                .as_ref()
                .map_or(f64::NAN, |b| b.means[bin]);
            match trace {
                Trace::Housing => {
                    housing.seen_c[bin] = housing.model_c[bin] + residual.apart;
                }
                Trace::Voltage => {
                    let apart_k = residual.apart / (current_a * per_k);
                    winding.seen_c[bin] = winding.model_c[bin] + apart_k;
                }
                Trace::Resistance => {
                    winding.seen_c[bin] = winding.model_c[bin] + residual.apart / per_k;
                }
            }
        }
    }
}
