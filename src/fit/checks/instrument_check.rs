//! Ohmmeter and inductance meter held against what the captures say without them.
//!
//! Leaving a reading out takes its row from the normal equations, `N' = N − g gᵀ`, `b' = b − g r`, and one Gauss-Newton step
//! `−N'⁻¹ b'` leads to the minimum without it, with its covariance `N'⁻¹`. Resistances are fitted in log, in which gains, shunt and
//! resistance are sums, so the step is next to exact even for a reading that is ten times off.
//!
//! An ohmmeter may read more than R, never less: its small current leaves a carbon contact far from its plateau. So a meter that
//! reads less contradicts at once, one that reads more only beyond what its brushes make usual.

use crate::bench::Stated;
use crate::fit::estimate::Estimate;
use crate::fit::references::{InductanceTerm, ReadingTerm, ResistanceTerm, Term};
use crate::fit::uncertainty::inverse_over;
use crate::fit::unknowns::Entry;
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k};

/// Sigmas beyond which a meter contradicts the captures: a false alarm once in some fifteen thousand.
const LARGEST_PULL: f64 = 4.0;
/// Standard uncertainty (relative) above which the captures do not know the quantity by themselves.
const KNOWN: f64 = 0.3;
/// What the captures say of a quantity without its meter, in logs.
struct Without {
    log_value: f64,
    standard_uncertainty: f64,
}

/// Meters that contradict the captures, in words.
pub fn contradictions(estimate: &Estimate) -> Vec<String> {
    let terms = estimate.problem.readings.iter();
    terms
        .filter_map(|term| match term {
            ReadingTerm::Resistance(meter) => ohmmeter(estimate, meter),
            ReadingTerm::Inductance(meter) => inductance_meter(estimate, meter),
            _ => None,
        })
        .collect()
}

fn ohmmeter(estimate: &Estimate, meter: &ResistanceTerm) -> Option<String> {
    let without = without(
        estimate,
        &meter.evaluate(&estimate.solution.x)?,
        meter.resistance,
        Some(meter.excess),
    )?;
    let reference = estimate.temperature_c.unwrap_or(Stated {
        value: REFERENCE_C,
        standard_uncertainty: 0.0,
    });
    let per_k = copper_coefficient_per_k(reference.value);
    let sd = without
        .standard_uncertainty
        .hypot(meter.relative_sd)
        .hypot(per_k * reference.standard_uncertainty)
        .hypot(per_k * meter.temperature_sd_k);
    let read_ohm = meter.ohm / meter.temperature_ratio;
    // ln of the meter's reading, brought to the captures' temperature, over their resistance.
    let log_ratio = read_ohm.ln() - without.log_value;
    let usual = estimate.problem.layout[meter.excess].prior?.1;
    let pull = if log_ratio < 0.0 {
        log_ratio / sd
    } else {
        log_ratio.exp_m1() / usual.hypot(log_ratio.exp() * sd)
    };
    if pull.abs() < LARGEST_PULL {
        return None;
    }
    let ratio = (-log_ratio).exp();
    let value = without.log_value.exp();
    let head = format!(
        "the captures alone give a resistance of {value:.4} Ω where the ohmmeter reads {:.4} Ω (leads and temperature taken off): {ratio:.3} times as \
         much, {:.1} sigma apart",
        read_ohm,
        pull.abs()
    );
    let tail = if ratio > 1.0 {
        format!(
            "Usual causes: a winding warmer than noted in the captures (about {:.0} K would do), a switch, lead or shunt inside the measured \
             voltage, a shunt or a gain off by more than its stated accuracy. The estimate lies between the two; check which is right",
            (ratio - 1.0) / per_k
        )
    } else {
        "Usual causes: leads that were not taken off, a contact between brush and commutator worse than usual, a shunt or a gain off by more than its \
         stated accuracy, the meter read on a warmer winding. The estimate lies between the two; check which is right"
            .to_owned()
    };
    Some(format!("{head}. {tail}"))
}

fn inductance_meter(estimate: &Estimate, meter: &InductanceTerm) -> Option<String> {
    if !estimate.inductance_seen {
        return None;
    }
    let term = meter.evaluate(&estimate.solution.x);
    let without = without(estimate, &term, meter.inductance, None)?;
    let log_ratio = without.log_value - meter.henry.ln();
    let pull = log_ratio / without.standard_uncertainty.hypot(meter.relative_sd);
    (pull.abs() > LARGEST_PULL).then(|| {
        format!(
            "the captures alone give an inductance {:.3} times that of the inductance meter ({:.1} sigma apart). Usual causes: a current probe too slow for \
             L/R (too large), a time base in another unit or a shunt entered off (by tens), a meter at a frequency at which the iron screens (too large)",
            log_ratio.exp(),
            pull.abs()
        )
    })
}

/// `entry` at the minimum without this reading; `None` where the captures hardly know it then. `with_it`: an entry that only
/// this reading sees.
fn without(
    estimate: &Estimate,
    reading: &Term,
    entry: Entry,
    with_it: Option<Entry>,
) -> Option<Without> {
    let solution = &estimate.solution;
    let mut normal = solution.equations.normal.clone();
    let mut gradient = solution.equations.gradient.clone();
    for &(a, ga) in &reading.gradient {
        gradient[a] -= ga * reading.residual;
        for &(b, gb) in &reading.gradient {
            normal[a.with(b)] -= ga * gb;
        }
    }
    let with_it = with_it.map(Entry::index);
    let free: Vec<usize> = (0..gradient.len())
        .filter(|&k| estimate.covariance.free[k] && Some(k) != with_it)
        .filter(|&k| normal[(k, k)] > 0.0)
        .collect();
    if !free.contains(&entry.index()) {
        return None;
    }
    let (covariance, _) = inverse_over(&normal, &free, 1e-13);
    let standard_uncertainty = covariance[entry.diagonal()].max(0.0).sqrt();
    let log_value = solution.x[entry] - (&covariance * gradient)[entry];
    (standard_uncertainty < KNOWN).then_some(Without {
        log_value,
        standard_uncertainty,
    })
}
