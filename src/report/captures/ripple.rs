//! The ripple of a run-down as the page shows it: spectrum in revolutions, comb, speed over time.

use crate::bench::Bench;
use crate::fit::RippleFinding;
use crate::quantity::rounding::{self, Scale, significant};
use crate::report::context::{CandidateRow, RippleView, SpeedCurve, Tooth};
use crate::ripple::{RippleResult, RippleSpectrum};
use crate::stats::quantiles::normal_quantile;
use std::f64::consts::TAU;

/// Most points of the speed.
const MOST_SPEEDS: usize = 400;

/// A speed with its time and standard uncertainty.
type Speed = (f64, f64, f64);

/// The view of one finding; `points` bounds the spectrum, of which the highest point of each bin is kept.
pub fn view(bench: &Bench, finding: &RippleFinding, level: f64, points: usize) -> RippleView {
    let result = &finding.result;
    let candidate = result.candidates.first();
    // x = ∫e dt = Kθ: one cycle per V·s is 2πK cycles per revolution.
    let scale = candidate.map_or(1.0, |c| TAU * c.back_emf_constant_v_s_per_rad);
    let (frequency, amplitude, floor, threshold) = thinned(&result.spectrum, scale, points);
    let comb = teeth(&result.spectrum, scale);
    let last = frequency.last().copied().unwrap_or(1.0);
    let highest = comb.iter().map(|t| t.frequency).fold(0.0, f64::max);
    let right = if highest > 0.0 {
        (1.15 * highest).min(last)
    } else {
        last
    };
    let z = normal_quantile(0.5 + 0.5 * level);
    let speeds = speeds(result, MOST_SPEEDS.min(points));
    RippleView {
        capture: bench
            .captures
            .get(finding.capture)
            .map_or_else(String::new, |c| c.name.clone()),
        used: finding.taken.is_some(),
        words: line_text(finding),
        axis: if candidate.is_some() {
            "cycles per revolution"
        } else {
            "cycles per V·s"
        },
        view: (0.0, right),
        frequency,
        amplitude,
        floor,
        threshold,
        comb,
        speed_words: speed_text(&speeds),
        curve: SpeedCurve::new(&speeds, z),
        candidates: candidate_rows(result),
    }
}

/// The harmonic pattern, in the spectrum's unit.
fn teeth(spectrum: &RippleSpectrum, scale: f64) -> Vec<Tooth> {
    let tooth = |(order, at, amplitude): &(f64, f64, f64)| Tooth {
        label: format!("{order:.0}"),
        frequency: significant(at * scale, 6),
        amplitude: significant(*amplitude, 4),
    };
    spectrum.comb.iter().map(tooth).collect()
}

/// About `most` of the speeds.
fn speeds(result: &RippleResult, most: usize) -> Vec<Speed> {
    let step = result.speed.len().div_ceil(most).max(1);
    let some = result.speed.iter().step_by(step);
    some.filter_map(|p| {
        Some((
            p.time_s,
            p.speed_rad_per_s?,
            p.standard_uncertainty_rad_per_s.unwrap_or(f64::NAN),
        ))
    })
    .collect()
}

fn candidate_rows(result: &RippleResult) -> Vec<CandidateRow> {
    result
        .candidates
        .iter()
        .filter(|c| c.probability >= 5e-4)
        .take(6)
        .map(|c| CandidateRow {
            commutator: c.commutator.to_string(),
            cycles_per_revolution: c.cycles_per_revolution,
            constant: rounding::write(
                c.back_emf_constant_v_s_per_rad,
                Some(c.standard_uncertainty),
                "V·s/rad",
                Scale::Power,
            ),
            probability: format!("{:.1} %", 100.0 * c.probability),
        })
        .collect()
}

/// Spectrum with at most `most` points, the highest point of each bin kept at its own place.
fn thinned(
    spectrum: &RippleSpectrum,
    scale: f64,
    most: usize,
) -> (Vec<f64>, Vec<f64>, Vec<f64>, Vec<f64>) {
    let n = spectrum.frequency_cycles_per_v_s.len();
    let step = n.div_ceil(most).max(1);
    let (mut f, mut a, mut floor, mut threshold) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let at = |of: &[f64], k: usize| of.get(k).map_or(f64::NAN, |v| significant(*v, 4));
    for first in (0..n).step_by(step) {
        let bin = first..(first + step).min(n);
        let height = |k: usize| {
            spectrum
                .relative_amplitude
                .get(k)
                .copied()
                .unwrap_or(f64::NAN)
        };
        let Some(top) = bin.max_by(|&x, &y| height(x).total_cmp(&height(y))) else {
            continue;
        };
        f.push(significant(
            spectrum.frequency_cycles_per_v_s[top] * scale,
            6,
        ));
        a.push(at(&spectrum.relative_amplitude, top));
        floor.push(at(&spectrum.floor, top));
        threshold.push(at(&spectrum.threshold, top));
    }
    (f, a, floor, threshold)
}

fn line_text(finding: &RippleFinding) -> String {
    let result = &finding.result;
    let Some(line) = &result.line else {
        return format!(
            "No line rises above the threshold at a false-alarm rate of {}; the ripple of this run-down gives no speed.",
            result.false_alarm_rate
        );
    };
    let mut text = format!(
        "Strongest line: {:.2} % of the back-EMF, {:.0} of its cycles seen",
        100.0 * line.relative_amplitude,
        line.cycles_seen
    );
    if let Some(revolutions) = result.revolutions {
        text += &format!(" over {revolutions:.1} revolutions");
    }
    if let Some(candidate) = result.candidates.first() {
        text += &format!(
            "; most probable: {}, {} cycles per revolution",
            candidate.commutator, candidate.cycles_per_revolution
        );
    }
    text += if finding.taken.is_some() {
        ". Its constant entered the fit."
    } else {
        ". Its constant did not enter the fit: the pattern leaves several. Count segments, poles and brushes, or read one speed."
    };
    text
}

fn speed_text(speeds: &[Speed]) -> String {
    let (Some(first), Some(last)) = (speeds.first(), speeds.last()) else {
        return String::new();
    };
    let rpm = |s: &Speed| s.1 * 60.0 / TAU;
    format!(
        "Speed falls from {:.0} rpm ({:.1} rad/s) at {:.3} s to {:.0} rpm ({:.1} rad/s) at {:.3} s.",
        rpm(first),
        first.1,
        first.0,
        rpm(last),
        last.1,
        last.0
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lone_line_survives_the_thinning_at_its_own_place() {
        let n = 50_000;
        let mut amplitude = vec![1e-6; n];
        amplitude[31_234] = 0.02;
        let spectrum = RippleSpectrum {
            frequency_cycles_per_v_s: (0..n).map(|k| k as f64 * 0.01).collect(),
            relative_amplitude: amplitude,
            floor: vec![1e-6; n],
            threshold: vec![5e-6; n],
            comb: Vec::new(),
        };
        let (f, a, floor, threshold) = thinned(&spectrum, 2.0, 1600);
        assert!(f.len() <= 1600 && floor.len() == f.len() && threshold.len() == f.len());
        let top = (0..a.len())
            .max_by(|&x, &y| a[x].total_cmp(&a[y]))
            .expect("points");
        assert_eq!((f[top], a[top]), (624.68, 0.02));
    }
}
