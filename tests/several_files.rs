//! One event in several files, a channel each: joined in a sheet, found by `look` and `sheet`.

use rundown::bench::{LoadOptions, read_sheet};
use rundown::capture::{ReadOptions, TimeAxis, read_joined};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A file of one channel: `row` gives its value, at `start` + k * `step`.
fn write(
    folder: &Path,
    name: &str,
    title: &str,
    axis: (f64, f64, usize),
    row: fn(f64) -> f64,
) -> PathBuf {
    let (start, step, rows) = axis;
    let lines: String = (0..rows)
        .map(|k| {
            let t = start + k as f64 * step;
            format!("{t:.7},{:.4}\n", row(t))
        })
        .collect();
    let path = folder.join(name);
    std::fs::write(&path, format!("Time (s),{title}\n{lines}")).expect("written");
    path
}

fn voltage(t: f64) -> f64 {
    if t < 0.0 { 0.0 } else { 12.0 }
}

fn current(t: f64) -> f64 {
    if t < 0.0 {
        0.0
    } else {
        0.2 + 2.0 * (1.0 - (-t / 5e-4).exp()) * (-t / 8e-3).exp()
    }
}

/// Grows with time, so that a value tells its time.
fn ramp(t: f64) -> f64 {
    1e3 * t
}

#[test]
fn channels_of_equal_times_are_put_side_by_side() {
    let folder = tempfile::tempdir().expect("a folder");
    let axis = (-0.005, 1e-4, 400);
    let files = [
        write(folder.path(), "start_CH1.csv", "Ampl (V)", axis, voltage),
        write(folder.path(), "start_CH2.csv", "Ampl (A)", axis, current),
    ];
    let record = read_joined(&files, &ReadOptions::default()).expect("a record");
    let found: Vec<(&str, usize, Option<&str>)> = record
        .channels
        .iter()
        .map(|c| (c.name.as_str(), c.column, c.unit.as_deref()))
        .collect();
    assert_eq!(
        found,
        [
            ("ch1 Ampl (V)", 2, Some("V")),
            ("ch2 Ampl (A)", 4, Some("A"))
        ]
    );
    assert!(record.warnings.is_empty(), "{:?}", record.warnings);
    assert_eq!(record.parts.len(), 1);
}

#[test]
fn differing_times_are_aligned_and_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let one = write(
        folder.path(),
        "a_CH1.csv",
        "one (V)",
        (-0.005, 1e-4, 400),
        ramp,
    );
    // Beginning later, on the same grid; then on another grid.
    for (start, step, rows, begin) in [
        (-0.002, 1e-4, 300, -0.002),
        (-0.00195, 2.5e-4, 150, -0.0019),
    ] {
        let two = write(
            folder.path(),
            "a_CH2.csv",
            "two (A)",
            (start, step, rows),
            ramp,
        );
        let record = read_joined(&[one.clone(), two], &ReadOptions::default()).expect("a record");
        let kinds: Vec<String> = record.warnings.iter().map(|w| w.kind.code()).collect();
        assert_eq!(kinds, ["times-aligned"]);
        let TimeAxis::Uniform { start_s, .. } = record.time else {
            panic!("{:?}", record.time);
        };
        assert!((start_s - begin).abs() < 1e-9, "{start_s}");
        for (a, b) in record.channels[0]
            .values
            .iter()
            .zip(&record.channels[1].values)
        {
            assert!((a - b).abs() < 1e-3, "{a} {b}");
        }
    }
    let apart = write(
        folder.path(),
        "b_CH2.csv",
        "two (A)",
        (1.0, 1e-4, 100),
        ramp,
    );
    let error = read_joined(&[one, apart], &ReadOptions::default()).expect_err("no overlap");
    assert!(error.text().contains("do not overlap"), "{error}");
}

#[test]
fn a_sheet_names_both_files_of_a_capture() {
    let folder = tempfile::tempdir().expect("a folder");
    let axis = (-0.005, 1e-4, 400);
    write(folder.path(), "start_CH1.csv", "Ampl (V)", axis, voltage);
    write(folder.path(), "start_CH2.csv", "Ampl (A)", axis, current);
    let sheet = |file: &str| {
        let text = format!(
            "[motor]\nname = \"m\"\n\n[instruments.scope]\nkind = \"oscilloscope\"\nbits = 8\n\n[channels.voltage]\nmeasures = \"voltage\"\nthrough = [\"scope\"]\n\n[channels.current]\nmeasures = \"current\"\nthrough = [\"scope\"]\n\n[[captures]]\nrole = \"start\"\nfile = {file}\n"
        );
        let path = folder.path().join("bench.toml");
        std::fs::write(&path, text).expect("written");
        read_sheet(&path, &LoadOptions::default())
    };
    let bench = sheet("[\"start_CH1.csv\", \"start_CH2.csv\"]").expect("a bench");
    let capture = &bench.captures[0];
    assert!(capture.waveform.voltage_v.is_some() && capture.waveform.current_a.is_some());
    assert_eq!(capture.further_files.len(), 1);
    assert_eq!(
        capture.further_files[0].0.file_name().unwrap(),
        "start_CH2.csv"
    );
    for (file, part) in [
        ("[\"start_CH1.csv\", \"start_CH1.csv\"]", "twice"),
        ("[\"start_CH1.csv\", \"../start_CH2.csv\"]", "start_CH2.csv"),
        ("[]", "file"),
    ] {
        let error = sheet(file).expect_err(file);
        assert!(error.to_string().contains(part), "{error}");
    }
}

#[test]
fn look_and_sheet_find_the_files_of_one_event() {
    let folder = tempfile::tempdir().expect("a folder");
    let axis = (-0.005, 1e-4, 400);
    write(folder.path(), "start_CH1.csv", "Ampl (V)", axis, voltage);
    write(folder.path(), "start_CH2.csv", "Ampl (A)", axis, current);
    let run = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .expect("the program runs");
        String::from_utf8(output.stdout).expect("UTF-8")
    };
    let text = run(&["look", "start_CH1.csv", "start_CH2.csv"]);
    assert!(
        text.starts_with("start_CH1.csv with start_CH2.csv\n"),
        "{text}"
    );
    assert!(text.contains("current \"ch2 Ampl (A)\""), "{text}");
    let text = run(&["sheet", ".", "--show"]);
    assert!(
        text.contains("file = [\"start_CH1.csv\", \"start_CH2.csv\"]"),
        "{text}"
    );
}
