//! The numbers of an item that does not agree, and of an entry with a prior.

use super::item::Predicted;
use crate::bench::Bench;
use crate::fit::estimate::Estimate;
use crate::fit::references::{Ratio, ReadingTerm};
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::fit::wording::Contradiction;
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k};

/// Relative standard uncertainty of the ratio of two constants beside that of what was read: gains of the channels (common practice,
/// no source).
const GAINS: f64 = 0.01;

/// Of a reading or speed reference. `model`: what the others predict; `others`: those of its kind that are compared with it.
pub fn of_reading(
    estimate: &Estimate,
    term: &ReadingTerm,
    predicted: Predicted,
    model: f64,
    others: &[(String, ReadingTerm)],
) -> Contradiction {
    let (value, _, unit) = term.value();
    let deviation = predicted.deviation;
    match term {
        ReadingTerm::Resistance(_) => {
            let reference = estimate.temperature_c.map_or(REFERENCE_C, |t| t.value);
            let excess = model / value - 1.0;
            Contradiction::Resistance {
                captures_ohm: model,
                ohmmeter_ohm: value,
                warmer_k: (excess > 0.0).then(|| excess / copper_coefficient_per_k(reference)),
                deviation,
            }
        }
        ReadingTerm::Inductance(_) => Contradiction::Inductance {
            captures_h: model,
            meter_h: value,
            deviation,
        },
        _ => {
            let item = term.describe(&estimate.problem.models);
            Contradiction::SpeedReference {
                cause: ratio_of_constants(&item, term, predicted, others),
                item,
                value,
                others: others.iter().map(|(name, _)| name.clone()).collect(),
                predicted: model,
                unit,
                deviation,
            }
        }
    }
}

/// The ratio of the constants that a speed reference and the others make, where it is one of small whole numbers.
fn ratio_of_constants(
    name: &str,
    term: &ReadingTerm,
    predicted: Predicted,
    others: &[(String, ReadingTerm)],
) -> Option<String> {
    // ln of the constant that this reference makes, over that of the others.
    let log_constant = -predicted.residual * term.relative_sd();
    let cycles = |term: &ReadingTerm| match term {
        ReadingTerm::Constant(term) => term.cycles_per_revolution,
        _ => None,
    };
    let ratio = |log: f64, cycles_per_revolution| Ratio {
        of_constants: log.exp(),
        relative_sd: (predicted.spread * term.relative_sd()).hypot(GAINS),
        cycles_per_revolution,
    };
    let from_this = format!("K from {name}");
    let from_others = match others {
        [(one, _)] => format!("K from {one}"),
        _ => "K from the others".to_owned(),
    };
    if term.is_tachometer() {
        let theirs = others.iter().find_map(|(_, other)| cycles(other));
        ratio(-log_constant, theirs).describe(&from_others, &from_this)
    } else {
        ratio(log_constant, cycles(term)).describe(&from_this, &from_others)
    }
}

/// Stated and needed value of an entry with a prior, the factor from the entry to them, and their UCUM unit.
pub fn stated_entry(
    estimate: &Estimate,
    bench: &Bench,
    entry: Entry,
    needed: f64,
) -> (f64, f64, f64, &'static str) {
    let parameter = &estimate.problem.layout[entry];
    let mean = parameter.prior.map_or(0.0, |p| p.0);
    let about = |base: f64, unit| (base + mean, base + needed, 1.0, unit);
    match parameter.kind {
        ParameterKind::Attached { capture } => {
            let capture = bench.captures.get(capture);
            let inertia = capture.and_then(|c| c.added_inertia_kg_m2);
            let torque = capture.and_then(|c| c.load_torque_nm);
            let value = inertia.or(torque).map_or(0.0, |s| s.value);
            let unit = if inertia.is_some() { "kg.m2" } else { "N.m" };
            (value, value * (1.0 + needed), value, unit)
        }
        ParameterKind::Loop { capture } => {
            let stated = bench.captures.get(capture);
            let ohm = stated.and_then(|c| c.loop_resistance_ohm);
            about(ohm.map_or(0.0, |s| s.value), "Ohm")
        }
        ParameterKind::Source { capture } => {
            let stated = bench.captures.get(capture).and_then(|c| c.source_v);
            about(stated.map_or(0.0, |s| s.value), "V")
        }
        ParameterKind::Duty { capture } => {
            let bridge = bench.captures.get(capture).and_then(|c| c.coasting);
            let duty = bridge.map_or(0.0, |b| b.duty);
            (duty * mean.exp(), duty * needed.exp(), duty, "1")
        }
        ParameterKind::LogBrushScale => (mean.exp(), needed.exp(), needed.exp(), "A"),
        ParameterKind::SeriesDiode { .. } => about(0.0, "V"),
        ParameterKind::Skew { .. } => about(0.0, "s"),
        _ => about(0.0, "1"),
    }
}
