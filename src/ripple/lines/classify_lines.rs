//! Lines told apart: stationary in rotor angle, in time, or in converter code.
//!
//! A line is sharp only in the domain where it is stationary: ripple in x = ∫ e dt, mains hum and switching-supply ripple in t. Quantisation
//! makes a sawtooth of the voltage itself, a line in `e/q` (q the code step); in a purely exponential run-down `e/q` is linear in x, so
//! that line is sharp in angle too and must be asked for by name. The strongest line over all domains is taken first; what
//! is not angle is fitted, subtracted and told; the first angle line that beats the others by [`MARGIN`] in power is the ripple.

use super::time_line::{remove_time_line, subtract};
use crate::ripple::lines::foreign::{ForeignLine, LineKind};
use crate::ripple::spectrum::domain::Domain;
use crate::ripple::spectrum::power_spectrum::{Spectrum, angle_spectrum, time_spectrum};
use crate::ripple::spectrum::transform::transform;
use rayon::prelude::*;

/// Power ratio by which one domain must win.
const MARGIN: f64 = 2.0;
const MOST_FOREIGN_LINES: usize = 24;
/// Harmonics of the code sawtooth that are looked for.
const CODE_HARMONICS: usize = 48;

/// What is searched.
pub(crate) struct Search<'a> {
    pub time_s: &'a [f64],
    /// Smooth part with the zero offset in, V.
    pub smooth_v: &'a [f64],
    /// ∫ smooth dt, V·s.
    pub x_v_s: &'a [f64],
    pub interval_s: f64,
    /// Zero offset prior: value and standard deviation, V.
    pub zero_prior_v: (f64, f64),
    pub code_step_v: Option<f64>,
    pub false_alarm_rate: f64,
}

/// The strongest angle line as the spectrum shows it.
#[derive(Clone, Debug)]
pub(crate) struct AngleLine {
    pub frequency: f64,
    pub zero_v: f64,
    pub signal_to_noise: f64,
    pub false_alarm_probability: f64,
}

/// A peak of a spectrum in angle.
struct AnglePeak {
    zero_v: f64,
    spectrum: Spectrum,
    bin: usize,
    /// Power over the mean power of noise.
    ratio: f64,
}

impl AnglePeak {
    fn line(&self) -> AngleLine {
        let spectrum = &self.spectrum;
        AngleLine {
            frequency: spectrum.peak_frequency(self.bin),
            zero_v: self.zero_v,
            signal_to_noise: self.ratio,
            false_alarm_probability: spectrum
                .floor
                .false_alarm(self.bin, spectrum.power[self.bin]),
        }
    }
}

impl Search<'_> {
    /// Takes lines out of `rough` (V) until the strongest left is one in angle, or none is left.
    pub fn strongest_angle_line(
        &self,
        rough: &mut [f64],
        foreign: &mut Vec<ForeignLine>,
    ) -> Option<AngleLine> {
        let zeros = self.zeros();
        for _ in 0..MOST_FOREIGN_LINES {
            let angle = self.strongest_in_angle(rough, &zeros);
            // After the angle: no spectrum of it but the best is held beside that in time.
            let time = time_spectrum(rough, self.time_s, self.interval_s);
            let (time_bin, time_ratio, time_found) = time.strongest(self.false_alarm_rate);
            // The sawtooth of the converter sweeps; its pieces look like lines of either kind, so it is asked for first.
            let strongest = angle.as_ref().map_or(0.0, |a| a.ratio);
            let strongest = strongest.max(if time_found { time_ratio } else { 0.0 });
            if strongest > 0.0
                && let Some(line) = self.remove_code_lines(rough, strongest)
            {
                foreign.push(line);
                continue;
            }
            let mut remove = |bin: usize, ratio: f64, kind: LineKind| {
                let frequency = time.peak_frequency(bin);
                let line = remove_time_line(rough, self.time_s, frequency, ratio, kind);
                foreign.push(line);
            };
            let Some(angle) = angle else {
                if !time_found {
                    return None;
                }
                remove(time_bin, time_ratio, LineKind::Time);
                continue;
            };
            // A line elsewhere in time that is stronger than this one may well have made it: smear of hum.
            if time_found && time_ratio > MARGIN * angle.ratio {
                remove(time_bin, time_ratio, LineKind::Time);
                continue;
            }
            let rival = self.rival_in_time(&angle, &time);
            let rival_ratio = rival.map_or(0.0, |k| time.signal_to_noise(k));
            if rival_ratio * MARGIN > angle.ratio {
                let kind = if rival_ratio > MARGIN * angle.ratio {
                    LineKind::Time
                } else {
                    LineKind::Undecided
                };
                remove(rival.unwrap_or(0), rival_ratio, kind);
                continue;
            }
            return Some(angle.line());
        }
        None
    }

    /// The strongest line above its threshold in the spectra of all zero offsets.
    fn strongest_in_angle(&self, rough: &[f64], zeros: &[f64]) -> Option<AnglePeak> {
        let peak = |(place, &zero_v): (usize, &f64)| {
            let angle = Domain::angle(self.smooth_v, self.x_v_s).less(zero_v, self.time_s);
            let spectrum = angle_spectrum(rough, angle, self.interval_s, zeros.len() as f64);
            let (bin, ratio, found) = spectrum.strongest(self.false_alarm_rate);
            let peak = AnglePeak {
                zero_v,
                spectrum,
                bin,
                ratio,
            };
            found.then_some((place, peak))
        };
        // No more spectra are held than are at work; of equals the first.
        let peaks = zeros.par_iter().enumerate().filter_map(peak);
        let best = peaks.reduce_with(|a, b| {
            let by_ratio = a.1.ratio.total_cmp(&b.1.ratio);
            if by_ratio.then(b.0.cmp(&a.0)).is_lt() {
                b
            } else {
                a
            }
        });
        best.map(|(_, peak)| peak)
    }

    /// The bin of the same line seen in time: the strongest in the band that a line in angle sweeps.
    fn rival_in_time(&self, angle: &AnglePeak, time: &Spectrum) -> Option<usize> {
        let frequency = angle.spectrum.peak_frequency(angle.bin);
        let (fast, slow) = (
            self.smooth_v[0] - angle.zero_v,
            self.smooth_v[self.smooth_v.len() - 1] - angle.zero_v,
        );
        let swept = |emf: f64| (frequency * emf / time.step) as usize;
        let (low, high) = (
            swept(slow.min(fast)).saturating_sub(2),
            swept(slow.max(fast)) + 3,
        );
        (low..high.min(time.power.len())).max_by(|a, b| time.power[*a].total_cmp(&time.power[*b]))
    }

    /// Takes out every line in time that stands above the threshold; for what ripple has left.
    pub fn remove_time_lines(&self, rough: &mut [f64], foreign: &mut Vec<ForeignLine>) -> bool {
        let before = foreign.len();
        while foreign.len() < before + MOST_FOREIGN_LINES {
            let time = time_spectrum(rough, self.time_s, self.interval_s);
            let (bin, ratio, found) = time.strongest(self.false_alarm_rate);
            if !found {
                break;
            }
            foreign.push(remove_time_line(
                rough,
                self.time_s,
                time.peak_frequency(bin),
                ratio,
                LineKind::Time,
            ));
        }
        foreign.len() > before
    }

    /// Zero offsets worth a look: steps that smear a line of some hundred cycles by half a cycle.
    fn zeros(&self) -> Vec<f64> {
        let (centre, sd) = self.zero_prior_v;
        let n = self.smooth_v.len();
        let span_s = self.time_s[n - 1] - self.time_s[0];
        let mean = self.x_v_s[n - 1] / span_s;
        let step = 0.5 * mean / 40.0;
        let side = ((2.5 * sd / step).round() as i32).clamp(0, 12);
        let last = self.smooth_v[n - 1];
        (-side..=side)
            .map(|k| centre + f64::from(k) * step)
            .filter(|zero| *zero < 0.7 * last)
            .collect()
    }

    /// Asks whether the code sawtooth explains a line of this signal-to-noise; if so subtracts it and tells its strongest harmonic.
    fn remove_code_lines(&self, rough: &mut [f64], ratio: f64) -> Option<ForeignLine> {
        let q = self.code_step_v.filter(|q| *q > 0.0)?;
        let n = rough.len();
        let codes: Vec<f64> = self.smooth_v.iter().map(|v| v / q).collect();
        let noise: f64 = rough.iter().map(|r| r * r).sum();
        let strong: Vec<(usize, f64)> = transform(&codes, rough, 1.0, CODE_HARMONICS + 1)
            .iter()
            .map(|sum| sum.norm_sqr() / noise)
            .enumerate()
            .filter(|(k, found)| *k > 0 && *found > 10.0)
            .collect();
        let &(harmonic, found) = strong.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        // The mean power of the whole residual is above the local floor, so this errs to calling a line a code line.
        if found * MARGIN < ratio.min(n as f64 / 8.0) {
            return None;
        }
        let mut amplitude = 0.0;
        for (k, _) in &strong {
            let turns: Vec<f64> = codes.iter().map(|c| *k as f64 * c).collect();
            let a = subtract(rough, &turns);
            if *k == harmonic {
                amplitude = a;
            }
        }
        Some(ForeignLine {
            kind: LineKind::Code,
            frequency: harmonic as f64,
            amplitude,
            signal_to_noise: found,
        })
    }
}
