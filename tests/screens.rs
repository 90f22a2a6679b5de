//! What a person sees: every command within 80 columns in a pipe, the screens as they are meant to be, words of the guide, and advice
//! that names flags which exist.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

const MOTORS: [&str; 5] = [
    "camera_slider",
    "dosing_pump",
    "floor_scrubber",
    "telescope_focuser",
    "ticket_printer",
];
const COMMANDS: [&str; 11] = [
    "look", "sheet", "fit", "next", "lot", "claim", "drive", "export", "verify", "plot", "watch",
];

/// Standard output and standard error of a command run at the top of the repository.
fn shown(arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program runs");
    let text = [output.stdout, output.stderr].concat();
    (
        output.status.code(),
        String::from_utf8(text).expect("UTF-8"),
    )
}

/// Motor files of the shipped motors and what `fit` printed for them.
fn fitted() -> &'static [(PathBuf, String)] {
    static FITTED: OnceLock<(tempfile::TempDir, Vec<(PathBuf, String)>)> = OnceLock::new();
    &FITTED
        .get_or_init(|| {
            let folder = tempfile::tempdir().expect("a folder");
            let fit = |motor: &str| {
                let path = folder.path().join(format!("{motor}.json"));
                let sheet = format!("fixtures/{motor}/bench.toml");
                let (_, text) = shown(&["fit", &sheet, "-o", path.to_str().expect("UTF-8")]);
                (path, text)
            };
            let all = MOTORS.iter().map(|motor| fit(motor)).collect();
            (folder, all)
        })
        .1
}

/// Lines longer than 80 columns; a path that alone is longer has a line of its own.
fn too_wide(text: &str) -> Vec<&str> {
    let wide = |line: &&str| line.chars().count() > 80 && line.split_whitespace().count() > 1;
    text.lines().filter(wide).collect()
}

fn captures(motor: &str) -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(motor);
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("fixtures")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("UTF-8")
        })
        .filter(|name| name.ends_with(".gz") || name.ends_with(".csv"))
        .map(|name| format!("fixtures/{motor}/{name}"))
        .collect();
    names.sort();
    names
}

#[test]
fn no_line_of_any_command_is_wider_than_a_terminal() {
    let mut runs: Vec<Vec<String>> = Vec::new();
    let mut run = |words: &[&str]| runs.push(words.iter().map(|w| (*w).to_owned()).collect());
    for ((path, text), motor) in fitted().iter().zip(MOTORS) {
        assert_eq!(too_wide(text), [""; 0], "fit {motor}");
        let path = path.to_str().expect("UTF-8");
        let sheet = format!("fixtures/{motor}/bench.toml");
        run(&["fit", &sheet, "--details"]);
        run(&["next", &sheet]);
        run(&["next", &sheet, "--details"]);
        run(&["drive", path]);
        run(&["drive", path, "--details"]);
        run(&["verify", path]);
        let files = captures(motor);
        let files: Vec<&str> = files.iter().map(String::as_str).collect();
        run(&[&["look"], &files[..]].concat());
        run(&[&["look", "--details"], &files[..]].concat());
    }
    let faulty = captures("faulty");
    let faulty: Vec<&str> = faulty.iter().map(String::as_str).collect();
    run(&[&["look"], &faulty[..]].concat());
    run(&[
        "next",
        "--supply",
        "24V",
        "--resistance",
        "3.2ohm",
        "--diameter",
        "36mm",
    ]);
    run(&["next", "--supply", "12V", "--details"]);
    for command in COMMANDS {
        run(&[command, "--help"]);
    }
    for arguments in &runs {
        let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
        let (_, text) = shown(&words);
        assert!(!text.is_empty());
        let wide = too_wide(&text);
        assert!(wide.is_empty(), "{words:?}: {wide:#?}");
    }
}

#[test]
fn a_sound_fit_fits_on_one_screen() {
    for ((_, text), motor) in fitted().iter().zip(MOTORS) {
        let lines = text.lines().count();
        assert!((20..=40).contains(&lines), "{motor}: {lines} lines\n{text}");
        assert!(text.contains("result: OK"), "{text}");
    }
}

/// String literals and help texts of a source file outside its tests, with their lines.
fn texts(path: &Path, source: &str) -> Vec<(usize, String)> {
    let end = source.find("#[cfg(test)]").unwrap_or(source.len());
    let in_cli = path.components().any(|c| c.as_os_str() == "cli");
    let mut out = Vec::new();
    for (number, line) in source[..end].lines().enumerate() {
        let code = line.trim_start();
        if let Some(help) = code.strip_prefix("///") {
            if in_cli {
                out.push((number + 1, help.to_owned()));
            }
        } else if !code.starts_with("//") {
            let literals = code.split('"').skip(1).step_by(2);
            out.extend(literals.map(|text| (number + 1, text.to_owned())));
            // A literal over several lines.
            if !code.contains('"') {
                out.push((number + 1, code.to_owned()));
            }
        }
    }
    out
}

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            if path.file_name().is_some_and(|name| name != "tests") {
                sources(&path, out);
            }
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            out.push(path);
        }
    }
}

fn all_texts() -> Vec<(PathBuf, usize, String)> {
    let mut files = Vec::new();
    sources(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    let mut out = Vec::new();
    for path in files {
        let source = std::fs::read_to_string(&path).expect("a source file");
        let found = texts(&path, &source);
        out.extend(
            found
                .into_iter()
                .map(|(line, text)| (path.clone(), line, text)),
        );
    }
    out
}

#[test]
fn texts_keep_to_the_words_of_the_guide() {
    const AVOIDED: [&str; 25] = [
        "in the trade",
        "as the trade",
        "held against",
        "speed anchor",
        "motors drawn",
        "what parts the",
        "stands twice",
        "taken for granted",
        "to make out",
        "by eye",
        "inertia as capacitance",
        "friction current",
        "winding as warm",
        "is no unit known",
        "whole or not at all",
        "is sought",
        "be sought",
        "tells nothing",
        "should not be trusted",
        "result stands",
        "in all doubt",
        "would settle it",
        "taken for speed",
        "stands above",
        "common practice, no source",
    ];
    let mut found = Vec::new();
    for (path, line, text) in all_texts() {
        for avoided in AVOIDED {
            if text.contains(avoided) {
                found.push(format!("{}:{line}: {avoided}: {text}", path.display()));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn every_flag_that_a_text_names_exists() {
    let mut flags: BTreeSet<String> = BTreeSet::new();
    for command in COMMANDS {
        let (status, help) = shown(&[command, "--help"]);
        assert_eq!(status, Some(0));
        for line in help
            .lines()
            .map(str::trim_start)
            .filter(|l| l.starts_with('-'))
        {
            let words = line.split([' ', ',', '[']).filter(|w| w.starts_with("--"));
            flags.extend(words.map(|w| w.trim_end_matches('.').to_owned()));
        }
    }
    assert!(flags.contains("--details") && flags.len() > 60, "{flags:?}");
    let mut unknown = Vec::new();
    for (path, line, text) in all_texts() {
        for (at, _) in text.match_indices("--") {
            let before = text[..at].chars().last();
            let name: String = text[at + 2..]
                .chars()
                .take_while(|c| c.is_ascii_lowercase() || *c == '-')
                .collect();
            if before.is_some_and(|c| !matches!(c, ' ' | '(' | '`' | '\'' | '"' | '{' | ';'))
                || name.len() < 2
                || name.starts_with('-')
            {
                continue;
            }
            let flag = format!("--{}", name.trim_end_matches('-'));
            if !flags.contains(&flag) {
                unknown.push(format!("{}:{line}: {flag}", path.display()));
            }
        }
    }
    assert!(unknown.is_empty(), "{}", unknown.join("\n"));
}

/// Sound and bad input as a person sees them.
#[test]
fn the_screens_are_as_they_are_meant() {
    for (arguments, expected) in SCREENS {
        let words: Vec<&str> = arguments.split(' ').collect();
        let (_, text) = shown(&words);
        assert_eq!(text, expected, "rundown {arguments}\n{text}");
    }
}

const SCREENS: [(&str, &str); 5] = [
    (
        "look fixtures/ticket_printer/t03_brake.csv.gz",
        "\
fixtures/ticket_printer/t03_brake.csv.gz
   brake (0.97); 14000 rows every 5 µs, 70 ms long
   voltage \"CH1\" -12.5 V to 37.3 V, current \"CH2\" -5.664 A to 351.6 mA
   contact opens at -4.045 ms, arc until -4.005 ms, short at -42.48 µs, bounces
     until 1.742 ms, standstill at 54.14 ms
   ripple: current (steady running) 1202.1(4.4) Hz

no warnings; how a file is read: rundown look --details FILE
",
    ),
    (
        "look fixtures/faulty/clipped_current.csv",
        "\
fixtures/faulty/clipped_current.csv
   start (0.97); 1500 rows every 80 µs, 119.9 ms long
   voltage \"CH1 (V)\" 0 V to 12.38 V, current \"CH2 (A)\" -31.2 mA to 1.014 A
   contact closes at -40.64 µs, bounces until 2.48 ms
   ripple: current (start) 508.24(30) Hz
   warning: the current clips at 1.01 A for 193 samples: the true peak is
     higher, so resistance and inductance would come out too large; these
     samples are left out. Use a larger scale per division

1 warning; how a file is read: rundown look --details FILE
",
    ),
    (
        "look fixtures/faulty/time_backwards.csv",
        "\
error: fixtures/faulty/time_backwards.csv:701: time goes back from
  0.04632 s to 0.04624 s (1 place). Export the record again, or pass
  --time-gaps split to keep its longest increasing stretch
",
    ),
    (
        "next --supply 24V --resistance 3.2ohm --diameter 36mm --length 57mm",
        "\
first captures of the motor at 24 V; ranges in brackets are guesses
missing: no tachometer (--tachometer if you have one): the speed, and with it K,
  inertia and friction in mechanical units, has to come from the ripple of the
  run-down; count the commutator segments if a slot allows (--segments N)

inrush      7.5 A (guess 7.14 to 10.7 A), at every start
shunt       50 mΩ, 1.6 % of R: 375 mV and 2.81 W at the inrush
fuse        2 A time-lag in the plus lead; protects the wiring, not the winding
supply      isolated, current limit 13.9 A or more for starts
held rotor  at most 6 V and 1 s, then let it cool

 1  start from rest at 24 V (role = \"start\"; docs/bench.md 7.1)
    CH1 5 V/div, CH2 2 A/div (100 mV/div across the shunt), 20 ms/div, 200 kS/s,
      single shot, rising current through 750 mA (falling edge where CH2 reads
      −i)
    a good record: flat zero of both channels before the step; a rise within a
      few L/R, then a fall to a small steady current

 2  run-down, terminals open at 24 V (role = \"run-down\"; docs/bench.md 7.2)
    CH1 5 V/div, CH2 500 mA/div (50 mV/div across the shunt), 100 ms/div,
      100 kS/s, single shot, falling voltage through 20.5 V
    a good record: a smooth fall that bends little, to the very end and half a
      second beyond; ripple on it is wanted: it gives the speed

 3  brake at 24 V (role = \"brake\"; docs/bench.md 7.3)
    CH1 5 V/div, CH2 2 A/div (100 mV/div across the shunt), 20 ms/div, 200 kS/s,
      single shot, falling current through -712 mA (rising edge where CH2 reads
      −i)
    a good record: a few milliseconds of open-terminal voltage, then a current
      peak the other way and a fall to zero

 4  step onto the held rotor at 6 V (role = \"locked-rotor\"; docs/bench.md 7.4)
    CH1 1 V/div, CH2 500 mA/div (50 mV/div across the shunt), 10 ms/div,
      500 kS/s, single shot, rising current through 188 mA (falling edge where
      CH2 reads −i)
    a good record: one smooth rise to a flat top; a sag or swing after it: the
      rotor creeps, clamp it better

caution: a locked rotor at full voltage overheats in seconds: limit voltage and
  time; clamp the motor, guard the shaft, wear eye protection; opening an
  inductive circuit makes hundreds of volts and an arc: clamp it; inrush and
  braking currents of tens to hundreds of amperes weld contacts and burn
  fingers: fuse; local codes and licensed practice come first
Remove any capacitor, choke or varistor at the motor's terminals, or state it in
  the sheet.
Then: rundown look FILES, rundown sheet FOLDER, rundown fit. Wiring and limits:
  --details
",
    ),
    (
        "fit nothing.toml",
        "\
error: nothing.toml: the bench sheet cannot be read: No such file or directory
  (os error 2)
",
    ),
];
