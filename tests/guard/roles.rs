//! A capture given a wrong role ends soon, with what it shows.

use crate::bench::{errors, fixture, run, text};
use std::time::{Duration, Instant};

#[test]
fn a_capture_of_a_wrong_role_is_refused_soon_and_the_right_one_is_named() {
    for (file, flag, shown) in [
        (
            "ticket_printer/t02_coast.csv.gz",
            "--locked",
            "shows a run-down",
        ),
        (
            "ticket_printer/t02_coast.csv.gz",
            "--steady",
            "shows a run-down",
        ),
        (
            "ticket_printer/t03_brake.csv.gz",
            "--locked",
            "shows a brake",
        ),
        ("ticket_printer/t03_brake.csv.gz", "--pwm", "shows a brake"),
        (
            "ticket_printer/t05_break.csv.gz",
            "--pwm",
            "shows a turn-off",
        ),
        ("floor_scrubber/F0001.csv.gz", "--rundown", "shows a start"),
        (
            "telescope_focuser/held_step.csv.gz",
            "--brake",
            "shows a locked-rotor",
        ),
        (
            "telescope_focuser/steady.csv.gz",
            "--start",
            "shows a steady",
        ),
    ] {
        let path = fixture(file);
        let started = Instant::now();
        let ran = run(
            path.parent().unwrap(),
            &["fit", flag, path.to_str().unwrap(), "--supply", "12V"],
        );
        let told = errors(&ran);
        assert_eq!(ran.status.code(), Some(2), "{file} as {flag}: {told}");
        assert!(told.contains(shown), "{file} as {flag}: {told}");
        assert!(told.contains("--trust-roles"), "{told}");
        assert!(started.elapsed() < Duration::from_secs(20), "{file}");
    }
}

#[test]
fn roles_can_be_trusted_and_import_flags_serve_captures_named_by_flags() {
    let path = fixture("floor_scrubber/F0001.csv.gz");
    let folder = path.parent().unwrap();
    let path = path.to_str().unwrap();
    let ran = run(
        folder,
        &["fit", "--rundown", path, "--supply", "24V", "--trust-roles"],
    );
    assert!(!errors(&ran).contains("shows a start"), "{}", errors(&ran));

    // What the message advises has to be there: time runs back in this record.
    let faulty = fixture("faulty");
    let advised = ["fit", "--start", "time_backwards.csv", "--supply", "12V"];
    let ran = run(&faulty, &advised);
    assert!(
        errors(&ran).contains("--time-gaps split"),
        "{}",
        errors(&ran)
    );
    let ran = run(&faulty, &[&advised[..], &["--time-gaps", "split"]].concat());
    assert_ne!(ran.status.code(), Some(2), "{}", errors(&ran));
    assert!(text(&ran).contains("terminal resistance"), "{}", text(&ran));

    let sheet = fixture("telescope_focuser/bench.toml");
    let ran = run(
        &faulty,
        &["fit", sheet.to_str().unwrap(), "--interval", "1us"],
    );
    assert_eq!(ran.status.code(), Some(2));
    assert!(errors(&ran).contains("[import]"), "{}", errors(&ran));
}
