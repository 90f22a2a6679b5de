//! Windowed power spectra in rotor angle and in time, with their noise floor.

use super::domain::Domain;
use super::noise_floor::Floor;
use super::transform::powers;
use super::window::hann;

/// Bins per independent cell: scalloping of the Hann window falls from 1.4 dB to 0.35 dB.
pub(crate) const PADDING: usize = 2;
/// Lines of fewer cycles over the record are not told from the smooth part.
pub(crate) const LEAST_CYCLES: usize = 8;
/// A spectrum is continuous: by Rice's count of level crossings its peaks near a threshold of 10 to 20 times the mean are about three
/// times as many as its independent cells.
const PEAKS_PER_CELL: f64 = 3.0;
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
