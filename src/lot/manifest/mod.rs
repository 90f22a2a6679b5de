//! Which motors a lot has: a folder tree with a bench sheet a motor, or a table with a row a motor.

mod cells;
mod entry;
mod part;
mod table;

pub use entry::{Entry, Work};
pub use part::Part;

use crate::lot::LotError;
use std::io;
use std::path::{Path, PathBuf};

/// Name of the sheets looked for.
const SHEET: &str = "bench.toml";

/// The motors of a lot, in their order.
#[derive(Clone, Debug)]
pub struct Manifest(Vec<Entry>);

impl Manifest {
    /// The motors of a folder tree or table at `path`. Paths in a table are relative to `base`, or to the table's own folder.
    ///
    /// # Errors
    /// When there is nothing at `path`, or no motor in it; a table that cannot be read, lacks the columns or has a row that describes no motor.
    pub fn open(path: &Path, base: Option<&Path>) -> Result<Manifest, LotError> {
        let unread = |error: io::Error| {
            LotError::file(
                path,
                format!(
                    "the manifest cannot be read: {error}. Name a folder with a bench.toml for each motor, or a table (CSV)"
                ),
            )
        };
        let entries = if std::fs::metadata(path).map_err(unread)?.is_dir() {
            let mut sheets = Vec::new();
            sheets_below(path, &mut sheets).map_err(unread)?;
            let sheets = sheets.into_iter().enumerate();
            sheets
                .map(|(row, sheet)| Entry::of_sheet(row, path, sheet))
                .collect()
        } else {
            table::entries(path, base.unwrap_or(crate::files::folder_of(path)))?
        };
        if entries.is_empty() {
            return Err(LotError::file(
                path,
                "no bench sheet in it. Expected a folder tree with a `bench.toml` for each motor, or a table with a column `sheet`",
            ));
        }
        Ok(Manifest(entries))
    }

    /// The motors of a part of the lot.
    pub fn entries(&self, part: Part) -> impl Iterator<Item = &Entry> {
        self.0.iter().filter(move |entry| part.contains(entry.row))
    }
}

/// Every bench sheet in a folder and below, in the order of names. Links to folders are not followed: they may lead in circles.
fn sheets_below(folder: &Path, found: &mut Vec<PathBuf>) -> io::Result<()> {
    let mut folders = Vec::new();
    for item in std::fs::read_dir(folder)? {
        let item = item?;
        if item.file_type()?.is_dir() {
            folders.push(item.path());
        } else if item.file_name() == SHEET {
            found.push(item.path());
        }
    }
    folders.sort_unstable();
    folders
        .iter()
        .try_for_each(|folder| sheets_below(folder, found))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_come_in_the_order_of_names_at_every_depth() {
        let root = tempfile::tempdir().unwrap();
        assert!(Manifest::open(root.path(), None).is_err());
        for folder in ["b/10", "b/2", "a", "c/none", "."] {
            std::fs::create_dir_all(root.path().join(folder)).unwrap();
        }
        for folder in ["b/10", "b/2", "a", "."] {
            std::fs::write(root.path().join(folder).join(SHEET), "").unwrap();
        }
        let manifest = Manifest::open(root.path(), None).unwrap();
        let named: Vec<&str> = manifest
            .0
            .iter()
            .map(|entry| entry.named.as_str())
            .collect();
        assert_eq!(
            named,
            [
                "bench.toml",
                "a/bench.toml",
                "b/10/bench.toml",
                "b/2/bench.toml"
            ]
        );
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
}
