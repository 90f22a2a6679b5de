//! A record becomes a waveform: columns chosen, scale, shunt, ratio and polarity applied, codes and clipping kept.

use super::codes;
use super::column::column;
use super::plan::ChannelPlan;
use crate::bench::accuracy::{Accuracy, Range};
use crate::bench::capture::{ChannelChain, Trace};
use crate::bench::hardware::Hardware;
use crate::bench::remarks::{BenchRemarkKind, short};
use crate::bench::sheet::{InstrumentKind, Measures};
use crate::capture::{Channel, Record};
use crate::stats::simd;

/// A trace, its chain, and what is to be warned of.
pub struct Converted {
    pub trace: Trace,
    pub chain: ChannelChain,
    pub ac_coupled: bool,
    pub warnings: Vec<BenchRemarkKind>,
    /// True when the unit of the column contradicts its use.
    pub unit_contradicts: bool,
    pub scale_estimate: Option<ScaleEstimate>,
    /// What it shows of its range.
    pub seen: Seen,
}

/// What a channel of a capture shows of its range.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// V or A at the motor.
    pub range: Range,
    /// Largest value, V or A at the motor.
    pub largest: f64,
    /// From the column's unit to volts or amperes at the motor.
    pub factor: f64,
}

/// A vertical scale that nobody stated.
#[derive(Clone, Debug)]
pub struct ScaleEstimate {
    pub channel: String,
    /// Value and unit.
    pub per_division: String,
    pub how: String,
}

/// Brings the planned column of `record` to volts or amperes at the motor. With `last_use` its values are taken out of the
/// record, so that a long capture is held once.
///
/// # Errors
/// A sentence when the column is not in the record or holds no number.
pub fn convert(
    plan: &ChannelPlan,
    record: &mut Record,
    last_use: bool,
    hardware: &[Hardware],
) -> Result<Converted, String> {
    let channel = column(plan, record)?;
    if channel.values.iter().all(|v| v.is_nan()) {
        return Err(format!(
            "column {} \"{}\" ({what}) holds no number in {} rows. Export it again, or say {what}.recorded = false to use the other channel alone",
            channel.column,
            channel.name,
            channel.values.len(),
            what = plan.measures.word()
        ));
    }
    let contradiction = contradicting_unit(plan, channel);
    let unit_contradicts = contradiction.is_some();
    let mut warnings: Vec<BenchRemarkKind> = contradiction.into_iter().collect();
    let factor = plan.factor;
    let codes = codes::codes(channel);
    let number = channel.column;
    let mut values = Vec::new();
    if let Some(channel) = record.channels.iter_mut().find(|c| c.column == number) {
        values = if last_use {
            std::mem::take(&mut channel.values)
        } else {
            channel.values.clone()
        };
    }
    if factor != 1.0 {
        values.iter_mut().for_each(|v| *v *= factor);
    }
    let channel = column(plan, record)?;
    let trace = Trace {
        values,
        quantisation_step: codes.step.map(|s| s * factor.abs()),
        clipped: codes.clipped,
    };
    let (range, estimate) = vertical_range(plan, channel, &trace, hardware);
    // A zero in percent means of the largest value in the capture, which stands for the range.
    let largest = simd::largest(&trace.values, |[v]| v.abs()).max(0.0);
    let (zero_uncertainty, needs_scale) = zero(plan, range, largest, hardware);
    let scale_estimate = estimate.filter(|_| needs_scale);
    let ac_by_preamble = channel
        .facts
        .coupling
        .as_deref()
        .is_some_and(|c| c.trim().to_uppercase().starts_with("AC"));
    let ac_coupled = plan.ac_coupled.unwrap_or(ac_by_preamble);
    if ac_by_preamble && plan.ac_coupled == Some(false) {
        let column = channel.name.clone();
        warnings.push(BenchRemarkKind::CouplingContradicts { column });
    }
    Ok(Converted {
        trace,
        chain: ChannelChain {
            instruments: plan.through.clone(),
            gains: plan.through.clone(),
            column: plan.name.clone(),
            zero_uncertainty,
        },
        ac_coupled,
        warnings,
        unit_contradicts,
        scale_estimate,
        seen: Seen {
            range,
            largest,
            factor,
        },
    })
}

fn contradicting_unit(plan: &ChannelPlan, channel: &Channel) -> Option<BenchRemarkKind> {
    let expected = if plan.raw_volts {
        "V"
    } else {
        plan.measures.unit()
    };
    let found = channel.unit.as_deref()?;
    if found == expected || (plan.scale_stated && !plan.raw_volts) {
        return None;
    }
    let next = match (plan.measures, plan.raw_volts) {
        (_, true) => "If the scope already scaled it to ampere, drop raw_volts = true",
        (Measures::Current, false) => {
            "If it holds the volts across a shunt, name the shunt in `through` and say raw_volts = true; if a probe, give `scale` in ampere per volt"
        }
        (Measures::Voltage, false) => "Check `column`, or give `scale`",
    };
    Some(BenchRemarkKind::UnitContradicts {
        column: channel.column,
        name: channel.name.clone(),
        used_as: plan.measures.word(),
        expected: if expected == "V" { "volt" } else { "ampere" },
        found: found.to_owned(),
        next,
    })
}

/// Standard uncertainty of the channel's zero in V or A at the motor, and whether something of the chain is stated in parts of the range.
fn zero(plan: &ChannelPlan, range: Range, largest: f64, hardware: &[Hardware]) -> (f64, bool) {
    let stated: Vec<Accuracy> = match plan.zero {
        Some(zero) => vec![zero],
        None => plan.through.iter().map(|i| hardware[*i].zero).collect(),
    };
    let gains = plan.through.iter().map(|i| &hardware[*i].gain);
    let needs_scale = stated.iter().chain(gains).any(Accuracy::needs_scale);
    let squared: f64 = stated
        .iter()
        .map(|zero| zero.standard_uncertainty(largest, range).powi(2))
        .sum();
    (squared.sqrt(), needs_scale)
}

/// Vertical range in V or A at the motor: from the sheet, else the preamble, else estimated.
fn vertical_range(
    plan: &ChannelPlan,
    channel: &Channel,
    trace: &Trace,
    hardware: &[Hardware],
) -> (Range, Option<ScaleEstimate>) {
    let size = plan.factor.abs();
    let scope = plan
        .through
        .iter()
        .map(|i| &hardware[*i])
        .find(|h| h.kind == InstrumentKind::Oscilloscope);
    let divisions = f64::from(scope.map_or(10, |s| s.divisions).max(1));
    let range = |per_division: f64, is_known| Range {
        per_division,
        full_scale: per_division * divisions,
        is_known,
    };
    let of_preamble = channel.facts.vertical_scale_per_division;
    if let Some(stated) = plan.per_division.or(of_preamble.filter(|s| *s > 0.0)) {
        return (range(stated * size, true), None);
    }
    let (low, high) = simd::range(&trace.values);
    // The trace fits the screen, so this is the least the scale can be; averaging makes codes finer than the converter's.
    let from_span = (high - low) / divisions;
    let bits = scope.and_then(|s| s.bits);
    let of_codes = |(step, bits)| (step * 2f64.powi(bits as i32) / divisions, bits);
    let from_codes = trace.quantisation_step.zip(bits).map(of_codes);
    let (scale, is_known, how) = match from_codes.filter(|(codes, _)| *codes >= from_span) {
        Some((codes, bits)) => {
            let how = format!("the quantisation step × 2^{bits} codes ÷ {divisions} divisions");
            (codes, true, how)
        }
        None => {
            let least = "which is the least it can be";
            let how = format!("the span of the record ÷ {divisions} divisions, {least}");
            (from_span, false, how)
        }
    };
    let estimate = ScaleEstimate {
        channel: plan.name.clone(),
        per_division: format!("{} {}", short(scale), plan.measures.unit()),
        how,
    };
    (range(scale, is_known), Some(estimate))
}
