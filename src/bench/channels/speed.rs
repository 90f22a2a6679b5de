//! The speed channel of a capture: which column it is, and its values as a speed, an angle or pulses of the motor's shaft.

use super::column::{by_name, find, list};
use super::plan::indices;
use crate::bench::accuracy::{Accuracy, Range};
use crate::bench::capture::{SpeedChannel, SpeedSignal};
use crate::bench::error::BenchError;
use crate::bench::hardware::Hardware;
use crate::bench::remarks::BenchRemarkKind;
use crate::bench::sheet::{SpeedOverride, TypedSpeedChannel};
use crate::capture::{Channel, Record, quantisation_step};
use crate::quantity::units::{self, Quantity};
use crate::stats::simd;
use std::f64::consts::TAU;

/// Zero of a tachogenerator's channel, relative to the largest value, where none is stated (common practice, no source).
const ASSUMED_ZERO: f64 = 0.01;

/// A delay stated without an accuracy is known to so much of itself, as a limit (common practice, no source).
const ASSUMED_DELAY_LIMIT: f64 = 0.3;

/// Relative accuracy of a speed that states none, as a limit (common practice, no source).
const ASSUMED_GAIN_LIMIT: f64 = 0.01;

/// A channel that a capture may have, all names looked up.
#[derive(Clone, Debug)]
pub struct SpeedPlan {
    typed: TypedSpeedChannel,
    instruments: Vec<usize>,
    /// Whether the capture names it: then its column has to be there.
    named: bool,
}

/// The channels that a capture may have; those whose column its file lacks fall away when it is read.
pub fn speed_plans(
    over: Option<&SpeedOverride>,
    channels: &[TypedSpeedChannel],
    hardware: &[Hardware],
) -> Result<Vec<SpeedPlan>, BenchError> {
    if over.is_some_and(|o| !o.recorded) {
        return Ok(Vec::new());
    }
    let name = over.and_then(|o| o.channel.as_ref());
    if let (Some(name), Some(over)) = (name, over)
        && !channels.iter().any(|c| c.name == *name)
    {
        let known = channels.iter().map(|c| c.name.as_str());
        let what = "speed channel";
        return Err(BenchError::unknown(&over.place, what, name, known));
    }
    let candidates = channels
        .iter()
        .filter(|c| name.is_none_or(|n| c.name == *n));
    candidates
        .map(|typed| {
            let what = "instrument a channel can pass through";
            Ok(SpeedPlan {
                typed: typed.clone(),
                instruments: indices(&typed.through, what, &typed.place, hardware)?,
                named: name.is_some(),
            })
        })
        .collect()
}

/// The speed channel of a record with what is to be warned of; none where no column is one.
///
/// # Errors
/// A sentence when the column that the sheet names is not there, several may be meant, or its unit fits no speed.
pub fn speed_channel(
    plans: &[SpeedPlan],
    record: &Record,
    hardware: &[Hardware],
) -> Result<Option<(SpeedChannel, Vec<BenchRemarkKind>)>, String> {
    let found: Vec<(&SpeedPlan, &Channel)> = plans
        .iter()
        .filter_map(|plan| Some((plan, column(plan, record)?)))
        .collect();
    match found.as_slice() {
        [] => match plans.iter().find(|p| p.named) {
            Some(plan) => Err(format!(
                "speed channel \"{}\" has no column here; the columns are {}",
                plan.typed.name,
                list(&record.channels)
            )),
            None => Ok(None),
        },
        [(plan, channel)] => converted(plan, channel, hardware).map(Some),
        several => {
            let names: Vec<&str> = several.iter().map(|(p, _)| p.typed.name.as_str()).collect();
            Err(format!(
                "{} speed channels may be meant ({}); say speed.channel = \"…\" in this capture, or speed.recorded = false",
                names.len(),
                names.join(", ")
            ))
        }
    }
}

fn column<'r>(plan: &SpeedPlan, record: &'r Record) -> Option<&'r Channel> {
    match &plan.typed.column {
        Some(columns) => columns.iter().find_map(|c| find(&record.channels, c)),
        None => by_name(&record.channels, &plan.typed.name),
    }
}

fn converted(
    plan: &SpeedPlan,
    channel: &Channel,
    hardware: &[Hardware],
) -> Result<(SpeedChannel, Vec<BenchRemarkKind>), String> {
    let typed = &plan.typed;
    let mut warnings = Vec::new();
    let (turns, gear) = match typed.gear {
        Some((turns, accuracy)) => (turns, accuracy.standard_uncertainty(1.0, Range::default())),
        None => (1.0, 0.0),
    };
    let mut values = channel.values.clone();
    if values.iter().all(|v| v.is_nan()) {
        return Err(format!("column \"{}\" holds no number", channel.name));
    }
    if typed.signal == SpeedSignal::Position {
        let rollover = match typed.rollover {
            Some(rollover) => Some(rollover),
            None => found_rollover(typed, channel, &mut warnings)?,
        };
        if let Some(rollover) = rollover {
            unwrap(&mut values, rollover);
        }
    }
    let largest = values.iter().fold(
        0.0,
        |m: f64, v| if v.is_finite() { m.max(v.abs()) } else { m },
    );
    let (factor, own, zero) = match typed.signal {
        SpeedSignal::Pulses => (1.0, 0.0, 0.0),
        SpeedSignal::Position => (angle_factor(typed, channel)?, 0.0, 0.0),
        SpeedSignal::Speed => speed_factor(typed, channel, largest, &mut warnings)?,
    };
    let sign = if typed.reversed { -1.0 } else { 1.0 };
    let scale = match typed.signal {
        SpeedSignal::Pulses => 1.0,
        _ => sign * factor * turns,
    };
    let step = quantisation_step(&values).unwrap_or(0.0) * scale.abs();
    values.iter_mut().for_each(|v| *v *= scale);
    let pulses_per_turn = typed.pulses_per_turn.unwrap_or(1);
    let of_hardware = match typed.signal {
        SpeedSignal::Speed => gain_of(plan, largest, hardware),
        // An edge or a count has no size that a gain could change.
        _ => 0.0,
    };
    let bandwidth_s = plan
        .instruments
        .iter()
        .filter_map(|&k| hardware[k].instrument.bandwidth_hz);
    // A slow probe on the way is late by its time constant.
    let slow_s = bandwidth_s.map(|hz| 1.0 / (TAU * hz)).fold(0.0, f64::max);
    let delay = typed.delay.as_ref().map(|delay| {
        let mut stated = delay.stated_or(Accuracy::limit_relative(ASSUMED_DELAY_LIMIT));
        stated.value += slow_s;
        stated
    });
    let out = SpeedChannel {
        name: typed.name.clone(),
        signal: typed.signal,
        values,
        step,
        pulse_rad: turns * TAU / f64::from(pulses_per_turn),
        pulses_per_turn,
        gain_uncertainty: own.hypot(gear).hypot(of_hardware),
        zero_uncertainty: zero * turns,
        delay_s: delay,
    };
    Ok((out, warnings))
}

/// Relative standard uncertainty of the gain of the hardware on the way, for the largest value of a column. Of its vertical range nothing is known but
/// that the record fills half of it or more.
fn gain_of(plan: &SpeedPlan, largest: f64, hardware: &[Hardware]) -> f64 {
    let range = Range {
        full_scale: 2.0 * largest,
        ..Range::default()
    };
    let stated = plan.instruments.iter().map(|&k| &hardware[k]);
    let stated = stated.flat_map(|h| [Some(h.gain), h.range_gain]);
    let each = stated
        .flatten()
        .map(|gain| gain.standard_uncertainty(largest, range));
    each.fold(0.0, f64::hypot) / largest.max(f64::MIN_POSITIVE)
}

/// Factor of a speed column to rad/s, relative standard uncertainty of that, and standard uncertainty of its zero in rad/s.
fn speed_factor(
    typed: &TypedSpeedChannel,
    channel: &Channel,
    largest: f64,
    warnings: &mut Vec<BenchRemarkKind>,
) -> Result<(f64, f64, f64), String> {
    let none = Range::default();
    let mut assume = |what, value| {
        warnings.push(BenchRemarkKind::ChannelAssumed {
            channel: typed.name.clone(),
            what,
            value,
        });
    };
    if let Some(constant) = &typed.volts_per_speed {
        if let Some(unit) = channel.unit.as_deref().filter(|unit| *unit != "V") {
            return Err(format!(
                "column \"{}\" is in {unit}, but volts_per_speed needs volts; leave that key out where the column holds a speed",
                channel.name
            ));
        }
        let stated = constant.stated_or(Accuracy::limit_relative(ASSUMED_GAIN_LIMIT));
        if constant.accuracy.is_empty() {
            assume("accuracy of volts_per_speed", "a limit of 1 %");
        }
        let zero = typed.zero.unwrap_or_else(|| {
            assume("zero", "a limit of 1 % of the largest value");
            Accuracy::limit_relative(ASSUMED_ZERO)
        });
        let per_volt = 1.0 / stated.value;
        return Ok((
            per_volt,
            stated.standard_uncertainty / stated.value,
            zero.standard_uncertainty(largest, none) * per_volt,
        ));
    }
    let factor = match (channel.unit.as_deref(), &typed.unit) {
        (Some("rad/s"), _) => 1.0,
        (None, Some(unit)) => unit_factor(Quantity::Speed, unit)?,
        (None, None) => {
            let written = channel.unit_text.as_deref().unwrap_or_default();
            unit_factor(Quantity::Speed, written).map_err(|_| {
                format!(
                    "column \"{}\" states no unit of speed; add unit = \"rpm\" or another",
                    channel.name
                )
            })?
        }
        (Some(unit), _) => {
            return Err(format!(
                "column \"{}\" is in {unit}, which is no speed; a tachogenerator needs volts_per_speed = {{ v_per_krpm = … }}",
                channel.name
            ));
        }
    };
    let gain = typed.gain.unwrap_or_else(|| {
        assume("gain", "a limit of 1 %");
        Accuracy::limit_relative(ASSUMED_GAIN_LIMIT)
    });
    let zero = typed.zero.unwrap_or_default();
    Ok((
        factor,
        gain.standard_uncertainty(1.0, none),
        zero.standard_uncertainty(largest * factor, none),
    ))
}

/// Factor of a column of counts or angles to rad of the sensor's shaft.
fn angle_factor(typed: &TypedSpeedChannel, channel: &Channel) -> Result<f64, String> {
    let unit = typed.unit.as_ref().or(channel.unit_text.as_ref());
    match (typed.counts_per_turn, unit) {
        (Some(counts), _) => Ok(TAU / counts),
        (None, Some(unit)) => unit_factor(Quantity::Angle, unit),
        (None, None) => Err(format!(
            "column \"{}\" needs counts_per_turn, or the unit of its angle",
            channel.name
        )),
    }
}

fn unit_factor(quantity: Quantity, text: &str) -> Result<f64, String> {
    let unit = units::find(quantity, text).map_err(|error| error.to_string())?;
    Ok(unit.factor)
}

/// The count at which the counter of a column begins again, found from its jumps, with a warning that names it.
fn found_rollover(
    typed: &TypedSpeedChannel,
    channel: &Channel,
    warnings: &mut Vec<BenchRemarkKind>,
) -> Result<Option<f64>, String> {
    let Some(span) = counter_span(&channel.values) else {
        return Ok(None);
    };
    let (column, name) = (&channel.name, &typed.name);
    let one_turn = TAU / angle_factor(typed, channel)?;
    let Some(rollover) = nearest_rollover(span, Some(one_turn)) else {
        return Err(format!(
            "column \"{column}\" falls back by nearly its whole range of {span}, as a counter does that begins again. State at which count it does: rollover = … under [channels.{name}] (rollover = 1e12 where it never does)"
        ));
    };
    warnings.push(BenchRemarkKind::RolloverFound {
        channel: name.clone(),
        column: column.clone(),
        span,
        rollover,
    });
    Ok(Some(rollover))
}

/// Range of a counter that begins again within the record: between slow steps one way, at least one jump the other way over most of its range.
/// `None` where nothing jumps so.
fn counter_span(values: &[f64]) -> Option<f64> {
    let (low, high) = simd::range(values);
    let span = high - low;
    let known: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    let steps = || known.windows(2).map(|w| w[1] - w[0]);
    let is_jump = |step: &f64| step.abs() > 0.6 * span;
    let (mut way, mut jumps, mut largest) = (0.0, 0.0, 0.0_f64);
    for step in steps() {
        if is_jump(&step) {
            jumps += step.signum();
        } else {
            way += step;
            largest = largest.max(step.abs());
        }
    }
    (span > 15.0 && largest < 0.4 * span && jumps * way < 0.0).then_some(span)
}

/// The count at which a counter of that range begins again: a turn of its shaft, in its unit, or a power of two just above the range.
fn nearest_rollover(span: f64, one_turn: Option<f64>) -> Option<f64> {
    let power = 2f64.powi((span + 1.0).log2().ceil() as i32);
    let mut turns = one_turn.into_iter().chain([power]);
    turns.find(|turn| span <= *turn && span > 0.9 * turn)
}

/// The count at which a column of positions seems to begin again; `None` where it does not, or nothing shows at which.
pub fn rollover_of(values: &[f64]) -> Option<f64> {
    nearest_rollover(counter_span(values)?, None)
}

/// Takes the jumps of a counter that begins again out of its counts.
fn unwrap(values: &mut [f64], rollover: f64) {
    let (mut turns, mut before) = (0.0, f64::NAN);
    for value in values.iter_mut().filter(|v| v.is_finite()) {
        let raw = *value;
        if raw - before > 0.5 * rollover {
            turns -= 1.0;
        } else if before - raw > 0.5 * rollover {
            turns += 1.0;
        }
        before = raw;
        *value = raw + turns * rollover;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A counter of 1000 lines counted fourfold, one of 16 bits, one of degrees, and what is none.
    #[test]
    fn a_counter_that_begins_again_is_recognised() {
        let counts = |turn: f64, step: f64| -> Vec<f64> {
            (0..400).map(|k| (f64::from(k) * step) % turn).collect()
        };
        let found = |values: &[f64], turn| nearest_rollover(counter_span(values)?, Some(turn));
        assert_eq!(found(&counts(4000.0, 37.0), 4000.0), Some(4000.0));
        assert_eq!(found(&counts(65536.0, 911.0), 4000.0), Some(65536.0));
        assert_eq!(found(&counts(360.0, 4.0), 360.0), Some(360.0));
        let backwards: Vec<f64> = counts(4000.0, 37.0).iter().map(|v| 3999.0 - v).collect();
        assert_eq!(found(&backwards, 4000.0), Some(4000.0));
        assert_eq!(counter_span(&counts(1e9, 37.0)), None);
        // One wrong sample jumps there and back.
        let mut glitch = counts(1e9, 37.0);
        glitch[200] = 0.0;
        assert_eq!(counter_span(&glitch), None);
        // Nothing shows at which count it begins again.
        assert!(counter_span(&counts(700.0, 9.0)).is_some());
        assert_eq!(found(&counts(700.0, 9.0), 4000.0), None);
    }

    #[test]
    fn a_counter_that_begins_again_goes_on() {
        let mut up: Vec<f64> = (0..10).map(|k| f64::from((k * 30) % 100)).collect();
        unwrap(&mut up, 100.0);
        let whole: Vec<f64> = (0..10).map(|k| f64::from(k * 30)).collect();
        assert_eq!(up, whole);
        let mut down: Vec<f64> = (0..10).map(|k| f64::from((1000 - k * 30) % 100)).collect();
        unwrap(&mut down, 100.0);
        assert!(down.windows(2).all(|w| w[1] - w[0] == -30.0), "{down:?}");
    }
}
