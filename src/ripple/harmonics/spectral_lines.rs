//! The power of a record at any frequency, from its picked lines and the spectrum that they leave.

use super::evidence::cubic;
use crate::ripple::spectrum::power_spectrum::LEAST_CYCLES;
use std::f64::consts::PI;

/// A line whose amplitude is not quite proportional to the EMF has a skirt: up to so many bins from it, power below this share of the line's
/// is no line of its own (common practice, no source).
const SKIRT_BINS: f64 = 8.0;
const SKIRT_SHARE: f64 = 0.01;

/// The lines of a record, as the pattern is read from them.
pub(crate) struct Lines {
    /// Hann power spectrum of what the picked lines leave, finely padded, and its step, cycles per V·s.
    pub rest: Vec<f64>,
    pub step: f64,
    /// |Y| of a line of unit relative amplitude.
    pub gain: f64,
    /// Mean of |Y|² in noise.
    pub noise_power: f64,
    /// Lines taken out: frequency in cycles per V·s and relative amplitude.
    pub picked: Vec<(f64, f64)>,
    /// Highest frequency looked at, cycles per V·s.
    pub band: f64,
    /// ∫ e dt over the record, V·s.
    pub span: f64,
}

impl Lines {
    /// Power over mean noise power at any frequency; `None` beyond the spectrum.
    pub fn power(&self, frequency: f64) -> Option<f64> {
        let mut found = (
            power_at(&self.rest, frequency / self.step)?,
            self.noise_power,
        );
        for line in &self.picked {
            self.add(line, frequency, &mut found);
        }
        Some(found.0 / found.1)
    }

    /// What a picked line adds to (power, mean noise power) at a frequency: its main lobe to the one, beyond that its skirt to the other.
    fn add(&self, &(place, amplitude): &(f64, f64), frequency: f64, found: &mut (f64, f64)) {
        let bins = (frequency - place) * self.span;
        let of_line = (amplitude * self.gain).powi(2);
        found.0 += of_line * hann_response(bins).powi(2);
        if (2.0..SKIRT_BINS).contains(&bins.abs()) {
            found.1 += of_line * SKIRT_SHARE;
        }
    }

    /// The same at all multiples of `revolution` within the band, by order; `None` for too few cycles or beyond the spectrum.
    pub fn powers(&self, revolution: f64) -> Vec<Option<f64>> {
        let orders = (self.band / revolution) as usize;
        let least = LEAST_CYCLES as f64 / 2.0 / self.span;
        let mut found: Vec<Option<(f64, f64)>> = (0..=orders)
            .map(|m| revolution * m as f64)
            .map(|f| {
                let seen = (f >= least).then(|| power_at(&self.rest, f / self.step));
                Some((seen.flatten()?, self.noise_power))
            })
            .collect();
        for line in &self.picked {
            let reach = SKIRT_BINS / self.span;
            let (low, high) = (line.0 - reach, line.0 + reach);
            let near = (low.max(0.0) / revolution) as usize..=(high / revolution) as usize;
            for m in near {
                if let Some(Some(found)) = found.get_mut(m) {
                    self.add(line, revolution * m as f64, found);
                }
            }
        }
        let ratio = |(power, noise)| power / noise;
        found.into_iter().map(|f| f.map(ratio)).collect()
    }
}

/// Main lobe of the Hann window at `bins` from its centre, 1 at the centre, 0 beyond the first zeros.
fn hann_response(bins: f64) -> f64 {
    let d = bins.abs();
    if d >= 2.0 {
        0.0
    } else if d < 1e-6 {
        1.0
    } else if (d - 1.0).abs() < 1e-6 {
        0.5
    } else {
        (PI * d).sin() / (PI * d) / (1.0 - d * d)
    }
}

/// Power at any place, in bins, by a cubic through four bins; `None` beyond the spectrum.
fn power_at(power: &[f64], place: f64) -> Option<f64> {
    let bin = place as usize;
    if bin == 0 || bin + 2 >= power.len() {
        return None;
    }
    let weights = cubic(place - bin as f64);
    let near = &power[bin - 1..bin + 3];
    let value: f64 = near.iter().zip(weights).map(|(p, w)| p * w).sum();
    Some(value.max(0.0))
}
