//! Which motors a lot has: a folder tree with a bench sheet a motor, or a table with a row a motor.
//!
//! Columns of a table: `sheet` (bench sheet), with it `folder` (where its captures are, for one sheet that serves many
//! motors); or captures by role without a sheet (`start`, `rundown`, `brake`, `locked`, `turn_off`, `pwm`, `steady`) with
//! `supply_v`, `speed_rad_s`, `segments`, `temperature_c`, `shunt_ohm`. `motor` names the motor, `order` tells when it was
//! measured (a number that grows). Paths are relative to the table's folder, or to the base given.

mod entry;
mod folder;

pub use entry::{Entry, Work};

use super::error::LotError;
use crate::bench::{QuickRun, Role};
use crate::files::{LONGEST_LINE, LinesAtMost, open_regular};
use crate::quantity::nearest;
use folder::Walk;
use std::path::{Path, PathBuf};

/// The captures that a table may name.
const ROLES: [(&str, Role); 7] = [
    ("start", Role::Start),
    ("rundown", Role::RunDown),
    ("brake", Role::Brake),
    ("locked", Role::LockedRotor),
    ("turn_off", Role::TurnOff),
    ("pwm", Role::Pwm),
    ("steady", Role::Steady),
];
const NUMBERS: [&str; 5] = [
    "supply_v",
    "speed_rad_s",
    "segments",
    "temperature_c",
    "shunt_ohm",
];
const OTHERS: [&str; 4] = ["sheet", "folder", "motor", "order"];

/// Source of the motors of a lot.
#[derive(Clone, Debug, PartialEq)]
pub enum Manifest {
    Folder(PathBuf),
    /// A table and the folder to which its paths are relative.
    Table {
        path: PathBuf,
        base: PathBuf,
    },
}

/// Motors, one after the other.
pub type Entries = Box<dyn Iterator<Item = Result<Entry, LotError>> + Send>;

impl Manifest {
    /// Finds out what `path` is. `base` replaces the table's folder for relative paths.
    ///
    /// # Errors
    /// When there is nothing at `path`.
    pub fn open(path: &Path, base: Option<&Path>) -> Result<Manifest, LotError> {
        let metadata = std::fs::metadata(path).map_err(|error| LotError::Manifest {
            path: path.to_owned(),
            reason: error.to_string(),
        })?;
        if metadata.is_dir() {
            return Ok(Manifest::Folder(path.to_owned()));
        }
        let own = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        Ok(Manifest::Table {
            path: path.to_owned(),
            base: base.unwrap_or(own).to_owned(),
        })
    }

    /// The motors in their order. A table is read as it goes: memory does not grow with its rows (Parquet is read whole).
    ///
    /// # Errors
    /// A table that cannot be opened or lacks the columns; a bad row comes as an error in its place.
    pub fn entries(&self) -> Result<Entries, LotError> {
        match self {
            Manifest::Folder(path) => Ok(Box::new(Walk::new(path))),
            Manifest::Table { path, base } => {
                let rows = rows(path)?;
                let columns = Columns::new(path, rows.names)?;
                let (path, base) = (path.clone(), base.clone());
                Ok(Box::new(rows.cells.enumerate().map(move |(row, cells)| {
                    columns.entry(&path, &base, row as u64, &cells?)
                })))
            }
        }
    }
}

/// A table as text.
struct Rows {
    names: Vec<String>,
    cells: Box<dyn Iterator<Item = Result<Vec<String>, LotError>> + Send>,
}

fn rows(path: &Path) -> Result<Rows, LotError> {
    let fault = |reason: String| LotError::Manifest {
        path: path.to_owned(),
        reason,
    };
    if path.extension().is_some_and(|e| e == "parquet") {
        let (names, cells) = crate::export::columns::parquet_text(path).map_err(fault)?;
        return Ok(Rows {
            names,
            cells: Box::new(cells.into_iter().map(Ok)),
        });
    }
    let file = open_regular(path).map_err(|error| fault(error.to_string()))?;
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(LinesAtMost::new(file, LONGEST_LINE));
    let names = reader
        .headers()
        .map_err(|error| fault(error.to_string()))?
        .iter()
        .map(|name| name.trim_start_matches('\u{feff}').to_owned())
        .collect();
    let path = path.to_owned();
    Ok(Rows {
        names,
        cells: Box::new(reader.into_records().map(move |record| {
            let record = record.map_err(|error| LotError::Manifest {
                path: path.clone(),
                reason: error.to_string(),
            })?;
            Ok(record.iter().map(str::to_owned).collect())
        })),
    })
}

/// Which column holds what.
struct Columns {
    names: Vec<String>,
}

impl Columns {
    fn new(path: &Path, names: Vec<String>) -> Result<Columns, LotError> {
        let known = || OTHERS.into_iter().chain(ROLES.map(|r| r.0)).chain(NUMBERS);
        let row = |text: String| LotError::Row {
            path: path.to_owned(),
            line: 1,
            text,
        };
        if let Some(strange) = names.iter().find(|n| !known().any(|k| k == n.as_str())) {
            let known: Vec<&str> = known().collect();
            return Err(row(format!(
                "unknown column `{strange}`; the nearest known is `{}`. Known: {}",
                nearest(strange, &known).unwrap_or("sheet"),
                known.join(", ")
            )));
        }
        let has = |name: &str| names.iter().any(|n| n == name);
        if !has("sheet") && !ROLES.iter().any(|r| has(r.0)) {
            return Err(row(
                "neither a column `sheet` nor one of captures (start, rundown, brake, ...)".into(),
            ));
        }
        Ok(Columns { names })
    }

    fn entry(
        &self,
        path: &Path,
        base: &Path,
        row: u64,
        cells: &[String],
    ) -> Result<Entry, LotError> {
        let fault = |text: String| LotError::Row {
            path: path.to_owned(),
            line: row + 2,
            text,
        };
        let cell = |name: &str| {
            let at = self.names.iter().position(|n| n == name)?;
            cells.get(at).map(|c| c.trim()).filter(|c| !c.is_empty())
        };
        let number = |name: &str| -> Result<Option<f64>, LotError> {
            let Some(text) = cell(name) else {
                return Ok(None);
            };
            match text.parse::<f64>() {
                Ok(value) if value.is_finite() => Ok(Some(value)),
                _ => Err(fault(format!(
                    "column `{name}` holds {text:?}, expected a number with '.' as decimal mark, or nothing"
                ))),
            }
        };
        let captures: Vec<(Role, &str)> = ROLES
            .iter()
            .filter_map(|(name, role)| Some((*role, cell(name)?)))
            .collect();
        let (named, work) = match (cell("sheet"), captures.is_empty()) {
            (Some(_), false) => {
                return Err(fault(
                    "both a sheet and captures are named; the sheet names its captures itself"
                        .into(),
                ));
            }
            (Some(sheet), true) => {
                let folder = cell("folder");
                let named = match folder {
                    Some(folder) => format!("{sheet} in {folder}"),
                    None => sheet.to_owned(),
                };
                let work = Work::Sheet {
                    path: base.join(sheet),
                    folder: folder.map(|f| base.join(f)),
                };
                (named, work)
            }
            (None, false) => {
                let named: Vec<&str> = captures.iter().map(|c| c.1).collect();
                let whole = |value: Option<f64>| -> Result<Option<u32>, LotError> {
                    match value {
                        None => Ok(None),
                        Some(v) if v.fract() == 0.0 && (1.0..1e4).contains(&v) => {
                            Ok(Some(v as u32))
                        }
                        Some(v) => Err(fault(format!(
                            "column `segments` holds {v}, expected a whole number of segments"
                        ))),
                    }
                };
                let run = QuickRun {
                    captures: captures
                        .iter()
                        .map(|(role, file)| (*role, base.join(file)))
                        .collect(),
                    name: cell("motor").map(str::to_owned),
                    supply_v: number("supply_v")?,
                    speed_rad_s: number("speed_rad_s")?,
                    commutator_segments: whole(number("segments")?)?,
                    winding_temperature_c: number("temperature_c")?,
                    shunt_ohm: number("shunt_ohm")?,
                    ..QuickRun::default()
                };
                (named.join(" + "), Work::Quick(Box::new(run)))
            }
            (None, true) => {
                return Err(fault("neither a sheet nor a capture is named".into()));
            }
        };
        Ok(Entry {
            row,
            motor: cell("motor").map(str::to_owned),
            order: number("order")?,
            named,
            work,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entries(table: &str) -> Vec<Result<Entry, String>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lot.csv");
        std::fs::write(&path, table).unwrap();
        let manifest = Manifest::open(&path, Some(Path::new("shelf"))).unwrap();
        match manifest.entries() {
            Ok(entries) => entries.map(|e| e.map_err(|e| e.to_string())).collect(),
            Err(error) => vec![Err(error.to_string())],
        }
    }

    #[test]
    fn a_sheet_for_many_motors_and_captures_without_a_sheet() {
        let found = entries("motor,order,sheet,folder\nSN1, 4.5 ,station.toml,m1\n,,alone.toml,\n");
        let one = found[0].as_ref().unwrap();
        assert_eq!((one.motor.as_deref(), one.order()), (Some("SN1"), 4.5));
        assert_eq!(
            one.work,
            Work::Sheet {
                path: "shelf/station.toml".into(),
                folder: Some("shelf/m1".into())
            }
        );
        let two = found[1].as_ref().unwrap();
        assert_eq!((two.motor.as_deref(), two.order()), (None, 1.0));
        let found = entries("start,rundown,supply_v,segments\na.csv,b.csv,12.1,7\n");
        let Work::Quick(run) = &found[0].as_ref().unwrap().work else {
            panic!("quick");
        };
        assert_eq!(run.captures.len(), 2);
        assert_eq!(
            (run.supply_v, run.commutator_segments),
            (Some(12.1), Some(7))
        );
    }

    #[test]
    fn a_line_without_end_is_told_and_not_kept() {
        let found = entries(&format!("sheet\na.toml\n{}\n", "x".repeat(2 << 20)));
        let error = found.into_iter().find_map(Result::err).expect("told");
        assert!(error.contains("line 3 is longer than"), "{error}");
    }

    #[test]
    fn mistakes_are_told_with_their_line() {
        for (table, words) in [
            (
                "sheets\na.toml\n",
                "lot.csv:1: unknown column `sheets`; the nearest known is `sheet`",
            ),
            ("motor,order\nx,1\n", "lot.csv:1: neither a column `sheet`"),
            (
                "sheet,order\na.toml,1\nb.toml,noon\n",
                "lot.csv:3: column `order` holds \"noon\"",
            ),
            (
                "sheet,start\n,\n",
                "lot.csv:2: neither a sheet nor a capture",
            ),
            (
                "sheet,start\na.toml,b.csv\n",
                "lot.csv:2: both a sheet and captures",
            ),
            (
                "start,segments\na.csv,6.5\n",
                "lot.csv:2: column `segments` holds 6.5",
            ),
        ] {
            let found = entries(table);
            let error = found.into_iter().find_map(Result::err).expect(table);
            assert!(error.contains(words), "{error}");
        }
    }
}
