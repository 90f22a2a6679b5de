//! Columns of a first sheet that show the shaft.

use crate::bench::speed_channel::SpeedSignal;
use std::fmt::Write;

/// A column that shows how the shaft turns.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftShaft {
    /// Column name without its unit; also the name of the channel.
    pub column: String,
    /// What it records.
    pub signal: SpeedSignal,
    /// Whether its unit is a speed already, so that nothing has to be filled in.
    pub in_speed: bool,
    /// Why it was taken for that.
    pub why: String,
}

/// The channel's table; as a comment where the person has to fill in a number. `quoted`, `why`: texts as the sheet holds them.
pub(super) fn write_shaft(
    out: &mut String,
    shaft: &DraftShaft,
    quoted: &str,
    why: &str,
) -> std::fmt::Result {
    writeln!(out, "# Guess: {why}")?;
    let (mark, missing) = match (shaft.signal, shaft.in_speed) {
        (SpeedSignal::Speed, true) => ("", "gain = { limit_percent = 1 }            # assumed"),
        (SpeedSignal::Speed, false) => (
            "# ",
            "volts_per_speed = { v_per_krpm = 1, limit_percent = 1 }",
        ),
        (SpeedSignal::Position, _) => ("# ", "counts_per_turn = 2000"),
        (SpeedSignal::Pulses, _) => ("# ", "pulses_per_turn = 1"),
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
    writeln!(out, "{mark}{missing}\n")
}
