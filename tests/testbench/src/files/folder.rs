//! A drawn bench as a folder, as a person would bring it: captures in several layouts, a sheet, and the truth apart.

use super::layout::Layout;
use super::sheet;
use crate::bench::DrawnBench;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Why a folder could not be written.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    #[error("{}: {source}. Check that the folder can be written to", path.display())]
    Write {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("the list of layouts is empty; name at least one")]
    NoLayout,
    #[error("truth.json: {0}")]
    Truth(#[from] serde_json::Error),
}

impl FolderError {
    pub(crate) fn at(path: &Path) -> impl FnOnce(std::io::Error) -> FolderError {
        let path = path.to_owned();
        |source| FolderError::Write { path, source }
    }
}

/// Writes captures, `bench.toml` and `truth.json` into `folder`, which is made where it is missing. `layouts` are taken in turn,
/// one a capture ([`Layout::ALL`] shows every one); driven records come last and are not in the sheet.
///
/// Gives the paths written, sheet first.
///
/// # Errors
/// When a file cannot be written or `layouts` is empty.
pub fn write_folder(
    drawn: &DrawnBench,
    folder: &Path,
    layouts: &[Layout],
) -> Result<Vec<PathBuf>, FolderError> {
    if layouts.is_empty() {
        return Err(FolderError::NoLayout);
    }
    let put = |path: &Path, text: &str| fs::write(path, text).map_err(FolderError::at(path));
    fs::create_dir_all(folder).map_err(FolderError::at(folder))?;
    let captures = drawn.captures.iter().map(|c| (&c.name, &c.waveform));
    let driven = drawn.driven.iter().map(|d| (&d.name, &d.waveform));
    let mut files = Vec::new();
    for ((name, waveform), layout) in captures.chain(driven).zip(layouts.iter().cycle()) {
        let scales = drawn.truth_of(name).map_or((1.0, 1.0), |truth| {
            let (voltage, current) = (&truth.voltage_vertical, &truth.current_vertical);
            (voltage.per_division, current.per_division)
        });
        let file = format!("{name}.{}", layout.extension());
        put(&folder.join(&file), &layout.text(waveform, scales))?;
        files.push(file);
    }
    let sheet_path = folder.join("bench.toml");
    put(&sheet_path, &sheet::text(drawn, &files))?;
    let truth_path = folder.join("truth.json");
    put(&truth_path, &serde_json::to_string_pretty(&drawn.truth)?)?;
    let mut paths = vec![sheet_path, truth_path];
    paths.extend(files.iter().map(|file| folder.join(file)));
    Ok(paths)
}

/// The same in a new temporary folder, each capture in the plainest layout; the folder goes with the value returned.
///
/// # Errors
/// When a file cannot be written.
pub fn temporary_folder(drawn: &DrawnBench) -> Result<TempDir, FolderError> {
    let folder = tempfile::tempdir().map_err(FolderError::at(&std::env::temp_dir()))?;
    write_folder(drawn, folder.path(), &[Layout::HeaderWithUnits])?;
    Ok(folder)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Shot, ShotKind, draw, presets};

    #[test]
    fn a_folder_holds_the_shown_numbers_to_a_fraction_of_a_step() {
        let mut scenario = presets::curd_stirrer();
        scenario.plan = Layout::ALL
            .iter()
            .map(|layout| Shot {
                rows: 200,
                ..Shot::new(&format!("{layout:?}"), ShotKind::Start)
            })
            .collect();
        let drawn = draw(&scenario, 1).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let paths = write_folder(&drawn, folder.path(), &Layout::ALL).unwrap();
        assert_eq!(paths.len(), 10);
        for (capture, layout) in drawn.captures.iter().zip(Layout::ALL) {
            let name = format!("{}.{}", capture.name, layout.extension());
            let text = fs::read_to_string(folder.path().join(name)).unwrap();
            let (delimiter, first, per) = match layout {
                Layout::DecimalComma => (';', 1, 1.0),
                Layout::Tabs => ('\t', 1, 1.0),
                Layout::PreambleBeside => (',', 4, 1.0),
                Layout::Milli => (',', 1, 1e-3),
                _ => (',', 1, 1.0),
            };
            let rows: Vec<Vec<f64>> = text
                .lines()
                .filter_map(|line| {
                    let cells: Vec<&str> = line.split(delimiter).collect();
                    let number = |cell: &&str| cell.replace(',', ".").parse::<f64>().ok();
                    let values: Vec<f64> = cells
                        .get(first - 1..first + 2)?
                        .iter()
                        .filter_map(number)
                        .collect();
                    (values.len() == 3).then_some(values)
                })
                .collect();
            let waveform = &capture.waveform;
            assert_eq!(rows.len(), waveform.rows(), "{layout:?}");
            let (voltage, current) = (waveform.voltage_v.as_ref().unwrap(), &waveform.current_a);
            for (row, cells) in rows.iter().enumerate() {
                let step = 0.01 * voltage.step;
                assert!((cells[1] - voltage.values[row]).abs() < step, "{layout:?}");
                let step = 0.01 * current.step;
                let ampere = cells[2] * per;
                assert!((ampere - current.values[row]).abs() < step, "{layout:?}");
            }
        }
    }

    #[test]
    fn the_sheet_is_toml_with_one_table_a_capture_and_the_truth_is_json() {
        for scenario in presets::all() {
            let drawn = draw(&scenario, 2).unwrap();
            let folder = tempfile::tempdir().unwrap();
            write_folder(&drawn, folder.path(), &Layout::ALL).unwrap();
            let sheet = fs::read_to_string(folder.path().join("bench.toml")).unwrap();
            let table: toml::Table = sheet.parse().unwrap();
            let captures = table["captures"].as_array().unwrap();
            assert_eq!(captures.len(), drawn.captures.len());
            for capture in captures {
                let file = capture["file"].as_str().unwrap();
                assert!(folder.path().join(file).is_file(), "{file}");
            }
            assert_eq!(
                table["readings"].as_array().unwrap().len(),
                drawn.readings.len()
            );
            assert!(sheet.contains("kind = \"oscilloscope\""));
            let truth = fs::read_to_string(folder.path().join("truth.json")).unwrap();
            let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
            assert_eq!(
                truth["machine_at_25_c"]["terminal_resistance_ohm"],
                scenario.machine.terminal_resistance_ohm
            );
        }
    }

    #[test]
    fn no_layout_is_told() {
        let scenario = presets::curd_stirrer().with_plan(&[("start", ShotKind::Start)]);
        let drawn = draw(&scenario, 1).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let error = write_folder(&drawn, folder.path(), &[]).unwrap_err();
        assert!(error.to_string().contains("layouts is empty"));
    }
}
