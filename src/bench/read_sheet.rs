//! A bench sheet on disk becomes a [`Bench`].

use super::accuracy::{Accuracy, Quantity};
use super::captures::{CapturePlan, Expectations, load_all};
use super::channels::plan;
use super::error::{BenchError, Place};
use super::hardware::{Hardware, resolve};
use super::readings::{reading, tachometer};
use super::setup::{Bench, Stated};
use super::sheet::{Measures, Source, Table, TypedCapture, TypedSheet, read_typed};
use crate::files::{LARGEST_SHEET, hex, is_inside, read_at_most};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use toml::de::DeTable;

/// How a sheet may be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LoadOptions {
    /// A sheet may name files outside its own folder.
    pub allow_outside: bool,
}

/// Limit of a winding temperature that was stated without one, in K.
const ASSUMED_TEMPERATURE_LIMIT_K: f64 = 2.0;

/// Reads a bench sheet and every capture it names. The format is documented in `docs/bench_sheet.md`.
///
/// All values are SI, all accuracies standard uncertainties. Doubts and assumptions stand in [`Bench::remarks`].
///
/// # Errors
/// The first thing that is wrong, with file, line and column: an unreadable or malformed sheet, an unknown or missing
/// key, an unknown name, a value that cannot be meant, a file outside the folder, a capture that cannot be read.
pub fn read_sheet(path: &Path, options: &LoadOptions) -> Result<Bench, BenchError> {
    read_sheet_for(path, None, options)
}

/// As [`read_sheet`], with the captures looked up in `folder` instead of beside the sheet, for one sheet that serves many
/// motors measured alike.
///
/// # Errors
/// As [`read_sheet`].
pub fn read_sheet_for(
    path: &Path,
    folder: Option<&Path>,
    options: &LoadOptions,
) -> Result<Bench, BenchError> {
    from_bytes(path, &sheet_bytes(path)?, folder, options, &|_| true)
}

fn sheet_bytes(path: &Path) -> Result<Vec<u8>, BenchError> {
    read_at_most(path, LARGEST_SHEET).map_err(|source| BenchError::Unreadable {
        path: path.to_path_buf(),
        source,
    })
}

/// As [`read_sheet`], with only those captures whose file `keep` accepts; the others are not opened.
///
/// # Errors
/// As [`read_sheet`].
pub fn read_sheet_of(
    path: &Path,
    options: &LoadOptions,
    keep: &dyn Fn(&Path) -> bool,
) -> Result<Bench, BenchError> {
    from_bytes(path, &sheet_bytes(path)?, None, options, keep)
}

/// As [`read_sheet`], from the bytes of a sheet that is to be taken as standing at `path`.
///
/// # Errors
/// As [`read_sheet`].
pub fn read_sheet_bytes(
    path: &Path,
    bytes: &[u8],
    options: &LoadOptions,
) -> Result<Bench, BenchError> {
    from_bytes(path, bytes, None, options, &|_| true)
}

fn from_bytes(
    path: &Path,
    bytes: &[u8],
    folder: Option<&Path>,
    options: &LoadOptions,
    keep: &dyn Fn(&Path) -> bool,
) -> Result<Bench, BenchError> {
    let text = sheet_text(path, bytes)?;
    let source = Source {
        path: path.into(),
        text,
    };
    let document = DeTable::parse(text).map_err(|error| BenchError::NotToml {
        place: source.place(error.span().map_or(0, |s| s.start)),
        text: error.message().to_string(),
    })?;
    let typed = read_typed(&Table::root(&source, document.get_ref()))?;
    let folder = match folder.or(path.parent()) {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut bench = build(&typed, folder, *options, keep)?;
    bench.path = Some(path.to_path_buf());
    bench.sha256 = Some(hex(&Sha256::digest(bytes)));
    Ok(bench)
}

fn sheet_text<'b>(path: &Path, bytes: &'b [u8]) -> Result<&'b str, BenchError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes[..error.valid_up_to()]
            .iter()
            .filter(|b| **b == b'\n')
            .count()
            + 1;
        BenchError::NotToml {
            place: Place {
                path: path.into(),
                line: line as u32,
                column: 1,
            },
            text: "the bytes are not UTF-8. A bench sheet is plain UTF-8 text; captures are named inside it".into(),
        }
    })
}

fn build(
    typed: &TypedSheet,
    folder: &Path,
    options: LoadOptions,
    keep: &dyn Fn(&Path) -> bool,
) -> Result<Bench, BenchError> {
    let mut remarks = Vec::new();
    let hardware = resolve(&typed.instruments, &mut remarks);
    let mut motor = typed.motor.clone();
    let supply = typed.supply.as_ref();
    let supply_voltage = supply.and_then(|s| s.voltage.as_ref());
    motor.supply_v = supply_voltage.map(|v| v.value);
    let mut plans = Vec::with_capacity(typed.captures.len());
    for capture in &typed.captures {
        plans.push(plan_capture(
            capture,
            typed,
            &hardware,
            folder,
            options,
            &mut remarks,
        )?);
    }
    let names = unique_names(&typed.captures, &plans)?;
    let readings = typed
        .readings
        .iter()
        .map(|r| reading(r, &typed.instruments, &names, &mut remarks))
        .collect::<Result<Vec<_>, _>>()?;
    // After the readings, which may name a capture that is not kept.
    plans.retain(|plan| keep(&plan.path));
    temperature_missing(&plans, &mut remarks);
    let expected = Expectations {
        supply_v: motor.supply_v,
        current_limit_a: supply.and_then(|s| s.current_limit_a),
    };
    let (captures, told, doubts) = load_all(&plans, &hardware, &expected)?;
    remarks.extend(told);
    Ok(Bench {
        path: None,
        sha256: None,
        motor,
        instruments: hardware.into_iter().map(|h| h.instrument).collect(),
        captures,
        readings,
        remarks,
        doubts,
    })
}

fn plan_capture(
    typed: &TypedCapture,
    sheet: &TypedSheet,
    hardware: &[Hardware],
    folder: &Path,
    options: LoadOptions,
    remarks: &mut Vec<String>,
) -> Result<CapturePlan, BenchError> {
    let name = typed.name.clone().unwrap_or_else(|| stem(&typed.file));
    let voltage = plan(typed, Measures::Voltage, &sheet.channels, hardware)?;
    let current = plan(typed, Measures::Current, &sheet.channels, hardware)?;
    if voltage.is_none() && current.is_none() {
        return Err(BenchError::Invalid {
            place: typed.place.clone(),
            text: format!(
                "capture \"{name}\" has neither a voltage nor a current channel; describe them under [channels.…] with measures = \"voltage\" and \"current\""
            ),
        });
    }
    let source_v = match (&typed.source, &voltage) {
        (Some(source), _) => Some(source.stated("source")?),
        (None, None) => sheet
            .supply
            .as_ref()
            .and_then(|s| s.voltage.as_ref())
            .map(|v| v.stated("voltage"))
            .transpose()?,
        (None, Some(_)) => None,
    };
    let temperature = typed
        .winding_temperature
        .as_ref()
        .or(sheet.winding_temperature.as_ref());
    Ok(CapturePlan {
        path: inside(folder, typed, options)?,
        place: Some(typed.file_place.clone()),
        role: typed.role,
        voltage,
        current,
        winding_temperature_c: temperature
            .map(|t| winding_temperature(t, remarks))
            .transpose()?,
        loop_resistance_ohm: typed
            .loop_resistance
            .as_ref()
            .map(|q| q.stated("loop_resistance"))
            .transpose()?,
        source_v,
        added_inertia_kg_m2: typed
            .added_inertia
            .as_ref()
            .map(|q| q.stated("added_inertia"))
            .transpose()?,
        load_torque_nm: typed
            .load_torque
            .as_ref()
            .map(|q| q.stated("load_torque"))
            .transpose()?,
        driven_speed_rad_s: typed
            .driven_speed
            .as_ref()
            .map(|speed| tachometer(speed, None, speed.place.line, remarks)),
        import: typed.import.clone(),
        name,
    })
}

impl Quantity {
    /// The stated value; an accuracy must have been typed.
    pub(super) fn stated(&self, key: &str) -> Result<Stated, BenchError> {
        if self.accuracy.is_empty() {
            return Err(BenchError::Invalid {
                place: self.place.clone(),
                text: format!(
                    "`{key}` has a value but no accuracy; add e.g. limit_percent = … (two standard deviations), standard_percent = … or half_width_percent = … (rectangular)"
                ),
            });
        }
        Ok(self.accuracy.state(self.value))
    }
}

/// A winding temperature; without an accuracy one is assumed and told once for each place.
pub(super) fn winding_temperature(
    quantity: &Quantity,
    remarks: &mut Vec<String>,
) -> Result<Stated, BenchError> {
    if !(-60.0..=250.0).contains(&quantity.value) {
        return Err(BenchError::Invalid {
            place: quantity.place.clone(),
            text: format!(
                "a winding temperature of {} °C cannot be meant; expected -60 to 250 °C",
                quantity.value
            ),
        });
    }
    if quantity.accuracy.is_empty() {
        let remark = format!(
            "line {}: winding temperature {} °C without an accuracy; assumed within {ASSUMED_TEMPERATURE_LIMIT_K} K (two standard deviations). Add limit_k to replace the assumption",
            quantity.place.line, quantity.value
        );
        if !remarks.contains(&remark) {
            remarks.push(remark);
        }
    }
    Ok(quantity.stated_or(Accuracy::limit_absolute(ASSUMED_TEMPERATURE_LIMIT_K)))
}

/// File name without its extensions, e.g. `steady.csv.gz` gives `steady`.
pub(super) fn stem(file: &str) -> String {
    let name = Path::new(file)
        .file_name()
        .map_or_else(|| file.to_string(), |n| n.to_string_lossy().into_owned());
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    match name.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem.to_string(),
        _ => name.to_string(),
    }
}

/// The path of a capture. Links are followed before it is judged, so that none leads out of the folder unseen.
fn inside(
    folder: &Path,
    capture: &TypedCapture,
    options: LoadOptions,
) -> Result<PathBuf, BenchError> {
    let path = folder.join(&capture.file);
    if options.allow_outside || is_inside(folder, Path::new(&capture.file)) {
        return Ok(path);
    }
    Err(BenchError::Outside {
        place: capture.file_place.clone(),
        file: capture.file.clone(),
        folder: folder.to_path_buf(),
    })
}

fn unique_names(typed: &[TypedCapture], plans: &[CapturePlan]) -> Result<Vec<String>, BenchError> {
    let mut names: Vec<String> = Vec::with_capacity(plans.len());
    for (capture, plan) in typed.iter().zip(plans) {
        if names.contains(&plan.name) {
            return Err(BenchError::Invalid {
                place: capture.place.clone(),
                text: format!(
                    "two captures are called \"{}\"; give each its own `name`",
                    plan.name
                ),
            });
        }
        names.push(plan.name.clone());
    }
    Ok(names)
}

pub(super) fn temperature_missing(plans: &[CapturePlan], remarks: &mut Vec<String>) {
    let without: Vec<&str> = plans
        .iter()
        .filter(|p| p.winding_temperature_c.is_none())
        .map(|p| p.name.as_str())
        .collect();
    if !without.is_empty() {
        remarks.push(format!(
            "no winding temperature for {}: copper changes by 0.39 % a kelvin, so 10 K that nobody noted are 3.9 % of R, and nothing can be brought to 25 °C. State winding_temperature = {{ c = …, limit_k = … }}",
            without.join(", ")
        ));
    }
}
