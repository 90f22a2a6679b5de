//! Files that hold no capture but readings: tables of states, and records of heating or cooling.

use crate::bench::{LoadOptions, read_sheet_bytes};
use crate::capture::Record;
use std::path::Path;

/// A table of the sheet, drafted for a file.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct DraftTable {
    /// Its file.
    pub file: String,
    /// Keys of the sheet, one a line.
    pub text: String,
    /// What has to be filled in first; the keys are comments until then.
    pub fill_in: Option<&'static str>,
}

/// Kind, columns with assumed accuracies, and what has to be filled in: those with the most columns first.
const KINDS: [(&str, &str, Option<&str>); 8] = [
    ("load-line", "voltage current speed torque", None),
    ("load-line", "voltage current speed force", ARM),
    ("held-rotor", "voltage current torque", None),
    ("held-rotor", "voltage current force", ARM),
    ("no-load", "voltage current speed", None),
    ("no-load", "voltage current", None),
    ("impedance", "frequency inductance", None),
    ("impedance", "frequency impedance phase", None),
];

const ARM: Option<&str> = Some("the lever arm of the force");

/// Record beyond which no start, run-down or brake of a small motor lasts, s (common practice, no source).
const LONGEST_CAPTURE_S: f64 = 300.0;

/// A table of readings, where the reader of sheets accepts the file as one.
pub(super) fn readings(folder: &Path, file: &str) -> Option<DraftTable> {
    KINDS.iter().find_map(|(kind, columns, fill_in)| {
        let mut text = format!("[[tables]]\nkind = \"{kind}\"\nfile = {}\n", quoted(file));
        for column in columns.split(' ') {
            let accuracy = match column {
                "frequency" => "{}",
                "speed" => "{ limit_percent = 0.1 }",
                "force" => "{ limit_percent = 2 }\narm = { mm = 50, limit_mm = 1 }",
                "torque" => "{ limit_percent = 2 }",
                _ => "{ limit_percent = 1 }",
            };
            text.push_str(&format!("{column} = {accuracy}\n"));
        }
        accepted(folder, &text).then(|| DraftTable {
            file: file.to_owned(),
            text,
            fill_in: *fill_in,
        })
    })
}

/// A heat run or a cooling curve, where a record is one: too long for any other capture, or with an ohmmeter's readings.
pub(super) fn heat(folder: &Path, file: &str, record: &Record) -> Option<DraftTable> {
    let last = record.time.at(record.time.len().checked_sub(1)?)?;
    if last - record.time.at(0)? < LONGEST_CAPTURE_S {
        return None;
    }
    ["heat-run", "cool-down"].into_iter().find_map(|kind| {
        let file_key = quoted(file);
        let room = "ambient = { c = 23, limit_k = 1 }";
        let text = format!("[[heat]]\nkind = \"{kind}\"\nfile = {file_key}\n{room}\n");
        accepted(folder, &text).then(|| DraftTable {
            file: file.to_owned(),
            text,
            fill_in: Some("the temperature of the room"),
        })
    })
}

fn accepted(folder: &Path, text: &str) -> bool {
    let sheet = format!("[motor]\nname = \"draft\"\n{text}");
    let path = folder.join("bench.toml");
    read_sheet_bytes(&path, sheet.as_bytes(), &LoadOptions::default()).is_ok()
}

fn quoted(file: &str) -> String {
    toml::Value::from(file).to_string()
}
