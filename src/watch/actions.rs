//! What the page's buttons write into the folder: by the same steps as the commands, from the files as they are on disk.

use super::folder::OWN_FOLDERS;
use crate::bench::{LoadOptions, read_sheet};
use crate::claim::{self, Rule};
use crate::drive::{self, Order};
use crate::export::{
    Instance, c_header, fmu, load_line, modelica, rows, script, spice, state_space,
};
use crate::files::put;
use crate::fit::FitOptions;
use crate::identify::{Identified, check_roles, identify};
use crate::motor_file::{self, Overwrite};
use crate::plot::{self, Format};
use crate::report::{self, Target};
use serde::Deserialize;
use std::path::{Path, PathBuf};

/// A button.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "what", deny_unknown_fields)]
pub enum Action {
    /// The motor file, `motor.json`.
    MotorFile,
    /// The report page, `report.html`.
    Report,
    /// The pictures, into `pictures/`.
    Pictures,
    /// A file for another tool, into `exports/`.
    Export {
        /// Name of the format, as `rundown export --to` has it.
        to: String,
    },
    /// A datasheet of the folder checked against the motor.
    Datasheet {
        /// Its file.
        file: String,
    },
    /// What the motor means for its drive.
    Drive,
}

/// What was written, and what there is to read.
pub struct Outcome {
    /// Files, relative to the folder.
    pub written: Vec<String>,
    /// Text for the person.
    pub text: String,
}

/// Largest probability of a wrong verdict in a datasheet check, and draws of a drive brief, as the commands have them.
const RISK: f64 = 0.05;
const DRAWS: usize = 1000;

/// Does what a button says.
///
/// # Errors
/// In words for the person: what cannot be read, fitted or written.
pub fn act(folder: &Path, sheet: &Path, action: &Action) -> Result<Outcome, String> {
    let bench = read_sheet(sheet, &LoadOptions::default()).map_err(words)?;
    check_roles(&bench).map_err(words)?;
    let found = identify(&bench, &FitOptions::default(), |_| {})
        .map_err(|error| format!("{error}: {}", error.source))?;
    let supply_v = found.file.motor.as_ref().and_then(|m| m.supply_v);
    match action {
        Action::MotorFile => {
            motor_file::write(
                &folder.join("motor.json"),
                &found.file,
                Overwrite::MotorFileOnly,
            )
            .map_err(words)?;
            Ok(wrote(["motor.json".into()]))
        }
        Action::Report => {
            let data = report::gather(&bench, &found.timelines, &found.estimate, &found.file);
            report::write(&folder.join("report.html"), &data, Target::Page, false)
                .map_err(words)?;
            Ok(wrote(["report.html".into()]))
        }
        Action::Pictures => {
            let data = report::gather(&bench, &found.timelines, &found.estimate, &found.file);
            let [pictures, _] = OWN_FOLDERS;
            let to = folder.join(pictures);
            let formats = [Format::Svg, Format::Png];
            let names = plot::possible_names(&found.file);
            plot::check_folder(&to, &names, &formats, false).map_err(words)?;
            let written =
                plot::write(&to, &plot::pictures(&data), &formats, false).map_err(words)?;
            Ok(wrote(written.iter().map(|path| relative(folder, path))))
        }
        Action::Export { to } => {
            let (name, bytes) = export(&found, to, supply_v)?;
            own_file(folder, &name, &bytes)
        }
        Action::Datasheet { file } => {
            let sheet = claim::sheet::read(&datasheet(folder, file)?).map_err(words)?;
            let judgement = claim::judge(&found.file, &sheet, Rule::Guarded(RISK), 1);
            let text = claim::table::render(&judgement, false);
            let mut outcome = own_file(folder, "datasheet_check.txt", text.as_bytes())?;
            outcome.text = text;
            Ok(outcome)
        }
        Action::Drive => {
            let supply_v = supply_v.ok_or(
                "the sheet states no supply voltage; state it under supply, and the brief follows",
            )?;
            let order = Order::usual(supply_v);
            order.check().map_err(words)?;
            order.check_reach(&found.file).map_err(words)?;
            let sizing = drive::size(&found.file, order, None, DRAWS, 1, 0.95).map_err(words)?;
            let text = drive::summary(&sizing);
            let mut outcome = own_file(folder, "drive.txt", text.as_bytes())?;
            outcome.text = text;
            Ok(outcome)
        }
    }
}

/// TOML files of the folder that could be a vendor's datasheet.
pub fn datasheets(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| name.ends_with(".toml") && name != super::SHEET && !name.starts_with('.'))
        .filter(|name| claim::sheet::read(&folder.join(name)).is_ok())
        .take(20)
        .collect();
    names.sort();
    names
}

/// A datasheet by a name that is in the folder: no path leads elsewhere.
fn datasheet(folder: &Path, name: &str) -> Result<PathBuf, String> {
    match datasheets(folder).iter().any(|known| known == name) {
        true => Ok(folder.join(name)),
        false => Err("no datasheet of that name is in the folder".to_owned()),
    }
}

fn words(error: impl std::fmt::Display) -> String {
    error.to_string()
}

fn wrote(files: impl IntoIterator<Item = String>) -> Outcome {
    Outcome {
        written: files.into_iter().collect(),
        text: String::new(),
    }
}

fn relative(folder: &Path, path: &Path) -> String {
    let path = path.strip_prefix(folder).unwrap_or(path);
    path.display().to_string()
}

/// One file in the folder of exports, which holds nothing else.
fn own_file(folder: &Path, name: &str, bytes: &[u8]) -> Result<Outcome, String> {
    let [_, exports] = OWN_FOLDERS;
    let into = folder.join(exports);
    match std::fs::create_dir(&into) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => {
            return Err(format!("{}: cannot be made: {error}", into.display()));
        }
        _ => {}
    }
    if std::fs::symlink_metadata(&into).is_ok_and(|m| !m.is_dir()) {
        return Err(format!("{} is no folder; move it away", into.display()));
    }
    let path = into.join(name);
    put(
        &path,
        bytes,
        |_| Ok(()),
        |error| format!("{}: cannot be written: {error}", path.display()),
    )?;
    Ok(wrote([relative(folder, &path)]))
}

fn export(
    found: &Identified,
    to: &str,
    supply_v: Option<f64>,
) -> Result<(String, Vec<u8>), String> {
    let file = &found.file;
    let motor = |format| Instance::estimate(file, format).map_err(words);
    let text = |name: &str, text: String| (name.to_owned(), text.into_bytes());
    let voltage = || supply_v.ok_or("the sheet states no supply voltage, which this file needs");
    Ok(match to {
        "spice" => text(
            "motor.lib",
            spice::subcircuit(&motor("the SPICE subcircuit")?),
        ),
        "modelica" => {
            let record = modelica::record(&motor("the Modelica record")?, supply_v);
            text("motor.mo", record.map_err(words)?)
        }
        "c" => text(
            "motor.h",
            c_header::header(&motor("the C header")?).map_err(words)?,
        ),
        "python" => {
            let snippet = script::python(&motor("the Python snippet")?, supply_v);
            text("motor.py", snippet.map_err(words)?)
        }
        "octave" => {
            let snippet = script::octave(&motor("the Octave snippet")?, supply_v);
            text("motor.m", snippet.map_err(words)?)
        }
        "state-space" => {
            let document = state_space::document(&motor("the state-space model")?, None);
            text("state_space.json", format!("{document:#}\n"))
        }
        "fmu" => {
            let unit = fmu::unit(&motor("the Functional Mock-up Unit")?, fmu::FmiVersion::Two);
            ("motor.fmu".to_owned(), unit.map_err(words)?.bytes)
        }
        "table" => {
            let table = load_line::torque_speed(file, voltage()?).map_err(words)?;
            ("torque_speed.csv".to_owned(), table)
        }
        "csv" => {
            let row = rows::Row {
                file,
                instance: None,
            };
            ("motor.csv".to_owned(), rows::csv(&[row]).map_err(words)?)
        }
        other => return Err(format!("\"{other}\" is no format that the page offers")),
    })
}
