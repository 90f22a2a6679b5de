//! The unit's library for this machine, where a C compiler is found.

use super::version::FmiVersion;
use std::path::Path;
use std::process::Command;

/// Folder of the unit and name ending of a library for this machine; `None` where the standard has no name for it.
fn place(version: FmiVersion) -> Option<(String, &'static str)> {
    let ending = match std::env::consts::OS {
        "linux" => "so",
        "macos" => "dylib",
        "windows" => "dll",
        _ => return None,
    };
    let folder = match (version, std::env::consts::OS, std::env::consts::ARCH) {
        (FmiVersion::Two, "linux", "x86_64") => "linux64".to_owned(),
        (FmiVersion::Two, "linux", "x86") => "linux32".to_owned(),
        (FmiVersion::Two, "macos", _) => "darwin64".to_owned(),
        (FmiVersion::Two, "windows", "x86_64") => "win64".to_owned(),
        (FmiVersion::Two, "windows", "x86") => "win32".to_owned(),
        (FmiVersion::Two, system, architecture) => format!("{architecture}-{system}"),
        (FmiVersion::Three, "macos", architecture) => format!("{architecture}-darwin"),
        (FmiVersion::Three, system, architecture) => format!("{architecture}-{system}"),
    };
    Some((folder, ending))
}

/// Path inside the unit and bytes of the library.
///
/// # Errors
/// Why there is none, as a clause.
pub(super) fn library(
    source: &str,
    identifier: &str,
    version: FmiVersion,
) -> Result<(String, Vec<u8>), String> {
    let (folder, ending) = place(version)
        .ok_or_else(|| "the standard has no name for this operating system".to_owned())?;
    let work = tempfile::tempdir().map_err(|error| error.to_string())?;
    let (input, output) = (work.path().join("unit.c"), work.path().join("unit.lib"));
    std::fs::write(&input, source).map_err(|error| error.to_string())?;
    compile(&input, &output)?;
    let bytes = std::fs::read(&output).map_err(|error| error.to_string())?;
    Ok((format!("binaries/{folder}/{identifier}.{ending}"), bytes))
}

fn compile(input: &Path, output: &Path) -> Result<(), String> {
    let chosen = std::env::var("CC").ok().filter(|name| !name.is_empty());
    let compilers = match &chosen {
        Some(name) => vec![name.as_str()],
        None => vec!["cc", "gcc", "clang"],
    };
    for compiler in compilers {
        let run = Command::new(compiler)
            .args([
                "-std=c99",
                "-O2",
                "-fPIC",
                "-shared",
                "-fvisibility=hidden",
                "-o",
            ])
            .arg(output)
            .arg(input)
            .arg("-lm")
            .output();
        match run {
            Ok(done) if done.status.success() => return Ok(()),
            Ok(done) => {
                let said = String::from_utf8_lossy(&done.stderr);
                let line = said.lines().next().unwrap_or("no message").to_owned();
                return Err(format!("the C compiler `{compiler}` failed: {line}"));
            }
            Err(_) if chosen.is_none() => {}
            Err(error) => {
                return Err(format!(
                    "the C compiler `{compiler}` of CC cannot be run: {error}"
                ));
            }
        }
    }
    Err("no C compiler is found (cc, gcc, clang); set CC to one".to_owned())
}
