//! Scalar readings with the accuracy of their own, of the instrument they were taken with, or an assumed one.

use super::accuracy::{Accuracy, Range};
use super::channels::GainCheck;
use super::error::BenchError;
use super::setup::{Reading, Stated};
use super::sheet::{
    InstrumentKind, Quantity, TypedInstrument, TypedOhmmeter, TypedReading, TypedReadingKind,
    unknown_name,
};
use super::stated;

/// What a reading is checked against.
pub(super) struct Context<'a> {
    pub instruments: &'a [TypedInstrument],
    /// Names of the captures.
    pub captures: &'a [String],
}

/// A gain check, validated; `None` for every other kind of reading.
pub(super) fn gain_check(
    typed: &TypedReading,
    context: &Context,
    channels: &[String],
) -> Result<Option<GainCheck>, BenchError> {
    let TypedReadingKind::GainCheck {
        channel,
        per_division,
        applied,
        read,
        is_current,
    } = &typed.what
    else {
        return Ok(None);
    };
    if !channels.contains(channel) {
        let known: Vec<&str> = channels.iter().map(String::as_str).collect();
        return Err(unknown_name(
            typed.place.clone(),
            "channel",
            channel,
            &known,
        ));
    }
    let with = typed
        .with
        .as_ref()
        .map(|name| find(name, typed, context.instruments))
        .transpose()?;
    let ratio = read.value / applied.value;
    if !(0.5..=2.0).contains(&ratio) {
        return Err(BenchError::Invalid {
            place: typed.place.clone(),
            text: format!(
                "{} read where {} was applied: a gain {ratio:.3} times too large is no error of a gain. Give both in the unit of the channel, with the probe's ratio applied",
                read.value, applied.value
            ),
        });
    }
    let reads = with.and_then(|w| {
        if *is_current {
            w.reads_current
        } else {
            w.reads_voltage
        }
    });
    let of_meter = reads.filter(|_| applied.accuracy.is_empty());
    let relative = |stated: Stated| stated.standard_uncertainty / stated.value.abs();
    let own = match of_meter {
        Some(_) => 0.0,
        None => relative(applied.stated("applied")?),
    };
    Ok(Some(GainCheck {
        channel: channel.clone(),
        per_division: *per_division,
        ratio,
        own_relative_uncertainty: relative(read.stated("read")?).hypot(own).max(1e-6),
        meter: of_meter.and_then(|a| {
            let u = relative(a.state(applied.value));
            Some((typed.with.clone()?, u, a.distribution()))
        }),
    }))
}

/// One reading, validated; `None` for a gain check, which is no reading of the motor.
pub(super) fn reading(
    typed: &TypedReading,
    context: &Context,
    warnings: &mut Vec<String>,
) -> Result<Option<Reading>, BenchError> {
    let with = typed
        .with
        .as_ref()
        .map(|name| find(name, typed, context.instruments))
        .transpose()?;
    let line = typed.place.line;
    let found = match &typed.what {
        TypedReadingKind::GainCheck { .. } => return Ok(None),
        TypedReadingKind::Ohmmeter(ohmmeter) => ohmmeter_reading(ohmmeter, with, line, warnings),
        TypedReadingKind::InductanceMeter {
            inductance,
            frequency_hz,
        } => Ok(Reading::InductanceMeter {
            inductance_h: by(
                inductance,
                with.and_then(|w| w.reads_inductance),
                "inductance",
            )?,
            frequency_hz: *frequency_hz,
        }),
        TypedReadingKind::Tachometer {
            speed,
            capture,
            terminal_voltage,
            current,
        } => {
            let captures = context.captures;
            if let Some(name) = capture.as_ref().filter(|c| !captures.contains(c)) {
                let known: Vec<&str> = captures.iter().map(String::as_str).collect();
                return Err(unknown_name(typed.place.clone(), "capture", name, &known));
            }
            let tachometer = with.and_then(|w| w.reads_speed);
            Ok(Reading::Speed {
                speed_rad_s: stated::speed(speed, tachometer, line, warnings),
                capture: capture.clone(),
                terminal_voltage_v: terminal_voltage
                    .as_ref()
                    .map(|v| v.stated("terminal_voltage"))
                    .transpose()?,
                current_a: current.as_ref().map(|c| c.stated("current")).transpose()?,
                meter: typed.with.clone(),
            })
        }
        TypedReadingKind::SpunBackEmf { voltage, speed } => Ok(Reading::SpunBackEmf {
            voltage_v: by(voltage, with.and_then(|w| w.reads_voltage), "voltage")?,
            speed_rad_s: stated::speed(speed, None, line, warnings),
            meter: typed.with.clone(),
        }),
    };
    found.map(Some)
}

/// What was made of a reading that asks nothing of the reader.
pub(super) fn note(typed: &TypedReading) -> Option<String> {
    let TypedReadingKind::Ohmmeter(ohmmeter) = &typed.what else {
        return None;
    };
    ohmmeter.from_range.then(|| {
        format!(
            "line {}: only the range of the ohmmeter readings is stated; it counts as {} readings spread evenly over it",
            typed.place.line,
            ohmmeter.readings_ohm.len()
        )
    })
}

fn ohmmeter_reading(
    typed: &TypedOhmmeter,
    with: Option<&TypedInstrument>,
    line: u32,
    warnings: &mut Vec<String>,
) -> Result<Reading, BenchError> {
    let stated = typed.accuracy.or(with.and_then(|w| w.reads_resistance));
    let accuracy = stated.unwrap_or_else(|| {
        warnings.push(format!(
            "line {line}: no accuracy of the ohmmeter stated; assumed a limit of 1 % (rectangular)"
        ));
        Accuracy::limit_relative(0.01)
    });
    let readings_ohm = &typed.readings_ohm;
    let mean = readings_ohm.iter().sum::<f64>() / readings_ohm.len() as f64;
    Ok(Reading::Ohmmeter {
        readings_ohm: readings_ohm.clone(),
        leads_ohm: typed
            .leads
            .as_ref()
            .map(|l| l.stated("leads"))
            .transpose()?,
        relative_uncertainty: accuracy.standard_uncertainty(mean, Range::default()) / mean,
        temperature_c: typed
            .temperature
            .as_ref()
            .map(|t| stated::winding_temperature(t, warnings))
            .transpose()?,
        meter: with.map(|w| w.name.clone()),
    })
}

fn find<'i>(
    name: &str,
    typed: &TypedReading,
    instruments: &'i [TypedInstrument],
) -> Result<&'i TypedInstrument, BenchError> {
    let readers: Vec<&TypedInstrument> = instruments
        .iter()
        .filter(|i| matches!(i.kind, InstrumentKind::Meter | InstrumentKind::Tachometer))
        .collect();
    let known: Vec<&str> = readers.iter().map(|i| i.name.as_str()).collect();
    readers
        .iter()
        .find(|i| i.name == name)
        .copied()
        .ok_or_else(|| unknown_name(typed.place.clone(), "meter or tachometer", name, &known))
}

fn by(quantity: &Quantity, meter: Option<Accuracy>, key: &str) -> Result<Stated, BenchError> {
    match meter {
        Some(accuracy) => Ok(quantity.stated_or(accuracy)),
        None => quantity.stated(key),
    }
}
