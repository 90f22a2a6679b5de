//! Which way round a waveform stands, whether anything happens in it, and how it begins.

use super::remarks::Remark;
use super::timeline::TimelineBuilder;
use crate::bench::{CaptureWarning, Role};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;
use crate::stats::simd;

/// Standard deviations of noise above which the sign of a current is believed.
const CLEAR_OF_NOISE: f64 = 6.0;

/// Turns voltage and current positive in the direction of driving, and tells of each turn.
pub(crate) fn upright(view: &mut View, role: Role, builder: &mut TimelineBuilder) {
    let voltage_turned = view
        .v
        .as_ref()
        .is_some_and(|v| driving_level(v, role) < 0.0);
    if voltage_turned {
        let level = view.v.as_ref().map_or(0.0, |v| driving_level(v, role));
        view.turn_voltage();
        // Both turned the same way is a motor driven backwards: fine for the model, said all the same.
        builder
            .remarks
            .push(Remark::VoltageNegative { level_v: level });
    }
    let turned = view.i.as_ref().map(|i| (driving_current(i, role), i.sigma));
    if let Some((level, _)) = turned.filter(|(level, _)| *level < 0.0) {
        view.turn_current();
        builder.remarks.push(Remark::CurrentReversed {
            level_a: level,
            with_voltage: view.v.is_some(),
        });
    }
    // The sign of a current within its noise says nothing.
    let clear = turned.filter(|(level, sigma)| level.abs() > CLEAR_OF_NOISE * sigma);
    if clear.is_some_and(|(level, _)| (level < 0.0) != voltage_turned) {
        builder.capture_warnings.push(CaptureWarning::WrongPolarity);
    }
}

/// Voltage while the source drives, with its sign.
fn driving_level(v: &Series, role: Role) -> f64 {
    let (head, tail) = ends(v);
    match role {
        Role::Start | Role::LockedRotor => {
            let (low, high) = range(v);
            larger(low, high)
        }
        Role::RunDown | Role::Brake | Role::TurnOff => {
            if head.abs() > 4.0 * v.sigma && head.abs() > 0.1 * largest(v) {
                head
            } else {
                // Begins at rest, or AC-coupled: the mean of the record tells more than its beginning. An AC-coupled
                // run-down falls below zero because the motor was positive before.
                let (low, high) = range(v);
                if high > 0.5 * low.abs() || head.abs() < 0.1 * largest(v) {
                    high.max(0.0)
                } else {
                    low
                }
            }
        }
        Role::Pwm | Role::PwmLocked => {
            let (low, high) = range(v);
            low + high
        }
        Role::Steady | Role::Driven => 0.5 * (head + tail),
    }
}

/// Current while the source drives, with its sign: for a brake, the opposite of the braking current.
fn driving_current(i: &Series, role: Role) -> f64 {
    let (head, tail) = ends(i);
    let (low, high) = range(i);
    match role {
        // A record that begins with current flowing shows no zero to count from.
        Role::Start | Role::LockedRotor if head.abs() > 0.3 * (high - low) => larger(low, high),
        Role::Start | Role::LockedRotor => larger(low - head, high - head),
        Role::Brake => -larger(high - tail, low - tail),
        Role::RunDown => {
            let step = head - tail;
            if step.abs() < 3.0 * i.sigma {
                // Record that begins at rest: the inrush tells.
                larger(low - tail, high - tail)
            } else {
                step
            }
        }
        Role::TurnOff => head - tail,
        // Open terminals carry none.
        Role::Driven => 0.0,
        Role::Pwm | Role::PwmLocked | Role::Steady => {
            let middle = i.median(0, i.len()).unwrap_or(0.0);
            if middle.abs() > 3.0 * i.sigma {
                middle
            } else {
                0.0
            }
        }
    }
}

/// Medians of the first and last hundredth.
fn ends(x: &Series) -> (f64, f64) {
    let k = (x.len() / 100).clamp(3, 1000);
    (
        x.median(0, k).unwrap_or(0.0),
        x.median(x.len() - k, x.len()).unwrap_or(0.0),
    )
}

/// Low and high levels without kicks.
fn range(x: &Series) -> (f64, f64) {
    (
        x.quantile(0, x.len(), 0.01).unwrap_or(0.0),
        x.quantile(0, x.len(), 0.99).unwrap_or(0.0),
    )
}

fn largest(x: &Series) -> f64 {
    let (low, high) = range(x);
    low.abs().max(high.abs())
}

/// The one of two levels that is farther from zero; of equals the second.
fn larger(one: f64, other: f64) -> f64 {
    if other.abs() >= one.abs() { other } else { one }
}

/// True when the record begins with no voltage although there is one later.
pub(crate) fn begins_at_rest(view: &View) -> bool {
    match (&view.v, &view.i) {
        (Some(v), Some(i)) => {
            let (head, _) = ends(v);
            let (at_first, _) = ends(i);
            let (_, top) = range(i);
            head.abs() < 0.15 * largest(v)
                && (top - at_first) > 0.5 * (top - at_first.min(0.0)).abs()
                && (top - at_first) > 8.0 * i.sigma
        }
        (Some(v), None) => ends(v).0.abs() < 0.15 * largest(v) && range(v).1 > 8.0 * v.sigma,
        _ => false,
    }
}

/// True when no channel leaves its noise: the trigger was missed. A steady run, and a driven shaft, are allowed to be quiet.
pub(crate) fn nothing_happens(view: &View, role: Role) -> bool {
    if matches!(role, Role::Steady | Role::Driven) {
        return false;
    }
    [&view.v, &view.i].into_iter().flatten().all(still)
}

/// True when block means of the trace do not move and no row stands far out.
pub(crate) fn still(x: &Series) -> bool {
    let sigma = x.sigma.max(x.spread(0, x.len()));
    // Most records show it here, in their first rows.
    let (column, of) = (x.x().column(), |v: &f64| x.x().of(*v));
    let far = |v: &f64| (of(v) - x.at(0)).abs() > 12.0 * sigma;
    if column.windows(3).any(|w| w.iter().all(far)) {
        return false;
    }
    let size = x.len().div_ceil(100).max(1);
    let (low, high) = simd::range(&x.x().means(size));
    high - low < (8.0 * sigma / (size as f64).sqrt()).max(0.6 * x.step)
}
