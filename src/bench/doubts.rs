//! What a person who looks at a capture would doubt, with the numbers that make one doubt it.

use super::convert::short;
use super::setup::{Capture, Role};
use super::waveform::Trace;

/// What the sheet leads one to expect.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Expectations {
    pub supply_v: Option<f64>,
    pub current_limit_a: Option<f64>,
}

/// At most so many rows are looked at; a doubt needs no more.
const ENOUGH_ROWS: usize = 50_000;

pub(super) fn of_capture(capture: &Capture, expected: &Expectations) -> Vec<String> {
    let voltage = capture.waveform.voltage_v.as_ref();
    let current = capture.waveform.current_a.as_ref();
    [
        voltage.and_then(|v| probe_ratio(v, capture.role, expected)),
        reversed_current(voltage, current, capture.role),
        voltage.and_then(|v| ac_coupling(v, current, capture)),
        current.and_then(|i| current_limit(i, capture.role, expected)),
        voltage.and_then(|v| clipping(v, "voltage", "V")),
        current.and_then(|i| clipping(i, "current", "A")),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Every so-many-th row, so that at most [`ENOUGH_ROWS`] are looked at.
fn stride(trace: &Trace) -> usize {
    trace.values.len().div_ceil(ENOUGH_ROWS).max(1)
}

fn sorted(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.filter(|v| !v.is_nan()).collect();
    values.sort_by(f64::total_cmp);
    values
}

/// Value below which the fraction `part` lies; `None` without values.
fn quantile(sorted: &[f64], part: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    sorted.get((last as f64 * part).round() as usize).copied()
}

fn thinned(trace: &Trace) -> Vec<f64> {
    sorted(trace.values.iter().step_by(stride(trace)).copied())
}

/// Level that the voltage reaches, short kicks left aside.
pub(super) fn upper_level(voltage: &Trace) -> Option<f64> {
    quantile(&thinned(voltage), 0.98)
}

fn probe_ratio(voltage: &Trace, role: Role, expected: &Expectations) -> Option<String> {
    // The kick of an opened lead stands far above the supply and says nothing of a ratio.
    if role == Role::TurnOff {
        return None;
    }
    let supply = expected.supply_v?;
    let seen = upper_level(voltage)?;
    let ratio = seen / supply;
    let (fraction, factor) = if (0.07..=0.14).contains(&ratio) {
        ("a tenth", "10")
    } else if (7.0..=14.0).contains(&ratio) {
        ("ten times", "0.1")
    } else {
        return None;
    };
    Some(format!(
        "the voltage reaches {} V, {fraction} of the stated supply of {} V: the ratio of the probe was probably not set. Say apply_probe_ratio = {factor} for this channel, or mend the supply; as it stands R, L and K come out {}",
        short(seen),
        short(supply),
        if factor == "10" {
            "ten times too small"
        } else {
            "ten times too large"
        }
    ))
}

fn reversed_current(
    voltage: Option<&Trace>,
    current: Option<&Trace>,
    role: Role,
) -> Option<String> {
    let current = current?;
    let values = thinned(current);
    let (low, high) = (quantile(&values, 0.005)?, quantile(&values, 0.995)?);
    match role {
        Role::Start
        | Role::LockedRotor
        | Role::Steady
        | Role::Pwm
        | Role::PwmLocked
        | Role::TurnOff => {
            let median_while_driven = driven_median(voltage, current)?;
            let floor = 3.0 * current.quantisation_step.unwrap_or(0.0);
            (median_while_driven < -floor && low.abs() > 3.0 * high.abs()).then(|| {
                format!(
                    "the current is negative while the source drives the motor (median {} A, down to {} A): the probe or shunt is probably the wrong way round. Say reversed = true for the current channel",
                    short(median_while_driven),
                    short(low)
                )
            })
        }
        // A braked motor drives its current backwards.
        Role::Brake => (high > 5.0 * low.abs() && high > 0.0).then(|| {
            format!(
                "the braking current is positive (up to {} A, down to {} A), but a shorted motor drives it out of its positive terminal: the probe or shunt is probably the wrong way round. Say reversed = true for the current channel",
                short(high),
                short(low)
            )
        }),
        Role::RunDown => None,
    }
}

/// Median current over the rows in which the voltage is above half of its upper end (all rows without a voltage).
fn driven_median(voltage: Option<&Trace>, current: &Trace) -> Option<f64> {
    let step = stride(current);
    let rows = current.values.iter().step_by(step);
    let driven = match voltage {
        None => sorted(rows.copied()),
        Some(voltage) => {
            let half = 0.5 * quantile(&thinned(voltage), 0.98)?;
            if half <= 0.0 {
                return None;
            }
            sorted(
                rows.zip(voltage.values.iter().step_by(step))
                    .filter(|(_, v)| **v > half)
                    .map(|(i, _)| *i),
            )
        }
    };
    quantile(&driven, 0.5)
}

/// A motor that only slows keeps the sign of its voltage; a coupling capacitor shifts it through zero.
fn ac_coupling(voltage: &Trace, current: Option<&Trace>, capture: &Capture) -> Option<String> {
    if capture.ac_coupled {
        return Some(
            "the voltage channel was AC coupled: its level is lost, so the run-down tells nothing of friction. Record it again with DC coupling"
                .to_string(),
        );
    }
    if capture.role != Role::RunDown {
        return None;
    }
    let values = thinned(voltage);
    let span = quantile(&values, 0.99)? - quantile(&values, 0.005)?;
    let low = quantile(&values, 0.02)?;
    let rows = voltage.values.len();
    let head = &voltage.values[..(rows / 50).max(1)];
    let head_v = quantile(&sorted(head.iter().copied()), 0.5)?;
    let resolution = 4.0 * voltage.quantisation_step.unwrap_or(0.0);
    if low > -(0.08 * span).max(resolution) {
        return None;
    }
    let head_a = current
        .map(|i| &i.values[..(rows / 50).clamp(1, i.values.len())])
        .and_then(|head| quantile(&sorted(head.iter().copied()), 0.5));
    let at_first = match head_a {
        Some(amperes) if amperes > 0.0 && head_v.abs() < 0.1 * span => format!(
            ", and it begins at {} V though {} A flow",
            short(head_v),
            short(amperes)
        ),
        _ => String::new(),
    };
    Some(format!(
        "the voltage goes down to {} V of a span of {} V though the motor only slows{at_first}: AC coupling suspected. Such a run-down tells nothing of friction; record it again with DC coupling",
        short(low),
        short(span)
    ))
}

fn current_limit(current: &Trace, role: Role, expected: &Expectations) -> Option<String> {
    let limit = expected.current_limit_a?;
    if !matches!(role, Role::Start | Role::LockedRotor | Role::PwmLocked) {
        return None;
    }
    let peak = quantile(&thinned(current), 0.995)?;
    (peak > 0.95 * limit).then(|| {
        format!(
            "the current reaches {} A and the supply limits at {} A: no voltage step, usable only with the measured voltage",
            short(peak),
            short(limit)
        )
    })
}

fn clipping(trace: &Trace, word: &str, unit: &str) -> Option<String> {
    let count = trace.clipped.iter().filter(|c| **c).count();
    if count == 0 {
        return None;
    }
    let ends = sorted(
        trace
            .clipped
            .iter()
            .zip(&trace.values)
            .filter(|(clipped, _)| **clipped)
            .map(|(_, v)| *v),
    );
    let at = match (ends.first(), ends.last()) {
        (Some(low), Some(high)) if low == high => format!("at {} {unit}", short(*high)),
        (Some(low), Some(high)) => format!("between {} and {} {unit}", short(*low), short(*high)),
        _ => "marked overrange without a value".to_string(),
    };
    Some(format!(
        "{count} of {} samples of the {word} stand at the end of the screen, {at}: they are left out, and a peak that is cut tells less of R and L. Record again with a larger vertical scale",
        trace.values.len()
    ))
}
