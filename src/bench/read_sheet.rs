//! A bench sheet on disk becomes a [`Bench`].

use super::captures::{CapturePlan, Expectations, Kept, load_all, stem, temperature_missing};
use super::channels::{plan, speed_plans};
use super::error::{BenchError, Place};
use super::hardware::{Hardware, resolve};
use super::heat;
use super::read_table::{check_names, read_table};
use super::readings;
use super::setup::{Bench, Role, Stated};
use super::sheet::{Measures, Source, Table, TypedCapture, TypedSheet, read_typed};
use super::stated::{speed, winding_temperature};
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

/// Reads a bench sheet and every capture it names. The format is documented in `docs/bench_sheet.md`.
///
/// All values are SI, all accuracies standard uncertainties. Warnings and assumptions are in [`Bench::warnings`].
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
    let kept = &mut Kept::default();
    from_bytes(path, &sheet_bytes(path)?, folder, options, &|_| true, kept)
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
    let kept = &mut Kept::default();
    from_bytes(path, &sheet_bytes(path)?, None, options, keep, kept)
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
    let kept = &mut Kept::default();
    from_bytes(path, bytes, None, options, &|_| true, kept)
}

/// As [`read_sheet_bytes`], with only those captures whose file `keep` accepts, and with captures of the reading before where nothing
/// of them has changed.
///
/// # Errors
/// As [`read_sheet`].
pub fn read_sheet_kept(
    path: &Path,
    bytes: &[u8],
    keep: &dyn Fn(&Path) -> bool,
    kept: &mut Kept,
) -> Result<Bench, BenchError> {
    from_bytes(path, bytes, None, &LoadOptions::default(), keep, kept)
}

/// Reads every key of a sheet and opens no file that it names.
///
/// # Errors
/// The first key that is wrong by itself, as [`read_sheet`].
pub fn check_sheet(path: &Path, bytes: &[u8]) -> Result<(), BenchError> {
    typed_sheet(path, bytes).map(|_| ())
}

fn from_bytes(
    path: &Path,
    bytes: &[u8],
    folder: Option<&Path>,
    options: &LoadOptions,
    keep: &dyn Fn(&Path) -> bool,
    kept: &mut Kept,
) -> Result<Bench, BenchError> {
    let typed = typed_sheet(path, bytes)?;
    let folder = match folder.or(path.parent()) {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut bench = build(&typed, folder, *options, keep, kept)?;
    bench.path = Some(path.to_path_buf());
    bench.sha256 = Some(hex(&Sha256::digest(bytes)));
    Ok(bench)
}

fn typed_sheet(path: &Path, bytes: &[u8]) -> Result<TypedSheet, BenchError> {
    let text = sheet_text(path, bytes)?;
    let source = Source {
        path: path.into(),
        text,
    };
    let document = DeTable::parse(text).map_err(|error| BenchError::NotToml {
        place: source.place(error.span().map_or(0, |s| s.start)),
        text: error.message().to_string(),
    })?;
    read_typed(&Table::root(&source, document.get_ref()))
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
    kept: &mut Kept,
) -> Result<Bench, BenchError> {
    let mut warnings = Vec::new();
    let mut assumptions = Vec::new();
    let hardware = resolve(&typed.instruments, &mut assumptions);
    warnings.extend(assumptions.iter().map(ToString::to_string));
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
            &mut warnings,
        )?);
    }
    let names = unique_names(&typed.captures, &plans)?;
    let context = readings::Context {
        instruments: &typed.instruments,
        captures: &names,
    };
    let channels: Vec<String> = typed.channels.iter().map(|c| c.name.clone()).collect();
    let (mut readings, mut checks) = (Vec::new(), Vec::new());
    for reading in &typed.readings {
        readings.extend(readings::reading(reading, &context, &mut warnings)?);
        checks.extend(readings::gain_check(reading, &context, &channels)?);
    }
    let tables = typed
        .tables
        .iter()
        .map(|table| {
            let path = match &table.file {
                Some((file, place)) => Some(inside(folder, place, file, options)?),
                None => None,
            };
            read_table(table, path, &typed.instruments, &mut warnings)
        })
        .collect::<Result<Vec<_>, _>>()?;
    check_names(typed, &tables)?;
    // After the readings, which may name a capture that is not kept.
    let mut used = typed.captures.iter().map(|capture| capture.used);
    let unused: Vec<String> = plans
        .extract_if(.., |_| !used.next().unwrap_or(true))
        .map(|plan| format!("capture \"{}\" is not used (use = false)", plan.name))
        .collect();
    plans.retain(|plan| keep(&plan.path));
    warnings.extend(temperature_missing(&plans));
    let expected = Expectations {
        supply_v: motor.supply_v,
        current_limit_a: supply.and_then(|s| s.current_limit_a),
    };
    // One thermal model needs all of its records.
    let is_kept = |file: &String| keep(&folder.join(file));
    let all_kept = typed
        .heat
        .iter()
        .filter_map(|record| record.file.as_ref())
        .all(is_kept);
    let heat = heat::load_all(
        if all_kept { &typed.heat } else { &[] },
        &motor,
        |record, file| inside(folder, &record.file_place, file, options),
        &mut warnings,
    )?;
    let loaded = load_all(&plans, &hardware, &checks, &expected, kept)?;
    warnings.extend(loaded.warnings);
    let mut notes: Vec<String> = typed.readings.iter().filter_map(readings::note).collect();
    notes.extend(unused);
    notes.extend(loaded.notes);
    Ok(Bench {
        path: None,
        sha256: None,
        motor,
        instruments: loaded.instruments,
        captures: loaded.captures,
        readings,
        heat,
        tables,
        warnings,
        notes,
        capture_warnings: loaded.capture_warnings,
    })
}

fn plan_capture(
    typed: &TypedCapture,
    sheet: &TypedSheet,
    hardware: &[Hardware],
    folder: &Path,
    options: LoadOptions,
    warnings: &mut Vec<String>,
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
    let source_v = switched(typed, voltage.is_some(), source_v)?;
    let temperature = typed
        .winding_temperature
        .as_ref()
        .or(sheet.winding_temperature.as_ref());
    Ok(CapturePlan {
        path: inside(folder, &typed.file_place, &typed.file, options)?,
        further: typed
            .further
            .iter()
            .map(|file| inside(folder, &typed.file_place, file, options))
            .collect::<Result<_, _>>()?,
        place: Some(typed.file_place.clone()),
        role: typed.role,
        voltage,
        current,
        speed: speed_plans(typed, &sheet.speed_channels, hardware)?,
        winding_temperature_c: temperature
            .map(|t| winding_temperature(t, warnings))
            .transpose()?,
        series_diode_v: typed
            .series_diode
            .as_ref()
            .map(|q| q.stated("series_diode"))
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
            .map(|driven| speed(driven, None, driven.place.line, warnings)),
        by_hand: typed.by_hand.clone(),
        import: typed.import.clone(),
        name,
    })
}

/// The mean voltage of a source that a bridge switches, in a capture without a voltage channel.
fn switched(
    typed: &TypedCapture,
    recorded: bool,
    source_v: Option<Stated>,
) -> Result<Option<Stated>, BenchError> {
    match &typed.bridge {
        Some(bridge) if recorded => Err(BenchError::Invalid {
            place: bridge.place.clone(),
            text: "a `bridge` belongs to a capture without a voltage channel; here the recorded voltage drives the motor".into(),
        }),
        Some(bridge) => {
            let (share, uncertainty) = bridge.mean_share();
            Ok(source_v.map(|source| Stated {
                value: source.value * share,
                standard_uncertainty: (source.standard_uncertainty * share)
                    .hypot(source.value * uncertainty),
            }))
        }
        None if !recorded && matches!(typed.role, Role::Pwm | Role::PwmLocked) => {
            Err(BenchError::Missing {
                place: typed.place.clone(),
                key: "bridge".into(),
                table: "a switched capture without a voltage channel".into(),
                hint: "duty and what the bridge does in the off time, e.g. bridge = { duty_percent = 40, off_time = \"brakes\" }".into(),
            })
        }
        None => Ok(source_v),
    }
}

/// The path of a record or table. Links are followed before it is judged, so that none leads out of the folder unseen.
fn inside(
    folder: &Path,
    place: &Place,
    file: &str,
    options: LoadOptions,
) -> Result<PathBuf, BenchError> {
    let path = folder.join(file);
    if options.allow_outside || is_inside(folder, Path::new(file)) {
        return Ok(path);
    }
    Err(BenchError::Outside {
        place: place.clone(),
        file: file.to_string(),
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
