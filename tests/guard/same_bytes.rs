//! The same inputs give the same bytes: on a second run, and whatever the number of threads.

use crate::bench::{PROGRAM, copy, motor_file};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const SHEET: &str = "[sheet]\nname = \"Focuser, as sold\"\nnominal_voltage = \"3 V\"\n\n[claims]\nno_load_speed = { value = \"5000 rpm\", tolerance = \"10 %\" }\nterminal_resistance = { value = \"12 Ohm\", tolerance = \"10 %\" }\n";

/// A file, or all files below a folder, in the order of their names.
fn below(path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() {
        return vec![path.to_owned()];
    }
    let items = fs::read_dir(path).expect("a folder");
    let mut paths: Vec<PathBuf> = items.map(|item| item.expect("an item").path()).collect();
    paths.sort();
    paths.iter().flat_map(|path| below(path)).collect()
}

/// Everything the program puts out, with its name.
fn all(folder: &Path, threads: &str) -> Vec<(String, Vec<u8>)> {
    let mut out = Vec::new();
    let mut run = |arguments: &[&str], files: &[&str]| {
        let ran = Command::new(PROGRAM)
            .env("RAYON_NUM_THREADS", threads)
            .env("POLARS_MAX_THREADS", threads)
            .args(arguments)
            .current_dir(folder)
            .output()
            .expect("the program starts");
        assert_ne!(
            ran.status.code(),
            Some(2),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&ran.stderr)
        );
        out.push((arguments.join(" "), ran.stdout));
        for file in files {
            let written = below(&folder.join(file));
            assert!(!written.is_empty(), "{arguments:?} wrote no {file}");
            for path in written {
                let bytes = fs::read(&path).expect("written");
                out.push((
                    path.strip_prefix(folder).unwrap().display().to_string(),
                    bytes,
                ));
            }
        }
    };
    let outputs = ["m.json", "page.html", "page.json"];
    run(
        &[
            "fit",
            "bench.toml",
            "-o",
            "m.json",
            "--report",
            "page.html",
            "--report-data",
            "page.json",
        ],
        &outputs,
    );
    run(&["fit", "bench.toml", "--json"], &[]);
    run(&["look", "startup.csv.gz", "rundown.csv.gz"], &[]);
    run(&["sheet", ".", "--show"], &[]);
    run(&["claim", "m.json", "vendor.toml"], &[]);
    run(&["claim", "m.json", "vendor.toml", "--json"], &[]);
    run(
        &[
            "drive",
            "m.json",
            "--supply",
            "3V",
            "--current-limit",
            "0.2A",
        ],
        &[],
    );
    run(&["drive", "m.json", "--supply", "3V", "--json"], &[]);
    for format in [
        "spice",
        "spice-half-bridge",
        "modelica",
        "c",
        "python",
        "octave",
        "state-space",
        "csv",
    ] {
        run(&["export", "m.json", "--to", format], &[]);
    }
    run(
        &["export", "m.json", "--to", "csv", "--samples", "500"],
        &[],
    );
    run(&["plot", "m.json", "--to", "pictures"], &["pictures"]);
    run(&["lot", ".", "-o", "results"], &["results"]);
    out
}

#[test]
fn every_output_is_the_same_on_a_second_run_and_for_1_2_and_4_threads() {
    let first = tempfile::tempdir().unwrap();
    let prepare = |folder: &Path| {
        copy("telescope_focuser", folder);
        fs::write(folder.join("vendor.toml"), SHEET).unwrap();
    };
    // A first sheet takes the motor's name from the folder's.
    let folder = |outer: &Path| outer.join("bench");
    prepare(&folder(first.path()));
    let expected = all(&folder(first.path()), "1");
    for threads in ["1", "2", "4"] {
        let other = tempfile::tempdir().unwrap();
        prepare(&folder(other.path()));
        let found = all(&folder(other.path()), threads);
        assert_eq!(
            expected.len(),
            found.len(),
            "outputs with {threads} threads"
        );
        for ((name, bytes), (other, found)) in expected.iter().zip(found) {
            assert_eq!(*name, other);
            assert!(!bytes.is_empty(), "{name} is empty");
            assert!(*bytes == found, "{name} differs with {threads} threads");
        }
    }
}

#[test]
fn the_motor_file_holds_no_clock_and_no_name_of_the_machine() {
    fn keys(value: &Value, found: &mut Vec<String>) {
        match value {
            Value::Object(entries) => {
                for (key, entry) in entries {
                    found.push(key.clone());
                    keys(entry, found);
                }
            }
            Value::Array(entries) => entries.iter().for_each(|entry| keys(entry, found)),
            _ => {}
        }
    }
    let text = fs::read_to_string(motor_file()).unwrap();
    let mut found = Vec::new();
    keys(&serde_json::from_str(&text).unwrap(), &mut found);
    assert!(found.iter().any(|key| key == "sha256"));
    for word in [
        "date",
        "time",
        "timestamp",
        "created",
        "hostname",
        "user",
        "machine",
    ] {
        assert!(!found.iter().any(|key| key == word), "{word}");
    }
}
