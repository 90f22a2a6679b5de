//! The lines of a record collected, wherever they stand, before any harmonic pattern is compared with them.

use super::line_set::{LineColumns, LineSet};
use super::pattern::Weighed;
use super::refine::Harmonics;
use super::spectral_lines::Lines;
use crate::ripple::spectrum::domain::Domain;
use crate::ripple::spectrum::power_spectrum::{highest_cycles, peak_place, weighted_power};
use crate::ripple::spectrum::transform::free_workspace;
use crate::ripple::spectrum::window::hann;

/// Padding of the spectrum that the pattern is read from.
const PATTERN_PADDING: usize = 4;
const MOST_PICKING_ROUNDS: usize = 8;
const MOST_PICKED_LINES: usize = 32;

/// Highest frequency that the pattern is read to.
fn pattern_band(fit: &Harmonics, interval_s: f64) -> f64 {
    let span = fit.x_v_s[fit.x_v_s.len() - 1];
    // A strongest line that is unevenness itself has its ripple up to 48 orders higher; sampled as fast as the detection spectrum goes.
    (60.0 * fit.fit.frequency)
        .min(highest_cycles(angle_of(fit), span, interval_s) / span)
        .max(1.2 * fit.fit.frequency)
}

fn angle_of(fit: &Harmonics) -> Domain<'_> {
    Domain::angle(&fit.emf_v, &fit.x_v_s)
}

/// Takes lines out of the record one by one, wherever they stand, until none is left that matters.
pub(crate) fn pick_lines(fit: &Harmonics, interval_s: f64) -> Lines {
    let span = fit.x_v_s[fit.x_v_s.len() - 1];
    let band = pattern_band(fit, interval_s);
    let bins = (band * span * PATTERN_PADDING as f64) as usize + 4;
    let step = 1.0 / (PATTERN_PADDING as f64 * span);
    let weights = squares_of_weights(&fit.emf_v, &fit.x_v_s);
    let spectrum = |set: &LineSet| weighted_power(&set.residual_v, angle_of(fit), step, bins);
    let mut ratios = fit.fit.ratios.clone();
    let mut set = LineSet::of(fit);
    let (mut rest, gain) = spectrum(&set);
    let mut columns = LineColumns::of(fit);
    for _ in 0..MOST_PICKING_ROUNDS {
        let noise_power = set.noise_v.powi(2) * weights;
        let mut peaks: Vec<usize> = (4 * PATTERN_PADDING..rest.len().saturating_sub(1))
            .filter(|k| {
                rest[*k] > 16.0 * noise_power && rest[*k] > rest[k - 1] && rest[*k] >= rest[k + 1]
            })
            .collect();
        peaks.sort_by(|a, b| rest[*b].total_cmp(&rest[*a]));
        let most = peaks.first().map_or(0.0, |k| rest[*k]);
        let before = ratios.len();
        for bin in peaks {
            let ratio = peak_place(&rest, bin) * step / fit.fit.frequency;
            let apart = ratios
                .iter()
                .all(|r| (r - ratio).abs() * fit.fit.frequency * span > 1.0);
            // Sidelobes of the strongest are not lines: what stays below them waits for the next round.
            if apart && rest[bin] > 0.05 * most && ratios.len() < MOST_PICKED_LINES {
                ratios.push(ratio);
            }
        }
        if ratios.len() == before {
            break;
        }
        set = columns.with(&ratios);
        drop(rest);
        rest = spectrum(&set).0;
    }
    // The patterns that are weighed next need room of their own.
    free_workspace();
    Lines {
        rest,
        step,
        gain,
        noise_power: set.noise_v.powi(2) * weights,
        picked: ratios
            .iter()
            .map(|r| r * fit.fit.frequency)
            .zip(set.amplitudes)
            .collect(),
        band,
        span,
    }
}

/// Σ (w e)², the mean |Y|² of unit white noise.
fn squares_of_weights(emf: &[f64], x: &[f64]) -> f64 {
    let span = x[x.len() - 1];
    emf.iter()
        .zip(x)
        .map(|(e, x)| (e * hann(x / span)).powi(2))
        .sum()
}

/// Lines of the pattern that stand out, as ratios to the strongest line, which comes first.
pub(crate) fn visible_ratios(lines: &Lines, strongest: f64, best: &Weighed) -> Vec<f64> {
    let revolution = strongest / f64::from(best.harmonic);
    let most = 3 * best.cycles_per_revolution.max(best.harmonic);
    let mut found: Vec<(u32, f64)> = (1..=most)
        .filter(|m| *m != best.harmonic)
        .filter_map(|m| {
            let frequency = revolution * f64::from(m);
            let power = lines.power(frequency)?;
            (frequency * lines.span > 3.0 && frequency < lines.band && power > 12.0)
                .then_some((m, power))
        })
        .collect();
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found.truncate(14);
    let mut ratios = vec![1.0];
    ratios.extend(
        found
            .iter()
            .map(|(m, _)| f64::from(*m) / f64::from(best.harmonic)),
    );
    ratios
}
