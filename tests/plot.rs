//! `rundown plot`, run as a person runs it: all there, some of it gone, nothing but the motor file, and names that try to break out.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

const HOSTILE: &str = "</text><script>alert(1)</script>&\"'";

/// A folder with the ticket printer's captures, its sheet under a hostile name, and the motor file of its fit.
static FITTED: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/ticket_printer");
    for entry in std::fs::read_dir(&source).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "gz") {
            std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
        }
    }
    let sheet = std::fs::read_to_string(source.join("bench.toml")).unwrap();
    let hostile = sheet
        .replace("Ticket printer feed motor", "X<script>alert(2)</script>")
        .replace(
            "name = \"start\"",
            &format!("name = {}", serde_json::to_string(HOSTILE).unwrap()),
        );
    std::fs::write(folder.path().join("bench.toml"), hostile).unwrap();
    let fitted = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder.path())
        .args(["fit", "bench.toml", "-o", "motor.json"])
        .output()
        .unwrap();
    assert!(fitted.status.success(), "{fitted:?}");
    folder
});

/// A copy of that folder without the files named.
fn copy_without(absent: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(FITTED.path()).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        if path.is_file() && !absent.contains(&name.as_str()) {
            std::fs::copy(&path, folder.path().join(name)).unwrap();
        }
    }
    folder
}

fn plot(folder: &Path, extra: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder)
        .args(["plot", "motor.json", "--to", "pictures"])
        .args(extra)
        .output()
        .unwrap();
    (
        output.status.code(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder.join("pictures"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn svgs(folder: &Path) -> Vec<(PathBuf, String)> {
    names(folder)
        .iter()
        .filter(|name| name.ends_with(".svg"))
        .map(|name| {
            let path = folder.join("pictures").join(name);
            let text = std::fs::read_to_string(&path).unwrap();
            (path, text)
        })
        .collect()
}

#[test]
fn every_capture_is_drawn_with_its_model_when_the_records_are_there() {
    let folder = copy_without(&[]);
    let (status, printed, told) = plot(folder.path(), &[]);
    assert_eq!((status, told.as_str()), (Some(0), ""), "{printed}");
    let names = names(folder.path());
    for wanted in [
        "parameters",
        "budget",
        "torque_speed",
        "efficiency_map",
        "capture_coast",
        "capture_brake",
        "ripple_coast",
    ] {
        for ending in ["svg", "png"] {
            assert!(
                names.contains(&format!("{wanted}.{ending}")),
                "{wanted}: {names:?}"
            );
        }
    }
    assert_eq!(
        names.iter().filter(|n| n.starts_with("capture_")).count(),
        10
    );
    assert!(
        printed.contains(&format!("{} files", names.len())),
        "{printed}"
    );
    let coast = std::fs::read_to_string(folder.path().join("pictures/capture_coast.svg")).unwrap();
    assert!(coast.contains("\nmodel\n") && coast.contains("\nresidual of the voltage\n"));
    // Once more over its own pictures, byte for byte the same.
    let (status, ..) = plot(folder.path(), &[]);
    assert_eq!(status, Some(0));
    let again = std::fs::read_to_string(folder.path().join("pictures/capture_coast.svg")).unwrap();
    assert_eq!(coast, again);
}

#[test]
fn names_from_files_open_no_element_and_make_no_path() {
    let folder = copy_without(&[]);
    let (status, ..) = plot(folder.path(), &["--format", "svg"]);
    assert_eq!(status, Some(0));
    let pictures = svgs(folder.path());
    assert!(pictures.len() > 8);
    for (path, text) in &pictures {
        assert!(!text.contains("<script"), "{}", path.display());
        assert_eq!(text.matches("<svg").count(), 1, "{}", path.display());
        assert!(text.len() < 600_000, "{}: {}", path.display(), text.len());
        let name = path.file_stem().unwrap().to_str().unwrap();
        assert!(
            name.chars()
                .all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-'),
            "{name}"
        );
    }
    assert!(
        pictures
            .iter()
            .any(|p| p.1.contains("&lt;script&gt;alert(1)"))
    );
    assert!(names(folder.path()).iter().all(|n| n.ends_with(".svg")));
}

#[test]
fn a_capture_that_is_gone_or_changed_is_told_and_the_others_are_drawn_without_a_model() {
    let folder = copy_without(&["t03_brake.csv.gz"]);
    std::fs::write(folder.path().join("t02_coast.csv.gz"), "other bytes").unwrap();
    let (status, _, told) = plot(folder.path(), &["--format", "svg"]);
    assert_eq!(status, Some(1));
    assert!(told.contains("t03_brake.csv.gz: cannot be read"), "{told}");
    assert!(
        told.contains("t02_coast.csv.gz: has changed since the fit"),
        "{told}"
    );
    assert!(told.contains("without model"), "{told}");
    let names = names(folder.path());
    assert!(
        names.contains(&"capture_locked.svg".to_owned()),
        "{names:?}"
    );
    assert!(
        !names
            .iter()
            .any(|n| n.contains("coast") || n.contains("brake")),
        "{names:?}"
    );
    let locked =
        std::fs::read_to_string(folder.path().join("pictures/capture_locked.svg")).unwrap();
    assert!(!locked.contains("\nmodel\n") && locked.contains("no model is drawn"));
}

#[test]
fn a_motor_file_alone_still_gives_its_own_pictures() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(
        FITTED.path().join("motor.json"),
        folder.path().join("motor.json"),
    )
    .unwrap();
    let (status, _, told) = plot(folder.path(), &["--format", "svg"]);
    assert_eq!(status, Some(1));
    assert!(
        told.contains("bench.toml was not found") && told.contains("--bench"),
        "{told}"
    );
    assert_eq!(
        names(folder.path()),
        [
            "budget.svg",
            "efficiency_map.svg",
            "parameters.svg",
            "torque_speed.svg"
        ]
    );
    // Named, it is found again.
    let sheet = FITTED.path().join("bench.toml");
    let (status, ..) = plot(
        folder.path(),
        &["--format", "svg", "--bench", sheet.to_str().unwrap()],
    );
    assert_eq!(status, Some(0));
    // Another sheet is none.
    std::fs::write(folder.path().join("other.toml"), "[motor]\nname = \"y\"\n").unwrap();
    let (status, _, told) = plot(folder.path(), &["--format", "svg", "--bench", "other.toml"]);
    assert_eq!(status, Some(1));
    assert!(
        told.contains("other.toml: not the bench sheet of this motor file"),
        "{told}"
    );
}

#[test]
fn a_file_that_is_no_picture_of_ours_is_not_replaced_and_nothing_is_written_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(
        FITTED.path().join("motor.json"),
        folder.path().join("motor.json"),
    )
    .unwrap();
    let pictures = folder.path().join("pictures");
    std::fs::create_dir(&pictures).unwrap();
    std::fs::write(pictures.join("budget.svg"), "<svg>mine</svg>").unwrap();
    let (status, _, told) = plot(folder.path(), &[]);
    assert_eq!(status, Some(2));
    assert!(
        told.contains("budget.svg: a file is there that is no picture of this program"),
        "{told}"
    );
    assert_eq!(names(folder.path()), ["budget.svg"]);
    let (status, ..) = plot(folder.path(), &["--force"]);
    assert_eq!(status, Some(1));
    let text = std::fs::read_to_string(pictures.join("budget.svg")).unwrap();
    assert!(text.contains("<metadata>rundown plot"));
    // A PNG of somebody else's under our name.
    std::fs::write(pictures.join("budget.png"), b"\x89PNG\r\n\x1a\nmine").unwrap();
    assert_eq!(plot(folder.path(), &[]).0, Some(2));
    // A file where the folder should be.
    std::fs::write(folder.path().join("file"), "x").unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder.path())
        .args(["plot", "motor.json", "--to", "file"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn a_pipe_gets_no_plot_of_dots() {
    let folder = copy_without(&[]);
    for arguments in [vec!["look", "t01_start.csv.gz"], vec!["fit", "bench.toml"]] {
        let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
            .current_dir(folder.path())
            .args(&arguments)
            .output()
            .unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(
            !text.chars().any(|c| ('\u{2800}'..='\u{28ff}').contains(&c)),
            "{arguments:?}"
        );
        assert!(output.stderr.is_empty(), "{arguments:?}");
    }
}
