//! Speed over time from the ripple of currents, where starts, brakes and steady running show it.

use crate::bench::Bench;
use crate::events::{CurrentStretch, Timeline, current_stretches};
use crate::fit::{Estimate, voltage_balance};
use crate::motor_file::{MotorFile, ParameterName};
use crate::quantity::rounding::{self, Scale, significant};
use crate::report::context::{MotionView, SpeedCurve};
use crate::ripple::{Counted, CurrentRipple, Foreseen, RippleOptions, speed_in_current};
use crate::stats::quantiles::normal_quantile;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Share of the highest speed below which the course is not shown: too few cycles are left there to hold it.
const SLOWEST_SHARE: f64 = 0.15;

/// One view of at most about `points` for each stretch whose current was read; none without a number of cycles a revolution.
pub fn views(
    bench: &Bench,
    timelines: &[Timeline],
    estimate: &Estimate,
    file: &MotorFile,
    points: usize,
) -> Vec<MotionView> {
    let Some(cycles) = cycles(bench, estimate) else {
        return Vec::new();
    };
    bench
        .captures
        .par_iter()
        .zip(timelines)
        .enumerate()
        .flat_map_iter(|(k, (capture, timeline))| {
            current_stretches(&capture.waveform, timeline, capture.role)
                .into_iter()
                .map(move |stretch| {
                    let foreseen = foreseen(bench, k, &stretch, file, estimate);
                    view(&capture.name, &stretch, cycles, foreseen, estimate, points)
                })
        })
        .collect()
}

/// Ripple cycles a revolution: as the fit took them, else from the count in the sheet.
fn cycles(bench: &Bench, estimate: &Estimate) -> Option<u32> {
    estimate
        .ripple
        .iter()
        .find_map(|f| f.candidate())
        .map(|c| c.cycles_per_revolution)
        .or_else(|| {
            estimate
                .speeds
                .first()
                .map(|s| s.anchor.cycles_per_revolution)
        })
        .or_else(|| Counted::of(&bench.motor).cycles().first().copied())
}

fn view(
    capture: &str,
    stretch: &CurrentStretch,
    cycles: u32,
    foreseen: Option<Foreseen>,
    estimate: &Estimate,
    most_points: usize,
) -> MotionView {
    let found = speed_in_current(
        stretch,
        foreseen.as_ref(),
        Some(cycles),
        &RippleOptions::default(),
    );
    let found = match found {
        Ok(found) => found,
        Err(why) => {
            return MotionView {
                words: format!("Its current gives no speed: {why}."),
                ..empty(capture, stretch)
            };
        }
    };
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    let points: Vec<(f64, f64, f64)> = found
        .speed
        .iter()
        .filter_map(|p| {
            Some((
                p.time_s,
                p.speed_rad_per_s?,
                p.standard_uncertainty_rad_per_s?,
            ))
        })
        .collect();
    let most = points.iter().map(|p| p.1).fold(0.0, f64::max);
    let points: Vec<(f64, f64, f64)> = points
        .into_iter()
        .filter(|p| p.1 >= SLOWEST_SHARE * most)
        .step_by(found.speed.len().div_ceil(most_points).max(1))
        .collect();
    MotionView {
        words: line_text(&found, cycles),
        curve: SpeedCurve::new(&points, z),
        model_rad_s: foreseen
            .map(|f| at_times(stretch, &f, &points))
            .unwrap_or_default(),
        ..empty(capture, stretch)
    }
}

fn empty(capture: &str, stretch: &CurrentStretch) -> MotionView {
    MotionView {
        capture: capture.to_owned(),
        role: stretch.motion.to_string(),
        words: String::new(),
        curve: SpeedCurve::default(),
        model_rad_s: Vec::new(),
    }
}

/// Back-EMF by the voltage balance of the fitted motor, where its constant is known.
fn foreseen(
    bench: &Bench,
    k: usize,
    stretch: &CurrentStretch,
    file: &MotorFile,
    estimate: &Estimate,
) -> Option<Foreseen> {
    let constant = file
        .parameters
        .get(&ParameterName::BackEmfConstant)
        .filter(|k| k.value.is_some_and(|v| v > 0.0))?;
    let relative = constant.standard_uncertainty? / constant.value?;
    let (problem, x) = (&estimate.problem, &estimate.solution.x);
    voltage_balance(bench, problem, x, k, stretch, relative)
}

/// Speed by the voltage balance, averaged over the time between the points.
fn at_times(stretch: &CurrentStretch, foreseen: &Foreseen, points: &[(f64, f64, f64)]) -> Vec<f64> {
    let speed = |from: usize, to: usize| {
        let part: Vec<f64> = foreseen
            .back_emf_v
            .get(from..to)
            .unwrap_or_default()
            .iter()
            .copied()
            .filter(|v| v.is_finite())
            .collect();
        let mean = part.iter().sum::<f64>() / part.len() as f64;
        significant(mean.abs() / foreseen.back_emf_constant_v_s_per_rad, 5)
    };
    let row = |t: f64| stretch.time_s.partition_point(|x| *x < t);
    (0..points.len())
        .map(|k| {
            let before = points.get(k.wrapping_sub(1)).unwrap_or(&points[k]).0;
            let after = points.get(k + 1).unwrap_or(&points[k]).0;
            let (from, to) = (
                row(0.5 * (before + points[k].0)),
                row(0.5 * (after + points[k].0)),
            );
            speed(from, to.max(from + 1))
        })
        .collect()
}

fn line_text(found: &CurrentRipple, cycles: u32) -> String {
    let mut text = String::new();
    if let (Some(seen), Some(best)) = (found.cycles_seen, found.sharpest(cycles)) {
        text = format!(
            "{seen:.0} ripple cycles, {cycles} a revolution, line {:.0} dB above the noise. Best known at {}: {}, {:.1} rpm.",
            10.0 * found.signal_to_noise.unwrap_or(1.0).log10(),
            rounding::write(significant(best.time_s, 4), None, "s", Scale::Prefix)
                .replace('-', "−"),
            rounding::write(
                best.speed_rad_per_s,
                Some(best.standard_uncertainty_rad_per_s),
                "rad/s",
                Scale::Plain
            ),
            best.speed_rad_per_s * 60.0 / TAU
        );
    }
    for remark in &found.remarks {
        if !text.is_empty() {
            text.push(' ');
        }
        let remark = remark.to_string();
        let mut letters = remark.chars();
        if let Some(first) = letters.next() {
            text.extend(first.to_uppercase());
            text.push_str(letters.as_str());
            text.push('.');
        }
    }
    text
}
