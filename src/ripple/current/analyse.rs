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
use super::remarks::CurrentRemark;
use super::speed_shape::SpeedShape;
use super::trajectory::{SMOOTH_ORDER, Trajectory, trajectories};
use super::trajectory_fit::{TrajectoryFit, fit_trajectory};
use crate::ripple::error::Unreadable;
use crate::ripple::lines::time_line::remove_time_line;
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::options::RippleOptions;
use crate::ripple::result::{ForeignLine, LineKind, SpeedPoint};
use crate::ripple::samples::{Samples, averaged, interval, means_of};
use crate::ripple::spectrum::domain::Domain;
use crate::ripple::spectrum::power_spectrum::{
    LEAST_CYCLES, PADDING, Spectrum, time_spectrum, weighted,
};
use std::f64::consts::PI;

const SPEED_POINTS: usize = 200;
/// Corrections of the trajectory: a constant speed leaves only its slow drift free.
const STEADY_CORRECTIONS: usize = 1;
const CORRECTIONS: usize = 5;
/// Corrections of the stiffer trajectory that a changing speed is compared with.
const STIFFER: usize = 3;
/// Relative standard uncertainty of a changing speed beside noise: ripple whose shape turns with the current shifts its phase (common
/// practice, no source; starts of the shipped motors end within 3e-4 of the simulated speed).
const TRAJECTORY_SHARE: f64 = 5e-4;

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
        .filter(|peak| record.steady || !record.is_as_sharp_in_time(peak, &trajectories));
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

/// A current with its smooth part taken off, and what has been seen in it so far.
struct Record {
    time: Vec<f64>,
    rough: Vec<f64>,
    interval_s: f64,
    steady: bool,
    expected_hz: Option<(f64, f64)>,
    false_alarm_rate: f64,
    foreign_lines: Vec<ForeignLine>,
    remarks: Vec<CurrentRemark>,
}

/// The line taken for ripple.
struct Peak {
    /// Of the trajectory under which it is sharpest.
    index: usize,
    frequency: f64,
    ratio: f64,
    false_alarm: f64,
}

impl Record {
    fn without_line(self) -> CurrentRipple {
        CurrentRipple::without_line(self.foreign_lines, self.remarks)
    }

    /// At constant speed ripple and mains hum look alike: while the strongest line is a multiple of a mains frequency within a
    /// resolution cell it is subtracted, with a remark.
    fn remove_mains(&mut self) {
        for _ in 0..8 {
            let spectrum = time_spectrum(&self.rough, &self.time, self.interval_s);
            let (bin, ratio, found) = spectrum.strongest(self.false_alarm_rate);
            let hz = spectrum.peak_frequency(bin);
            let mains = [50.0, 60.0].iter().any(|mains| {
                let order = (hz / mains).round();
                (1.0..=12.0).contains(&order)
                    && (hz - order * mains).abs() < spectrum.step * PADDING as f64
            });
            if !(found && mains) {
                return;
            }
            let line =
                remove_time_line(&mut self.rough, &self.time, hz, ratio, LineKind::Undecided);
            self.remarks.push(CurrentRemark::MultipleOfMains {
                frequency_hz: line.frequency,
            });
            self.foreign_lines.push(line);
        }
    }

    /// The strongest line under all trajectories.
    fn strongest(&self, trajectories: &[Trajectory]) -> Option<Peak> {
        let mut best: Option<Peak> = None;
        for (index, trajectory) in trajectories.iter().enumerate() {
            let looks = trajectories.len() as f64;
            let spectrum = trajectory_spectrum(&self.rough, trajectory, self.interval_s, looks);
            let Some(bin) = self.choose_bin(&spectrum) else {
                continue;
            };
            let ratio = spectrum.signal_to_noise(bin);
            if best.as_ref().is_none_or(|b| ratio > b.ratio) {
                best = Some(Peak {
                    index,
                    frequency: spectrum.peak_frequency(bin),
                    ratio,
                    false_alarm: spectrum.floor.false_alarm(bin, spectrum.power[bin]),
                });
            }
        }
        best
    }

    /// The bin taken for ripple: strongest above the threshold, near the expected frequency where one is given.
    fn choose_bin(&self, spectrum: &Spectrum) -> Option<usize> {
        let wanted = self.expected_hz.map(|(hz, _)| match self.steady {
            true => folded(hz, 1.0 / self.interval_s),
            false => hz,
        });
        let reach = self.expected_hz.map_or(0.0, |(_, sd)| {
            4.0 * sd + 2.0 * spectrum.step * PADDING as f64
        });
        // The smooth part of a transient leaves slow waves of its own.
        let least = if self.steady {
            LEAST_CYCLES
        } else {
            2 * LEAST_CYCLES
        };
        let thresholds: Vec<f64> = spectrum.floor.thresholds(self.false_alarm_rate).collect();
        (least * PADDING..spectrum.power.len())
            .filter(|bin| spectrum.power[*bin] > thresholds[*bin])
            .filter(|bin| {
                let hz = *bin as f64 * spectrum.step;
                wanted.is_none_or(|wanted| (hz - wanted).abs() < reach)
            })
            .max_by(|a, b| spectrum.power[*a].total_cmp(&spectrum.power[*b]))
    }

    /// Hum is sharpest in time; ripple of a changing speed is sharper under its trajectory, if only by the part that is not steady yet.
    /// True, with a remark, where the line is about as sharp in time.
    fn is_as_sharp_in_time(&mut self, peak: &Peak, trajectories: &[Trajectory]) -> bool {
        let time = time_spectrum(&self.rough, &self.time, self.interval_s);
        let g = &trajectories[peak.index].g;
        let (least, most) = g
            .iter()
            .fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
        let swept = |g: f64| (peak.frequency * g.max(0.0) / time.step) as usize;
        let band = swept(least).saturating_sub(2)..(swept(most) + 3).min(time.power.len());
        let rival = band
            .max_by(|a, b| time.power[*a].total_cmp(&time.power[*b]))
            .filter(|bin| time.signal_to_noise(*bin) * 1.2 > peak.ratio);
        let Some(bin) = rival else { return false };
        let frequency = time.peak_frequency(bin);
        self.foreign_lines.push(ForeignLine {
            kind: LineKind::Undecided,
            frequency,
            amplitude: time.power[bin].sqrt() / time.gain,
            signal_to_noise: time.signal_to_noise(bin),
        });
        self.remarks.push(CurrentRemark::NoSharperThanInTime {
            frequency_hz: frequency,
        });
        true
    }

    /// The trajectory set free, at the times of what is left after thinning; `None` where no fit settles.
    fn fit(&self, trajectory: &Trajectory, frequency: f64) -> Option<(Vec<f64>, TrajectoryFit)> {
        let (time, rough, trajectory) = thinned(
            &self.time,
            &self.rough,
            trajectory,
            self.interval_s * frequency,
        );
        if self.steady {
            let fit = fit_trajectory(&time, &rough, &trajectory, frequency, STEADY_CORRECTIONS)?;
            return Some((time, fit));
        }
        let mut fit = fit_trajectory(&time, &rough, &trajectory, frequency, CORRECTIONS)?;
        let stiffer = fit_trajectory(&time, &rough, &trajectory, fit.frequency, STIFFER)?;
        fit.widen_by(&stiffer, TRAJECTORY_SHARE);
        Some((time, fit))
    }

    /// Of a steady line and its aliases the one that was foreseen.
    fn choose_alias(&mut self, seen_hz: f64, aliases_hz: &[f64], sampling_hz: f64) -> f64 {
        if !self.steady {
            return seen_hz;
        }
        let Some((expected, sd)) = self.expected_hz else {
            self.remarks.push(CurrentRemark::AliasOpen {
                frequency_hz: seen_hz,
                aliases_hz: aliases_hz.to_vec(),
            });
            return seen_hz;
        };
        let near = aliases_hz
            .iter()
            .copied()
            .chain([seen_hz])
            .min_by(|a, b| (a - expected).abs().total_cmp(&(b - expected).abs()));
        let near = near.filter(|n| *n != seen_hz && (n - expected).abs() < 4.0 * sd);
        let Some(true_hz) = near else { return seen_hz };
        self.remarks.push(CurrentRemark::AliasResolved {
            seen_hz,
            expected_hz: (expected, sd),
            true_hz,
            sampling_hz,
        });
        true_hz
    }

    /// Share of the record in which the ripple lies above the Nyquist frequency, with a remark for a changing speed.
    fn aliased_share(&mut self, fit: &TrajectoryFit, chosen_hz: f64, sampling_hz: f64) -> f64 {
        let nyquist_hz = 0.5 * sampling_hz;
        if self.steady {
            return f64::from(u8::from(chosen_hz > nyquist_hz));
        }
        let rows = fit.frequency_hz.len();
        let above = fit.frequency_hz.iter().filter(|f| **f > nyquist_hz);
        let aliased_rows = above.count();
        if aliased_rows > 0 {
            self.remarks.push(CurrentRemark::AliasedShare {
                aliased_rows,
                rows,
                most_hz: fit.frequency_hz.iter().copied().fold(0.0, f64::max),
                nyquist_hz,
            });
        }
        aliased_rows as f64 / rows as f64
    }
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

/// Samples a ripple cycle with which its trajectory is fitted, and the rows that are left at least.
const SAMPLES_PER_CYCLE: f64 = 10.0;
const LEAST_ROWS: usize = 1024;

/// Means of neighbours, as many as leave [`SAMPLES_PER_CYCLE`]; `cycles_per_sample` at the fastest.
fn thinned(
    time: &[f64],
    rough: &[f64],
    trajectory: &Trajectory,
    cycles_per_sample: f64,
) -> (Vec<f64>, Vec<f64>, Trajectory) {
    let wanted = (SAMPLES_PER_CYCLE * cycles_per_sample).recip() as usize;
    let group = wanted.min(time.len() / LEAST_ROWS).max(1);
    let mean = |data: &[f64]| means_of(group, data);
    let thin = Trajectory {
        g: mean(&trajectory.g),
        x_s: mean(&trajectory.x_s),
        time_constant_s: trajectory.time_constant_s,
    };
    (mean(time), mean(rough), thin)
}

fn trajectory_spectrum(
    rough: &[f64],
    trajectory: &Trajectory,
    interval_s: f64,
    looks: f64,
) -> Spectrum {
    let span = trajectory.x_s[trajectory.x_s.len() - 1];
    let cycles = (0.5 / interval_s * span * 2.0).min(rough.len() as f64 * 0.75);
    let cycles = if trajectory.g.iter().all(|g| *g == 1.0) {
        0.5 / interval_s * span
    } else {
        cycles
    };
    let bins = (cycles * PADDING as f64) as usize;
    weighted(
        rough,
        Domain::even(&trajectory.x_s),
        1.0 / (PADDING as f64 * span),
        bins,
        looks,
    )
}

/// Where sampling at `sampling_hz` shows a frequency.
fn folded(hz: f64, sampling_hz: f64) -> f64 {
    let rest = hz.rem_euclid(sampling_hz);
    rest.min(sampling_hz - rest)
}

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
