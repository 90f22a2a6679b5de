//! More than voltage and current: a sensor on the shaft and tables of readings, added to a bench that is written as files.

mod coasting;
mod shaft;
mod tables;

pub use coasting::CoastingStart;
pub use shaft::ShaftSensor;

use super::bench::DrawnBench;
use super::chance::Dice;
use super::files::{FolderError, Layout, write_folder};
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// What is added.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Extras {
    /// On the shaft in every capture in which it turns freely.
    pub shaft: Option<ShaftSensor>,
    /// A no-load table, a load line, a held rotor, and the inductance against frequency.
    pub tables: bool,
    /// A start behind a bridge that coasts, its current alone.
    pub coasting: Option<CoastingStart>,
}

/// As [`super::temporary_folder`], with more than voltage and current. The extras' errors come from the seed of the bench.
///
/// # Errors
/// When a file cannot be written.
pub fn temporary_folder_with(drawn: &DrawnBench, extras: Extras) -> Result<TempDir, FolderError> {
    let folder = tempfile::tempdir().map_err(FolderError::at(&std::env::temp_dir()))?;
    let paths = write_folder(drawn, folder.path(), &[Layout::HeaderWithUnits])?;
    let mut dice = Dice::new(drawn.truth.seed, "extras");
    let sheet = &paths[0];
    let mut text = fs::read_to_string(sheet).map_err(FolderError::at(sheet))?;
    if let Some(sensor) = extras.shaft {
        let added = shaft::add(drawn, sensor, folder.path(), &mut dice)?;
        // Tables of channels may stand anywhere, but not within another one.
        text.push_str(&added);
    }
    if let Some(start) = extras.coasting {
        text.push_str(&coasting::add(drawn, start, folder.path(), &mut dice)?);
    }
    if extras.tables {
        text.push_str(&tables::sheet(drawn, &mut dice));
    }
    fs::write(sheet, text).map_err(FolderError::at(sheet))?;
    Ok(folder)
}

/// Reads, changes and writes a text file.
fn edit(path: &Path, change: impl FnOnce(&str) -> String) -> Result<(), FolderError> {
    let text = fs::read_to_string(path).map_err(FolderError::at(path))?;
    fs::write(path, change(&text)).map_err(FolderError::at(path))
}
