//! The same inputs give the same bytes, whatever the same thread did before: every shipped motor fitted alone and in lots of drawn orders and
//! thread counts, one of them killed on the way and taken up again.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const MOTORS: [&str; 7] = [
    "camera_slider",
    "dosing_pump",
    "floor_scrubber",
    "heat",
    "shaft_and_tables",
    "telescope_focuser",
    "ticket_printer",
];

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_rundown"))
}

fn sheet(motor: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join("fixtures").join(motor).join("bench.toml")
}

/// The motors in an order that belongs to the number (a linear congruential generator draws it).
fn order(mut number: u64) -> Vec<&'static str> {
    let mut left = MOTORS.to_vec();
    let mut out = Vec::new();
    while !left.is_empty() {
        number = number
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        out.push(left.remove((number >> 33) as usize % left.len()));
    }
    out
}

/// Parameters, covariance and what else a motor file says; not where its inputs lie, which is told relative to the file.
fn told(path: &Path) -> String {
    let text = std::fs::read_to_string(path).expect("a motor file");
    let mut file: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let parts = file.as_object_mut().expect("an object");
    assert!(parts.remove("inputs").is_some() && parts.remove("content_sha256").is_some());
    file.to_string()
}

/// Files of a folder of results that end in `.json` and are no records, by the motor's folder.
fn of_lot(results: &Path) -> BTreeMap<String, String> {
    let mut out = BTreeMap::new();
    let parts = std::fs::read_dir(results.join("motors")).expect("a folder of motors");
    for part in parts {
        let files = std::fs::read_dir(part.expect("an item").path()).expect("a folder");
        for path in files.map(|item| item.expect("an item").path()) {
            let name = path.file_name().expect("a name").to_string_lossy();
            // A kill may leave a temporary file behind.
            if let Some((motor, rest)) = name.rsplit_once('-')
                && !name.starts_with('.')
                && !rest.ends_with(".record.json")
            {
                out.insert(motor.replace('-', "_"), told(&path));
            }
        }
    }
    out
}

#[test]
fn order_threads_and_interruptions_change_no_bit() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut alone = BTreeMap::new();
    for motor in MOTORS {
        let path = folder.path().join(format!("{motor}.json"));
        let ran = program()
            .arg("fit")
            .arg(sheet(motor))
            .arg("-o")
            .arg(&path)
            .output()
            .expect("the program runs");
        assert!(ran.status.code() < Some(2), "{motor}");
        alone.insert(motor.to_owned(), told(&path));
    }
    for (number, jobs, killed) in [(1, "1", false), (2, "3", true), (3, "2", false)] {
        let rows: Vec<String> = order(number)
            .iter()
            .map(|motor| sheet(motor).display().to_string())
            .collect();
        let manifest = folder.path().join(format!("{number}.csv"));
        std::fs::write(&manifest, format!("sheet\n{}\n", rows.join("\n"))).expect("written");
        let results = folder.path().join(format!("results{number}"));
        let lot = || {
            let mut command = program();
            command.arg("lot").arg(&manifest).arg("-o").arg(&results);
            command
                .args(["--jobs", jobs])
                .env("RAYON_NUM_THREADS", jobs);
            command.stdout(Stdio::null()).stderr(Stdio::null());
            command
        };
        if killed {
            let mut running = lot().spawn().expect("the program starts");
            // Once two motors are done, or all of them are.
            let begun = Instant::now();
            let done = || std::fs::read_dir(results.join("motors")).map_or(0, Iterator::count);
            while done() < 2 && begun.elapsed() < Duration::from_secs(60) {
                std::thread::sleep(Duration::from_millis(5));
            }
            running.kill().expect("killed, or ended before");
            running.wait().expect("ended");
        }
        let ended = lot().status().expect("the program runs");
        assert!(ended.code() < Some(2), "{ended}");
        assert_eq!(of_lot(&results), alone, "order {number}, {jobs} jobs");
    }
}
