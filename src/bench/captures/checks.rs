//! A capture checked against what the sheet states: supply, role and limits.
//!
//! What a waveform shows by itself (polarity, clipping, AC coupling, a plateau of current) is found by the events.

use crate::bench::capture::{Capture, Role, Trace};
use crate::bench::channels::short;

/// What the sheet leads one to expect.
#[derive(Clone, Copy, Debug, Default)]
pub struct Expectations {
    pub supply_v: Option<f64>,
    pub current_limit_a: Option<f64>,
}

/// At most so many rows are looked at; a check needs no more.
const ENOUGH_ROWS: usize = 50_000;

/// Warnings of what contradicts the sheet.
pub fn of_sheet(capture: &Capture, expected: &Expectations) -> Vec<String> {
    let coupled = capture.ac_coupled.then(|| {
        "the voltage channel was AC coupled: its level is lost, the capture is left out, and friction cannot be determined from it. Record it again with DC coupling"
            .to_string()
    });
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
pub fn probe_ratio(capture: &Capture, expected: &Expectations) -> Option<String> {
    // The kick of an opened lead stands far above the supply and says nothing of a ratio.
    if capture.role == Role::TurnOff {
        return None;
    }
    let supply = expected.supply_v?;
    let seen = upper_level(capture.waveform.voltage_v.as_ref()?)?;
    let ratio = seen / supply;
    let (fraction, factor, effect) = if (0.07..=0.14).contains(&ratio) {
        ("a tenth", "10", "small")
    } else if (7.0..=14.0).contains(&ratio) {
        ("ten times", "0.1", "large")
    } else {
        return None;
    };
    Some(format!(
        "the voltage reaches {} V, {fraction} of the stated supply of {} V: the ratio of the probe was probably not set. Say apply_probe_ratio = {factor} for this channel, or correct the supply; as it stands R, L and K come out ten times too {effect}",
        short(seen),
        short(supply)
    ))
}

fn current_limit(current: &Trace, role: Role, expected: &Expectations) -> Option<String> {
    let limit = expected.current_limit_a?;
    if !matches!(role, Role::Start | Role::LockedRotor | Role::PwmLocked) {
        return None;
    }
    let peak = quantile(current, 0.995)?;
    (peak > 0.95 * limit).then(|| {
        format!(
            "the current reaches {} A and the supply limits at {} A: no voltage step, usable only with the measured voltage",
            short(peak),
            short(limit)
        )
    })
}
