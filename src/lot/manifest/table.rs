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
use std::path::Path;

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

/// The motors in the order of the rows; the table is CSV unless its name ends in `.parquet`.
///
/// # Errors
/// A file that is no such table, a column that is not known, none that names a sheet or a capture, a row that describes no motor.
pub(super) fn entries(path: &Path, base: &Path) -> Result<Vec<Entry>, LotError> {
    let cells = read_cells(path).map_err(|error| {
        // The lines behind the first name options of polars, which this program has not.
        let text = error.to_string();
        let reason = text.lines().next().unwrap_or_default();
        LotError::file(path, format!("the manifest cannot be read: {reason}"))
    })?;
    let fault = |line: u64, text: String| LotError::Row {
        path: path.to_owned(),
        line,
        text,
    };
    check_columns(&cells).map_err(|text| fault(1, text))?;
    let cells = &cells;
    (0..cells.height())
        .map(|row| {
            let entry = TableRow { cells, base, row }.entry();
            entry.map_err(|text| fault(row as u64 + 2, text))
        })
        .collect()
}

fn check_columns(cells: &DataFrame) -> Result<(), String> {
    let known = OTHERS.into_iter().chain(ROLES.map(|r| r.0)).chain(NUMBERS);
    let known: Vec<&str> = known.collect();
    let names = cells.get_column_names();
    if let Some(unknown) = names.iter().find(|n| !known.contains(&n.as_str())) {
        return Err(format!(
            "unknown column `{unknown}`{}. Known: {}",
            nearest(unknown, &known).map_or(String::new(), |near| format!(
                "; the nearest known is `{near}`"
            )),
            known.join(", ")
        ));
    }
    let has = |name: &str| names.iter().any(|n| *n == name);
    match has("sheet") || ROLES.iter().any(|r| has(r.0)) {
        true => Ok(()),
        false => {
            Err("neither a column `sheet` nor one of captures (start, rundown, brake, ...)".into())
        }
    }
}

/// One row of the table.
struct TableRow<'a> {
    cells: &'a DataFrame,
    /// Folder to which paths are relative.
    base: &'a Path,
    row: usize,
}

impl<'a> TableRow<'a> {
    fn entry(&self) -> Result<Entry, String> {
        let captures: Vec<(Role, &str)> = ROLES
            .iter()
            .filter_map(|(name, role)| Some((*role, self.cell(name)?)))
            .collect();
        let (named, work) = match (self.cell("sheet"), captures.is_empty()) {
            (Some(sheet), true) => self.by_sheet(sheet),
            (None, false) => self.by_captures(&captures)?,
            (Some(_), false) => {
                return Err(
                    "both a sheet and captures are named; the sheet names its captures itself"
                        .into(),
                );
            }
            (None, true) => return Err("neither a sheet nor a capture is named".into()),
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
        let base = self.base;
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
    fn by_captures(&self, captures: &[(Role, &str)]) -> Result<(String, Work), String> {
        let named: Vec<&str> = captures.iter().map(|capture| capture.1).collect();
        let run = QuickRun {
            captures: captures
                .iter()
                .map(|(role, file)| (*role, self.base.join(file)))
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
        let text = self.cells.column(name).ok()?.str().ok()?.get(self.row)?;
        Some(text).filter(|text| !text.is_empty())
    }

    fn number(&self, name: &str) -> Result<Option<f64>, String> {
        let read = |text: &str| match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(value),
            _ => Err(format!(
                "column `{name}` holds {text:?}, expected a number with '.' as decimal mark, or nothing"
            )),
        };
        self.cell(name).map(read).transpose()
    }

    fn segments(&self) -> Result<Option<u32>, String> {
        match self.number("segments")? {
            None => Ok(None),
            Some(v) if v.fract() == 0.0 && (1.0..1e4).contains(&v) => Ok(Some(v as u32)),
            Some(v) => Err(format!(
                "column `segments` holds {v}, expected a whole number of segments"
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(table: &str) -> Result<Vec<Entry>, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lot.csv");
        std::fs::write(&path, table).unwrap();
        entries(&path, Path::new("shelf")).map_err(|e| e.to_string())
    }

    #[test]
    fn blanks_comments_and_blank_lines_are_no_cells_and_a_short_row_ends_in_empty_cells() {
        let text =
            "\u{feff} sheet , motor\r\n# the first shelf\r\na.toml,\"SN, 1\"\r\n\r\n b.toml \r\n";
        let found = read(text).unwrap();
        let named: Vec<_> = found
            .iter()
            .map(|entry| (entry.row, entry.named.as_str(), entry.motor.as_deref()))
            .collect();
        assert_eq!(named, [(0, "a.toml", Some("SN, 1")), (1, "b.toml", None)]);
    }

    #[test]
    fn a_sheet_for_many_motors_and_captures_without_a_sheet() {
        let found =
            read("motor,order,sheet,folder\nSN1, 4.5 ,station.toml,m1\n,,alone.toml,\n").unwrap();
        let one = &found[0];
        assert_eq!((one.motor.as_deref(), one.order()), (Some("SN1"), 4.5));
        assert_eq!(
            one.work,
            Work::Sheet {
                path: "shelf/station.toml".into(),
                folder: Some("shelf/m1".into())
            }
        );
        let two = &found[1];
        assert_eq!((two.motor.as_deref(), two.order()), (None, 1.0));
        let found = read("start,rundown,supply_v,segments\na.csv,b.csv,12.1,7\n").unwrap();
        let Work::Quick(run) = &found[0].work else {
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
        let error = read(&format!("sheet\na.toml\n{}\n", "x".repeat(2 << 20))).unwrap_err();
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
            let error = read(table).expect_err(table);
            assert!(error.contains(words), "{error}");
        }
    }
}
