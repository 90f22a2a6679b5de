//! Outputs are complete or absent, and what stood there is never damaged.

use crate::bench::{PROGRAM, copy, errors, fixture, motor_file, names, run, shell};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// A sequence of numbers from 0 to 1, the same every time.
fn chances() -> impl Iterator<Item = f64> {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    std::iter::from_fn(move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        Some((state >> 11) as f64 / (1_u64 << 53) as f64)
    })
}

fn remove_temporary(folder: &Path) {
    for name in names(folder) {
        if name.starts_with(".rundown-") && name.ends_with(".tmp") {
            fs::remove_file(folder.join(name)).unwrap();
        }
    }
}

#[test]
fn a_kill_at_any_instant_leaves_old_or_new_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let table = folder.path().join("table.csv");
    let motor = motor_file().to_str().unwrap();
    let command = |samples: &str| {
        let mut command = Command::new(PROGRAM);
        command
            .args(["export", motor, "--to", "csv", "--force", "--samples"])
            .args([samples, "-o"])
            .arg(&table)
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        command
    };
    assert!(command("900").status().unwrap().success());
    let old = fs::read(&table).unwrap();
    let started = Instant::now();
    assert!(command("1000").status().unwrap().success());
    let whole = started.elapsed();
    let new = fs::read(&table).unwrap();
    assert_ne!(old, new);
    let (mut killed, mut kept) = (0, 0);
    for (k, chance) in chances().take(40).enumerate() {
        let there = k % 2 == 0;
        fs::remove_file(&table).ok();
        if there {
            fs::write(&table, &old).unwrap();
        }
        let mut process = command("1000").spawn().unwrap();
        if k % 4 > 1 {
            // From the moment on at which the temporary file is there.
            while process.try_wait().unwrap().is_none()
                && !names(folder.path()).iter().any(|n| n.ends_with(".tmp"))
            {
                std::thread::sleep(Duration::from_micros(100));
            }
            std::thread::sleep(Duration::from_micros((3000.0 * chance) as u64));
        } else {
            std::thread::sleep(whole.mul_f64(1.1 * chance));
        }
        process.kill().unwrap();
        killed += usize::from(!process.wait().unwrap().success());
        match fs::read(&table) {
            Ok(found) if found == new => {}
            Ok(found) => {
                assert!(there && found == old, "kill {k}: {} bytes", found.len());
                kept += 1;
            }
            Err(error) => assert!(!there, "kill {k}: {error}"),
        }
        remove_temporary(folder.path());
    }
    // Otherwise nothing was tried.
    assert!(killed > 10 && kept > 3, "{killed} killed, {kept} kept");
}

/// Runs `fit` with one output and expects to be told before the captures are read.
fn refused(folder: &Path, flag: &str, output: &str, expected: &str) {
    let sheet = fixture("telescope_focuser/bench.toml");
    let output = run(folder, &["fit", sheet.to_str().unwrap(), flag, output]);
    let told = errors(&output);
    assert_eq!(output.status.code(), Some(2), "{flag}: {told}");
    assert!(told.contains(expected), "{flag}: {told}");
}

#[test]
fn places_that_take_no_file_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::create_dir(at.join("folder")).unwrap();
    fs::write(at.join("protected.json"), "{}").unwrap();
    let mut permissions = fs::metadata(at.join("protected.json"))
        .unwrap()
        .permissions();
    permissions.set_readonly(true);
    fs::set_permissions(at.join("protected.json"), permissions).unwrap();
    assert!(
        Command::new("mkfifo")
            .arg(at.join("pipe"))
            .status()
            .unwrap()
            .success()
    );
    for flag in ["-o", "--report", "--report-data"] {
        refused(at, flag, "none/m.json", "make it first");
        refused(at, flag, "folder", "it is a folder");
        refused(at, flag, &"n".repeat(300), "too long");
        refused(at, flag, "pipe", "pipe");
        refused(at, flag, "/dev/full", "device");
        refused(at, flag, "protected.json", "write-protected");
    }
    let motor = motor_file().to_str().unwrap();
    for (path, expected) in [
        ("none/t.csv", "make it first"),
        ("pipe", "already exists"),
        (motor, "is the motor file"),
    ] {
        let output = run(at, &["export", motor, "--to", "csv", "-o", path]);
        assert_eq!(output.status.code(), Some(2));
        assert!(errors(&output).contains(expected), "{}", errors(&output));
    }
    assert_eq!(names(at), ["folder", "pipe", "protected.json"]);
}

#[test]
fn a_file_that_is_no_output_of_ours_stays_unless_forced() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for bytes in ["notes\n", "{}", "{\"format\": \"other/1\"}", ""] {
        for flag in ["-o", "--report", "--report-data"] {
            fs::write(at.join("file"), bytes).unwrap();
            refused(at, flag, "file", "--force");
            assert_eq!(fs::read_to_string(at.join("file")).unwrap(), bytes);
        }
    }
    // A sparse file of 4 GB is judged without being read.
    let large = fs::File::create(at.join("file")).unwrap();
    large.set_len(4 << 30).unwrap();
    refused(at, "-o", "file", "larger than any");
}

#[test]
fn no_output_replaces_an_input_or_another_output_even_when_forced() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    copy("telescope_focuser", at);
    let before: Vec<Vec<u8>> = names(at)
        .iter()
        .map(|n| fs::read(at.join(n)).unwrap())
        .collect();
    for output in ["bench.toml", "startup.csv.gz", "./startup.csv.gz"] {
        for flag in ["-o", "--report", "--report-data"] {
            let ran = run(at, &["fit", "bench.toml", "--force", flag, output]);
            assert_eq!(ran.status.code(), Some(2));
            assert!(
                errors(&ran).contains("take the place of"),
                "{}",
                errors(&ran)
            );
        }
    }
    let heat = tempfile::tempdir().unwrap();
    copy("heat", heat.path());
    let record = fs::read(heat.path().join("cool_down.csv")).unwrap();
    let ran = run(
        heat.path(),
        &["fit", "bench.toml", "--force", "-o", "cool_down.csv"],
    );
    assert_eq!(ran.status.code(), Some(2), "{}", errors(&ran));
    assert_eq!(fs::read(heat.path().join("cool_down.csv")).unwrap(), record);
    let ran = run(at, &["fit", "bench.toml", "-o", "one", "--report", "./one"]);
    assert!(errors(&ran).contains("two outputs"), "{}", errors(&ran));
    let motor = motor_file();
    fs::copy(motor, at.join("m.json")).unwrap();
    let ran = run(
        at,
        &["export", "m.json", "--to", "c", "--force", "-o", "m.json"],
    );
    assert!(
        errors(&ran).contains("is the motor file"),
        "{}",
        errors(&ran)
    );
    assert_eq!(
        fs::read(at.join("m.json")).unwrap(),
        fs::read(motor).unwrap()
    );
    fs::remove_file(at.join("m.json")).unwrap();
    let after: Vec<Vec<u8>> = names(at)
        .iter()
        .map(|n| fs::read(at.join(n)).unwrap())
        .collect();
    assert_eq!(before, after);
}

#[test]
fn a_full_disk_is_told_and_leaves_what_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let old = fs::read(motor_file()).unwrap();
    fs::write(at.join("m.json"), &old).unwrap();
    let sheet = fixture("telescope_focuser/bench.toml");
    let sheet = sheet.to_str().unwrap();
    // Files of at most 4 blocks of 512 bytes, as on a disk with that much left.
    let script = r#"trap "" XFSZ; ulimit -f 4; exec "$@""#;
    let ran = shell(
        at,
        script,
        &["fit", sheet, "--level", "0.9", "-o", "m.json"],
    );
    assert_eq!(ran.status.code(), Some(2), "{}", errors(&ran));
    assert!(
        errors(&ran).contains("m.json: cannot be written"),
        "{}",
        errors(&ran)
    );
    assert_eq!(fs::read(at.join("m.json")).unwrap(), old);
    let ran = shell(
        at,
        script,
        &["export", "m.json", "--to", "csv", "-o", "t.csv"],
    );
    assert_eq!(ran.status.code(), Some(2), "{}", errors(&ran));
    assert_eq!(names(at), ["m.json"]);
}

#[test]
fn two_runs_at_once_end_with_one_whole_file() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let sheet = fixture("telescope_focuser/bench.toml");
    let runs: Vec<_> = (0..2)
        .map(|_| {
            Command::new(PROGRAM)
                .arg("fit")
                .arg(&sheet)
                .args(["-o", "m.json"])
                .current_dir(at)
                .stdout(Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    for mut run in runs {
        assert!(run.wait().unwrap().success());
    }
    assert_eq!(names(at), ["m.json"]);
    assert_eq!(
        fs::read(at.join("m.json")).unwrap(),
        fs::read(motor_file()).unwrap()
    );
}

#[test]
fn a_standard_output_that_is_full_or_gone_is_no_panic() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let motor = motor_file().to_str().unwrap();
    let capture = fixture("telescope_focuser/startup.csv.gz");
    let capture = capture.to_str().unwrap();
    let commands: [&[&str]; 4] = [
        &["look", capture],
        &["drive", motor, "--supply", "6V"],
        &["export", motor, "--to", "csv"],
        &["verify", motor, "--inputs-only"],
    ];
    for command in commands {
        let full = shell(at, r#"exec "$@" > /dev/full"#, command);
        assert_eq!(full.status.code(), Some(2), "{command:?}");
        assert!(
            errors(&full).contains("standard output"),
            "{}",
            errors(&full)
        );
        let gone = shell(at, r#"("$@"; echo "status $?" >&2) | true"#, command);
        assert!(
            !errors(&gone).contains("status 2"),
            "{command:?}: {}",
            errors(&gone)
        );
        assert!(!errors(&gone).contains("status 101"), "{command:?}");
    }
}
