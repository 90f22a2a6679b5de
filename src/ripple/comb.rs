//! The comb weighed: how many ripple cycles make one revolution.
//!
//! A hypothesis is (M, S): the strongest line is the M-th harmonic of one revolution, the commutator has S segments and N ripple cycles
//! per revolution. It predicts lines at every multiple m of `f₀/M`. In white noise the normalised power `P_m` of a line whose
//! amplitude is Gaussian with mean-square signal-to-noise s has log likelihood ratio against noise
//! `P s/(1+s) - ln(1+s)`. Lines fall into four groups, each with a scale of its own: multiples of N (commutation line and
//! harmonics); once per revolution (eccentricity); the other even multiples (unevenness of coils); the other odd ones. With equal poles a
//! rotor turned by half a turn looks the same, so odd multiples may be weak or absent. Within a group amplitudes fall with the order or
//! stay flat. Scales are integrated over a logarithmic grid; so a hypothesis pays for lines it predicts and that are absent. The
//! weights of once-per-revolution and odd lines against even ones decide between N and 2N.
//!
//! All hypotheses are weighed on the same band. A small part of the prior is kept whatever the data say, for what the model leaves out.
//! Strong lines are taken out before the spectrum is read and put back with the main lobe of the window only, so that
//! its sidelobes are not read as lines.

use rayon::prelude::*;
use std::collections::BTreeSet;
use std::f64::consts::PI;

use super::{
    rule::{cycles_per_revolution, segment_counts},
    sort_lines::{LEAST_CYCLES, Spectrum},
};

/// One weighed hypothesis.
#[derive(Clone, Debug)]
pub(super) struct Weighed {
    pub segments: u32,
    pub cycles_per_revolution: u32,
    /// Harmonic of one revolution that the strongest line is.
    pub harmonic: u32,
    pub probability: f64,
    pub prior: f64,
}

/// Part of the prior that survives any evidence.
const DISTRUST: f64 = 1e-3;
/// Scales, as a fraction of the EMF: 3e-6 to 0.3.
const SCALES: usize = 32;
const FALLS: [f64; 4] = [0.0, 0.5, 1.0, 2.0];

/// The lines of a record, as the comb is read from them.
pub(super) struct Lines {
    /// Hann spectrum of what the picked lines leave, finely padded.
    pub rest: Spectrum,
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
        let mut power = power_at(&self.rest, frequency)?;
        for &(place, amplitude) in &self.picked {
            let response = hann_response((frequency - place) * self.span);
            power += (amplitude * self.rest.gain * response).powi(2);
        }
        Some(power / self.noise_power)
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

/// Weighs all hypotheses; `strongest` is the frequency of the strongest line in cycles per V·s.
pub(super) fn weigh(lines: &Lines, strongest: f64, poles: u32, most_segments: u32) -> Vec<Weighed> {
    let mut hypotheses = hypotheses(poles, most_segments);
    let most_harmonic = hypotheses.iter().map(|h| h.harmonic).max().unwrap_or(1) as usize;
    let wanted: BTreeSet<usize> = hypotheses.iter().map(|h| h.harmonic as usize).collect();
    let mut combs: Vec<Option<Comb>> = (0..=most_harmonic).map(|_| None).collect();
    for m in wanted {
        combs[m] = Some(Comb::read(lines, strongest / m as f64));
    }
    let logs: Vec<f64> = hypotheses
        .par_iter()
        .map(|h| {
            let evidence = combs[h.harmonic as usize]
                .as_ref()
                .map_or(f64::MIN, |comb| {
                    comb.log_evidence(h.cycles_per_revolution as usize)
                });
            h.prior.ln() + evidence
        })
        .collect();
    let total_prior: f64 = hypotheses.iter().map(|h| h.prior).sum();
    let most = logs.iter().copied().fold(f64::MIN, f64::max);
    let total: f64 = logs.iter().map(|l| (l - most).exp()).sum();
    for (h, log) in hypotheses.iter_mut().zip(&logs) {
        h.prior /= total_prior;
        h.probability = (1.0 - DISTRUST) * (log - most).exp() / total + DISTRUST * h.prior;
    }
    hypotheses.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    hypotheses
}

/// Every (M, S) with its weight before the data.
fn hypotheses(poles: u32, most_segments: u32) -> Vec<Weighed> {
    let mut all = Vec::new();
    for segments in 3..=most_segments {
        let Some(cycles) = cycles_per_revolution(segments, poles) else {
            continue;
        };
        // Large counts are rare in small motors; of an odd count and its double, which make the same ripple, the odd is common.
        let mut weight = if segments <= 24 { 1.0 } else { 0.1 };
        if segments.is_multiple_of(2) && segment_counts(cycles, poles, 3, segments).len() > 1 {
            weight *= 0.4;
        }
        let mut add = |harmonic: u32, share: f64| {
            all.push(Weighed {
                segments,
                cycles_per_revolution: cycles,
                harmonic,
                probability: 0.0,
                prior: weight * share,
            });
        };
        add(cycles, 0.9);
        add(2 * cycles, 0.02);
        if segments % 2 == 1 && cycles == 2 * segments {
            add(segments, 0.02);
        }
        // The unevenness of a commutator with many segments can outweigh its ripple: once or twice a revolution, or a low even order.
        for harmonic in (1..=16)
            .filter(|harmonic| cycles > 2 * harmonic || (cycles > *harmonic && harmonic % 2 == 0))
        {
            add(
                harmonic,
                match harmonic {
                    1 => 0.04,
                    2 => 0.02,
                    m if m % 2 == 0 => 0.01,
                    _ => 0.002,
                },
            );
        }
    }
    all
}

/// Normalised powers at the multiples of one revolution.
struct Comb {
    /// (order m, P_m) of every line that can be told.
    lines: Vec<(usize, f64)>,
    /// Signal-to-noise of a line of unit relative amplitude.
    gain: f64,
}

const COMMUTATION: usize = 0;
const ONCE: usize = 1;
const EVEN: usize = 2;
const ODD: usize = 3;

impl Comb {
    fn read(lines: &Lines, revolution: f64) -> Comb {
        let mut found = Vec::new();
        // Lines closer than the main lobe of the window are not told apart.
        if revolution * lines.span >= 2.5 {
            for m in 1..=(lines.band / revolution) as usize {
                let frequency = revolution * m as f64;
                if frequency * lines.span < LEAST_CYCLES as f64 / 2.0 {
                    continue;
                }
                if let Some(power) = lines.power(frequency) {
                    found.push((m, power));
                }
            }
        }
        Comb {
            lines: found,
            gain: lines.rest.gain.powi(2) / lines.noise_power,
        }
    }

    fn log_evidence(&self, cycles: usize) -> f64 {
        let scale = |k: usize| 3e-6 * 1e5f64.powf(k as f64 / (SCALES - 1) as f64);
        // Mean square of a complex Gaussian amplitude of scale a is 2a².
        let ratios: [f64; SCALES] = std::array::from_fn(|k| 2.0 * scale(k).powi(2) * self.gain);
        let mut sums = [[[0.0; SCALES]; FALLS.len()]; 4];
        // Σ ln(1 + s) as the logarithm of a product, taken before it can overflow: one multiplication a term.
        let mut products = [[[1.0f64; SCALES]; FALLS.len()]; 4];
        for &(m, power) in &self.lines {
            let (group, order) = match m {
                m if m % cycles == 0 => (COMMUTATION, (m / cycles) as f64),
                1 => (ONCE, 1.0),
                // Scales of unevenness are those of two per revolution.
                m => (if m % 2 == 0 { EVEN } else { ODD }, m as f64 / 2.0),
            };
            for ((fall, by_scale), by_product) in FALLS
                .iter()
                .zip(sums[group].iter_mut())
                .zip(products[group].iter_mut())
            {
                let shrink = order.powf(-2.0 * fall);
                for ((ratio, sum), product) in ratios
                    .iter()
                    .zip(by_scale.iter_mut())
                    .zip(by_product.iter_mut())
                {
                    let s = ratio * shrink;
                    let above = 1.0 + s;
                    *sum += power * s / above;
                    *product *= above;
                    if *product > 1e200 {
                        *sum -= product.ln();
                        *product = 1.0;
                    }
                }
            }
        }
        for (sum, product) in sums
            .as_flattened_mut()
            .as_flattened_mut()
            .iter_mut()
            .zip(products.as_flattened().as_flattened())
        {
            *sum -= product.ln();
        }
        // Commutation line: some scale above 3e-4, falling at least with the root of its order.
        let commutation = log_mean(
            (1..FALLS.len())
                .flat_map(|f| (13..SCALES).map(move |k| (f, k)))
                .map(|(f, k)| (sums[COMMUTATION][f][k], 1.0)),
        );
        let mut unevenness = Vec::with_capacity(FALLS.len() * SCALES);
        for ((once, even), odd) in sums[ONCE].iter().zip(&sums[EVEN]).zip(&sums[ODD]) {
            for (scale_even, sum_even) in even.iter().enumerate() {
                let against = |shift: i32| {
                    usize::try_from(scale_even as i32 + shift)
                        .ok()
                        .filter(|k| *k < SCALES)
                };
                let sum_once =
                    log_mean((-14..=20).filter_map(|shift| {
                        against(shift).map(|k| (once[k], once_over_even(shift)))
                    }));
                // Equal poles leave no odd line at all.
                let sum_odd = log_mean(std::iter::once((0.0, 0.4)).chain((-10..=4).filter_map(
                    |shift| against(shift).map(|k| (odd[k], 0.6 * odd_over_even(shift))),
                )));
                unevenness.push((sum_even + sum_once + sum_odd, 1.0));
            }
        }
        commutation + log_mean(unevenness.into_iter())
    }
}

/// Weight of the once-per-revolution scale against that of two per revolution, in steps of the grid (a factor 1.45 each).
fn once_over_even(shift: i32) -> f64 {
    let d = f64::from(shift) - 1.0;
    if d < 0.0 {
        (d / 2.5).exp()
    } else {
        (-d / 6.0).exp()
    }
}

fn odd_over_even(shift: i32) -> f64 {
    (-(f64::from(shift) + 1.0).abs() / 3.0).exp() / 6.0
}

fn log_mean(terms: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let most = terms.clone().map(|t| t.0).fold(f64::MIN, f64::max);
    let (mut sum, mut weight) = (0.0, 0.0);
    for (value, w) in terms {
        sum += w * (value - most).exp();
        weight += w;
    }
    most + (sum / weight).ln()
}

/// Power at any frequency by a parabola through three bins; `None` beyond the spectrum.
fn power_at(spectrum: &Spectrum, frequency: f64) -> Option<f64> {
    let place = frequency / spectrum.step;
    let bin = place.round() as usize;
    if bin == 0 || bin + 1 >= spectrum.power.len() {
        return None;
    }
    let t = place - bin as f64;
    let [a, b, c] = [
        spectrum.power[bin - 1],
        spectrum.power[bin],
        spectrum.power[bin + 1],
    ];
    Some((b + 0.5 * t * (c - a) + 0.5 * t * t * (a - 2.0 * b + c)).max(0.0))
}
