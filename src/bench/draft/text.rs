//! A first bench sheet from what was guessed of a folder of captures, with a comment at every guess.
//!
//! Only the text is made here; the guesses come from whoever looked at the waveforms.

use super::shaft::{DraftShaft, write_shaft};
use crate::bench::setup::Role;
use std::fmt::Write;

/// A channel as guessed, the same wire in every capture.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftChannel {
    /// Name of the `[channels.NAME]` table.
    pub name: String,
    /// Column names under which the files hold it, in order of first sight.
    pub columns: Vec<String>,
    /// Why it was taken for what it is.
    pub why: String,
    /// A current channel in volts: it must be raw volts across a shunt.
    pub raw_volts: bool,
    /// The channel seems to be the wrong way round.
    pub reversed: bool,
}

/// A capture as guessed.
#[derive(Clone, Debug, PartialEq)]
pub struct DraftCapture {
    /// Name of the capture in the sheet.
    pub name: String,
    /// File name relative to the sheet.
    pub file: String,
    /// Further files of the same event, with the other channels.
    pub further: Vec<String>,
    /// Guessed role.
    pub role: Role,
    /// Why it was taken for this role.
    pub why: String,
    /// What is wrong in the file, written as comments.
    pub warnings: Vec<String>,
    /// Name of the voltage channel, where it differs from the first one of the sheet.
    pub voltage_channel: Option<String>,
    /// Name of the current channel, where it differs from the first one of the sheet.
    pub current_channel: Option<String>,
    /// False where the file has no voltage channel.
    pub voltage_recorded: bool,
    /// False where the file has no current channel.
    pub current_recorded: bool,
}

/// Everything that goes into a first sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// Name of the motor, from the folder.
    pub motor_name: String,
    /// Largest steady voltage seen, as a guess of the supply.
    pub supply_v: Option<(f64, String)>,
    /// Bits of the converter and why.
    pub bits: Option<(u32, String)>,
    /// Voltage channels; the first is the default of the sheet.
    pub voltage: Vec<DraftChannel>,
    /// Current channels; the first is the default of the sheet.
    pub current: Vec<DraftChannel>,
    /// Columns that show how the shaft turns.
    pub shaft: Vec<DraftShaft>,
    /// Captures in the order in which the sheet lists them.
    pub captures: Vec<DraftCapture>,
    /// Files that were not taken, and why.
    pub left_out: Vec<(String, String)>,
}

/// The text of the sheet. It can be read back as it stands, except that a shunt of unknown resistance has to be filled in.
pub fn draft_text(draft: &Draft) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail, so the results are not looked at.
    let _ = write_sheet(&mut out, draft);
    out
}

fn write_sheet(out: &mut String, draft: &Draft) -> std::fmt::Result {
    writeln!(
        out,
        "# A first bench sheet, guessed from the captures beside it. Every guess says why; mend what is wrong, fill in what is\n\
         # known and delete the comments. The format is told in docs/bench_sheet.md.\n"
    )?;
    writeln!(out, "[motor]")?;
    writeln!(out, "name = {}", quoted(&draft.motor_name))?;
    writeln!(
        out,
        "# commutator_segments = 7          # count the bars if you can: the ripple then gives the speed\n\
         # poles = 2                        # count the magnet poles too: the ripple of 4 poles is easily read as that of 2\n\
         # brushes = \"carbon\"               # or \"metal-carbon\", \"metal\"\n\
         # magnets = \"ferrite\"              # or \"neodymium\", \"samarium-cobalt\"\n\
         # room_temperature_c = 21\n\
         # winding_temperature = {{ c = 24, limit_k = 2 }}   # at the beginning of each capture\n"
    )?;
    match &draft.supply_v {
        Some((volts, why)) => writeln!(
            out,
            "[supply]\n# Guess: {}\nvoltage = {{ v = {volts}, limit_percent = 3 }}\n",
            one_line(why)
        )?,
        None => writeln!(
            out,
            "# [supply]\n# voltage = {{ v = 12, limit_percent = 1 }}\n"
        )?,
    }
    write_instruments(out, draft)?;
    for (channels, measures, chain) in [
        (&draft.voltage, "voltage", "[\"scope\", \"probe\"]"),
        (&draft.current, "current", sensor_chain(draft)),
    ] {
        for channel in channels {
            write_channel(out, channel, measures, chain)?;
        }
    }
    for shaft in &draft.shaft {
        write_shaft(out, shaft, &quoted(&shaft.column), &one_line(&shaft.why))?;
    }
    for capture in &draft.captures {
        write_capture(out, capture)?;
    }
    for (file, why) in &draft.left_out {
        writeln!(out, "# Left out: {}: {}", one_line(file), one_line(why))?;
    }
    if !draft.left_out.is_empty() {
        writeln!(out)?;
    }
    writeln!(
        out,
        "# Readings by hand. One speed settles K, J and friction; without it (or a visible commutation ripple) they stay undetermined.\n\
         # [[readings]]\n\
         # kind = \"tachometer\"\n\
         # speed = {{ rpm = 5000, limit_percent = 0.1, limit_rpm = 1 }}\n\
         # capture = {}\n\
         #\n\
         # [[readings]]\n\
         # kind = \"ohmmeter\"\n\
         # readings_ohm = [4.4, 4.6, 4.5, 4.7]      # over several rotor positions\n\
         # accuracy = {{ limit_percent = 1, limit_ohm = 0.02 }}\n\
         # leads = {{ ohm = 0.15, limit_ohm = 0.02 }}",
        quoted(
            draft
                .captures
                .iter()
                .find(|c| c.role == Role::RunDown)
                .or(draft.captures.first())
                .map_or("coast", |c| &c.name)
        )
    )
}

fn raw_volts(draft: &Draft) -> bool {
    draft.current.iter().any(|c| c.raw_volts)
}

fn sensor_chain(draft: &Draft) -> &'static str {
    if raw_volts(draft) {
        "[\"scope\", \"shunt\"]"
    } else {
        "[\"scope\", \"clamp\"]"
    }
}

fn write_instruments(out: &mut String, draft: &Draft) -> std::fmt::Result {
    writeln!(out, "[instruments.scope]\nkind = \"oscilloscope\"")?;
    match &draft.bits {
        Some((bits, why)) => writeln!(out, "# Guess: {}\nbits = {bits}", one_line(why))?,
        None => writeln!(out, "# bits = 8")?,
    }
    writeln!(
        out,
        "# Assumed; see the data sheet of yours.\n\
         gain = {{ limit_full_scale_percent = 3 }}\n\
         zero = {{ limit_divisions = 0.1 }}\n\
         time_base = {{ limit_ppm = 100 }}\n\n\
         [instruments.probe]\n\
         kind = \"voltage-probe\"\n\
         # Assumed; see the data sheet of yours.\n\
         gain = {{ limit_percent = 2 }}\n"
    )?;
    if raw_volts(draft) {
        writeln!(
            out,
            "[instruments.shunt]\n\
             kind = \"shunt\"\n\
             # The current column is in volts, so it must be raw volts across a shunt. Fill in its resistance:\n\
             # resistance_ohm = 0.05\n\
             # Assumed; the tolerance is printed on the part.\n\
             tolerance = {{ limit_percent = 1 }}\n"
        )
    } else {
        writeln!(
            out,
            "# The current column is in ampere. A clamp is assumed; for a shunt use kind = \"shunt\", resistance_ohm and tolerance.\n\
             [instruments.clamp]\n\
             kind = \"current-probe\"\n\
             gain = {{ limit_percent = 3 }}\n\
             # zero = {{ limit_ma = 40 }}        # see its data sheet; 1 % of the largest current is assumed without\n\
             # bandwidth_hz = 100e3\n"
        )
    }
}

fn write_channel(
    out: &mut String,
    channel: &DraftChannel,
    measures: &str,
    chain: &str,
) -> std::fmt::Result {
    writeln!(out, "# Guess: {}", one_line(&channel.why))?;
    writeln!(out, "[channels.{}]", quoted(&channel.name))?;
    writeln!(out, "measures = \"{measures}\"")?;
    let columns: Vec<String> = channel.columns.iter().map(|c| quoted(c)).collect();
    match columns.as_slice() {
        [column] => writeln!(out, "column = {column}")?,
        _ => writeln!(out, "column = [{}]", columns.join(", "))?,
    }
    writeln!(out, "through = {chain}")?;
    if measures == "voltage" {
        writeln!(
            out,
            "# spans = \"shunt\"                 # if the voltage was measured across motor and shunt together"
        )?;
    }
    if channel.raw_volts {
        writeln!(out, "raw_volts = true")?;
    }
    if channel.reversed {
        writeln!(out, "reversed = true")?;
    }
    writeln!(out)
}

fn write_capture(out: &mut String, capture: &DraftCapture) -> std::fmt::Result {
    writeln!(out, "[[captures]]")?;
    writeln!(out, "name = {}", quoted(&capture.name))?;
    let files: Vec<String> = std::iter::once(&capture.file)
        .chain(&capture.further)
        .map(|file| quoted(file))
        .collect();
    match files.as_slice() {
        [file] => writeln!(out, "file = {file}")?,
        several => writeln!(
            out,
            "# One event in several files, told by their names and times.\nfile = [{}]",
            several.join(", ")
        )?,
    }
    writeln!(out, "# Guess: {}", one_line(&capture.why))?;
    writeln!(out, "role = \"{}\"", capture.role.name())?;
    for (key, channel, recorded) in [
        (
            "voltage",
            &capture.voltage_channel,
            capture.voltage_recorded,
        ),
        (
            "current",
            &capture.current_channel,
            capture.current_recorded,
        ),
    ] {
        if let Some(channel) = channel {
            writeln!(out, "{key}.channel = {}", quoted(channel))?;
        }
        if !recorded {
            writeln!(out, "# No column of this file was taken for the {key}.")?;
            writeln!(out, "{key}.recorded = false")?;
        }
    }
    for warning in &capture.warnings {
        writeln!(out, "# Doubt: {}", one_line(warning))?;
    }
    writeln!(out)
}

/// A comment must not break its line, or its rest would be read as keys.
fn one_line(text: &str) -> String {
    text.split(|c: char| c.is_control())
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", c as u32);
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_from_files_cannot_break_out_of_their_quotes_or_comments() {
        let toml = format!("a = {}", quoted("x\"\nrole = \\ \u{7f}é"));
        let value: toml::Table = toml.parse().unwrap();
        assert_eq!(value["a"].as_str(), Some("x\"\nrole = \\ \u{7f}é"));
        assert_eq!(one_line("a\nrole = 1\r\n"), "a role = 1");
    }
}
