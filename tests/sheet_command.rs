//! `rundown sheet DIR`, run as a person runs it.

use rundown::bench::{LoadOptions, Role, read_sheet};
use std::path::Path;
use std::process::Command;

/// Exit status and both texts of `rundown sheet DIR` with more arguments.
fn sheet_of(dir: &Path, more: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .arg("sheet")
        .arg(dir)
        .args(more)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// A folder with the captures of a public motor, without its sheet and notes.
fn captures_of(motor: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(motor);
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "gz" || e == "csv") {
            std::fs::copy(&path, dir.path().join(path.file_name().unwrap())).unwrap();
        }
    }
    dir
}

fn roles(sheet: &Path) -> Vec<(String, Role)> {
    let bench = read_sheet(sheet, &LoadOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    let mut roles: Vec<(String, Role)> = bench
        .captures
        .iter()
        .map(|c| {
            let file = c.path.file_name().unwrap().to_string_lossy().into_owned();
            (file, c.role)
        })
        .collect();
    roles.sort_by(|a, b| a.0.cmp(&b.0));
    roles
}

/// The roles in the shipped sheets were taken from the notes.
#[test]
fn every_role_and_channel_of_the_five_public_motors_is_guessed() {
    for motor in [
        "camera_slider",
        "dosing_pump",
        "floor_scrubber",
        "telescope_focuser",
        "ticket_printer",
    ] {
        let dir = captures_of(motor);
        assert_eq!(sheet_of(dir.path(), &[]).0, Some(0));
        let sheet = dir.path().join("bench.toml");
        let text = std::fs::read_to_string(&sheet).unwrap();
        if motor == "camera_slider" {
            // Only the person knows the shunt: the sheet asks for it and is refused until it is told.
            let error = read_sheet(&sheet, &LoadOptions::default()).unwrap_err();
            assert!(
                error.text.contains("lacks the key `resistance_ohm`"),
                "{error}"
            );
            let filled = text.replace("# resistance_ohm = 0.05", "resistance_ohm = 0.05");
            assert_ne!(filled, text);
            std::fs::write(&sheet, filled).unwrap();
        }
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures")
            .join(motor)
            .join("bench.toml");
        assert_eq!(roles(&sheet), roles(&shipped), "{motor}\n{text}");
        let (guessed, noted) = (
            read_sheet(&sheet, &LoadOptions::default()).unwrap(),
            read_sheet(&shipped, &LoadOptions::default()).unwrap(),
        );
        for capture in &noted.captures {
            let same = guessed
                .captures
                .iter()
                .find(|c| c.path.file_name() == capture.path.file_name())
                .unwrap();
            assert_eq!(same.waveform.time, capture.waveform.time);
            for (a, b) in [
                (&same.waveform.voltage_v, &capture.waveform.voltage_v),
                (&same.waveform.current_a, &capture.waveform.current_a),
            ] {
                let (a, b) = (a.as_ref().unwrap(), b.as_ref().unwrap());
                // Missing cells are NaN, which equals nothing.
                assert!(
                    a.values
                        .iter()
                        .zip(&b.values)
                        .all(|(a, b)| a == b || a.is_nan() && b.is_nan()),
                    "{motor} {}: other columns or another sign",
                    capture.name
                );
            }
        }
    }
}

#[test]
fn every_guess_carries_a_comment() {
    let dir = captures_of("dosing_pump");
    assert_eq!(sheet_of(dir.path(), &[]).0, Some(0));
    let text = std::fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    for (at, line) in lines.iter().enumerate() {
        let guessed = line.starts_with("role =") || line.starts_with("bits =");
        if guessed || line.starts_with("[channels.") {
            assert!(lines[at - 1].starts_with("# Guess: "), "{line}\n{text}");
            assert!(lines[at - 1].len() > "# Guess: ".len() + 10, "{text}");
        }
    }
    assert_eq!(text.matches("role =").count(), 5);
}

#[test]
fn a_sheet_that_is_there_is_kept_unless_forced() {
    let dir = captures_of("dosing_pump");
    let sheet = dir.path().join("bench.toml");
    std::fs::write(&sheet, "mine").unwrap();
    let (status, _, told) = sheet_of(dir.path(), &[]);
    assert_eq!(status, Some(2));
    let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("is not overwritten. Pass --force"), "{told}");
    assert_eq!(std::fs::read_to_string(&sheet).unwrap(), "mine");
    assert_eq!(sheet_of(dir.path(), &["--force"]).0, Some(0));
    assert!(std::fs::read_to_string(&sheet).unwrap().contains("[motor]"));
    let left: Vec<_> = std::fs::read_dir(dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .filter(|n| n.to_string_lossy().starts_with(".bench"))
        .collect();
    assert!(left.is_empty(), "no temporary file is left: {left:?}");
}

#[test]
fn showing_writes_nothing() {
    let dir = captures_of("dosing_pump");
    let (status, shown, _) = sheet_of(dir.path(), &["--show"]);
    assert_eq!(status, Some(0));
    assert!(shown.contains("[[captures]]"));
    assert!(!dir.path().join("bench.toml").exists());
}

#[test]
fn a_folder_without_captures_says_what_was_looked_for() {
    let dir = tempfile::tempdir().unwrap();
    let (status, _, told) = sheet_of(dir.path(), &[]);
    assert_eq!(status, Some(2));
    assert!(told.contains("no capture could be read"), "{told}");
    assert!(told.contains("csv"), "{told}");
    let (status, _, told) = sheet_of(&dir.path().join("nowhere"), &[]);
    assert_eq!(status, Some(2));
    assert!(told.contains("the folder cannot be listed"), "{told}");
}

#[test]
fn a_file_that_cannot_be_read_is_left_out_and_told() {
    let dir = captures_of("dosing_pump");
    std::fs::write(dir.path().join("empty.csv"), "").unwrap();
    let (status, told, _) = sheet_of(dir.path(), &[]);
    assert_eq!(status, Some(1));
    assert!(told.contains("empty.csv: left out"), "{told}");
    let text = std::fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    assert!(text.contains("# Left out: empty.csv:"), "{text}");
}

/// Copies a file of a fixture into a folder.
fn add(dir: &Path, fixture: &str) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(fixture);
    std::fs::copy(&from, dir.join(from.file_name().unwrap())).unwrap();
}

/// A folder with captures, tables of readings and heat records: the sheet can be read, and what needs a number from the person is a comment.
#[test]
fn tables_of_readings_and_heat_records_are_drafted_as_such() {
    let dir = captures_of("shaft_and_tables");
    for file in [
        "shaft_and_tables/tables/no_load.csv",
        "shaft_and_tables/tables/load_line.csv",
        "shaft_and_tables/tables/held_rotor.csv",
        "shaft_and_tables/tables/impedance.csv",
        "heat/heat_run.csv.gz",
        "heat/cool_down.csv",
    ] {
        add(dir.path(), file);
    }
    let (status, told, _) = sheet_of(dir.path(), &[]);
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("the lever arm of the force"), "{told}");
    let sheet = dir.path().join("bench.toml");
    let bench = read_sheet(&sheet, &LoadOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(bench.captures.len(), 3);
    let tables: Vec<(&str, &str)> = bench
        .tables
        .iter()
        .map(|t| (t.name.as_str(), t.kind.name()))
        .collect();
    let expected = [
        ("impedance", "impedance"),
        ("load_line", "load-line"),
        ("no_load", "no-load"),
    ];
    assert_eq!(tables, expected);
    let text = std::fs::read_to_string(&sheet).unwrap();
    for comment in [
        "# kind = \"held-rotor\"",
        "# kind = \"heat-run\"",
        "# kind = \"cool-down\"",
        "# Not used: column 4 \"CH3 (V)\"",
    ] {
        assert!(text.contains(comment), "{comment}\n{text}");
    }
}

#[test]
fn a_capture_of_another_motor_has_a_warning() {
    let dir = captures_of("dosing_pump");
    add(dir.path(), "ticket_printer/t01_start.csv.gz");
    assert_eq!(sheet_of(dir.path(), &[]).0, Some(0));
    let text = std::fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    let warned: Vec<&str> = text
        .split("[[captures]]")
        .filter(|part| part.contains("another motor"))
        .collect();
    assert_eq!(warned.len(), 1, "{text}");
    assert!(warned[0].contains("t01_start"), "{text}");
}

#[test]
fn a_current_in_another_unit_in_one_file_is_stated_for_that_capture() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["a", "b", "c"] {
        let unit = if name == "c" { "A" } else { "V" };
        let mut text = format!("Time (s),CH1 (V),CH2 ({unit})\n");
        for k in 0..400 {
            let t = 1e-4 * f64::from(k - 40);
            let on = if t >= 0.0 { 1.0 } else { 0.0 };
            let current = on * (0.1 + (-t / 0.01).exp() * (1.0 - (-t / 5e-4).exp()));
            text.push_str(&format!("{t:.5},{:.3},{current:.4}\n", 12.0 * on));
        }
        std::fs::write(dir.path().join(format!("{name}.csv")), text).unwrap();
    }
    assert_eq!(sheet_of(dir.path(), &[]).0, Some(0));
    let text = std::fs::read_to_string(dir.path().join("bench.toml")).unwrap();
    assert_eq!(
        text.matches("current.raw_volts = false").count(),
        1,
        "{text}"
    );
    let filled = text.replace("# resistance_ohm = 0.05", "resistance_ohm = 0.05");
    std::fs::write(dir.path().join("bench.toml"), filled).unwrap();
    let sheet = dir.path().join("bench.toml");
    read_sheet(&sheet, &LoadOptions::default()).unwrap_or_else(|e| panic!("{e}"));
}
