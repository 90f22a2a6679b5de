//! The ripple of a run-down and of currents, as text and as JSON.

use rundown::events::Motion;
use rundown::quantity::rounding::{Scale, write};
use rundown::ripple::{CurrentRipple, RippleLine, RippleResult};
use serde_json::{Value, json};

/// Candidates shown in the text; `--json` has all.
const MOST_CANDIDATES: usize = 5;
/// Below this a candidate is not worth a line.
const LEAST_PROBABILITY: f64 = 0.005;

pub(super) fn ripple_lines(ripple: &Result<RippleResult, String>) -> Vec<String> {
    let result = match ripple {
        Ok(result) => result,
        Err(why) => return vec![format!("  ripple: no speed: {why}")],
    };
    let mut lines = vec![match &result.line {
        None => format!(
            "  ripple: no line above the noise floor (chance of a false alarm {})",
            result.false_alarm_rate
        ),
        Some(line) => line_text(line),
    }];
    let worth = result
        .candidates
        .iter()
        .filter(|c| c.probability >= LEAST_PROBABILITY);
    for candidate in worth.take(MOST_CANDIDATES) {
        lines.push(format!(
            "    {}, {} cycles a revolution: K = {}, probability {:.3}",
            candidate.commutator,
            candidate.cycles_per_revolution,
            write(
                candidate.back_emf_constant_v_s_per_rad,
                Some(candidate.standard_uncertainty),
                "V·s/rad",
                Scale::Power
            ),
            candidate.probability
        ));
    }
    lines.extend(result.remarks.iter().map(|r| format!("    {r}")));
    lines
}

pub(super) fn current_lines(motion: Motion, found: &Result<CurrentRipple, String>) -> Vec<String> {
    let what = format!("  ripple of the current ({motion})");
    let found = match found {
        Ok(found) => found,
        Err(why) => return vec![format!("{what}: no speed: {why}")],
    };
    let mut lines = vec![match found.frequency_hz {
        None => format!("{what}: no line above the noise floor"),
        Some((hz, sd)) => format!(
            "{what}: line at {}{}, {:.0} times the noise in power, seen over {:.0} cycles",
            write(hz, Some(sd), "Hz", Scale::Plain),
            match motion {
                Motion::Rising => " at the speed it rises to",
                Motion::Steady => "",
                Motion::Falling => " at the beginning",
            },
            found.signal_to_noise.unwrap_or(f64::NAN),
            found.cycles_seen.unwrap_or(f64::NAN)
        ),
    }];
    lines.extend(found.remarks.iter().map(|r| format!("    {r}")));
    lines
}

pub(super) fn current_document(motion: Motion, found: &Result<CurrentRipple, String>) -> Value {
    let found = match found {
        Ok(found) => found,
        Err(why) => return json!({"motion": motion.to_string(), "error": why}),
    };
    json!({
        "motion": motion.to_string(),
        "frequency_hz": found.frequency_hz.map(|f| f.0),
        "standard_uncertainty_hz": found.frequency_hz.map(|f| f.1),
        "amplitude_a": found.amplitude_a,
        "signal_to_noise": found.signal_to_noise,
        "false_alarm_probability": found.false_alarm_probability,
        "cycles_seen": found.cycles_seen,
        "aliases_hz": found.aliases_hz,
        "remarks": found.remarks.iter().map(ToString::to_string).collect::<Vec<_>>(),
    })
}

fn line_text(line: &RippleLine) -> String {
    format!(
        "  ripple: line at {}, {:.2} % of the back-EMF, {:.0} times the noise in power, seen over {:.0} cycles",
        write(
            line.cycles_per_volt_second,
            Some(line.standard_uncertainty),
            "cycles per V·s",
            Scale::Plain
        ),
        100.0 * line.relative_amplitude,
        line.signal_to_noise,
        line.cycles_seen
    )
}

pub(super) fn ripple_document(ripple: &Result<RippleResult, String>) -> Value {
    let result = match ripple {
        Ok(result) => result,
        Err(why) => return json!({"error": why}),
    };
    json!({
        "false_alarm_rate": result.false_alarm_rate,
        "line": result.line.as_ref().map(|line| json!({
            "cycles_per_volt_second": line.cycles_per_volt_second,
            "standard_uncertainty": line.standard_uncertainty,
            "harmonic_of_revolution": line.harmonic_of_revolution,
            "relative_amplitude": line.relative_amplitude,
            "signal_to_noise": line.signal_to_noise,
            "cycles_seen": line.cycles_seen,
            "false_alarm_probability": line.false_alarm_probability,
        })),
        "candidates": result.candidates.iter().map(|c| json!({
            "segments": c.commutator.segments,
            "poles": c.commutator.poles,
            "brushes": c.commutator.brushes,
            "cycles_per_revolution": c.cycles_per_revolution,
            "back_emf_constant_v_s_per_rad": c.back_emf_constant_v_s_per_rad,
            "standard_uncertainty": c.standard_uncertainty,
            "probability": c.probability,
            "constant_probability": c.constant_probability,
        })).collect::<Vec<_>>(),
        "revolutions": result.revolutions,
        "stretch_s": [result.stretch_s.0, result.stretch_s.1],
        "standstill_s": result.standstill_s,
        "remarks": result.remarks.iter().map(ToString::to_string).collect::<Vec<_>>(),
    })
}
