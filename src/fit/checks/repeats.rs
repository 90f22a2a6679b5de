//! Repeated captures of one kind: what their scatter alone says of the result, an evaluation of type A (JCGM 100:2008, 4.2).
//!
//! With s_k the shift of a parameter when repeat k of n is left out, the jackknife's standard uncertainty is
//! √((n − 1)/n Σ(s_k − s̄)²), with n − 1 degrees of freedom (Tukey 1958, from memory). It holds whatever changes from one repeat to the next
//! (noise, rotor position, contact, a zero that drifts) and nothing that they share, such as the gain of an instrument.

use super::leave_one_out::without;
use crate::bench::{Bench, Role};
use crate::fit::estimate::Estimate;
use crate::fit::unknowns::Source;
use crate::fit::wording::{Remark, RemarkKind};

/// Parameters that are named, as messages have them; the electrical time constant and the rest follow from them.
const NAMED: [(&str, &str); 4] = [
    ("terminal_resistance", "R"),
    ("armature_inductance", "L"),
    ("inertia_capacitance", "J/K²"),
    ("friction_current_at_speed", "friction"),
];

/// What the repeats of each kind say where there are two or more with nothing attached to the shaft.
pub fn repeats(estimate: &Estimate, bench: &Bench) -> Vec<Remark> {
    let of_kind = |role: Role| {
        let models = estimate.problem.models.iter().enumerate();
        let alike: Vec<usize> = models
            .filter(|(_, model)| {
                let capture = &bench.captures[model.capture];
                let loaded = capture.added_inertia_kg_m2.or(capture.load_torque_nm);
                model.role == role && loaded.is_none()
            })
            .map(|(k, _)| k)
            .collect();
        (alike.len() >= 2)
            .then(|| one_kind(estimate, role, &alike))
            .flatten()
    };
    Role::ALL.into_iter().filter_map(of_kind).collect()
}

fn one_kind(estimate: &Estimate, role: Role, captures: &[usize]) -> Option<Remark> {
    let shifts: Vec<_> = captures.iter().map(|&k| without(estimate, k).0).collect();
    let mut seen = Vec::new();
    for reported in estimate.reported().iter().filter(|r| !r.one_sided) {
        let named = NAMED.iter().find(|(key, _)| *key == reported.name);
        let (Some((_, name)), Some(at), Some(gradient)) =
            (named, reported.estimate, reported.gradient.as_ref())
        else {
            continue;
        };
        let moved: Vec<f64> = shifts.iter().map(|shift| gradient.dot(shift)).collect();
        let parts = estimate.covariance.parts(gradient).into_iter();
        let changing = parts.filter(|(source, _)| CHANGES.contains(source));
        let allowed: f64 = changing.map(|(_, part)| part).sum();
        let percent = |variance: f64| 100.0 * variance.max(0.0).sqrt() / at.value;
        seen.push((*name, percent(jackknife_variance(&moved)), percent(allowed)));
    }
    let captures = captures.len();
    let subject = format!("{captures} captures of kind {}", role.name());
    (!seen.is_empty()).then(|| {
        RemarkKind::Repeats {
            captures,
            percent: seen,
        }
        .about(subject)
    })
}

/// Sources that change from one repeat to the next.
const CHANGES: [Source; 5] = [
    Source::Noise,
    Source::Position,
    Source::Zero,
    Source::Temperature,
    Source::Loop,
];

/// Variance of an estimate from its shifts when one of n items is left out at a time.
fn jackknife_variance(shifts: &[f64]) -> f64 {
    let n = shifts.len() as f64;
    let mean = shifts.iter().sum::<f64>() / n;
    let squares: f64 = shifts.iter().map(|s| (s - mean).powi(2)).sum();
    (n - 1.0) / n * squares
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn val_of_a_mean_the_jackknife_gives_the_experimental_variance_of_the_mean() {
        // JCGM 100:2008, 4.2.3: s²/n; for 1, 2, 4, 9 the mean is 4 and s² = 38/3.
        let values = [1.0, 2.0, 4.0, 9.0];
        let mean_without = |k: usize| (16.0 - values[k]) / 3.0;
        let shifts: Vec<f64> = (0..4).map(|k| mean_without(k) - 4.0).collect();
        assert_relative_eq!(
            jackknife_variance(&shifts),
            38.0 / 12.0,
            max_relative = 1e-12
        );
    }
}
