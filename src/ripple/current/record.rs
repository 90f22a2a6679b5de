//! A current while its ripple is read: the line found, told from hum and aliases, and its trajectory set free.

use super::current_ripple::CurrentRipple;
use super::remarks::CurrentRemark;
use super::trajectory::Trajectory;
use super::trajectory_fit::{TrajectoryFit, fit_trajectory};
use crate::ripple::lines::foreign::{ForeignLine, LineKind};
use crate::ripple::lines::time_line::remove_time_line;
use crate::ripple::samples::means_of;
use crate::ripple::spectrum::domain::Domain;
use crate::ripple::spectrum::power_spectrum::{
    LEAST_CYCLES, PADDING, Spectrum, time_spectrum, weighted,
};
use rayon::prelude::*;

/// Corrections of the trajectory: a constant speed leaves only its slow drift free.
const STEADY_CORRECTIONS: usize = 1;
const CORRECTIONS: usize = 5;
/// Corrections of the stiffer trajectory that a changing speed is compared with.
const STIFFER: usize = 3;
/// Relative standard uncertainty of a changing speed beside noise: ripple whose shape turns with the current shifts its phase (common
/// practice, no source; starts of the shipped motors end within 3e-4 of the simulated speed).
const TRAJECTORY_SHARE: f64 = 5e-4;

/// A current with its smooth part taken off, and what has been seen in it so far.
pub(crate) struct Record {
    pub time: Vec<f64>,
    pub rough: Vec<f64>,
    pub interval_s: f64,
    pub steady: bool,
    pub expected_hz: Option<(f64, f64)>,
    pub false_alarm_rate: f64,
    pub foreign_lines: Vec<ForeignLine>,
    pub remarks: Vec<CurrentRemark>,
}

/// The line taken for ripple.
pub(crate) struct Peak {
    /// Of the trajectory under which it is sharpest.
    pub index: usize,
    pub frequency: f64,
    pub ratio: f64,
    pub false_alarm: f64,
}

impl Record {
    pub fn without_line(self) -> CurrentRipple {
        CurrentRipple::without_line(self.foreign_lines, self.remarks)
    }

    /// At constant speed ripple and mains hum look alike: while the strongest line may be a multiple of a mains frequency
    /// it is subtracted, with a remark.
    pub fn remove_mains(&mut self) {
        for _ in 0..8 {
            let spectrum = time_spectrum(&self.rough, &self.time, self.interval_s);
            let (bin, ratio, found) = spectrum.strongest(self.false_alarm_rate);
            let hz = spectrum.peak_frequency(bin);
            let mains = is_multiple_of_mains(hz, spectrum.step * PADDING as f64);
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

    /// Whether a line is a multiple of one that was taken for hum: that may have been the ripple's own.
    pub fn is_overtone_of_hum(&self, hz: f64) -> bool {
        self.foreign_lines.iter().any(|line| {
            let order = (hz / line.frequency).round();
            (2.0..=4.0).contains(&order) && (hz / (order * line.frequency) - 1.0).abs() < 0.005
        })
    }

    /// The strongest line under all trajectories.
    pub fn strongest(&self, trajectories: &[Trajectory]) -> Option<Peak> {
        let peak = |(index, trajectory): (usize, &Trajectory)| {
            let looks = trajectories.len() as f64;
            let spectrum = trajectory_spectrum(&self.rough, trajectory, self.interval_s, looks);
            let bin = self.choose_bin(&spectrum)?;
            Some(Peak {
                index,
                frequency: spectrum.peak_frequency(bin),
                ratio: spectrum.signal_to_noise(bin),
                false_alarm: spectrum.floor.false_alarm(bin, spectrum.power[bin]),
            })
        };
        let peaks = trajectories.par_iter().enumerate().filter_map(peak);
        // Of equals the first.
        peaks.reduce_with(|a, b| {
            let by_ratio = a.ratio.total_cmp(&b.ratio);
            if by_ratio.then(b.index.cmp(&a.index)).is_lt() {
                b
            } else {
                a
            }
        })
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
    pub fn is_as_sharp_in_time(&mut self, peak: &Peak, trajectories: &[Trajectory]) -> bool {
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
    pub fn fit(
        &self,
        trajectory: &Trajectory,
        frequency: f64,
    ) -> Option<(Vec<f64>, TrajectoryFit)> {
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
    pub fn choose_alias(&mut self, seen_hz: f64, aliases_hz: &[f64], sampling_hz: f64) -> f64 {
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
    pub fn aliased_share(&mut self, fit: &TrajectoryFit, chosen_hz: f64, sampling_hz: f64) -> f64 {
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

/// Whether a line of this width may be a multiple of a mains frequency, which stays within 0.1 % in usual operation (common practice, no source).
pub(crate) fn is_multiple_of_mains(hz: f64, cell_hz: f64) -> bool {
    [50.0, 60.0].iter().any(|mains| {
        let order = (hz / mains).round();
        (1.0..=12.0).contains(&order) && (hz - order * mains).abs() < 1e-3 * hz + 0.25 * cell_hz
    })
}

/// Where sampling at `sampling_hz` shows a frequency.
fn folded(hz: f64, sampling_hz: f64) -> f64 {
    let rest = hz.rem_euclid(sampling_hz);
    rest.min(sampling_hz - rest)
}
