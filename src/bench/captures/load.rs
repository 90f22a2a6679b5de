//! Planned captures are read, converted and checked, several at a time.

use super::checks::{self, Expectations};
use super::kept::{Kept, Loaded, key};
use super::plan::CapturePlan;
use crate::bench::capture::{Capture, CaptureWarning, SpeedChannel, Waveform};
use crate::bench::channels::{
    ChannelPlan, Converted, GainCheck, ScaleEstimate, column, convert, distribute, speed_channel,
};
use crate::bench::error::{BenchError, Place};
use crate::bench::hardware::Hardware;
use crate::bench::remarks::{BenchRemark, BenchRemarkKind};
use crate::bench::setup::Instrument;
use crate::capture::{self, Record};
use rayon::prelude::*;
use std::collections::HashMap;

/// All captures of a bench.
#[derive(Default)]
pub struct LoadedAll {
    pub captures: Vec<Capture>,
    /// The hardware, and what its ranges and gain checks have for themselves.
    pub instruments: Vec<Instrument>,
    pub warnings: Vec<BenchRemark>,
    pub notes: Vec<BenchRemark>,
    pub capture_warnings: Vec<CaptureWarning>,
}

/// Reads all captures, or takes them as they were kept; warnings come in the order of the plans. Afterwards these captures are kept and
/// no others.
pub fn load_all(
    plans: &[CapturePlan],
    hardware: &[Hardware],
    checks: &[GainCheck],
    expected: &Expectations,
    kept: &mut Kept,
) -> Result<LoadedAll, BenchError> {
    let keeping = kept.keeping;
    let before = std::mem::take(kept);
    kept.keeping = keeping;
    let loaded: Vec<(Option<String>, Result<Loaded, BenchError>)> = plans
        .par_iter()
        .map(|plan| {
            // Before the file is read, so that a change while it is read shows.
            let key = keeping.then(|| key(plan, &(hardware, expected))).flatten();
            let known = key.as_ref().and_then(|key| before.loaded.get(key));
            let loaded = match known {
                Some(known) => Ok(known.clone()),
                None => load(plan, hardware, expected),
            };
            (key, loaded)
        })
        .collect();
    let mut all = LoadedAll::default();
    let mut estimated: Vec<(String, ScaleEstimate)> = Vec::new();
    let mut seen = Vec::new();
    let mut failed = None;
    let keep = kept_between_readings(&loaded, before);
    for ((key, one), plan) in loaded.into_iter().zip(plans) {
        let mut one = match one {
            Ok(one) => one,
            Err(error) => {
                failed.get_or_insert(error);
                continue;
            }
        };
        kept.keys.push(key.unwrap_or_default());
        kept.warnings.push(one.capture_warnings.clone());
        one.capture.by_hand = plan.by_hand.clone();
        let name = &one.capture.name;
        let of_capture = |kind: BenchRemarkKind| kind.of_capture(name);
        all.warnings
            .extend(one.warnings.into_iter().map(of_capture));
        all.notes.extend(one.notes.into_iter().map(of_capture));
        estimated.extend(one.estimated.into_iter().map(|e| (name.clone(), e)));
        all.capture_warnings.extend(one.capture_warnings);
        all.captures.push(one.capture);
        seen.push(one.seen);
    }
    kept.loaded = keep;
    if let Some(error) = failed {
        return Err(error);
    }
    all.instruments = distribute(&mut all.captures, &seen, hardware, checks);
    all.notes.extend(estimated_scales(&estimated));
    Ok(all)
}

/// What of this reading serves the next one.
fn kept_between_readings(
    loaded: &[(Option<String>, Result<Loaded, BenchError>)],
    mut before: Kept,
) -> HashMap<String, Loaded> {
    let one = |(key, loaded): &(Option<String>, Result<Loaded, BenchError>)| {
        let (key, loaded) = (key.clone()?, loaded.as_ref().ok()?);
        let kept = before.loaded.remove(&key);
        Some((key, kept.unwrap_or_else(|| loaded.clone())))
    };
    loaded.iter().filter_map(one).collect()
}

/// One note a channel and way of estimating, with the scale of each capture.
fn estimated_scales(estimated: &[(String, ScaleEstimate)]) -> Vec<BenchRemark> {
    let mut found: Vec<(&ScaleEstimate, Vec<(String, String)>)> = Vec::new();
    for (capture, scale) in estimated {
        let one = (capture.clone(), scale.per_division.clone());
        let alike =
            |known: &ScaleEstimate| known.channel == scale.channel && known.how == scale.how;
        match found.iter_mut().find(|(known, _)| alike(known)) {
            Some((_, captures)) => captures.push(one),
            None => found.push((scale, vec![one])),
        }
    }
    let remark = |(scale, captures): (&ScaleEstimate, _)| BenchRemarkKind::ScaleEstimated {
        channel: scale.channel.clone(),
        how: scale.how.clone(),
        captures,
    };
    found
        .into_iter()
        .map(|one| remark(one).of_sheet())
        .collect()
}

fn load(
    plan: &CapturePlan,
    hardware: &[Hardware],
    expected: &Expectations,
) -> Result<Loaded, BenchError> {
    let mut files = vec![plan.path.clone()];
    files.extend(plan.further.iter().cloned());
    let mut record = capture::read_joined(&files, &plan.import).map_err(|source| {
        BenchError::in_capture(plan.place.as_ref(), &plan.name, format!(": {source}"))
    })?;
    let of_record = |notes: bool| -> Vec<BenchRemarkKind> {
        let chosen = record.warnings.iter().filter(|w| w.kind.is_note() == notes);
        chosen.cloned().map(BenchRemarkKind::Record).collect()
    };
    let (notes, mut warnings) = (of_record(true), of_record(false));
    let mut capture_warnings: Vec<CaptureWarning> = Vec::new();
    if record.warnings.iter().any(|w| w.kind.is_doubtful()) {
        capture_warnings.push(CaptureWarning::Record);
    }
    let speed =
        speed_channel(&plan.speed, &record, hardware).map_err(|text| refused(plan, None, &text))?;
    let (speed, of_speed) = speed.unzip();
    warnings.extend(of_speed.into_iter().flatten());
    let traces = both_traces(plan, &mut record, hardware)?;
    let mut estimated = Vec::new();
    for converted in traces.iter().flatten() {
        warnings.extend(converted.warnings.iter().cloned());
        capture_warnings.extend(converted.unit_contradicts.then_some(CaptureWarning::Unit));
        estimated.extend(converted.scale_estimate.iter().cloned());
    }
    if traces[1].as_ref().is_some_and(|current| current.ac_coupled) {
        warnings.push(BenchRemarkKind::CurrentAcCoupled);
    }
    let seen = traces.each_ref().map(|c| c.as_ref().map(|c| c.seen));
    let capture = capture_of(plan, record, speed, traces);
    if capture.ac_coupled {
        capture_warnings.push(CaptureWarning::AcCoupled);
    }
    let ratio = checks::probe_ratio(&capture, expected);
    capture_warnings.extend(ratio.as_ref().map(|_| CaptureWarning::ProbeRatio));
    warnings.extend(ratio);
    warnings.extend(checks::of_sheet(&capture, expected));
    Ok(Loaded {
        capture,
        warnings,
        notes,
        capture_warnings,
        estimated,
        seen,
    })
}

/// What is wrong with a capture's file, at the channel that it concerns or else where the sheet names the file.
fn refused(plan: &CapturePlan, channel: Option<&Place>, text: &str) -> BenchError {
    let text = format!(" ({}): {text}", plan.path.display());
    BenchError::in_capture(channel.or(plan.place.as_ref()), &plan.name, text)
}

/// Voltage and current of a record as the sheet wires them. One column may serve as both.
fn both_traces(
    plan: &CapturePlan,
    record: &mut Record,
    hardware: &[Hardware],
) -> Result<[Option<Converted>; 2], BenchError> {
    let column_of = |plan: &Option<ChannelPlan>, record: &Record| {
        let found = column(plan.as_ref()?, record);
        found.ok().map(|c| c.column)
    };
    let shared = column_of(&plan.voltage, record) == column_of(&plan.current, record);
    let mut trace = |channel: &Option<ChannelPlan>, last_use: bool| {
        let Some(channel) = channel else {
            return Ok(None);
        };
        let converted = convert(channel, record, last_use, hardware);
        let converted = converted.map_err(|text| refused(plan, channel.place.as_ref(), &text));
        converted.map(Some)
    };
    Ok([trace(&plan.voltage, !shared)?, trace(&plan.current, true)?])
}

/// The capture as the sheet states it, with what its record holds.
fn capture_of(
    plan: &CapturePlan,
    record: Record,
    speed: Option<SpeedChannel>,
    [voltage, current]: [Option<Converted>; 2],
) -> Capture {
    let ac_coupled = voltage.as_ref().is_some_and(|v| v.ac_coupled);
    let split = |c: Converted| (c.trace, c.chain);
    let (mut voltage_v, voltage_chain) = voltage.map(split).unzip();
    if let (Some(trace), Some(diode)) = (&mut voltage_v, plan.series_diode_v) {
        behind_diode(&mut trace.values, diode.value);
    }
    let (current_a, current_chain) = current.map(split).unzip();
    Capture {
        name: plan.name.clone(),
        path: plan.path.clone(),
        sha256: record.sha256,
        further_files: record.parts,
        role: plan.role,
        waveform: Waveform {
            time: record.time,
            voltage_v,
            current_a,
        },
        series_in_voltage: voltage_chain
            .as_ref()
            .and(plan.voltage.as_ref())
            .and_then(|v| v.spans),
        voltage_chain,
        current_chain,
        series_diode_sd_v: plan.series_diode_v.map(|d| d.standard_uncertainty),
        loop_resistance_ohm: plan.loop_resistance_ohm,
        source_v: plan.source_v,
        coasting: plan.coasting,
        winding_temperature_c: plan.winding_temperature_c,
        added_inertia_kg_m2: plan.added_inertia_kg_m2,
        load_torque_nm: plan.load_torque_nm,
        driven_speed_rad_s: plan.driven_speed_rad_s,
        speed,
        ac_coupled,
        by_hand: plan.by_hand.clone(),
    }
}

/// Voltage over the motor behind a diode, which passes what exceeds its drop.
fn behind_diode(values: &mut [f64], drop_v: f64) {
    for value in values.iter_mut().filter(|v| v.abs() > drop_v) {
        *value -= drop_v.copysign(*value);
    }
}
