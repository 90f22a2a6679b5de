//! What the tests of this folder share.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_rundown");

pub fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name)
}

/// Runs the program in `folder`; whatever is thrown at it, it must not panic.
pub fn run<A: AsRef<OsStr>>(folder: &Path, arguments: &[A]) -> Output {
    let output = Command::new(PROGRAM)
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program starts");
    let told = errors(&output);
    assert!(!told.contains("panicked"), "{told}");
    output
}

/// Runs a shell script in `folder` with the program and the arguments as its `"$@"`.
pub fn shell<A: AsRef<OsStr>>(folder: &Path, script: &str, arguments: &[A]) -> Output {
    let output = Command::new("sh")
        .args(["-c", script, "sh", PROGRAM])
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the shell starts");
    let told = errors(&output);
    assert!(!told.contains("panicked"), "{told}");
    output
}

/// Words of the standard error, its lines joined.
pub fn errors(output: &Output) -> String {
    joined(&output.stderr)
}

/// Words of the standard output, its lines joined.
pub fn text(output: &Output) -> String {
    joined(&output.stdout)
}

fn joined(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A copy of a fixture's folder.
pub fn copy(name: &str, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(fixture(name)).expect("the fixture") {
        let path = entry.expect("an entry").path();
        std::fs::copy(&path, to.join(path.file_name().expect("a name"))).expect("a copy");
    }
}

/// Names in a folder, sorted.
pub fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

/// The motor file of a shipped motor, made once for all tests.
pub fn motor_file() -> &'static Path {
    use std::sync::OnceLock;
    static MADE: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    &MADE
        .get_or_init(|| {
            let folder = tempfile::tempdir().expect("a folder");
            let path = folder.path().join("motor.json");
            let sheet = fixture("telescope_focuser/bench.toml");
            let output = run(
                folder.path(),
                &[
                    OsStr::new("fit"),
                    sheet.as_ref(),
                    "-o".as_ref(),
                    path.as_ref(),
                ],
            );
            assert!(output.status.success(), "{}", errors(&output));
            (folder, path)
        })
        .1
}
