//! A manifest that is a table, CSV or Parquet, with a row a motor.
//!
//! Columns: `sheet` (bench sheet), with it `folder` (where its captures are, for one sheet that serves many motors); or
//! captures by role without a sheet (`start`, `rundown`, `brake`, `locked`, `turn_off`, `pwm`, `steady`) with `supply_v`,
//! `speed_rad_s`, `segments`, `temperature_c`, `shunt_ohm`. `motor` names the motor, `order` is when it was measured (a
//! number that grows).

use super::cells::read_cells;
use super::entry::{Entry, Work};
use crate::bench::{QuickRun, Role};
use crate::lot::LotError;
use crate::quantity::nearest;
use polars::prelude::DataFrame;
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

/// The table, every cell as text, and the folder to which its paths are relative.
#[derive(Clone, Debug)]
pub struct Table {
    path: PathBuf,
    base: PathBuf,
    cells: DataFrame,
}

impl Table {
    /// Reads a table, CSV unless its name ends in `.parquet`.
    ///
    /// # Errors
    /// A file that is no such table, a column that is not known, or none that names a sheet or a capture.
    pub(crate) fn read(path: &Path, base: &Path) -> Result<Table, LotError> {
        let cells = read_cells(path).map_err(|error| LotError::Manifest {
            path: path.to_owned(),
            // The lines behind the first name options of polars, which this program has not.
            reason: error
                .to_string()
                .lines()
                .next()
                .unwrap_or_default()
                .to_owned(),
        })?;
        let table = Table {
            path: path.to_owned(),
            base: base.to_owned(),
            cells,
        };
        table.check_columns()?;
        Ok(table)
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The motors in the order of the rows; a bad row comes as an error in its place.
    pub(crate) fn entries(self) -> impl Iterator<Item = Result<Entry, LotError>> + Send {
        (0..self.cells.height()).map(move |row| TableRow { table: &self, row }.entry())
    }

    fn check_columns(&self) -> Result<(), LotError> {
        let known = || OTHERS.into_iter().chain(ROLES.map(|r| r.0)).chain(NUMBERS);
        let names = self.cells.get_column_names();
        if let Some(unknown) = names.iter().find(|n| !known().any(|k| k == n.as_str())) {
            let known: Vec<&str> = known().collect();
            return Err(self.fault(
                1,
                format!(
                    "unknown column `{unknown}`; the nearest known is `{}`. Known: {}",
                    nearest(unknown, &known).unwrap_or("sheet"),
                    known.join(", ")
                ),
            ));
        }
        let has = |name: &str| names.iter().any(|n| *n == name);
        if !has("sheet") && !ROLES.iter().any(|r| has(r.0)) {
            return Err(self.fault(
                1,
                "neither a column `sheet` nor one of captures (start, rundown, brake, ...)".into(),
            ));
        }
        Ok(())
    }

    fn fault(&self, line: u64, text: String) -> LotError {
        LotError::Row {
            path: self.path.clone(),
            line,
            text,
        }
    }
}

/// One row of the table.
struct TableRow<'a> {
    table: &'a Table,
    row: usize,
}

impl<'a> TableRow<'a> {
    fn entry(&self) -> Result<Entry, LotError> {
        let captures: Vec<(Role, &str)> = ROLES
            .iter()
            .filter_map(|(name, role)| Some((*role, self.cell(name)?)))
            .collect();
        let (named, work) = match (self.cell("sheet"), captures.is_empty()) {
            (Some(sheet), true) => self.by_sheet(sheet),
            (None, false) => self.by_captures(&captures)?,
            (Some(_), false) => {
                return Err(self.fault(
                    "both a sheet and captures are named; the sheet names its captures itself"
                        .into(),
                ));
            }
            (None, true) => return Err(self.fault("neither a sheet nor a capture is named".into())),
        };
        Ok(Entry {
            row: self.row as u64,
            motor: self.cell("motor").map(str::to_owned),
            order: self.number("order")?,
            named,
            work,
        })
    }

    /// A motor with a bench sheet: how the table names it, and where its measurements are.
    fn by_sheet(&self, sheet: &str) -> (String, Work) {
        let base = &self.table.base;
        let folder = self.cell("folder");
        let named = match folder {
            Some(folder) => format!("{sheet} in {folder}"),
            None => sheet.to_owned(),
        };
        let work = Work::Sheet {
            path: base.join(sheet),
            folder: folder.map(|folder| base.join(folder)),
        };
        (named, work)
    }

    /// The same of a motor without a sheet.
    fn by_captures(&self, captures: &[(Role, &str)]) -> Result<(String, Work), LotError> {
        let named: Vec<&str> = captures.iter().map(|capture| capture.1).collect();
        let run = QuickRun {
            captures: captures
                .iter()
                .map(|(role, file)| (*role, self.table.base.join(file)))
                .collect(),
            name: self.cell("motor").map(str::to_owned),
            supply_v: self.number("supply_v")?,
            speed_rad_s: self.number("speed_rad_s")?,
            commutator_segments: self.segments()?,
            winding_temperature_c: self.number("temperature_c")?,
            shunt_ohm: self.number("shunt_ohm")?,
            ..QuickRun::default()
        };
        Ok((named.join(" + "), Work::Quick(Box::new(run))))
    }

    fn cell(&self, name: &str) -> Option<&'a str> {
        let text = self
            .table
            .cells
            .column(name)
            .ok()?
            .str()
            .ok()?
            .get(self.row)?;
        Some(text).filter(|text| !text.is_empty())
    }

    fn number(&self, name: &str) -> Result<Option<f64>, LotError> {
        let Some(text) = self.cell(name) else {
            return Ok(None);
        };
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => Err(self.fault(format!(
                "column `{name}` holds {text:?}, expected a number with '.' as decimal mark, or nothing"
            ))),
        }
    }

    fn segments(&self) -> Result<Option<u32>, LotError> {
        match self.number("segments")? {
            None => Ok(None),
            Some(v) if v.fract() == 0.0 && (1.0..1e4).contains(&v) => Ok(Some(v as u32)),
            Some(v) => Err(self.fault(format!(
                "column `segments` holds {v}, expected a whole number of segments"
            ))),
        }
    }

    fn fault(&self, text: String) -> LotError {
        self.table.fault(self.row as u64 + 2, text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::{Manifest, Part};

    fn entries(table: &str) -> Vec<Result<Entry, String>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lot.csv");
        std::fs::write(&path, table).unwrap();
        match Manifest::open(&path, Some(Path::new("shelf"))) {
            Ok(manifest) => manifest
                .entries(Part::default())
                .map(|e| e.map_err(|e| e.to_string()))
                .collect(),
            Err(error) => vec![Err(error.to_string())],
        }
    }

    #[test]
    fn blanks_comments_and_blank_lines_are_no_cells_and_a_short_row_ends_in_empty_cells() {
        let text =
            "\u{feff} sheet , motor\r\n# the first shelf\r\na.toml,\"SN, 1\"\r\n\r\n b.toml \r\n";
        let found = entries(text);
        let named: Vec<_> = found
            .iter()
            .map(|entry| entry.as_ref().unwrap())
            .map(|entry| (entry.row, entry.named.as_str(), entry.motor.as_deref()))
            .collect();
        assert_eq!(named, [(0, "a.toml", Some("SN, 1")), (1, "b.toml", None)]);
    }

    #[test]
    fn part_of_a_lot_is_every_nth_row() {
        let part: Part = "2/3".parse().unwrap();
        let rows: Vec<u64> = (0..8).filter(|row| part.contains(*row)).collect();
        assert_eq!(rows, [1, 4, 7]);
        for wrong in ["3", "0/2", "3/2", "a/2"] {
            assert!(wrong.parse::<Part>().is_err(), "{wrong}");
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
            ("", "lot.csv:1: neither a column `sheet`"),
            (
                "sheet\na.toml,b\n",
                "lot.csv: the manifest cannot be read: ",
            ),
        ] {
            let found = entries(table);
            let error = found.into_iter().find_map(Result::err).expect(table);
            assert!(error.contains(words), "{error}");
        }
    }
}
