//! Columns of a first sheet that show the shaft.

use crate::bench::speed_channel::SpeedSignal;
use crate::capture::Channel;
use crate::quantity::units::{self, Quantity};
use std::fmt::Write;

/// A column that shows how the shaft turns.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftShaft {
    /// Column name without its unit; also the name of the channel.
    pub column: String,
    /// What it records.
    pub signal: SpeedSignal,
    /// Its unit, where that is one of speed or angle, so that nothing has to be filled in.
    pub unit: Option<String>,
    /// It is in volts, so that a speed is that of a tachogenerator.
    pub in_volts: bool,
    /// Count at which its counter seems to begin again.
    pub rollover: Option<f64>,
    /// Why it was taken for that.
    pub why: String,
}

impl DraftShaft {
    /// The draft of one channel.
    pub(super) fn of(column: String, signal: SpeedSignal, channel: &Channel, why: &str) -> Self {
        let quantity = match signal {
            SpeedSignal::Position => Quantity::Angle,
            _ => Quantity::Speed,
        };
        let stated = channel.unit_text.as_deref().unwrap_or_default();
        // A speed in a unit that the import knows comes in rad/s already.
        let known =
            channel.unit.as_deref() == Some("rad/s") || units::find(quantity, stated).is_ok();
        DraftShaft {
            column,
            signal,
            unit: known.then(|| stated.to_owned()),
            in_volts: channel.unit.as_deref() == Some("V"),
            rollover: rollover(signal, &channel.values),
            why: why.to_owned(),
        }
    }
}

/// The power of two at which a counter falls back to its beginning, where its largest number is just below.
fn rollover(signal: SpeedSignal, values: &[f64]) -> Option<f64> {
    let finite = || values.iter().copied().filter(|v| v.is_finite());
    let (low, high) = finite().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    let falls = |w: &[f64]| (w[1] - w[0]).abs() > 0.5 * (high - low);
    let turn = 2f64.powi((high - low + 1.0).log2().ceil() as i32);
    let near = high - low > 0.9 * turn;
    (signal == SpeedSignal::Position && high - low > 15.0 && near && values.windows(2).any(falls))
        .then_some(turn)
}

/// The channel's table; as a comment where the person has to fill in a number. `quoted`, `why`: texts as the sheet holds them.
pub(super) fn write_shaft(
    out: &mut String,
    shaft: &DraftShaft,
    quoted: &str,
    why: &str,
) -> std::fmt::Result {
    writeln!(out, "# Guess: {why}")?;
    let (mark, keys) = match (shaft.signal, &shaft.unit) {
        (SpeedSignal::Speed, Some(_)) => (
            "",
            "gain = { limit_percent = 1 }            # assumed".to_owned(),
        ),
        (SpeedSignal::Speed, None) if shaft.in_volts => (
            "# ",
            "volts_per_speed = { v_per_krpm = 1, limit_percent = 1 }".to_owned(),
        ),
        (SpeedSignal::Speed, None) => ("# ", "unit = \"rpm\"".to_owned()),
        (SpeedSignal::Position, Some(unit)) => ("", format!("unit = \"{unit}\"")),
        (SpeedSignal::Position, None) => ("# ", "counts_per_turn = 2000".to_owned()),
        (SpeedSignal::Pulses, _) => ("# ", "pulses_per_turn = 1".to_owned()),
    };
    if !mark.is_empty() {
        writeln!(
            out,
            "# Fill in what its sensor gives and take the marks away:"
        )?;
    }
    writeln!(out, "{mark}[channels.{quoted}]")?;
    writeln!(out, "{mark}measures = \"{}\"", shaft.signal.name())?;
    writeln!(out, "{mark}column = {quoted}")?;
    writeln!(out, "{mark}{keys}")?;
    if let Some(rollover) = shaft.rollover {
        writeln!(out, "{mark}rollover = {rollover}")?;
    }
    writeln!(
        out,
        "# gear = {{ motor_turns = 30, limit_percent = 0.1 }}   # if it sits behind a gear\n"
    )
}
