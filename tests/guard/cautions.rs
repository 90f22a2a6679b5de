//! The cautions stand where the hazard is: README, report, drive, the bench guide, and a fit that advises such a capture.

use crate::bench::{copy, errors, motor_file, run, text};
use std::path::Path;

/// Words by which each of the seven cautions is known, whatever its sentence.
const SEVEN: [&[&str]; 7] = [
    &["overheats in seconds"],
    &["hundreds of volts", "arc"],
    &["weld contacts", "fuse"],
    &["guard the shaft", "eye protection"],
    &[
        "raises its voltage",
        "raises the supply's voltage",
        "voltage rises",
    ],
    &["demagnetise", "weaken the magnets"],
    &["local codes", "rules of your country"],
];

fn missing(page: &str) -> Vec<usize> {
    let page = page
        .to_lowercase()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    (0..SEVEN.len())
        .filter(|k| !SEVEN[*k].iter().any(|words| page.contains(words)))
        .collect()
}

#[test]
fn every_caution_stands_in_readme_guide_report_and_drive() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for page in ["README.md", "docs/bench.md"] {
        let text = std::fs::read_to_string(root.join(page)).unwrap();
        assert_eq!(missing(&text), [0; 0], "{page}");
    }
    let folder = tempfile::tempdir().unwrap();
    copy("telescope_focuser", folder.path());
    let ran = run(
        folder.path(),
        &["fit", "bench.toml", "--report", "page.html"],
    );
    assert!(ran.status.success(), "{}", errors(&ran));
    let page = std::fs::read_to_string(folder.path().join("page.html")).unwrap();
    assert_eq!(missing(&page), [0; 0], "report");
    let motor = motor_file().to_str().unwrap();
    let ran = run(folder.path(), &["drive", motor, "--supply", "3V"]);
    assert_eq!(missing(&text(&ran)), [0; 0], "drive");
}

#[test]
fn a_fit_that_advises_a_locked_rotor_says_what_that_does() {
    let folder = tempfile::tempdir().unwrap();
    copy("telescope_focuser", folder.path());
    let ran = run(
        folder.path(),
        &["fit", "--rundown", "rundown.csv.gz", "--supply", "3V"],
    );
    let told = text(&ran);
    assert!(told.contains("locked"), "{told} {}", errors(&ran));
    assert!(
        told.contains("caution: a locked rotor at full voltage"),
        "{told}"
    );
    assert!(told.contains("caution: local codes"), "{told}");
}
