//! Which motors a lot has: a folder tree with a bench sheet a motor, or a table with a row a motor.

mod cells;
mod entry;
mod folder;
mod part;
mod table;

pub use entry::{Entry, Work};
pub use part::Part;
pub use table::Table;

use crate::lot::LotError;
use folder::Walk;
use std::path::{Path, PathBuf};

/// Source of the motors of a lot.
#[derive(Clone, Debug)]
pub enum Manifest {
    /// A tree with a `bench.toml` for each motor.
    Folder(PathBuf),
    /// A row for each motor.
    Table(Table),
}

/// Motors, one after the other.
pub type Entries = Box<dyn Iterator<Item = Result<Entry, LotError>> + Send>;

impl Manifest {
    /// Finds out what `path` is, and reads it where it is a table. Paths in a table are relative to `base`, or to the table's own folder.
    ///
    /// # Errors
    /// When there is nothing at `path`; a table that cannot be read or lacks the columns.
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
        Ok(Manifest::Table(Table::read(path, base.unwrap_or(own))?))
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        match self {
            Manifest::Folder(path) => path,
            Manifest::Table(table) => table.path(),
        }
    }

    /// The motors of a part of the lot, in their order; a bad row comes as an error in its place.
    pub fn entries(&self, part: Part) -> Entries {
        let all: Entries = match self {
            Manifest::Folder(path) => Box::new(Walk::new(path)),
            Manifest::Table(table) => Box::new(table.clone().entries()),
        };
        Box::new(all.filter(move |entry| match entry {
            Ok(entry) => part.contains(entry.row),
            Err(_) => true,
        }))
    }
}
