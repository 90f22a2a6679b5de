//! The thermal network of a bench's heat records, with bounds.

use super::observed::{Observed, observe};
use super::problem::{Electrical, Problem, Trace};
use super::remarks::HeatRemark;
use crate::bench::{Bench, BrushKind};
use crate::fit::Agreement;
use crate::fit::solve::{SolverOptions, StopReason, minimise};
use crate::motor_file::draw::finer_terms;
use crate::motor_file::{
    Confrontation, MotorFile, Parameter, ParameterName, Status, Thermal, ThermalName,
};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, Normal};

/// Standard uncertainty of a logarithm above which a constant counts as undetermined: its interval would span a factor of 2.7.
const LARGEST_RELATIVE: f64 = 0.25;
/// Residuals of a trace, as a share of what it changes, beyond which the model does not hold.
const LARGEST_MISFIT: f64 = 0.05;

/// What heat records give.
pub struct Identified {
    /// The network; `None` without a heat run that warms the motor.
    pub thermal: Option<Thermal>,
    /// Records that the network does not follow.
    pub conflicts: Vec<Confrontation>,
    /// What a person should know.
    pub warnings: Vec<HeatRemark>,
}

impl Identified {
    /// Without a network, and why.
    fn nothing(warning: HeatRemark) -> Identified {
        Identified {
            thermal: None,
            conflicts: Vec::new(),
            warnings: vec![warning],
        }
    }
}

/// The network from the heat records of `bench`, its electrical parameters from `file`; intervals at `level`.
pub fn identify(bench: &Bench, file: &MotorFile, level: f64) -> Identified {
    match solved(bench, file) {
        Ok((problem, x)) => report(&problem, &x, level),
        Err(warning) => Identified::nothing(warning),
    }
}

/// The records beside the model, and the unknowns that fit them best.
///
/// # Errors
/// Why there are none.
pub(super) fn solved(
    bench: &Bench,
    file: &MotorFile,
) -> Result<(Problem, DVector<f64>), HeatRemark> {
    let records: Vec<Observed> = bench.heat.iter().map(observe).collect();
    let Some(run) = records.iter().find(|record| record.current_a.is_some()) else {
        return Err(HeatRemark::CoolingAlone);
    };
    let Some(electrical) = electrical(bench, file) else {
        return Err(HeatRemark::NoResistance);
    };
    let Some(guess) = guess(run, &electrical) else {
        return Err(HeatRemark::HardlyWarms);
    };
    let mut problem = Problem {
        electrical,
        inflation: vec![[1.0; 3]; records.len()],
        records,
        center: guess,
    };
    let Some(mut x) = best(&problem, guess) else {
        return Err(HeatRemark::NotFitted);
    };
    for _ in 0..3 {
        inflate(&mut problem, &x);
        match minimise(&problem, &x, &options()) {
            Ok(solution)
                if solution.reason.converged() || solution.reason == StopReason::IterationLimit =>
            {
                x = solution.x
            }
            _ => break,
        }
    }
    Ok((problem, x))
}

fn options() -> SolverOptions {
    SolverOptions {
        distance_tolerance: 1e-3,
        gradient_tolerance: 1e-6,
        ..SolverOptions::default()
    }
}

fn electrical(bench: &Bench, file: &MotorFile) -> Option<Electrical> {
    let known = |name| {
        let parameter = file.parameters.get(&name)?;
        Some((parameter.value?, parameter.standard_uncertainty?))
    };
    let resistance_c = file
        .parameters
        .get(&ParameterName::TerminalResistance)?
        .temperature_c?;
    let brushes = bench.motor.brushes;
    Some(Electrical {
        resistance_ohm: known(ParameterName::TerminalResistance)?,
        resistance_c,
        brush_drop_v: known(ParameterName::BrushDrop).unwrap_or((0.0, 0.0)),
        brush_scale_a: finer_terms(file).brush_scale_a,
        other_share: BrushKind::other_share(brushes),
        film: !matches!(brushes, Some(BrushKind::Metal)),
    })
}

/// Logarithms of the constants from the ends of a heat run.
fn guess(run: &Observed, electrical: &Electrical) -> Option<[f64; 4]> {
    let (voltage, current) = (run.voltage_v.as_ref()?, run.current_a.as_ref()?);
    let count = run.time_s.len();
    let power = |bin: usize| voltage.means[bin] * current.means[bin];
    let heat_w = (0..count).map(power).filter(|p| p.is_finite()).sum::<f64>() / count as f64;
    // 254.5 K of copper's scale at room temperature: rise by the change of the resistance.
    let drop_v = electrical.brush_drop_v.0;
    let ohm = |bin: usize| (voltage.means[bin] - drop_v) / current.means[bin];
    let rise = |bin: usize| 254.5 * (ohm(bin) / ohm(0) - 1.0);
    let end_k = rise(count - 1);
    let housing_k = run
        .housing_c
        .as_ref()
        .map(|housing| housing.means[count - 1] - housing.means[0])
        .filter(|k| *k > 0.0 && *k < end_k)
        .unwrap_or(0.5 * end_k);
    let span_s = run.time_s[count - 1] - run.time_s[0];
    if !(run.rotor_held && end_k > 1.0) {
        // A free rotor shows no resistance; the housing alone warms.
        let housing_k = run
            .housing_c
            .as_ref()
            .map(|h| h.means[count - 1] - h.means[0])?;
        return (!run.rotor_held && housing_k > 1.0 && heat_w > 0.0).then(|| {
            let r2 = housing_k / heat_w;
            [
                r2.ln(),
                (0.05 * span_s / r2).ln(),
                r2.ln(),
                (0.3 * span_s / r2).ln(),
            ]
        });
    }
    let r1 = (end_k - housing_k) / heat_w;
    let r2 = housing_k / heat_w;
    // The winding has risen over the housing by 63 % of what it does in the end.
    let aim_k = 0.63 * (end_k - housing_k);
    let reached = (1..count)
        .find(|bin| rise(*bin) > aim_k)
        .unwrap_or(count - 1);
    let tau_s = (run.time_s[reached] - run.time_s[0]).max(1e-3 * span_s);
    Some([
        r1.ln(),
        (tau_s / r1).ln(),
        r2.ln(),
        (0.3 * span_s / r2).ln(),
    ])
}

/// The lowest minimum from starts around the guess.
fn best(problem: &Problem, guess: [f64; 4]) -> Option<DVector<f64>> {
    let mut best: Option<(f64, DVector<f64>)> = None;
    for (split, capacity) in [(0.0, 0.0), (0.7, 0.0), (-0.7, 0.7), (0.0, 1.2), (0.0, -1.2)] {
        let [r1, c1, r2, c2] = guess;
        let start = problem.start([r1 + split, c1 - split, r2 - split, c2 + capacity]);
        let Ok(solution) = minimise(problem, &start, &options()) else {
            continue;
        };
        let cost = solution.equations.cost;
        if best.as_ref().is_none_or(|(lowest, _)| cost < *lowest) {
            best = Some((cost, solution.x));
        }
    }
    best.map(|(_, x)| x)
}

/// Noise of each trace as large as its residuals: slow drifts of meters and a third body are no noise of single readings.
fn inflate(problem: &mut Problem, x: &DVector<f64>) {
    let Some(simulated) = problem.simulate(x) else {
        return;
    };
    let mut sums = vec![[(0.0, 0usize); 3]; problem.records.len()];
    for r in &simulated.residuals {
        let sum = &mut sums[r.record][r.trace as usize];
        sum.0 += (r.apart / r.noise).powi(2);
        sum.1 += 1;
    }
    for (factors, sums) in problem.inflation.iter_mut().zip(&sums) {
        for (factor, (sum, count)) in factors.iter_mut().zip(sums) {
            if *count > 0 {
                // Neighbouring residuals hang together where the model departs; as if each five were one.
                let mean = sum / *count as f64;
                *factor = if mean > 1.0 { (5.0 * mean).sqrt() } else { 1.0 };
            }
        }
    }
}

fn report(problem: &Problem, x: &DVector<f64>, level: f64) -> Identified {
    let covariance = crate::fit::solve::LeastSquares::normal_equations(problem, x)
        .and_then(|equations| equations.normal.try_inverse());
    let (Some(covariance), Some(simulated)) = (covariance, problem.simulate(x)) else {
        return Identified::nothing(HeatRemark::NoBounds);
    };
    let log_covariance: [[f64; 4]; 4] = std::array::from_fn(|a| {
        std::array::from_fn(|b| 0.5 * (covariance[(a, b)] + covariance[(b, a)]))
    });
    let log_values = [x[0], x[1], x[2], x[3]];
    let conflicts = conflicts(problem, &simulated.residuals);
    let sigmas = Normal::standard().inverse_cdf(0.5 + 0.5 * level);
    let (r1, r2) = (x[0].exp(), x[2].exp());
    let total = r1 + r2;
    let weights: [(ThermalName, f64, [f64; 4]); 7] = [
        (
            ThermalName::WindingToHousingResistance,
            x[0],
            [1.0, 0.0, 0.0, 0.0],
        ),
        (ThermalName::WindingHeatCapacity, x[1], [0.0, 1.0, 0.0, 0.0]),
        (
            ThermalName::HousingToAmbientResistance,
            x[2],
            [0.0, 0.0, 1.0, 0.0],
        ),
        (ThermalName::HousingHeatCapacity, x[3], [0.0, 0.0, 0.0, 1.0]),
        (
            ThermalName::WindingToAmbientResistance,
            total.ln(),
            [r1 / total, 0.0, r2 / total, 0.0],
        ),
        (
            ThermalName::WindingTimeConstant,
            x[0] + x[1],
            [1.0, 1.0, 0.0, 0.0],
        ),
        (
            ThermalName::HousingTimeConstant,
            x[2] + x[3],
            [0.0, 0.0, 1.0, 1.0],
        ),
    ];
    let square = DMatrix::from_fn(4, 4, |a, b| log_covariance[a][b]);
    let parameters = weights
        .into_iter()
        .map(|(name, log_value, weight)| {
            let weight = DVector::from_row_slice(&weight);
            let spread = (weight.dot(&(&square * &weight))).max(0.0).sqrt();
            (
                name,
                parameter(
                    name,
                    log_value,
                    spread,
                    sigmas,
                    level,
                    !conflicts.is_empty(),
                ),
            )
        })
        .collect();
    Identified {
        thermal: Some(Thermal {
            parameters,
            log_values,
            log_covariance,
            ambient_c: problem.records[0].ambient_c.0,
            hottest_winding_c: simulated.hottest_c,
        }),
        conflicts,
        warnings: Vec::new(),
    }
}

fn parameter(
    name: ThermalName,
    log_value: f64,
    spread: f64,
    sigmas: f64,
    level: f64,
    in_conflict: bool,
) -> Parameter {
    // The name of an electrical parameter gives nothing but a unit, which is replaced.
    let any = ParameterName::TerminalResistance;
    let unit = name.ucum().to_owned();
    if spread.is_nan() || spread >= LARGEST_RELATIVE {
        let advice = match name {
            ThermalName::WindingToHousingResistance
            | ThermalName::WindingHeatCapacity
            | ThermalName::WindingTimeConstant => {
                "a heat run with the rotor held, read every few seconds at first"
            }
            _ => {
                "a longer heat run, until the housing no longer warms, with a thermometer on the housing"
            }
        };
        return Parameter {
            unit,
            ..Parameter::undetermined(any, advice)
        };
    }
    let value = log_value.exp();
    let ends = (
        (log_value - sigmas * spread).exp(),
        (log_value + sigmas * spread).exp(),
    );
    Parameter {
        unit,
        status: if in_conflict {
            Status::InConflict
        } else {
            Status::Measured
        },
        ..Parameter::measured(any, value, value * spread, ends, level)
    }
}

/// Traces that the network does not follow.
fn conflicts(problem: &Problem, residuals: &[super::problem::Residual]) -> Vec<Confrontation> {
    let mut found = Vec::new();
    for (record, observed) in problem.records.iter().enumerate() {
        for (trace, bins, words, unit) in [
            (Trace::Voltage, &observed.voltage_v, "voltage", "V"),
            (
                Trace::Resistance,
                &observed.resistance_ohm,
                "resistance",
                "Ohm",
            ),
            (
                Trace::Housing,
                &observed.housing_c,
                "housing temperature",
                "K",
            ),
        ] {
            let Some(bins) = bins else { continue };
            let of_trace: Vec<f64> = residuals
                .iter()
                .filter(|r| r.record == record && r.trace == trace)
                .map(|r| r.apart)
                .collect();
            if of_trace.is_empty() {
                continue;
            }
            let rms = (of_trace.iter().map(|r| r * r).sum::<f64>() / of_trace.len() as f64).sqrt();
            let ends = bins
                .means
                .iter()
                .filter(|v| v.is_finite())
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                    (low.min(*v), high.max(*v))
                });
            let change = ends.1 - ends.0;
            if rms > LARGEST_MISFIT * change {
                let misfit = HeatRemark::Misfit {
                    record: observed.name.clone(),
                    signal: words.to_string(),
                    share: rms / change,
                };
                found.push(Confrontation {
                    kind: "record".to_owned(),
                    item: format!("{} ({words})", observed.name),
                    stated: None,
                    model: None,
                    standard_uncertainty: None,
                    unit: unit.to_owned(),
                    deviation: None,
                    agreement: Agreement::InConflict,
                    text: Some(misfit.to_string()),
                });
            }
        }
    }
    found
}
