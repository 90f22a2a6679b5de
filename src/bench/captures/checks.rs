//! A capture checked against what the sheet states: supply, role and limits.
//!
//! What a waveform shows by itself (polarity, clipping, AC coupling, a plateau of current) is found by the events.

use crate::bench::capture::{Capture, Role, Trace};
use crate::bench::remarks::BenchRemarkKind;

/// What the sheet leads one to expect.
#[derive(Clone, Copy, Debug, Default)]
pub struct Expectations {
    pub supply_v: Option<f64>,
    pub current_limit_a: Option<f64>,
}

/// At most so many rows are looked at; a check needs no more.
const ENOUGH_ROWS: usize = 50_000;

/// Warnings of what contradicts the sheet.
pub fn of_sheet(capture: &Capture, expected: &Expectations) -> Vec<BenchRemarkKind> {
    let coupled = capture
        .ac_coupled
        .then_some(BenchRemarkKind::VoltageAcCoupled);
    let limited = capture
        .waveform
        .current_a
        .as_ref()
        .and_then(|i| current_limit(i, capture.role, expected));
    coupled.into_iter().chain(limited).collect()
}

/// Value below which the fraction `part` of the rows lies, of which at most [`ENOUGH_ROWS`] are looked at; `None` without values.
fn quantile(trace: &Trace, part: f64) -> Option<f64> {
    let stride = trace.values.len().div_ceil(ENOUGH_ROWS).max(1);
    let rows = trace.values.iter().step_by(stride).copied();
    let mut values: Vec<f64> = rows.filter(|v| !v.is_nan()).collect();
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    values.get((last as f64 * part).round() as usize).copied()
}

/// Level that the voltage reaches, short kicks left aside.
pub fn upper_level(voltage: &Trace) -> Option<f64> {
    quantile(voltage, 0.98)
}

/// A voltage that misses the supply by the ratio of a probe.
pub fn probe_ratio(capture: &Capture, expected: &Expectations) -> Option<BenchRemarkKind> {
    // The kick of an opened lead stands far above the supply and says nothing of a ratio.
    if capture.role == Role::TurnOff {
        return None;
    }
    let supply = expected.supply_v?;
    let seen = upper_level(capture.waveform.voltage_v.as_ref()?)?;
    let ratio = seen / supply;
    let off = (0.07..=0.14).contains(&ratio) || (7.0..=14.0).contains(&ratio);
    off.then_some(BenchRemarkKind::ProbeRatio {
        seen_v: seen,
        supply_v: supply,
    })
}

fn current_limit(current: &Trace, role: Role, expected: &Expectations) -> Option<BenchRemarkKind> {
    let limit = expected.current_limit_a?;
    if !matches!(role, Role::Start | Role::LockedRotor | Role::PwmLocked) {
        return None;
    }
    let peak = quantile(current, 0.995)?;
    (peak > 0.95 * limit).then_some(BenchRemarkKind::CurrentLimited {
        peak_a: peak,
        limit_a: limit,
    })
}
