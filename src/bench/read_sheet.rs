//! A bench sheet on disk becomes a [`Bench`].

use super::capture::Role;
use super::captures::{
    CapturePlan, Common, Expectations, Files, Kept, load_all, read_captures, temperature_missing,
};
use super::channels::GainCheck;
use super::error::{BenchError, Place};
use super::hardware::{Hardware, resolve};
use super::readings::table::{check_names, read_table};
use super::readings::{Readings, heat};
use super::remarks::{BenchRemark, BenchRemarkKind};
use super::setup::{Bench, MotorFacts, Reading};
use super::sheet::{
    Source, Table, TypedHeat, TypedInstrument, TypedReadingTable, TypedSupply, read_channels,
    read_heat, read_import, read_instrument, read_motor, read_reading_table, read_supply,
};
use crate::capture::ReadOptions;
use crate::files::{LARGEST_SHEET, folder_of, hex, read_at_most};
use sha2::{Digest, Sha256};
use std::path::Path;
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
    read_at_most(path, LARGEST_SHEET).map_err(|source| {
        let path = path.display();
        BenchError::new(format!("{path}: the bench sheet cannot be read: {source}"))
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

/// Reads every key of a sheet, looks up every name, and opens no file that it names.
///
/// # Errors
/// The first key that is wrong by itself, as [`read_sheet`].
pub fn check_sheet(path: &Path, bytes: &[u8]) -> Result<(), BenchError> {
    let files = Files {
        folder: folder_of(path),
        allow_outside: true,
    };
    parsed(path, bytes, files).map(|_| ())
}

fn from_bytes(
    path: &Path,
    bytes: &[u8],
    folder: Option<&Path>,
    options: &LoadOptions,
    keep: &dyn Fn(&Path) -> bool,
    kept: &mut Kept,
) -> Result<Bench, BenchError> {
    let files = Files {
        folder: folder.unwrap_or(folder_of(path)),
        allow_outside: options.allow_outside,
    };
    let mut bench = parsed(path, bytes, files)?.load(files, keep, kept)?;
    bench.path = Some(path.to_path_buf());
    bench.sha256 = Some(hex(&Sha256::digest(bytes)));
    Ok(bench)
}

fn parsed(path: &Path, bytes: &[u8], files: Files) -> Result<Sheet, BenchError> {
    let no_toml =
        |place: Place, text: &str| Err(BenchError::at(&place, format!("this is not TOML: {text}")));
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let breaks = bytes[..error.valid_up_to()].iter().filter(|b| **b == b'\n');
            let place = Place {
                path: path.into(),
                line: breaks.count() as u32 + 1,
                column: 1,
            };
            return no_toml(
                place,
                "the bytes are not UTF-8. A bench sheet is plain UTF-8 text; a capture is named inside it, or given to `rundown fit` by its role (--start FILE)",
            );
        }
    };
    let source = Source {
        path: path.into(),
        text,
    };
    match DeTable::parse(text) {
        Ok(document) => Sheet::read(&Table::root(&source, document.get_ref()), files),
        Err(error) => {
            let place = source.place(error.span().map_or(0, |s| s.start));
            match text.trim_start().starts_with('{') {
                true => no_toml(
                    place,
                    "it looks like JSON, as a motor file does; name the bench sheet",
                ),
                false => {
                    let line = text.lines().nth(place.line.saturating_sub(1) as usize);
                    let hint = match line.is_some_and(has_decimal_comma) {
                        true => ". A number takes a decimal point, not a comma",
                        false => "",
                    };
                    no_toml(place, &format!("{}{hint}", error.message()))
                }
            }
        }
    }
}

/// Whether a value of a line is a number with a comma and further digits.
fn has_decimal_comma(line: &str) -> bool {
    let digit = |c: char| c.is_ascii_digit();
    line.split('=').skip(1).any(|value| {
        let rest = value.trim_start().trim_start_matches(digit);
        rest.len() < value.trim_start().len()
            && rest.strip_prefix(',').is_some_and(|r| r.starts_with(digit))
    })
}

/// A whole sheet, every name in it looked up, no file opened.
struct Sheet {
    motor: MotorFacts,
    supply: Option<TypedSupply>,
    instruments: Vec<TypedInstrument>,
    hardware: Vec<Hardware>,
    plans: Vec<CapturePlan>,
    readings: Vec<Reading>,
    gain_checks: Vec<GainCheck>,
    heat: Vec<TypedHeat>,
    tables: Vec<TypedReadingTable>,
    warnings: Vec<BenchRemark>,
    notes: Vec<BenchRemark>,
}

/// Says what a capacitor across the motor does to its captures: a note where none depends on it, else a warning.
fn with_capacitor(
    motor: &MotorFacts,
    plans: &[CapturePlan],
    notes: &mut Vec<BenchRemark>,
    warnings: &mut Vec<BenchRemark>,
) {
    let Some(capacitance_f) = motor.capacitor_f else {
        return;
    };
    let touched = |plan: &&CapturePlan| {
        plan.used && matches!(plan.role, Role::TurnOff | Role::Pwm | Role::PwmLocked)
    };
    let touched = plans.iter().filter(touched).map(|plan| plan.name.clone());
    let captures: Vec<String> = touched.collect();
    if captures.is_empty() {
        notes.push(BenchRemarkKind::CapacitorHarmless { capacitance_f }.of_sheet());
    } else {
        let kind = BenchRemarkKind::CapacitorMatters {
            capacitance_f,
            captures,
        };
        warnings.push(kind.of_sheet());
    }
}

/// Most captures and readings of one sheet. The fit holds matrices over its unknowns, some eight a capture and one a reading: at these numbers they take
/// half a gigabyte.
const MOST_CAPTURES: usize = 250;
const MOST_READINGS: usize = 500;

/// Refuses more tables of a kind than one fit can take.
fn bounded(tables: &[Table<'_>], what: &str, most: usize) -> Result<(), BenchError> {
    let Some(beyond) = tables.get(most) else {
        return Ok(());
    };
    let text = format!(
        "the sheet has {} {what}, expected at most {most}: the fit takes all of them together. Split them over several sheets of the same motor, each with a speed reference, and compare these with `rundown lot`",
        tables.len()
    );
    Err(BenchError::at(&beyond.place(), text))
}

impl Sheet {
    fn read(root: &Table<'_>, files: Files) -> Result<Sheet, BenchError> {
        let motor = root.table("motor")?;
        let supply = root.table("supply")?;
        let instruments = root.named_tables("instruments")?;
        let channels = root.named_tables("channels")?;
        let captures = root.tables("captures")?;
        let readings = root.tables("readings")?;
        bounded(&captures, "captures", MOST_CAPTURES)?;
        bounded(&readings, "readings", MOST_READINGS)?;
        let heat = root.tables("heat")?;
        bounded(&heat, "heat records", MOST_CAPTURES)?;
        let tables = root.tables("tables")?;
        let import = &read_import(root, &ReadOptions::default())?;
        root.finish()?;
        let motor = root.require("motor", motor, "a table [motor] with at least its name")?;
        let (mut motor, winding_temperature) = read_motor(&motor)?;
        let supply = supply.map(|table| read_supply(&table)).transpose()?;
        let supply_voltage = supply.as_ref().and_then(|s| s.voltage.as_ref());
        motor.supply_v = supply_voltage.map(|v| v.value);
        let mut warnings = Vec::new();
        let instruments = all(&instruments, |(name, table)| read_instrument(name, table))?;
        let mut assumptions = Vec::new();
        let hardware = resolve(&instruments, &mut assumptions);
        let assumed = assumptions
            .into_iter()
            .map(BenchRemarkKind::InstrumentAssumed);
        warnings.extend(assumed.map(BenchRemarkKind::of_sheet));
        let (electrical, of_shaft) = read_channels(&channels)?;
        let common = Common {
            files,
            hardware: &hardware,
            channels: &electrical,
            speed_channels: &of_shaft,
            winding_temperature: winding_temperature.as_ref(),
            supply_voltage,
            import,
        };
        let plans = read_captures(&captures, &common, &mut warnings)?;
        let mut read = Readings {
            instruments: &instruments,
            channels: &electrical,
            captures: plans.iter().map(|plan| plan.name.as_str()).collect(),
            warnings,
            ..Readings::default()
        };
        for table in &readings {
            read.read(table)?;
        }
        with_capacitor(&motor, &plans, &mut read.notes, &mut read.warnings);
        let Readings {
            readings,
            gain_checks,
            warnings,
            notes,
            ..
        } = read;
        Ok(Sheet {
            motor,
            supply,
            hardware,
            plans,
            readings,
            gain_checks,
            heat: all(&heat, |table| read_heat(table, import))?,
            tables: all(&tables, |table| read_reading_table(table, import))?,
            instruments,
            warnings,
            notes,
        })
    }

    /// Opens the files, but for captures that `keep` does not accept.
    fn load(
        self,
        files: Files,
        keep: &dyn Fn(&Path) -> bool,
        kept: &mut Kept,
    ) -> Result<Bench, BenchError> {
        let Sheet {
            motor,
            mut plans,
            mut warnings,
            mut notes,
            ..
        } = self;
        let mut tables = Vec::with_capacity(self.tables.len());
        for table in &self.tables {
            let file = table.file.as_ref();
            let path = file
                .map(|(file, place)| files.path(place, file))
                .transpose()?;
            tables.push(read_table(table, path, &self.instruments, &mut warnings)?);
        }
        check_names(&self.tables, &tables)?;
        let unused = plans.extract_if(.., |plan| !plan.used);
        notes.extend(unused.map(|plan| BenchRemarkKind::NotUsed { name: plan.name }.of_sheet()));
        plans.retain(|plan| keep(&plan.path));
        warnings.extend(temperature_missing(&plans));
        // One thermal model needs all of its records.
        let mut heat_files = self.heat.iter().filter_map(|record| record.file.as_ref());
        let all_kept = heat_files.all(|file| keep(&files.folder.join(file)));
        let heat = heat::load_all(
            if all_kept { &self.heat } else { &[] },
            &motor,
            |record, file| files.path(&record.file_place, file),
            &mut warnings,
        )?;
        let expected = Expectations {
            supply_v: motor.supply_v,
            current_limit_a: self.supply.and_then(|s| s.current_limit_a),
        };
        let loaded = load_all(&plans, &self.hardware, &self.gain_checks, &expected, kept)?;
        warnings.extend(loaded.warnings);
        notes.extend(loaded.notes);
        Ok(Bench {
            path: None,
            sha256: None,
            motor,
            instruments: loaded.instruments,
            certificates: self
                .instruments
                .into_iter()
                .filter_map(|i| i.certificate)
                .collect(),
            captures: loaded.captures,
            readings: self.readings,
            heat,
            tables,
            warnings,
            notes,
            capture_warnings: loaded.capture_warnings,
        })
    }
}

fn all<'s, S, T>(
    tables: &'s [S],
    read: impl Fn(&'s S) -> Result<T, BenchError>,
) -> Result<Vec<T>, BenchError> {
    tables.iter().map(read).collect()
}
