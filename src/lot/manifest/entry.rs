//! One motor of a manifest.

use crate::bench::{Bench, BenchError, LoadOptions, QuickRun, quick_bench, read_sheet_for};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// Where the measurements of one motor are.
#[derive(Clone, Debug, PartialEq)]
pub enum Work {
    /// A bench sheet; its captures are looked up in `folder`, or beside the sheet without one.
    Sheet {
        /// The bench sheet.
        path: PathBuf,
        /// Folder of the captures; `None` means the folder of the sheet.
        folder: Option<PathBuf>,
    },
    /// Captures by role, without a sheet.
    Quick(Box<QuickRun>),
}

/// One motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Place in the manifest, from 0.
    pub row: u64,
    /// Name or serial number, where the manifest tells one; else the bench sheet names the motor.
    pub motor: Option<String>,
    /// When it was measured, in any unit that grows; without one the row stands for it.
    pub order: Option<f64>,
    /// As the manifest names it: the same text on every machine.
    pub named: String,
    pub work: Work,
}

impl Entry {
    /// The motor of a sheet in a folder tree.
    pub(in crate::lot) fn of_sheet(row: usize, root: &Path, path: PathBuf) -> Entry {
        let named = path.strip_prefix(root).unwrap_or(&path).to_string_lossy();
        Entry {
            row: row as u64,
            motor: None,
            order: None,
            named: named.replace('\\', "/"),
            work: Work::Sheet { path, folder: None },
        }
    }

    /// Name by which the results of this motor are filed, the same wherever the lot is run: letters and digits of the
    /// motor's name or its sheet, and the beginning of the hash of what the manifest says of it.
    pub fn id(&self) -> String {
        let mut digest = Sha256::new();
        digest.update(self.named.as_bytes());
        digest.update([0]);
        digest.update(self.motor.as_deref().unwrap_or("").as_bytes());
        let hash = crate::files::hex(&digest.finalize());
        let words = match &self.motor {
            Some(motor) => motor.clone(),
            None => readable(&self.named),
        };
        let words: String = words
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
            .take(40)
            .collect();
        format!("{}-{}", words.trim_matches('-'), &hash[..12])
    }

    /// Order of measurement.
    pub fn order(&self) -> f64 {
        self.order.unwrap_or(self.row as f64)
    }

    /// Reads the measurements.
    ///
    /// # Errors
    /// As [`read_sheet_for`] and [`quick_bench`].
    pub fn load(&self, options: &LoadOptions) -> Result<Bench, BenchError> {
        let mut bench = match &self.work {
            Work::Sheet { path, folder } => read_sheet_for(path, folder.as_deref(), options)?,
            Work::Quick(run) => quick_bench(run)?,
        };
        if let Some(motor) = &self.motor {
            bench.motor.name.clone_from(motor);
        }
        Ok(bench)
    }
}

/// The last telling part of a path: the folder of a `bench.toml`, else the stem of the file.
fn readable(named: &str) -> String {
    let path = Path::new(named);
    let stem = path.file_stem().unwrap_or_default();
    let folder = path.parent().and_then(Path::file_name);
    match folder {
        Some(folder) if stem == "bench" => folder,
        _ => stem,
    }
    .to_string_lossy()
    .into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(named: &str, motor: Option<&str>) -> Entry {
        Entry {
            motor: motor.map(str::to_owned),
            ..Entry::of_sheet(3, Path::new(""), named.into())
        }
    }

    #[test]
    fn the_file_name_is_readable_and_differs_where_the_manifest_does() {
        let one = entry("shelf/pump 7/bench.toml", None).id();
        assert!(one.starts_with("pump-7-") && one.len() == 19, "{one}");
        assert_ne!(one, entry("shelf/b/pump 7/bench.toml", None).id());
        let named = entry("station.toml", Some("SN/../0042")).id();
        assert!(named.starts_with("SN----0042-"), "{named}");
        assert_ne!(named, entry("station.toml", Some("SN/../0043")).id());
    }
}
