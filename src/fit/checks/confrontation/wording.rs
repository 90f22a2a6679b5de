//! What is said of an item that does not agree: what was seen, and the usual causes on a bench.

use super::item::Predicted;
use crate::bench::Bench;
use crate::fit::estimate::Estimate;
use crate::fit::references::{Ratio, ReadingTerm};
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k};
use crate::quantity::rounding::{Scale, write};

/// Relative standard uncertainty of the ratio of two constants beside that of what was read: gains of the channels (common practice,
/// no source).
const GAINS: f64 = 0.01;

/// A deviation with its plain meaning.
pub fn sigmas(deviation: f64) -> String {
    let size = deviation.abs();
    if size > 5.0 {
        format!("{size:.1} σ apart (not by chance)")
    } else {
        format!("{size:.1} σ apart (unlikely by chance)")
    }
}

/// A number of rad/s as revolutions a minute, others with a prefix.
pub fn number(value: f64, unit: &str) -> String {
    match unit {
        "rad/s" => format!("{:.0} rpm", value * 30.0 / std::f64::consts::PI),
        "V.s/rad" => write(1e3 * value, None, "mV·s/rad", Scale::Plain),
        "Ohm" => write(value, None, "Ω", Scale::Prefix),
        other => write(value, None, other, Scale::Prefix),
    }
}

/// Of a reading or speed reference. `model`: what the others predict; `others`: those of its kind that are compared with it.
pub fn of_reading(
    estimate: &Estimate,
    term: &ReadingTerm,
    predicted: Predicted,
    model: f64,
    others: &[(String, ReadingTerm)],
) -> String {
    let (value, _, unit) = term.value();
    let apart = sigmas(predicted.deviation);
    match term {
        ReadingTerm::Resistance(_) => resistance(estimate, value, model, &apart),
        ReadingTerm::Inductance(_) => format!(
            "the captures alone give an inductance of {} where the inductance meter reads {}: {:.3} times as much, {apart}. Usual causes: a current probe too slow for \
             L/R (too large), a time base in another unit or a shunt entered off (by tens), a meter at a frequency at which the iron screens (too large)",
            number(model, unit),
            number(value, unit),
            model / value
        ),
        _ => speed_reference(estimate, term, predicted, model, others),
    }
}

fn resistance(estimate: &Estimate, read_ohm: f64, model_ohm: f64, apart: &str) -> String {
    let head = format!(
        "the captures alone give a resistance of {} where the ohmmeter reads {} (leads taken off, at its temperature): {:.3} times as much, {apart}",
        number(model_ohm, "Ohm"),
        number(read_ohm, "Ohm"),
        model_ohm / read_ohm
    );
    let ratio = model_ohm / read_ohm;
    if ratio > 1.0 {
        let reference = estimate.temperature_c.map_or(REFERENCE_C, |t| t.value);
        let warmer = (ratio - 1.0) / copper_coefficient_per_k(reference);
        format!(
            "{head}. Usual causes: a winding warmer than noted in the captures (about {warmer:.0} K would do), a switch, lead or shunt inside the measured \
             voltage, a shunt or a gain off by more than its stated accuracy. Check which is right"
        )
    } else {
        format!(
            "{head}. Usual causes: leads that were not taken off, a contact between brush and commutator worse than usual, a shunt or a gain off by more than its \
             stated accuracy, the meter read on a warmer winding. Check which is right"
        )
    }
}

fn speed_reference(
    estimate: &Estimate,
    term: &ReadingTerm,
    predicted: Predicted,
    model: f64,
    others: &[(String, ReadingTerm)],
) -> String {
    let (value, _, unit) = term.value();
    let name = term.describe(&estimate.problem.models);
    let names: Vec<&str> = others.iter().map(|(name, _)| name.as_str()).collect();
    let against = match names.as_slice() {
        [] => "the rest of the bench predicts".to_owned(),
        [one] => format!("{one} predicts"),
        several => format!("{} predict", several.join(", ")),
    };
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
    let from_others = match names.as_slice() {
        [one] => format!("K from {one}"),
        _ => "K from the others".to_owned(),
    };
    let factor = if term.is_tachometer() {
        let theirs = others.iter().find_map(|(_, other)| cycles(other));
        ratio(-log_constant, theirs).describe(&from_others, &from_this)
    } else {
        ratio(log_constant, cycles(term)).describe(&from_this, &from_others)
    };
    let causes = factor.unwrap_or_else(|| {
        "Usual causes: a speed read in another state than the one named, the tachometer's marks, a wrong segment count, the inertia or torque added, the ratio of a probe"
            .to_owned()
    });
    format!(
        "{name} gives {} where {against} {}: {}. {causes}",
        number(value, unit),
        number(model, unit),
        sigmas(predicted.deviation)
    )
}

/// Of readings that are one item together.
pub fn of_group(name: &str, predicted: Predicted) -> String {
    format!(
        "{name} disagrees with the captures and the other readings, {}. Usual causes: a meter off by more than its stated accuracy, a unit or column mixed up, \
         leads inside one voltage and not the other, a winding warmer than stated. Check which is right",
        sigmas(predicted.deviation)
    )
}

/// Of a gain, a zero, or what was attached to the shaft; `share`: what the others ask of it, over its stated standard uncertainty.
pub fn of_prior(name: &str, predicted: Predicted, share: f64, attached: bool) -> String {
    let apart = sigmas(predicted.deviation);
    if attached {
        return format!(
            "{name}: the other speed references predict it {share:+.1} of its stated standard uncertainties off, {apart}; usual causes: another disc or radius, a wrong \
             segment count, a tachometer that counted two marks"
        );
    }
    format!(
        "{name}: captures and readings agree with each other only if it is off by {:.1} times its stated standard uncertainty, {apart}; usual causes: a forgotten ratio, \
         series resistance inside the measured voltage, a switch or lead that is not stated, a probe that was not zeroed",
        share.abs()
    )
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
        ParameterKind::SeriesDiode { .. } => about(0.0, "V"),
        ParameterKind::Skew { .. } => about(0.0, "s"),
        _ => about(0.0, "1"),
    }
}
