//! Heat runs and cooling curves of a sheet, read and in SI units.

use crate::bench::accuracy::{Accuracy, Stated};
use crate::bench::captures::stem;
use crate::bench::channels::{by_name, list};
use crate::bench::error::BenchError;
use crate::bench::remarks::{BenchRemark, BenchRemarkKind};
use crate::bench::setup::{HeatKind, HeatRecord, HeatSeries, MotorFacts};
use crate::bench::sheet::{TypedHeat, TypedSeries};
use crate::capture::{self, Channel};
use std::path::{Path, PathBuf};

/// Limits of instruments whose accuracy is not stated: those of an ordinary multimeter, and of a thermocouple taped to a housing. Common
/// practice, no source.
const VOLTAGE_LIMIT: f64 = 0.01;
const CURRENT_LIMIT: f64 = 0.02;
const RESISTANCE_LIMIT: f64 = 0.01;
const HOUSING_LIMIT_K: f64 = 3.0;
/// Limit of a room temperature stated without one, K. Common practice, no source.
const AMBIENT_LIMIT_K: f64 = 2.0;

/// The records of all `[[heat]]` tables; `path_of` gives the path of a file that may be read.
///
/// # Errors
/// A file that cannot be read, a column that is not there, a record too short or without what its kind needs.
pub(in crate::bench) fn load_all(
    typed: &[TypedHeat],
    motor: &MotorFacts,
    path_of: impl Fn(&TypedHeat, &str) -> Result<PathBuf, BenchError>,
    warnings: &mut Vec<BenchRemark>,
) -> Result<Vec<HeatRecord>, BenchError> {
    let mut records: Vec<HeatRecord> = Vec::with_capacity(typed.len());
    for (number, one) in typed.iter().enumerate() {
        let of_file = || one.file.as_ref().map(|file| stem(file));
        let name = one.name.clone().or_else(of_file);
        let name = name.unwrap_or_else(|| format!("heat {}", number + 1));
        let invalid = |text: String| Err(BenchError::at(&one.place, text));
        if records.iter().any(|known| known.name == name) {
            return invalid(format!(
                "two heat records are called \"{name}\"; give each its own `name`"
            ));
        }
        let heat_run = |name: &str| {
            let is = |r: &HeatRecord| r.name == name && r.kind == HeatKind::HeatRun;
            records.iter().position(is)
        };
        let after = one.after.as_deref().map(heat_run);
        if let (Some(None), Some(wanted)) = (after, &one.after) {
            return invalid(format!(
                "`after` names \"{wanted}\", expected the name of a heat run further up in the sheet"
            ));
        }
        let path = one.file.as_deref().map(|file| path_of(one, file));
        let path = path.transpose()?;
        records.push(load(
            one,
            name,
            path.as_deref(),
            after.flatten(),
            motor,
            warnings,
        )?);
    }
    Ok(records)
}

fn load(
    one: &TypedHeat,
    name: String,
    path: Option<&Path>,
    after: Option<usize>,
    motor: &MotorFacts,
    warnings: &mut Vec<BenchRemark>,
) -> Result<HeatRecord, BenchError> {
    let invalid = |text: String| Err(BenchError::at(&one.place, text));
    let record = path.map(|path| capture::read(path, &one.import));
    let record = record.transpose().map_err(|source| {
        BenchError::in_capture(Some(&one.file_place), &name, format!(": {source}"))
    })?;
    let time_s = times(one, &name, record.as_ref())?;
    let columns = Columns {
        one,
        name: &name,
        channels: record.as_ref().map_or(&[], |record| &record.channels),
        rows: time_s.len(),
    };
    let relative = Accuracy::limit_relative;
    let voltage_v = columns.pick(&one.voltage, "voltage", is_volt, relative(VOLTAGE_LIMIT))?;
    let current_a = columns.pick(&one.current, "current", is_ampere, relative(CURRENT_LIMIT))?;
    let resistance_ohm = columns.pick(
        &one.resistance,
        "resistance",
        is_ohm,
        relative(RESISTANCE_LIMIT),
    )?;
    let of_housing = Accuracy::limit_absolute(HOUSING_LIMIT_K);
    let housing_c = columns.pick(&one.housing, "housing", is_celsius, of_housing)?;
    match one.kind {
        HeatKind::HeatRun if voltage_v.is_none() || current_a.is_none() => {
            return invalid(format!(
                "heat run \"{name}\" needs a voltage and a current column; name them with voltage = {{ column = \"…\" }} and current = {{ column = \"…\" }}"
            ));
        }
        HeatKind::CoolDown if resistance_ohm.is_none() && housing_c.is_none() => {
            return invalid(format!(
                "cooling curve \"{name}\" needs the readings of an ohmmeter or of the housing; name them with resistance = {{ column = \"…\" }} or housing = {{ column = \"…\" }}"
            ));
        }
        _ => {}
    }
    let ambient_c = ambient(one, &name, motor)?;
    if resistance_ohm.is_some() && one.leads.is_none() {
        let record = name.clone();
        warnings.push(BenchRemarkKind::LeadsNotStated { record }.of_sheet());
    }
    let none = Stated {
        value: 0.0,
        standard_uncertainty: 0.0,
    };
    let leads = one.leads.as_ref();
    Ok(HeatRecord {
        name,
        kind: one.kind,
        file: path
            .zip(record)
            .map(|(path, r)| (path.to_owned(), r.sha256)),
        time_s,
        voltage_v,
        current_a,
        resistance_ohm,
        housing_c,
        rotor_held: one.rotor_held,
        ambient_c,
        leads_ohm: leads.map_or(none, |leads| leads.stated_or(relative(0.2))),
        after,
        delay_s: one.delay_s,
    })
}

/// Times of the rows, s: typed, or those of the record.
fn times(
    one: &TypedHeat,
    name: &str,
    record: Option<&capture::Record>,
) -> Result<Vec<f64>, BenchError> {
    let time_s = match (&one.time_s, record) {
        (Some(typed), _) => typed.clone(),
        (None, Some(record)) => {
            let rows = 0..record.time.len();
            let times: Option<Vec<f64>> = rows.map(|row| record.time.at(row)).collect();
            times.ok_or_else(|| {
                let text = "its file has no time column; a heat record needs the times in seconds";
                BenchError::at(&one.file_place, format!("heat record \"{name}\": {text}"))
            })?
        }
        (None, None) => Vec::new(),
    };
    let rises = time_s.windows(2).all(|pair| pair[1] > pair[0]);
    if time_s.len() >= 4 && rises {
        return Ok(time_s);
    }
    let text = format!(
        "heat record \"{name}\" has {} times, expected 4 or more that rise",
        time_s.len()
    );
    Err(BenchError::at(&one.place, text))
}

/// Temperature of the room: of the record, else of the sheet.
fn ambient(one: &TypedHeat, name: &str, motor: &MotorFacts) -> Result<Stated, BenchError> {
    let room = Accuracy::limit_absolute(AMBIENT_LIMIT_K);
    match (&one.ambient, motor.room_temperature_c) {
        (Some(ambient), _) => Ok(ambient.stated_or(room)),
        (None, Some(c)) => Ok(room.state(c)),
        (None, None) => {
            let text = format!(
                "heat record \"{name}\" needs the temperature of the room: ambient = {{ c = 23, limit_k = 1 }}, or room_temperature_c under [motor]"
            );
            Err(BenchError::at(&one.place, text))
        }
    }
}

fn is_volt(channel: &Channel) -> bool {
    channel.unit.as_deref() == Some("V")
}

fn is_ampere(channel: &Channel) -> bool {
    channel.unit.as_deref() == Some("A")
}

fn is_ohm(channel: &Channel) -> bool {
    let text = channel
        .unit_text
        .as_deref()
        .unwrap_or(&channel.name)
        .to_lowercase();
    channel.unit.as_deref() == Some("Ω") || matches!(text.as_str(), "ohm" | "ohms" | "ω" | "Ω")
}

fn is_celsius(channel: &Channel) -> bool {
    let text = channel.unit_text.as_deref().unwrap_or("").to_lowercase();
    matches!(text.as_str(), "c" | "°c" | "degc" | "deg c" | "celsius")
}

/// The columns of one record.
struct Columns<'a> {
    one: &'a TypedHeat,
    name: &'a str,
    channels: &'a [Channel],
    rows: usize,
}

impl Columns<'_> {
    /// The series of a quantity: typed, of the column named, or of the one column with its unit; `None` where there is none.
    fn pick(
        &self,
        series: &TypedSeries,
        what: &str,
        is_unit: fn(&Channel) -> bool,
        fallback: Accuracy,
    ) -> Result<Option<HeatSeries>, BenchError> {
        let name = self.name;
        let invalid = |text: String| Err(BenchError::at(&self.one.place, text));
        let found = match (&series.values, &series.column) {
            (Some(values), _) => Some(values),
            (None, Some(wanted)) => {
                let begins = |c: &&Channel| c.name.starts_with(wanted.as_str());
                let by_name = by_name(self.channels, wanted);
                let Some(found) = by_name.or_else(|| self.channels.iter().find(begins)) else {
                    return invalid(format!(
                        "heat record \"{name}\": no column is called \"{wanted}\" ({what}); its columns are {}",
                        list(self.channels)
                    ));
                };
                Some(&found.values)
            }
            (None, None) => {
                let mut with_unit = self.channels.iter().filter(|channel| is_unit(channel));
                let first = with_unit.next().map(|found| &found.values);
                first.filter(|_| with_unit.next().is_none())
            }
        };
        let Some(values) = found.cloned() else {
            return Ok(None);
        };
        if values.len() != self.rows {
            return invalid(format!(
                "heat record \"{name}\" has {} times and {} values of the {what}; give as many",
                self.rows,
                values.len()
            ));
        }
        let accuracy = if series.accuracy.is_empty() {
            fallback
        } else {
            series.accuracy
        };
        let (relative_uncertainty, absolute_uncertainty) = accuracy.gain_and_zero();
        Ok(Some(HeatSeries {
            values,
            relative_uncertainty,
            absolute_uncertainty,
        }))
    }
}
