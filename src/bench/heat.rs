//! Heat runs and cooling curves of a sheet, read and in SI units.

use super::accuracy::Accuracy;
use super::error::{BenchError, Place};
use super::setup::{HeatKind, HeatRecord, HeatSeries, MotorFacts, Stated};
use super::sheet::{TypedHeat, TypedSeries};
use crate::capture::{self, Channel, Record};
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
pub(super) fn load_all(
    typed: &[TypedHeat],
    motor: &MotorFacts,
    path_of: impl Fn(&TypedHeat, &str) -> Result<PathBuf, BenchError>,
    warnings: &mut Vec<String>,
) -> Result<Vec<HeatRecord>, BenchError> {
    let mut records: Vec<HeatRecord> = Vec::with_capacity(typed.len());
    for (number, one) in typed.iter().enumerate() {
        let name = name_of(one, number);
        if records.iter().any(|known| known.name == name) {
            return invalid(
                &one.place,
                format!("two heat records are called \"{name}\"; give each its own `name`"),
            );
        }
        let after = match &one.after {
            None => None,
            Some(wanted) => {
                let known = records.iter().position(|record| record.name == *wanted);
                let Some(place) = known.filter(|at| records[*at].kind == HeatKind::HeatRun) else {
                    return invalid(
                        &one.place,
                        format!(
                            "`after` names \"{wanted}\", expected the name of a heat run that stands above"
                        ),
                    );
                };
                Some(place)
            }
        };
        let path = one
            .file
            .as_deref()
            .map(|file| path_of(one, file))
            .transpose()?;
        records.push(load(one, &name, path.as_deref(), after, motor, warnings)?);
    }
    Ok(records)
}

fn name_of(one: &TypedHeat, number: usize) -> String {
    let stem = |file: &String| {
        let name = Path::new(file).file_name()?.to_str()?;
        Some(name.split('.').next().unwrap_or(name).to_owned())
    };
    one.name
        .clone()
        .or_else(|| one.file.as_ref().and_then(stem))
        .unwrap_or_else(|| format!("heat {}", number + 1))
}

fn invalid<T>(place: &Place, text: String) -> Result<T, BenchError> {
    Err(BenchError::Invalid {
        place: place.clone(),
        text,
    })
}

fn load(
    one: &TypedHeat,
    name: &str,
    path: Option<&Path>,
    after: Option<usize>,
    motor: &MotorFacts,
    warnings: &mut Vec<String>,
) -> Result<HeatRecord, BenchError> {
    let record = path
        .map(|path| capture::read(path, &one.import))
        .transpose()
        .map_err(|source| BenchError::Capture {
            place: Some(one.file_place.clone()),
            name: name.to_owned(),
            source: Box::new(source),
        })?;
    let time_s = match (&one.time_s, &record) {
        (Some(typed), _) => typed.clone(),
        (None, Some(record)) => times(record).map_or_else(
            || invalid(&one.file_place, format!("heat record \"{name}\": its file has no time column; a heat record needs the times in seconds")),
            Ok,
        )?,
        (None, None) => Vec::new(),
    };
    if time_s.len() < 4
        || time_s
            .windows(2)
            .any(|pair| pair[1].partial_cmp(&pair[0]) != Some(std::cmp::Ordering::Greater))
    {
        return invalid(
            &one.place,
            format!(
                "heat record \"{name}\" has {} times, expected 4 or more that rise",
                time_s.len()
            ),
        );
    }
    let columns = Columns {
        one,
        name,
        channels: record.as_ref().map_or(&[], |record| &record.channels),
        rows: time_s.len(),
    };
    let voltage = columns.pick(
        &one.voltage,
        "voltage",
        |c| c.unit.as_deref() == Some("V"),
        Accuracy::limit_relative(VOLTAGE_LIMIT),
    )?;
    let current = columns.pick(
        &one.current,
        "current",
        |c| c.unit.as_deref() == Some("A"),
        Accuracy::limit_relative(CURRENT_LIMIT),
    )?;
    let resistance = columns.pick(
        &one.resistance,
        "resistance",
        is_ohm,
        Accuracy::limit_relative(RESISTANCE_LIMIT),
    )?;
    let housing = columns.pick(
        &one.housing,
        "housing",
        is_celsius,
        Accuracy::limit_absolute(HOUSING_LIMIT_K),
    )?;
    match one.kind {
        HeatKind::HeatRun if voltage.is_none() || current.is_none() => {
            return invalid(
                &one.place,
                format!(
                    "heat run \"{name}\" needs a voltage and a current column; name them with voltage = {{ column = \"…\" }} and current = {{ column = \"…\" }}"
                ),
            );
        }
        HeatKind::CoolDown if resistance.is_none() && housing.is_none() => {
            return invalid(
                &one.place,
                format!(
                    "cooling curve \"{name}\" needs the readings of an ohmmeter or of the housing; name them with resistance = {{ column = \"…\" }} or housing = {{ column = \"…\" }}"
                ),
            );
        }
        _ => {}
    }
    let ambient_c = match (&one.ambient, motor.room_temperature_c) {
        (Some(ambient), _) => ambient.stated_or(Accuracy::limit_absolute(AMBIENT_LIMIT_K)),
        (None, Some(room)) => Accuracy::limit_absolute(AMBIENT_LIMIT_K).state(room),
        (None, None) => {
            return invalid(
                &one.place,
                format!(
                    "heat record \"{name}\" needs the temperature of the room: ambient = {{ c = 23, limit_k = 1 }}, or room_temperature_c under [motor]"
                ),
            );
        }
    };
    if resistance.is_some() && one.leads.is_none() {
        warnings.push(format!("heat record \"{name}\": the resistance of the ohmmeter's leads is not stated (`leads`); none is taken off"));
    }
    Ok(HeatRecord {
        name: name.to_owned(),
        kind: one.kind,
        file: path
            .zip(record.as_ref())
            .map(|(path, record)| (path.to_owned(), record.sha256.clone())),
        time_s,
        voltage_v: voltage,
        current_a: current,
        resistance_ohm: resistance,
        housing_c: housing,
        rotor_held: one.rotor_held,
        ambient_c,
        leads_ohm: one.leads.as_ref().map_or(
            Stated {
                value: 0.0,
                standard_uncertainty: 0.0,
            },
            |leads| leads.stated_or(Accuracy::limit_relative(0.2)),
        ),
        after,
        delay_s: one.delay_s,
    })
}

fn times(record: &Record) -> Option<Vec<f64>> {
    (0..record.time.len())
        .map(|row| record.time.at(row))
        .collect()
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
        let Columns {
            one,
            name,
            channels,
            rows,
        } = *self;
        let values = match (&series.values, &series.column) {
            (Some(values), _) => Some(values.clone()),
            (None, Some(wanted)) => {
                let found = channels.iter().find(|channel| {
                    channel.name.trim() == wanted.trim()
                        || channel.name.starts_with(wanted.as_str())
                });
                let Some(found) = found else {
                    let names: Vec<&str> = channels
                        .iter()
                        .map(|channel| channel.name.as_str())
                        .collect();
                    return invalid(
                        &one.place,
                        format!(
                            "heat record \"{name}\": no column is called \"{wanted}\" ({what}); its columns are {}",
                            names.join(", ")
                        ),
                    );
                };
                Some(found.values.clone())
            }
            (None, None) => {
                let mut with_unit = channels.iter().filter(|channel| is_unit(channel));
                match (with_unit.next(), with_unit.next()) {
                    (Some(found), None) => Some(found.values.clone()),
                    _ => None,
                }
            }
        };
        let Some(values) = values else {
            return Ok(None);
        };
        if values.len() != rows {
            return invalid(
                &one.place,
                format!(
                    "heat record \"{name}\" has {rows} times and {} values of the {what}; give as many",
                    values.len()
                ),
            );
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
