//! Speed against time from the ripple of the current, in a start, in steady running and in a brake.
//!
//! Under current the back-EMF is not measured, so the angle domain is built on a supposed course of the speed, `ω ∝ g(t)`: constant, rising
//! from rest or falling to rest with an unknown time constant, or given by the caller up to its scale (for instance `v - R i`).
//! `x = ∫ g dt` (s) takes the place of ∫ e dt; the course whose spectrum is sharpest is found first and then set free:
//!
//! `i(t) = Σ c_j P_j(t) + Σ_l [p_l cos lφ + q_l sin lφ] + noise`, `dφ/dt = 2π (f g(t) + Σ_k d_k P_k(t))`,
//!
//! with f the ripple frequency in Hz where g = 1 and d_k corrections in Hz, fitted by nonlinear least squares with a weak prior on d_k
//! (one tenth of f). Amplitude is taken as constant: ripple EMF and armature impedance both grow with speed.

use super::trajectory::{Course, SMOOTH_ORDER, courses, fit_course};
use crate::ripple::error::Unreadable;
use crate::ripple::lines::classify_lines::{
    LEAST_CYCLES, PADDING, Spectrum, remove_time_line, time_spectrum, weighted,
};
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::options::RippleOptions;
use crate::ripple::result::{ForeignLine, LineKind, SpeedPoint};
use crate::ripple::run_down::prepare::{averaged, interval, means_of, usable};
use crate::ripple::spectrum::domain::Domain;
use std::f64::consts::PI;

/// Supposed course of the speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpeedShape<'a> {
    /// Steady running.
    Constant,
    /// From rest at `start_s` towards a final speed: `g = 1 - exp(-(t - start)/τ)`, τ found; among those near `like`, a rough course as
    /// long as the data, where there is one.
    RiseFromRest {
        /// Time at which the rotor begins to turn, s.
        start_s: f64,
        /// Rough course of the speed in any unit, as long as the data.
        like: Option<&'a [f64]>,
    },
    /// Towards rest from the first row on: `g = (1 + c) exp(-t/τ) - c`, τ and c found, likewise.
    DecayToRest {
        /// Rough course of the speed in any unit, as long as the data.
        like: Option<&'a [f64]>,
    },
    /// Proportional to these values, as long as the data.
    Given(&'a [f64]),
}

/// What the ripple of a current says.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct CurrentRipple {
    /// Ripple frequency where the course g is 1 (steady: the frequency; start: final; brake: initial) and its standard
    /// uncertainty, Hz; `None` where no line stands above the threshold.
    pub frequency_hz: Option<(f64, f64)>,
    /// Amplitude of the ripple, A.
    pub amplitude_a: Option<f64>,
    /// Power over mean noise power in the detection spectrum.
    pub signal_to_noise: Option<f64>,
    /// Probability that noise alone makes such a peak.
    pub false_alarm_probability: Option<f64>,
    /// Time constant of the course found, s; `None` for a constant or given course.
    pub time_constant_s: Option<f64>,
    /// Ripple cycles within the record.
    pub cycles_seen: Option<f64>,
    /// Frequencies that sampling cannot tell from the one found, Hz, up to four times the sampling rate; steady records only.
    pub aliases_hz: Vec<f64>,
    /// Share of the record in which the ripple is above the Nyquist frequency.
    pub aliased_share: f64,
    /// Course of the ripple frequency, and of the speed where the cycles per revolution are known.
    pub speed: Vec<SpeedPoint>,
    /// Lines found that are not ripple, removed before the fit.
    pub foreign_lines: Vec<ForeignLine>,
    /// Warnings and notes for the reader.
    pub remarks: Vec<String>,
}

const SPEED_POINTS: usize = 200;
/// Corrections of the stiffer course that a changing speed is compared with.
const STIFFER: usize = 3;
/// Relative standard uncertainty of a changing speed beside noise: ripple whose shape turns with the current shifts its phase (common
/// practice, no source; starts of the shipped motors end within 3e-4 of the simulated speed).
const COURSE_SHARE: f64 = 5e-4;
/// Order of the polynomial that a foreseen course is smoothed with.
pub(crate) const COURSE_ORDER: usize = SMOOTH_ORDER;

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
    let mut remarks = Vec::new();
    let rows = usable(time_s.into(), current_a.into(), options, &mut remarks)?;
    let (time, current) = rows.both();
    let (time, current) = averaged(time, current, &mut remarks);
    let interval_s = interval(&time);
    let smooth = Smooth::fit(&time, &current, SMOOTH_ORDER).ok_or(Unreadable::Singular {
        terms: SMOOTH_ORDER + 1,
    })?;
    let mut rough: Vec<f64> = current
        .iter()
        .zip(smooth.values(&time))
        .map(|(i, s)| i - s)
        .collect();
    let courses = courses(shape, &time, time_s)?;
    let mut foreign_lines = Vec::new();
    let steady = matches!(shape, SpeedShape::Constant);

    if steady && expected_hz.is_none() {
        remove_mains(
            &mut rough,
            &time,
            interval_s,
            options.false_alarm_rate,
            &mut foreign_lines,
            &mut remarks,
        );
    }
    let time_domain = time_spectrum(&rough, &time, interval_s);
    let mut best: Option<Peak> = None;
    for (index, course) in courses.iter().enumerate() {
        let spectrum = course_spectrum(&rough, course, interval_s, courses.len() as f64);
        let Some(bin) = choose(
            &spectrum,
            options.false_alarm_rate,
            expected_hz,
            interval_s,
            steady,
        ) else {
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
    if let Some(peak) = best.as_ref().filter(|_| !steady) {
        // Hum is sharpest in time; ripple of a changing speed is sharper under its course, if only by the part that is not steady yet.
        let g = &courses[peak.index].g;
        let (least, most) = g
            .iter()
            .fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
        let swept = |g: f64| (peak.frequency * g.max(0.0) / time_domain.step) as usize;
        let band = swept(least).saturating_sub(2)..(swept(most) + 3).min(time_domain.power.len());
        let rival = band.max_by(|a, b| time_domain.power[*a].total_cmp(&time_domain.power[*b]));
        if let Some(bin) = rival.filter(|bin| time_domain.signal_to_noise(*bin) * 1.2 > peak.ratio)
        {
            let frequency = time_domain.peak_frequency(bin);
            let amplitude = time_domain.power[bin].sqrt() / time_domain.gain;
            foreign_lines.push(ForeignLine {
                kind: LineKind::Undecided,
                frequency,
                amplitude,
                signal_to_noise: time_domain.signal_to_noise(bin),
            });
            remarks.push(format!(
                "the strongest line of the current, {frequency:.1} Hz, is no sharper under a changing speed than in time: hum or switching ripple cannot be excluded, not taken for speed"
            ));
            best = None;
        }
    }
    let Some(peak) = best else {
        remarks.push(format!("no ripple line of the current stands above its noise at a false-alarm rate of {:.0e}; no speed is taken from it", options.false_alarm_rate));
        return Ok(CurrentRipple::without_line(foreign_lines, remarks));
    };
    let (time, rough, course) = thinned(
        time,
        rough,
        &courses[peak.index],
        interval_s * peak.frequency,
    );
    let course = &course;
    // A constant speed leaves only its slow drift free.
    let corrections = if steady { 1 } else { 5 };
    let fitted = fit_course(&time, &rough, course, peak.frequency, corrections);
    let stiffer = fitted
        .as_ref()
        .filter(|_| !steady)
        .map(|fit| fit_course(&time, &rough, course, fit.frequency, STIFFER));
    let (Some(mut fit), None | Some(Some(_))) = (fitted, &stiffer) else {
        remarks.push(format!("a line of the current stands out at {:.1} Hz, but no course of the speed follows it to an end; no speed is taken from it", peak.frequency));
        return Ok(CurrentRipple::without_line(foreign_lines, remarks));
    };
    if let Some(stiffer) = stiffer.flatten() {
        // The covariance knows nothing of a course that no polynomial of this order follows: what a stiffer one says
        // otherwise counts as a further standard deviation.
        for (sd, (one, other)) in fit
            .course_sd_hz
            .iter_mut()
            .zip(fit.course_hz.iter().zip(&stiffer.course_hz))
        {
            *sd = sd.hypot(one - other).hypot(COURSE_SHARE * one);
        }
        fit.frequency_sd = fit
            .frequency_sd
            .hypot(fit.frequency - stiffer.frequency)
            .hypot(COURSE_SHARE * fit.frequency);
    }
    let sampling_hz = 1.0 / interval_s;
    let aliases_hz = if steady {
        aliases(fit.frequency, sampling_hz)
    } else {
        Vec::new()
    };
    let mut chosen = fit.frequency;
    if let Some((expected, sd)) = expected_hz.filter(|_| steady) {
        let near = aliases_hz
            .iter()
            .copied()
            .chain([fit.frequency])
            .min_by(|a, b| (a - expected).abs().total_cmp(&(b - expected).abs()));
        if let Some(near) = near.filter(|n| *n != fit.frequency && (n - expected).abs() < 4.0 * sd)
        {
            remarks.push(format!(
                "the ripple is aliased: seen at {:.2} Hz, foreseen at {expected:.2} ± {sd:.2} Hz, so it is really at {near:.2} Hz (sampling rate {sampling_hz:.0} Hz)",
                fit.frequency
            ));
            chosen = near;
        }
    } else if steady {
        remarks.push(format!(
            "at constant speed sampling cannot tell {:.2} Hz from {}; a run-down or a foreseen speed would settle it",
            fit.frequency,
            aliases_hz.iter().take(2).map(|a| format!("{a:.2} Hz")).collect::<Vec<_>>().join(" or ")
        ));
    }
    let aliased = fit
        .course_hz
        .iter()
        .filter(|f| **f > 0.5 * sampling_hz)
        .count();
    if !steady && aliased > 0 {
        remarks.push(format!(
            "the ripple is aliased in {:.0} % of the record (up to {:.0} Hz against a Nyquist frequency of {:.0} Hz); it is read at its true place because the speed changes",
            100.0 * aliased as f64 / time.len() as f64,
            fit.course_hz.iter().copied().fold(0.0, f64::max),
            0.5 * sampling_hz
        ));
    }
    if expected_hz.is_none() && cycles_per_revolution.is_some() {
        remarks.push(
            "the strongest line of the current is taken for the commutation line; in a current it can also be unevenness, once or twice a revolution. A frequency foreseen from the run-down would settle it".to_string(),
        );
    }
    let stride = time.len().div_ceil(SPEED_POINTS).max(1);
    let turns = cycles_per_revolution.map(|n| 2.0 * PI / f64::from(n));
    let speed = (0..time.len())
        .step_by(stride)
        .map(|i| {
            // An alias moves with the speed in the same or in the opposite sense; at constant speed only its place counts.
            let hz = if chosen == fit.frequency {
                fit.course_hz[i]
            } else {
                chosen
            };
            SpeedPoint {
                time_s: time[i],
                emf_v: None,
                ripple_frequency_hz: hz,
                speed_rad_per_s: turns.map(|t| hz * t),
                standard_uncertainty_rad_per_s: turns.map(|t| fit.course_sd_hz[i] * t),
            }
        })
        .collect();
    Ok(CurrentRipple {
        frequency_hz: Some((chosen, fit.frequency_sd)),
        amplitude_a: Some(fit.amplitude),
        signal_to_noise: Some(peak.ratio),
        false_alarm_probability: Some(peak.false_alarm),
        time_constant_s: course.time_constant_s,
        cycles_seen: Some(fit.cycles),
        aliases_hz,
        aliased_share: if steady {
            f64::from(u8::from(chosen > 0.5 * sampling_hz))
        } else {
            aliased as f64 / time.len() as f64
        },
        speed,
        foreign_lines,
        remarks,
    })
}

impl CurrentRipple {
    /// Nothing found.
    fn without_line(foreign_lines: Vec<ForeignLine>, remarks: Vec<String>) -> Self {
        CurrentRipple {
            frequency_hz: None,
            amplitude_a: None,
            signal_to_noise: None,
            false_alarm_probability: None,
            time_constant_s: None,
            cycles_seen: None,
            aliases_hz: Vec::new(),
            aliased_share: 0.0,
            speed: Vec::new(),
            foreign_lines,
            remarks,
        }
    }
}

/// Samples a ripple cycle with which its course is fitted, and the rows that are left at least.
const SAMPLES_PER_CYCLE: f64 = 10.0;
const LEAST_ROWS: usize = 1024;

/// Means of neighbours, as many as leave [`SAMPLES_PER_CYCLE`]; `cycles_per_sample` at the fastest.
fn thinned(
    time: Vec<f64>,
    rough: Vec<f64>,
    course: &Course,
    cycles_per_sample: f64,
) -> (Vec<f64>, Vec<f64>, Course) {
    let wanted = (SAMPLES_PER_CYCLE * cycles_per_sample).recip() as usize;
    let group = wanted.min(time.len() / LEAST_ROWS).max(1);
    let mean = |data: &[f64]| means_of(group, data);
    let thin = Course {
        g: mean(&course.g),
        x_s: mean(&course.x_s),
        time_constant_s: course.time_constant_s,
    };
    (mean(&time), mean(&rough), thin)
}

struct Peak {
    index: usize,
    frequency: f64,
    ratio: f64,
    false_alarm: f64,
}

fn course_spectrum(rough: &[f64], course: &Course, interval_s: f64, looks: f64) -> Spectrum {
    let span = course.x_s[course.x_s.len() - 1];
    let cycles = (0.5 / interval_s * span * 2.0).min(rough.len() as f64 * 0.75);
    let cycles = if course.g.iter().all(|g| *g == 1.0) {
        0.5 / interval_s * span
    } else {
        cycles
    };
    let bins = (cycles * PADDING as f64) as usize;
    weighted(
        rough,
        Domain::even(&course.x_s),
        1.0 / (PADDING as f64 * span),
        bins,
        looks,
    )
}

/// The bin taken for ripple: strongest above the threshold, near the expected frequency where one is given.
fn choose(
    spectrum: &Spectrum,
    rate: f64,
    expected_hz: Option<(f64, f64)>,
    interval_s: f64,
    steady: bool,
) -> Option<usize> {
    let wanted: Vec<f64> = match expected_hz {
        Some((hz, _)) if steady => std::iter::once(folded(hz, 1.0 / interval_s)).collect(),
        Some((hz, _)) => vec![hz],
        None => Vec::new(),
    };
    // The smooth part of a transient leaves slow waves of its own.
    let least = if steady {
        LEAST_CYCLES
    } else {
        2 * LEAST_CYCLES
    };
    let thresholds: Vec<f64> = spectrum.floor.thresholds(rate).collect();
    (least * PADDING..spectrum.power.len())
        .filter(|bin| spectrum.power[*bin] > thresholds[*bin])
        .filter(|bin| {
            let hz = *bin as f64 * spectrum.step;
            let reach = expected_hz.map_or(0.0, |(_, sd)| {
                4.0 * sd + 2.0 * spectrum.step * PADDING as f64
            });
            wanted.is_empty() || wanted.iter().any(|w| (hz - w).abs() < reach)
        })
        .max_by(|a, b| spectrum.power[*a].total_cmp(&spectrum.power[*b]))
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

/// At constant speed ripple and mains hum look alike: while the strongest line is a multiple of a mains frequency within a
/// resolution cell it is subtracted and told.
fn remove_mains(
    rough: &mut [f64],
    time: &[f64],
    interval_s: f64,
    rate: f64,
    foreign: &mut Vec<ForeignLine>,
    remarks: &mut Vec<String>,
) {
    for _ in 0..8 {
        let spectrum = time_spectrum(rough, time, interval_s);
        let (bin, ratio, found) = spectrum.strongest(rate);
        let hz = spectrum.peak_frequency(bin);
        let mains = [50.0, 60.0].iter().any(|mains| {
            let order = (hz / mains).round();
            (1.0..=12.0).contains(&order)
                && (hz - order * mains).abs() < spectrum.step * PADDING as f64
        });
        if !(found && mains) {
            return;
        }
        let line = remove_time_line(rough, time, hz, ratio, LineKind::Undecided);
        remarks.push(format!(
            "the line of the steady current at {:.2} Hz is a multiple of a mains frequency: at constant speed ripple and hum look alike, so it is not taken for speed",
            line.frequency
        ));
        foreign.push(line);
    }
}
