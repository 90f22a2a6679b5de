//! The real `rundown fit` on the shipped motors: what it writes keeps to the published schema and is read back exactly.

mod schema;
#[cfg(target_os = "linux")]
mod signals;

use rundown::motor_file;
use std::path::{Path, PathBuf};
use std::process::Command;

const MOTORS: [&str; 5] = [
    "camera_slider",
    "dosing_pump",
    "floor_scrubber",
    "telescope_focuser",
    "ticket_printer",
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn fit(motor: &str, output: &Path) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_rundown"))
        .arg("fit")
        .arg(root().join("fixtures").join(motor).join("bench.toml"))
        .arg("-o")
        .arg(output)
        .output()
        .expect("the program starts")
}

#[test]
fn every_shipped_motor_gives_a_file_that_keeps_to_the_schema_and_reads_back_exactly() {
    let mut written = Vec::new();
    let folder = tempfile::tempdir().expect("a temporary folder");
    for motor in MOTORS {
        let path = folder.path().join(format!("{motor}.json"));
        let ran = fit(motor, &path);
        assert_eq!(
            ran.status.code(),
            Some(0),
            "{motor}: {}",
            String::from_utf8_lossy(&ran.stderr)
        );
        let text = std::fs::read_to_string(&path).expect("the motor file is there");
        written.push(serde_json::from_str(&text).expect("the motor file is JSON"));
        let file = motor_file::read(&path).expect("the motor file is read back");
        assert_eq!(
            motor_file::to_text(&path, &file).expect("it is written again"),
            text,
            "{motor}"
        );
        assert_eq!(
            file.inputs.len(),
            6,
            "{motor}: the sheet and five captures are its provenance"
        );
    }
    for (motor, faults) in MOTORS.iter().zip(schema::faults(&written)) {
        assert!(faults.is_empty(), "{motor}: {faults:?}");
    }
}

#[test]
fn the_same_captures_give_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let run = |name: &str, threads: &str| {
        let path = folder.path().join(name);
        let status = Command::new(env!("CARGO_BIN_EXE_rundown"))
            .env("RAYON_NUM_THREADS", threads)
            .arg("fit")
            .arg(root().join("fixtures/telescope_focuser/bench.toml"))
            .arg("-o")
            .arg(&path)
            .output()
            .expect("the program starts")
            .status;
        assert!(status.success());
        std::fs::read(&path).expect("the motor file is there")
    };
    assert_eq!(run("one.json", "1"), run("two.json", "2"));
}

#[cfg(target_os = "linux")]
#[test]
fn an_interrupt_ends_a_fit_without_any_output() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let captures = root().join("fixtures/ticket_printer");
    let mut command = Command::new(env!("CARGO_BIN_EXE_rundown"));
    command.arg("fit").current_dir(folder.path());
    // Many captures, so that it lasts.
    for _ in 0..8 {
        command
            .arg("--start")
            .arg(captures.join("t01_start.csv.gz"));
        command
            .arg("--rundown")
            .arg(captures.join("t02_coast.csv.gz"));
        command
            .arg("--brake")
            .arg(captures.join("t03_brake.csv.gz"));
    }
    let running = command
        .args(["-o", "motor.json", "--report", "page.html"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("the program starts");
    signals::interrupt(&running);
    let ran = running.wait_with_output().expect("the program ends");
    let errors = String::from_utf8_lossy(&ran.stderr);
    assert_eq!(ran.status.code(), Some(2), "{errors}");
    assert_eq!(
        errors.split_whitespace().collect::<Vec<_>>().join(" "),
        "error: interrupted before the fit had ended: there is no result, and nothing is written"
    );
    assert!(ran.stdout.is_empty());
    let written = std::fs::read_dir(folder.path()).expect("a folder").count();
    assert_eq!(written, 0);
}
