//! Files from others: nothing in them is run, none is read that the user did not name, and results can be verified.

use crate::bench::{PROGRAM, copy, errors, motor_file, run, text};
use rundown::motor_file::{self, Overwrite};
use std::fs;
use std::path::Path;

/// Writes the shared motor file under another motor's name.
fn renamed(to: &Path, name: &str) {
    let mut file = motor_file::read(motor_file()).unwrap();
    if let Some(facts) = &mut file.motor {
        facts.name = name.to_owned();
    }
    for input in &mut file.inputs {
        input.path = format!("@{}", input.path);
    }
    motor_file::write(to, &file, Overwrite::MotorFileOnly).unwrap();
}

#[test]
fn no_cell_of_a_csv_table_is_a_formula_and_numbers_stay_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let names = [
        "=HYPERLINK(\"http://x\",\"y\")",
        "+1+1",
        "-2+3+cmd|' /C calc'!A0",
        "@SUM(A1)",
        "  =1",
        "＝1",
        "plain, with \"quotes\"",
    ];
    let mut files = Vec::new();
    for (k, name) in names.iter().enumerate() {
        let path = at.join(format!("{k}.json"));
        renamed(&path, name);
        files.push(path.to_str().unwrap().to_owned());
    }
    let mut arguments: Vec<&str> = files.iter().map(String::as_str).collect();
    arguments.splice(0..0, ["export", "--to", "csv"]);
    let ran = run(at, &arguments);
    assert!(ran.status.success(), "{}", errors(&ran));
    let mut reader = csv::Reader::from_reader(ran.stdout.as_slice());
    let heads = reader.headers().unwrap().clone();
    let mut rows = 0;
    for (row, name) in reader.records().zip(names) {
        let row = row.unwrap();
        rows += 1;
        let expected = if name.starts_with("plain") {
            name.to_owned()
        } else {
            format!("'{name}")
        };
        assert_eq!(row.get(0), Some(expected.as_str()));
        let mut numbers = 0;
        for (head, cell) in heads.iter().zip(&row) {
            let is_text = head == "motor"
                || head == "what"
                || head == "program"
                || head == "inputs"
                || head.ends_with("_status");
            if is_text {
                let first = cell.trim_start().chars().next();
                assert!(
                    !first.is_some_and(|c| "=+-@".contains(c)),
                    "{head}: {cell:?}"
                );
            } else if !cell.is_empty() {
                cell.parse::<f64>()
                    .unwrap_or_else(|_| panic!("{head}: {cell:?} is no number"));
                numbers += 1;
            }
        }
        assert!(numbers > 20);
        assert!(
            row.iter().any(|cell| cell.starts_with("'@")),
            "the inputs are text too"
        );
    }
    assert_eq!(rows, names.len());
}

#[test]
fn a_name_cannot_end_the_comment_it_stands_in() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    renamed(&at.join("m.json"), "x import os */ int y; .control # z \\");
    for format in ["spice", "modelica", "c", "python", "octave"] {
        let ran = run(at, &["export", "m.json", "--to", format]);
        assert!(ran.status.success(), "{}", errors(&ran));
        for line in String::from_utf8_lossy(&ran.stdout).lines() {
            assert!(!line.starts_with("import os"), "{format}: {line}");
            assert!(!line.contains("import os */"), "{format}: {line}");
            assert!(line.is_ascii(), "{format}: {line}");
        }
    }
}

#[test]
fn control_characters_of_a_capture_do_not_reach_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut rows = String::from("t (s),U\u{1b}]0;owned\u{7} (V),I\u{1b}[2J (A)\n");
    for k in 0..200 {
        rows.push_str(&format!("{}e-4,{}.5,0.1{k}\n", k, k % 3));
    }
    fs::write(at.join("c.csv"), rows).unwrap();
    for arguments in [
        vec!["look", "c.csv"],
        vec!["look", "c.csv", "--json"],
        vec!["fit", "--start", "c.csv"],
    ] {
        let ran = run(at, &arguments);
        let all = text(&ran) + &errors(&ran);
        assert!(all.contains("owned") || arguments[0] == "fit", "{all}");
        assert!(!all.contains(['\u{1b}', '\u{7}']), "{arguments:?}: {all:?}");
    }
}

#[cfg(unix)]
#[test]
fn a_sheet_reads_nothing_outside_its_folder_unless_allowed() {
    let outer = tempfile::tempdir().unwrap();
    let inner = outer.path().join("inner");
    copy("telescope_focuser", &inner);
    fs::rename(
        inner.join("startup.csv.gz"),
        outer.path().join("startup.csv.gz"),
    )
    .unwrap();
    let sheet = fs::read_to_string(inner.join("bench.toml")).unwrap();
    let link = inner.join("link.csv.gz");
    std::os::unix::fs::symlink("../startup.csv.gz", &link).unwrap();
    std::os::unix::fs::symlink("..", inner.join("up")).unwrap();
    let absolute = outer.path().join("startup.csv.gz");
    for name in [
        "../startup.csv.gz",
        "./x/../../startup.csv.gz",
        "link.csv.gz",
        "up/startup.csv.gz",
        "/etc/passwd",
        absolute.to_str().unwrap(),
    ] {
        fs::write(
            inner.join("bench.toml"),
            sheet.replace("startup.csv.gz", name),
        )
        .unwrap();
        let ran = run(&inner, &["fit", "bench.toml"]);
        assert_eq!(ran.status.code(), Some(2), "{name}");
        assert!(
            errors(&ran).contains("--allow-outside"),
            "{name}: {}",
            errors(&ran)
        );
    }
    fs::write(
        inner.join("bench.toml"),
        sheet.replace("startup.csv.gz", "link.csv.gz"),
    )
    .unwrap();
    let ran = run(&inner, &["fit", "bench.toml", "--allow-outside"]);
    assert!(ran.status.success(), "{}", errors(&ran));
}

#[test]
fn a_motor_file_is_verified_and_any_change_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    copy("telescope_focuser", at);
    let ran = run(at, &["fit", "bench.toml", "-o", "m.json", "--level", "0.9"]);
    assert!(ran.status.success(), "{}", errors(&ran));
    let verify = |arguments: &[&str]| {
        let ran = run(at, &[&["verify"], arguments].concat());
        (ran.status.code(), text(&ran) + &errors(&ran))
    };
    let (status, told) = verify(&["m.json"]);
    assert_eq!(status, Some(0), "{told}");
    assert_eq!(told.matches("unchanged").count(), 6, "{told}");
    assert!(told.contains("the same to the last bit"), "{told}");

    // From another folder the inputs are found beside the motor file, or where they are named.
    let elsewhere = tempfile::tempdir().unwrap();
    let path = at.join("m.json");
    let ran = run(elsewhere.path(), &["verify", path.to_str().unwrap()]);
    assert!(ran.status.success(), "{}", text(&ran));
    fs::copy(&path, elsewhere.path().join("m.json")).unwrap();
    let ran = run(elsewhere.path(), &["verify", "m.json"]);
    assert_eq!(ran.status.code(), Some(1));
    assert!(text(&ran).contains("MISSING"), "{}", text(&ran));
    let ran = run(
        elsewhere.path(),
        &["verify", "m.json", "--inputs", at.to_str().unwrap()],
    );
    assert!(ran.status.success(), "{}", text(&ran));

    // A number that was changed by hand, by a tenth of its uncertainty.
    let mut file = motor_file::read(&path).unwrap();
    let changed = file
        .parameters
        .get_mut(&motor_file::ParameterName::TerminalResistance)
        .unwrap();
    let step = 0.1 * changed.standard_uncertainty.unwrap();
    changed.value = changed.value.map(|v| v + step);
    motor_file::write(&at.join("changed.json"), &file, Overwrite::MotorFileOnly).unwrap();
    // Its own SHA-256 shows it, and with that renewed the numbers do.
    assert_eq!(verify(&["changed.json", "--inputs-only"]).0, Some(1));
    file.content_sha256 = Some(file.content_sha256());
    motor_file::write(&at.join("changed.json"), &file, Overwrite::MotorFileOnly).unwrap();
    let (status, told) = verify(&["changed.json"]);
    assert_eq!(status, Some(1), "{told}");
    assert!(
        told.contains("DIFFERS: terminal_resistance.value"),
        "{told}"
    );
    assert_eq!(verify(&["changed.json", "--inputs-only"]).0, Some(0));
    assert_eq!(verify(&["changed.json", "--rounding", "0.2"]).0, Some(0));

    // An input that was changed by one byte: a comment in the sheet.
    let sheet = fs::read_to_string(at.join("bench.toml")).unwrap();
    fs::write(at.join("bench.toml"), sheet + "#").unwrap();
    let (status, told) = verify(&["m.json", "--json"]);
    assert_eq!(status, Some(1));
    let document: serde_json::Value = serde_json::from_str(&told).unwrap();
    assert_eq!(document["inputs"][0]["state"], "changed");
    assert_eq!(document["inputs"][1]["state"], "unchanged");
    assert!(document["numbers"]["error"].is_string());

    // A motor file that names what lies outside.
    file.inputs[1].path = "/etc/passwd".into();
    motor_file::write(&at.join("outside.json"), &file, Overwrite::MotorFileOnly).unwrap();
    let (status, told) = verify(&["outside.json"]);
    assert_eq!(status, Some(1));
    assert!(told.contains("NOT READ"), "{told}");
}

#[test]
fn a_file_made_from_flags_says_that_its_numbers_cannot_be_made_again() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    copy("telescope_focuser", at);
    let ran = run(
        at,
        &[
            "fit",
            "--start",
            "startup.csv.gz",
            "--supply",
            "3V",
            "-o",
            "m.json",
        ],
    );
    assert_ne!(ran.status.code(), Some(2), "{}", errors(&ran));
    let ran = run(at, &["verify", "m.json"]);
    assert_eq!(ran.status.code(), Some(1));
    assert!(
        text(&ran).contains("made from captures named by flags"),
        "{}",
        text(&ran)
    );
    assert_eq!(
        run(at, &["verify", "m.json", "--inputs-only"])
            .status
            .code(),
        Some(0)
    );
}

/// Names that the program takes from shared libraries: those that a relocation asks the loader for, by the ELF format (64 bit,
/// little-endian; System V ABI, chapters 4 and 5). A mere entry in the table of symbols calls nothing: some linkers leave there the names of
/// functions they have dropped.
#[cfg(all(
    target_os = "linux",
    target_pointer_width = "64",
    target_endian = "little"
))]
fn imports() -> std::collections::BTreeSet<String> {
    let bytes = fs::read(PROGRAM).unwrap();
    let number = |at: usize, size: usize| {
        bytes[at..at + size]
            .iter()
            .rev()
            .fold(0_usize, |n, b| (n << 8) | usize::from(*b))
    };
    let (sections, size, count) = (number(0x28, 8), number(0x3a, 2), number(0x3c, 2));
    const RELOCATIONS: usize = 4;
    const DYNAMIC_SYMBOLS: usize = 11;
    let section = |k: usize| sections + k * size;
    let kind = |at: usize| number(at + 4, 4);
    let link = |at: usize| section(number(at + 0x28, 4));
    let extent = |at: usize| (number(at + 0x18, 8), number(at + 0x20, 8));
    let mut names = std::collections::BTreeSet::new();
    for at in (0..count).map(section) {
        if kind(at) != RELOCATIONS || kind(link(at)) != DYNAMIC_SYMBOLS {
            continue;
        }
        let (symbols, _) = extent(link(at));
        let (strings, _) = extent(link(link(at)));
        let (from, length) = extent(at);
        for relocation in (from..from + length).step_by(24) {
            let symbol = symbols + 24 * number(relocation + 12, 4);
            let name = bytes[strings + number(symbol, 4)..].split(|b| *b == 0);
            names.insert(String::from_utf8_lossy(name.into_iter().next().unwrap()).into_owned());
        }
    }
    names
}

/// What the program cannot call it cannot do: no function that opens a connection or asks for a name is among its imports. The page of a watched
/// folder is served on the loopback interface: sockets are opened there, and nowhere else in the sources.
#[cfg(all(
    target_os = "linux",
    target_pointer_width = "64",
    target_endian = "little"
))]
#[test]
fn the_program_cannot_reach_a_network() {
    let imports = imports();
    // A function that the program does call, so that the list is known to be one.
    assert!(imports.contains("listen"), "{imports:?}");
    for name in ["connect", "getaddrinfo", "gethostbyname", "sendto"] {
        assert!(!imports.contains(name), "{name}");
    }
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![sources.clone()];
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder)
            .unwrap()
            .map(|item| item.unwrap().path())
        {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|kind| kind == "rs")
                && !path.starts_with(sources.join("watch"))
            {
                let text = fs::read_to_string(&path).unwrap();
                assert!(!text.contains("std::net"), "{}", path.display());
            }
        }
    }
}
