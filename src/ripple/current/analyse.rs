//! Speed against time from the ripple of the current, in a start, in steady running and in a brake.
//!
//! Under current the back-EMF is not measured, so the angle domain is built on a supposed trajectory of the speed, `ω ∝ g(t)`: constant, rising
//! from rest or falling to rest with an unknown time constant, or given by the caller up to its scale (for instance `v - R i`).
//! `x = ∫ g dt` (s) takes the place of ∫ e dt; the trajectory whose spectrum is sharpest is found first and then set free:
//!
//! `i(t) = Σ c_j P_j(t) + Σ_l [p_l cos lφ + q_l sin lφ] + noise`, `dφ/dt = 2π (f g(t) + Σ_k d_k P_k(t))`,
//!
//! with f the ripple frequency in Hz where g = 1 and d_k corrections in Hz, fitted by nonlinear least squares with a weak prior on d_k
//! (one tenth of f). Amplitude is taken as constant: ripple EMF and armature impedance both grow with speed.

use super::current_ripple::CurrentRipple;
use super::record::Record;
use super::remarks::CurrentRemark;
use super::speed_shape::SpeedShape;
use super::trajectory::{SMOOTH_ORDER, trajectories};
use super::trajectory_fit::TrajectoryFit;
use crate::ripple::error::Unreadable;
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::options::RippleOptions;
use crate::ripple::result::SpeedPoint;
use crate::ripple::samples::{Samples, averaged, interval};
use std::f64::consts::PI;

const SPEED_POINTS: usize = 200;

/// Reads the ripple of a current.
///
/// `time_s` and `current_a` (A; `NaN` where missing) cover one phase only: for a start from just after the current's peak. `expected_hz`: ripple
/// frequency where g = 1 as foreseen from elsewhere (value, standard uncertainty), used to choose between
/// lines and between aliases. `cycles_per_revolution` turns frequencies into speeds.
pub fn analyse_current(
    time_s: &[f64],
    current_a: &[f64],
    shape: SpeedShape,
    expected_hz: Option<(f64, f64)>,
    cycles_per_revolution: Option<u32>,
    options: &RippleOptions,
) -> Result<CurrentRipple, Unreadable> {
    let samples = Samples::of(time_s.into(), current_a.into(), options)?;
    let (time, current) = samples.both();
    let (time, current, averaging) = averaged(time, current);
    let smooth = Smooth::fit(&time, &current, SMOOTH_ORDER).ok_or(Unreadable::Singular {
        terms: SMOOTH_ORDER + 1,
    })?;
    let smooth = smooth.values(&time);
    let mut record = Record {
        rough: current.iter().zip(smooth).map(|(i, s)| i - s).collect(),
        interval_s: interval(&time),
        time,
        steady: matches!(shape, SpeedShape::Constant),
        expected_hz,
        false_alarm_rate: options.false_alarm_rate,
        foreign_lines: Vec::new(),
        remarks: samples
            .remarks
            .iter()
            .chain(&averaging)
            .map(|remark| CurrentRemark::Samples(*remark))
            .collect(),
    };
    let trajectories = trajectories(shape, &record.time, time_s)?;
    if record.steady && expected_hz.is_none() {
        record.remove_mains();
    }
    let peak = record
        .strongest(&trajectories)
        .filter(|peak| match record.steady {
            true => !record.is_overtone_of_hum(peak.frequency),
            false => !record.is_as_sharp_in_time(peak, &trajectories),
        });
    let Some(peak) = peak else {
        record.remarks.push(CurrentRemark::NoLine {
            false_alarm_rate: record.false_alarm_rate,
        });
        return Ok(record.without_line());
    };
    let trajectory = &trajectories[peak.index];
    let Some((time, fit)) = record.fit(trajectory, peak.frequency) else {
        record.remarks.push(CurrentRemark::NoTrajectory {
            frequency_hz: peak.frequency,
        });
        return Ok(record.without_line());
    };
    let sampling_hz = 1.0 / record.interval_s;
    let aliases_hz = match record.steady {
        true => aliases(fit.frequency, sampling_hz),
        false => Vec::new(),
    };
    let chosen_hz = record.choose_alias(fit.frequency, &aliases_hz, sampling_hz);
    let aliased_share = record.aliased_share(&fit, chosen_hz, sampling_hz);
    if expected_hz.is_none() && cycles_per_revolution.is_some() {
        record.remarks.push(CurrentRemark::TakenForCommutation);
    }
    Ok(CurrentRipple {
        frequency_hz: Some((chosen_hz, fit.frequency_sd)),
        amplitude_a: Some(fit.amplitude),
        signal_to_noise: Some(peak.ratio),
        false_alarm_probability: Some(peak.false_alarm),
        time_constant_s: trajectory.time_constant_s,
        cycles_seen: Some(fit.cycles),
        aliases_hz,
        aliased_share,
        speed: speed_points(&time, &fit, chosen_hz, cycles_per_revolution),
        foreign_lines: record.foreign_lines,
        remarks: record.remarks,
    })
}

/// Ripple frequency and speed along the record.
fn speed_points(
    time: &[f64],
    fit: &TrajectoryFit,
    chosen_hz: f64,
    cycles_per_revolution: Option<u32>,
) -> Vec<SpeedPoint> {
    let stride = time.len().div_ceil(SPEED_POINTS).max(1);
    let turns = cycles_per_revolution.map(|n| 2.0 * PI / f64::from(n));
    (0..time.len())
        .step_by(stride)
        .map(|i| {
            // An alias moves with the speed in the same or in the opposite sense; at constant speed only its place counts.
            let hz = if chosen_hz == fit.frequency {
                fit.frequency_hz[i]
            } else {
                chosen_hz
            };
            SpeedPoint {
                time_s: time[i],
                emf_v: None,
                ripple_frequency_hz: hz,
                speed_rad_per_s: turns.map(|t| hz * t),
                standard_uncertainty_rad_per_s: turns.map(|t| fit.standard_uncertainty_hz[i] * t),
            }
        })
        .collect()
}

/// Frequencies that sampling cannot tell from `hz`, up to four times the sampling rate.
fn aliases(hz: f64, sampling_hz: f64) -> Vec<f64> {
    (1..=4)
        .flat_map(|k| {
            [
                f64::from(k) * sampling_hz - hz,
                f64::from(k) * sampling_hz + hz,
            ]
        })
        .filter(|f| *f < 4.0 * sampling_hz)
        .collect()
}
