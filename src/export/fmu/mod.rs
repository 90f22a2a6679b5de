//! A Functional Mock-up Unit (FMI 2.0.4 and 3.0.1, open standards of the Modelica Association): a zip archive with the model's
//! description, its C source and, where a C compiler is found, its library for this machine. Model exchange and co-simulation.
//!
//! Inputs are terminal voltage, load torque and the winding's temperature; added inertia is a parameter. The state equation is that of [`crate::motor`]
//! with the angle, in C; Coulomb friction holds a rotor at rest, as an event. Co-simulation takes Runge-Kutta steps of fourth order,
//! a tenth of the fastest time constant long.

mod compile;
mod description;
mod source;
mod units;
mod variables;
mod version;

use super::{ExportError, Instance};
use description::Title;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::io::{Cursor, Write};
pub use version::FmiVersion;
use zip::write::SimpleFileOptions;

/// A written unit.
#[derive(Clone, Debug)]
pub struct Unit {
    /// The archive.
    pub bytes: Vec<u8>,
    /// Why it holds no library for this machine, as a clause; importers then have to compile its source.
    pub without_library: Option<String>,
}

/// The unit of one motor.
///
/// # Errors
/// [`ExportError::Archive`].
pub fn unit(motor: &Instance<'_>, version: FmiVersion) -> Result<Unit, ExportError> {
    let variables = variables::variables(motor);
    let head = motor.head();
    let mut title = Title {
        identifier: motor.identifier(),
        name: motor.identifier(),
        description: head.iter().take(2).cloned().collect::<Vec<_>>().join(". "),
        token: String::new(),
    };
    // The token ties the library to its description: the same content has the same.
    let content = description::model(&title, &variables, version) + &head.join("\n");
    title.token = token(&content);
    let source = source::source(&head, &title.token, &variables, version);
    let library = compile::library(&source, &title.identifier, version);
    let mut files = vec![
        (
            "modelDescription.xml".to_owned(),
            description::model(&title, &variables, version).into_bytes(),
        ),
        (
            "documentation/index.html".to_owned(),
            documentation(&head).into_bytes(),
        ),
        (
            format!("sources/{}.c", title.identifier),
            source.into_bytes(),
        ),
    ];
    if version == FmiVersion::Three {
        let build = description::build(&title).into_bytes();
        files.push(("sources/buildDescription.xml".to_owned(), build));
    }
    let without_library = match library {
        Ok(file) => {
            files.push(file);
            None
        }
        Err(why) => Some(why),
    };
    let bytes = archive(&files).map_err(|error| ExportError::Archive(error.to_string()))?;
    Ok(Unit {
        bytes,
        without_library,
    })
}

/// A token in the shape of a GUID.
fn token(content: &str) -> String {
    let hash = Sha256::digest(content.as_bytes());
    let mut text = String::from("{");
    for (place, byte) in hash.iter().take(16).enumerate() {
        if [4, 6, 8, 10].contains(&place) {
            text.push('-');
        }
        let _ = write!(text, "{byte:02x}");
    }
    text.push('}');
    text
}

fn documentation(head: &[String]) -> String {
    let lines: String = head
        .iter()
        .map(|line| line.replace('&', "&amp;").replace('<', "&lt;") + "\n")
        .collect();
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Motor model</title></head><body>\n\
         <h1>Brushed permanent-magnet DC motor</h1>\n\
         <p>Inputs: terminal voltage, load torque (against positive rotation), temperature of the winding. Outputs: current, speed, angle, \
         torque, back-EMF, friction torque. SI units. Coulomb friction holds a rotor at rest until the torque exceeds it. \
         Commutation ripple is left out unless ripple_share and ripple_cycles_per_turn are set.</p>\n\
         <p>A simulation is no protection: a locked rotor overheats in seconds, an opened inductive circuit makes hundreds of volts, \
         braking raises the voltage of a supply. Local codes and licensed practice come first.</p>\n\
         <pre>{lines}</pre>\n</body></html>\n"
    )
}

/// Files in a zip archive; the same files give the same bytes.
fn archive(files: &[(String, Vec<u8>)]) -> zip::result::ZipResult<Vec<u8>> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default());
    for (name, bytes) in files {
        writer.start_file(name.as_str(), options)?;
        writer.write_all(bytes)?;
    }
    Ok(writer.finish()?.into_inner())
}
