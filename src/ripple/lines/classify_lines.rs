//! Lines told apart: stationary in rotor angle, in time, or in converter code.
//!
//! A line is sharp only in the domain where it is stationary: ripple in x = ∫ e dt, mains hum and switching-supply ripple in t. Quantisation
//! makes a sawtooth of the voltage itself, a line in `e/q` (q the code step); in a purely exponential run-down `e/q` is linear in x, so
//! that line is sharp in angle too and must be asked for by name. The strongest line over all domains is taken first; what
//! is not angle is fitted, subtracted and told; the first angle line that beats the others by [`MARGIN`] in power is the ripple.

use crate::ripple::numerics::least_squares::{Normal, project};
use crate::ripple::numerics::turn::turn;
use crate::ripple::result::{ForeignLine, LineKind};
use crate::ripple::spectrum::domain::Domain;
use crate::ripple::spectrum::noise_floor::Floor;
use crate::ripple::spectrum::transform::{powers, transform};
use crate::ripple::spectrum::window::hann;
use rustfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Bins per independent cell: scalloping of the Hann window falls from 1.4 dB to 0.35 dB.
pub(crate) const PADDING: usize = 2;
/// Lines of fewer cycles over the record are not told from the smooth part.
pub(crate) const LEAST_CYCLES: usize = 8;
/// A spectrum is continuous: by Rice's count of level crossings its peaks near a threshold of 10 to 20 times the mean are about three
/// times as many as its independent cells.
const PEAKS_PER_CELL: f64 = 3.0;
/// Power ratio by which one domain must win.
const MARGIN: f64 = 2.0;
const MOST_FOREIGN_LINES: usize = 24;
/// Harmonics of the code sawtooth that are looked for.
const CODE_HARMONICS: usize = 48;

/// A windowed power spectrum with its floor.
pub(crate) struct Spectrum {
    pub step: f64,
    pub power: Vec<f64>,
    pub floor: Floor,
    /// Σ of the weights a line of unit amplitude is seen with, times one half: amplitude = |Y| / gain.
    pub gain: f64,
}

impl Spectrum {
    /// Strongest bin relative to its threshold: (bin, signal-to-noise), whether above or not.
    pub fn strongest(&self, rate: f64) -> (usize, f64, bool) {
        let first = LEAST_CYCLES * PADDING;
        let mut best = (first, 0.0, false);
        let thresholds = self.floor.thresholds(rate);
        for (bin, (power, threshold)) in self.power.iter().zip(thresholds).enumerate().skip(first) {
            let ratio = power / threshold;
            if ratio > best.1 {
                best = (bin, ratio, ratio > 1.0);
            }
        }
        (best.0, self.signal_to_noise(best.0), best.2)
    }

    pub fn signal_to_noise(&self, bin: usize) -> f64 {
        self.power
            .get(bin)
            .map_or(0.0, |p| p / self.floor.mean(bin))
    }

    /// Frequency of a peak by a parabola through the logarithms about `bin`.
    pub fn peak_frequency(&self, bin: usize) -> f64 {
        peak_place(&self.power, bin) * self.step
    }
}

/// Place of a peak, in bins.
pub(crate) fn peak_place(power: &[f64], bin: usize) -> f64 {
    if bin == 0 || bin + 1 >= power.len() {
        return bin as f64;
    }
    let [a, b, c] = [bin - 1, bin, bin + 1].map(|k| power[k].max(f64::MIN_POSITIVE).ln());
    let curve = a - 2.0 * b + c;
    let shift = if curve < 0.0 {
        (0.5 * (a - c) / curve).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    bin as f64 + shift
}

/// Spectrum in x of `rough` (V) weighted by the EMF: the matched filter of a line whose amplitude follows the EMF in noise stationary
/// in time. `looks` spectra are searched in all.
pub(crate) fn angle_spectrum(
    rough: &[f64],
    angle: Domain,
    interval_s: f64,
    looks: f64,
) -> Spectrum {
    let (first, last) = angle.ends();
    let span = last - first;
    let cycles = highest_cycles(angle, span, interval_s);
    let bins = (cycles * PADDING as f64) as usize;
    let step = 1.0 / (PADDING as f64 * span);
    weighted(rough, angle, step, bins, looks)
}

/// Cycles over the record up to which lines are looked for: the Nyquist frequency of the slow end; cells beyond one a sample
/// carry nothing new.
pub(crate) fn highest_cycles(angle: Domain, span: f64, interval_s: f64) -> f64 {
    let first_emf = angle.all_weights().next().unwrap_or(0.0);
    let least_emf = angle
        .all_weights()
        .fold(f64::MAX, f64::min)
        .max(1e-3 * first_emf.abs());
    (0.5 / (interval_s * least_emf) * span).min(angle.len() as f64)
}

/// Spectrum in time of `rough`, in Hz.
pub(crate) fn time_spectrum(rough: &[f64], time_s: &[f64], interval_s: f64) -> Spectrum {
    let span = time_s[time_s.len() - 1] - time_s[0];
    let bins = (0.5 / interval_s * span * PADDING as f64) as usize;
    let step = 1.0 / (PADDING as f64 * span);
    weighted(rough, Domain::even(time_s), step, bins, 1.0)
}

/// Hann-windowed, amplitude-weighted spectrum at `k·step`.
pub(crate) fn weighted(
    rough: &[f64],
    domain: Domain,
    step: f64,
    bins: usize,
    looks: f64,
) -> Spectrum {
    let (power, gain) = weighted_power(rough, domain, step, bins);
    let floor = Floor::of(
        &power,
        LEAST_CYCLES * PADDING,
        PADDING,
        looks * PEAKS_PER_CELL,
    );
    Spectrum {
        step,
        power,
        floor,
        gain,
    }
}

/// The power and the gain of such a spectrum alone.
pub(crate) fn weighted_power(
    rough: &[f64],
    domain: Domain,
    step: f64,
    bins: usize,
) -> (Vec<f64>, f64) {
    let (first, last) = domain.ends();
    let span = last - first;
    let mut gain = 0.0;
    let mut weights = Vec::new();
    let samples = |row: usize, places: &mut [f64], values: &mut [f64]| {
        let rows = row..row + places.len();
        domain.places(rows.clone(), places);
        weights.resize(places.len(), 0.0);
        domain.weights(rows.clone(), &mut weights);
        places.iter_mut().for_each(|place| *place -= first);
        for ((value, place), weight) in values.iter_mut().zip(&*places).zip(&weights) {
            *value = hann(place / span) * weight;
        }
        for ((value, weight), rough) in values.iter_mut().zip(&weights).zip(&rough[rows]) {
            gain += *value * weight;
            *value *= rough;
        }
    };
    let powers = powers(domain.len(), samples, step, bins);
    (powers, gain / 2.0)
}

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

impl Search<'_> {
    /// Takes lines out of `rough` (V) until the strongest left is one in angle, or none is left.
    pub fn strongest_angle_line(
        &self,
        rough: &mut [f64],
        foreign: &mut Vec<ForeignLine>,
    ) -> Option<AngleLine> {
        let zeros = self.zeros();
        for _ in 0..MOST_FOREIGN_LINES {
            let mut best: Option<(f64, Spectrum, usize, f64)> = None;
            for &zero in &zeros {
                let angle = Domain::angle(self.smooth_v, self.x_v_s).less(zero, self.time_s);
                let angle = angle_spectrum(rough, angle, self.interval_s, zeros.len() as f64);
                let (bin, ratio, found) = angle.strongest(self.false_alarm_rate);
                if found && best.as_ref().is_none_or(|b| ratio > b.3) {
                    best = Some((zero, angle, bin, ratio));
                }
            }
            // After the angle: no spectrum of it but the best is held beside that in time.
            let time = time_spectrum(rough, self.time_s, self.interval_s);
            let (time_bin, time_ratio, time_found) = time.strongest(self.false_alarm_rate);
            // The sawtooth of the converter sweeps; its pieces look like lines of either kind, so it is asked for first.
            let strongest =
                best.as_ref()
                    .map_or(0.0, |b| b.3)
                    .max(if time_found { time_ratio } else { 0.0 });
            if strongest > 0.0
                && let Some(line) = self.remove_code_lines(rough, strongest)
            {
                foreign.push(line);
                continue;
            }
            let Some((zero, angle, bin, ratio)) = best else {
                if time_found {
                    foreign.push(remove_time_line(
                        rough,
                        self.time_s,
                        time.peak_frequency(time_bin),
                        time_ratio,
                        LineKind::Time,
                    ));
                    continue;
                }
                return None;
            };
            let frequency = angle.peak_frequency(bin);
            // The same line seen in time: anywhere in the band it would sweep.
            let (fast, slow) = (
                self.smooth_v[0] - zero,
                self.smooth_v[self.smooth_v.len() - 1] - zero,
            );
            let swept = |emf: f64| (frequency * emf / time.step) as usize;
            let (low, high) = (
                swept(slow.min(fast)).saturating_sub(2),
                swept(slow.max(fast)) + 3,
            );
            let rival = (low..high.min(time.power.len()))
                .max_by(|a, b| time.power[*a].total_cmp(&time.power[*b]));
            let rival_ratio = rival.map_or(0.0, |k| time.signal_to_noise(k));
            // A line elsewhere in time that is stronger than this one may well have made it: smear of hum.
            if time_found && time_ratio > MARGIN * ratio {
                foreign.push(remove_time_line(
                    rough,
                    self.time_s,
                    time.peak_frequency(time_bin),
                    time_ratio,
                    LineKind::Time,
                ));
                continue;
            }
            if rival_ratio * MARGIN > ratio {
                let kind = if rival_ratio > MARGIN * ratio {
                    LineKind::Time
                } else {
                    LineKind::Undecided
                };
                foreign.push(remove_time_line(
                    rough,
                    self.time_s,
                    time.peak_frequency(rival.unwrap_or(0)),
                    rival_ratio,
                    kind,
                ));
                continue;
            }
            return Some(AngleLine {
                frequency,
                zero_v: zero,
                signal_to_noise: ratio,
                false_alarm_probability: angle.floor.false_alarm(bin, angle.power[bin]),
            });
        }
        None
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

/// Fits and subtracts a sinusoid in time about `frequency_hz`.
pub(crate) fn remove_time_line(
    rough: &mut [f64],
    time_s: &[f64],
    frequency_hz: f64,
    ratio: f64,
    kind: LineKind,
) -> ForeignLine {
    let first = time_s[0];
    let span = time_s[time_s.len() - 1] - first;
    let near = Demodulated::of(rough, time_s, frequency_hz);
    let power = |f: f64| near.power(f - frequency_hz);
    // Golden section over one bin either side.
    let golden = (5f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (frequency_hz - 0.6 / span, frequency_hz + 0.6 / span);
    let (mut c, mut d) = (b - golden * (b - a), a + golden * (b - a));
    let (mut pc, mut pd) = (power(c), power(d));
    for _ in 0..18 {
        if pc > pd {
            (b, d, pd) = (d, c, pc);
            c = b - golden * (b - a);
            pc = power(c);
        } else {
            (a, c, pc) = (c, d, pd);
            d = a + golden * (b - a);
            pd = power(d);
        }
    }
    let frequency = 0.5 * (a + b);
    let turns: Vec<f64> = time_s.iter().map(|t| frequency * (t - first)).collect();
    let amplitude = subtract(rough, &turns);
    ForeignLine {
        kind,
        frequency,
        amplitude,
        signal_to_noise: ratio,
    }
}

/// A record turned to zero frequency and summed over short blocks: all that its spectrum within a cell of `frequency_hz` needs.
struct Demodulated {
    /// Middle (s from the first row), sum, and sum of the moments about the middle of each block.
    blocks: Vec<(f64, Complex64, Complex64)>,
}

impl Demodulated {
    fn of(rough: &[f64], time_s: &[f64], frequency_hz: f64) -> Demodulated {
        // Within a cell of its centre a line turns by less than 1/128 of a turn in a block: sum and moment hold it to 1e-4.
        let rows = rough.len().div_ceil(128);
        let first = time_s[0];
        let span = time_s[time_s.len() - 1] - first;
        let block = |(times, values): (&[f64], &[f64])| {
            let middle = 0.5 * (times[0] + times[times.len() - 1]);
            let (mut re, mut im, mut re_moment, mut im_moment) = (0.0, 0.0, 0.0, 0.0);
            for (t, r) in times.iter().zip(values) {
                let elapsed = t - first;
                let (cos, sin) = turn(frequency_hz * elapsed);
                let weighted = r * (0.5 - 0.5 * turn(elapsed / span).0);
                let (c, s) = (weighted * cos, -weighted * sin);
                re += c;
                im += s;
                re_moment += c * (t - middle);
                im_moment += s * (t - middle);
            }
            (
                middle - first,
                Complex64::new(re, im),
                Complex64::new(re_moment, im_moment),
            )
        };
        Demodulated {
            blocks: time_s
                .chunks(rows)
                .zip(rough.chunks(rows))
                .map(block)
                .collect(),
        }
    }

    /// Power of the Hann-windowed spectrum `offset_hz` from the frequency turned to zero.
    fn power(&self, offset_hz: f64) -> f64 {
        let slope = Complex64::new(0.0, -2.0 * PI * offset_hz);
        self.blocks
            .iter()
            .map(|(middle, sum, moment)| {
                let (cos, sin) = turn(offset_hz * middle);
                (sum + slope * moment) * Complex64::new(cos, -sin)
            })
            .sum::<Complex64>()
            .norm_sqr()
    }
}

/// Least-squares cosine and sine of the phases, in turns, out of `rough`; returns the amplitude.
fn subtract(rough: &mut [f64], turns: &[f64]) -> f64 {
    let (cos, sin) = turns.iter().map(|t| turn(*t)).unzip();
    let columns: [Vec<f64>; 2] = [cos, sin];
    let Some(normal) = Normal::new(&columns, &[]) else {
        return 0.0;
    };
    let solved = normal.solve(&project(&columns, rough));
    for (i, r) in rough.iter_mut().enumerate() {
        *r -= solved[0] * columns[0][i] + solved[1] * columns[1][i];
    }
    solved[0].hypot(solved[1])
}
