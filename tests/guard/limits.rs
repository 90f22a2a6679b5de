//! Hostile inputs end with a clear message, within 1.5 GB of address space and a few seconds.

use crate::bench::{copy, errors, fixture, motor_file, run, shell, text};
use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};
use std::time::{Duration, Instant};

/// Runs with the address space cut to 1.5 GB.
fn bounded(folder: &Path, arguments: &[&str]) -> Output {
    let started = Instant::now();
    let ran = shell(folder, r#"ulimit -v 1500000; exec "$@""#, arguments);
    let took = started.elapsed();
    assert!(
        took < Duration::from_secs(30),
        "{arguments:?} took {took:?}"
    );
    ran
}

/// Expects status 2 and words in the message.
fn refused(folder: &Path, arguments: &[&str], expected: &str) {
    let ran = bounded(folder, arguments);
    let told = errors(&ran);
    assert_eq!(ran.status.code(), Some(2), "{arguments:?}: {told}");
    assert!(told.contains(expected), "{arguments:?}: {told}");
    assert!(
        told.len() < 4000,
        "{arguments:?} tells {} bytes",
        told.len()
    );
}

/// A sparse file that begins with some text.
fn sparse(path: &Path, head: &str, bytes: u64) {
    let mut file = File::create(path).unwrap();
    file.write_all(head.as_bytes()).unwrap();
    file.set_len(bytes).unwrap();
}

fn packed(path: &Path, line: &str, lines: usize) {
    let block = line.repeat(1000);
    let file = File::create(path).unwrap();
    let mut packer = flate2::write::GzEncoder::new(file, flate2::Compression::best());
    let rows: String = (0..2000)
        .map(|k| format!("{k}e-3,1.5,{}\n", k % 7))
        .collect();
    packer.write_all(b"t (s),U (V),I (A)\n").unwrap();
    packer.write_all(rows.as_bytes()).unwrap();
    for _ in 0..lines / 1000 {
        packer.write_all(block.as_bytes()).unwrap();
    }
    packer.finish().unwrap();
}

#[test]
fn what_is_no_regular_file_is_told_and_not_read() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::create_dir(at.join("folder")).unwrap();
    assert!(
        Command::new("mkfifo")
            .arg(at.join("pipe"))
            .status()
            .unwrap()
            .success()
    );
    let motor = motor_file().to_str().unwrap();
    for (path, expected) in [
        ("folder", "director"),
        ("pipe", "pipe"),
        ("/dev/zero", "device"),
    ] {
        refused(at, &["look", path], expected);
        refused(at, &["fit", "--start", path], expected);
    }
    for (path, expected) in [
        ("folder", "folder"),
        ("pipe", "pipe"),
        ("/dev/zero", "device"),
    ] {
        refused(at, &["fit", path], expected);
        refused(at, &["claim", motor, path], expected);
        refused(at, &["claim", path, path], expected);
        refused(at, &["drive", path, "--supply", "3V"], expected);
        refused(at, &["export", path, "--to", "csv"], expected);
        refused(at, &["verify", path], expected);
    }
    for path in ["pipe", "/dev/zero"] {
        refused(at, &["lot", path, "-o", "results"], "no regular file");
    }
    // A sheet that names them.
    let sheet = fs::read_to_string(fixture("telescope_focuser/bench.toml")).unwrap();
    copy("telescope_focuser", at);
    for (path, expected) in [("folder", "director"), ("pipe", "pipe")] {
        fs::write(at.join("bench.toml"), sheet.replace("startup.csv.gz", path)).unwrap();
        refused(at, &["fit", "bench.toml"], expected);
    }
}

#[test]
fn huge_files_are_told_without_being_kept() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let motor = motor_file().to_str().unwrap();
    sparse(&at.join("zeros"), "", 4 << 30);
    refused(at, &["look", "zeros"], "not text");
    sparse(
        &at.join("head"),
        &format!("t,v\n{}", "0.1,2\n".repeat(2000)),
        4 << 30,
    );
    refused(
        at,
        &["look", "head"],
        "head:2002: the text contains a zero byte",
    );
    sparse(&at.join("sheet.toml"), "[motor]\nname = \"x\"\n", 4 << 30);
    refused(at, &["fit", "sheet.toml"], "larger than the 1048576 bytes");
    refused(
        at,
        &["claim", motor, "sheet.toml"],
        "larger than the 1048576 bytes",
    );
    sparse(&at.join("lot.csv"), "sheet\na/bench.toml\n", 4 << 30);
    let ran = bounded(at, &["lot", "lot.csv", "-o", "results"]);
    assert_ne!(ran.status.code(), Some(0), "{}", text(&ran));
    let told = errors(&ran);
    assert!(told.contains("line 3 is longer than"), "{told}");
    sparse(&at.join("m.json"), "{", 4 << 30);
    for command in ["drive", "verify"] {
        refused(at, &[command, "m.json"], "larger than the 8388608 bytes");
    }
}

#[test]
fn a_packed_file_that_unpacks_to_far_too_much_is_stopped_and_can_be_let_through() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    packed(&at.join("rows.csv.gz"), "1e-3,12.000,0.500\n", 6_000_000);
    packed(&at.join("blank.csv.gz"), "\n", 100_000_000);
    for file in ["rows.csv.gz", "blank.csv.gz"] {
        refused(at, &["look", file], "--max-unpack-ratio");
    }
    let flags = ["look", "blank.csv.gz", "--max-unpack-ratio", "2000"];
    let ran = bounded(at, &flags);
    assert!(
        text(&ran).contains("2000 rows"),
        "{} {}",
        text(&ran),
        errors(&ran)
    );
    refused(
        at,
        &[&flags[..], &["--max-text-bytes", "1000000"]].concat(),
        "more than 1000000 bytes of text",
    );
}

#[test]
fn long_lines_many_columns_and_many_numbers_are_told_with_the_flag_that_raises_the_bound() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("line.csv"), "1".repeat(64 << 20)).unwrap();
    refused(
        at,
        &["look", "line.csv"],
        "line.csv:1: the line is longer than 1048576 bytes",
    );
    fs::write(
        at.join("late.csv"),
        format!("t,v\n{}{}", "0.5,1\n".repeat(50), "7".repeat(2 << 20)),
    )
    .unwrap();
    refused(at, &["look", "late.csv"], "late.csv:52: the line is longer");
    let row = |cells: usize| format!("{}\n", vec!["1"; cells].join(","));
    fs::write(at.join("wide.csv"), row(500_000).repeat(3)).unwrap();
    refused(at, &["look", "wide.csv"], "--max-columns");
    fs::write(at.join("wider.csv"), row(1_000_000).repeat(3)).unwrap();
    refused(at, &["look", "wider.csv"], "--max-line-bytes");
    refused(
        at,
        &["look", "wider.csv", "--max-line-bytes", "4000000"],
        "--max-columns",
    );
    fs::write(
        at.join("long.csv"),
        "t,v\n".to_owned() + &"0.1,2\n".repeat(5000),
    )
    .unwrap();
    refused(
        at,
        &["look", "long.csv", "--max-numbers", "5000"],
        "--max-numbers",
    );
    // In a sheet the same bounds are keys.
    copy("telescope_focuser", at);
    let sheet = fs::read_to_string(at.join("bench.toml")).unwrap();
    for (key, expected) in [
        ("max_numbers = 100", "more than 100 numbers"),
        ("max_columns = 1", "at most 1 are read"),
        ("max_line_bytes = 5", "longer than 5 bytes"),
        ("max_text_bytes = 3000", "more than 3000 bytes"),
    ] {
        fs::write(at.join("bench.toml"), format!("[import]\n{key}\n\n{sheet}")).unwrap();
        refused(at, &["fit", "bench.toml"], expected);
    }
}

#[test]
fn a_preamble_of_a_hundred_thousand_channels_ends_soon() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut lines = String::new();
    for k in 0..100_000 {
        lines.push_str(&format!("Channel {k} scale,{k}e-3,V\n"));
    }
    fs::write(at.join("below.csv"), format!("{lines}t,v\n0,1\n1,2\n2,3\n")).unwrap();
    let ran = bounded(at, &["look", "below.csv"]);
    assert!(
        ran.status.code().is_some_and(|c| c <= 2),
        "{}",
        errors(&ran)
    );
    let cells: Vec<String> = (0..40_000).map(|k| format!("Channel {k}")).collect();
    fs::write(
        at.join("beside.csv"),
        format!(
            "Name,{}\n{}t,v\n0,1\n1,2\n2,3\n",
            cells.join(","),
            &lines[..20_000]
        ),
    )
    .unwrap();
    let ran = bounded(at, &["look", "beside.csv"]);
    assert!(
        ran.status.code().is_some_and(|c| c <= 2),
        "{}",
        errors(&ran)
    );
}

#[test]
fn deep_toml_and_deep_json_are_told_and_do_not_overflow_the_stack() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let motor = motor_file().to_str().unwrap();
    let deep = 200_000;
    let dots = vec!["a"; deep].join(".");
    for (name, sheet) in [
        ("arrays", format!("a = {}", "[".repeat(deep))),
        (
            "closed",
            format!("a = {}{}", "[".repeat(deep), "]".repeat(deep)),
        ),
        ("tables", format!("a = {}", "{a=".repeat(deep))),
        ("dotted", format!("{dots} = 1")),
        ("header", format!("[{dots}]\nb = 1")),
        ("lists", format!("[[{dots}]]\nb = 1")),
        ("motor", format!("[motor]\nname = \"x\"\nnote.{dots} = 1")),
    ] {
        let path = format!("{name}.toml");
        fs::write(at.join(&path), sheet).unwrap();
        refused(at, &["fit", &path], &path);
        refused(at, &["claim", motor, &path], &path);
    }
    for (name, json) in [
        ("arrays", "[".repeat(deep)),
        ("objects", "{\"a\":".repeat(deep)),
        (
            "inside",
            format!(
                "{{\"format\": \"rundown-motor-file/1\", \"program\": {}",
                "[".repeat(deep)
            ),
        ),
    ] {
        let path = format!("{name}.json");
        fs::write(at.join(&path), json).unwrap();
        refused(at, &["drive", &path], &path);
        refused(
            at,
            &["fit", "--start", "x.csv", "-o", &path],
            "is no motor file",
        );
    }
    // The largest that is read at all, of the smallest values there are.
    fs::write(
        at.join("wide.json"),
        format!("[{}0]", "0,".repeat(4_000_000)),
    )
    .unwrap();
    refused(at, &["drive", "wide.json"], "no motor file");
}

#[test]
fn a_folder_of_odd_things_gives_a_sheet_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    copy("telescope_focuser", at);
    fs::remove_file(at.join("bench.toml")).unwrap();
    fs::create_dir(at.join("folder.csv")).unwrap();
    assert!(
        Command::new("mkfifo")
            .arg(at.join("pipe.csv"))
            .status()
            .unwrap()
            .success()
    );
    sparse(&at.join("zeros.csv"), "", 4 << 30);
    fs::write(at.join("=1+1\u{1b}[2J.csv"), "x\n").unwrap();
    let ran = bounded(at, &["sheet", "."]);
    assert_eq!(ran.status.code(), Some(1), "{}", errors(&ran));
    assert!(text(&ran).contains("zeros.csv: left out"), "{}", text(&ran));
    assert!(!text(&ran).contains('\u{1b}'));
    let ran = run(at, &["fit", "bench.toml"]);
    assert_ne!(ran.status.code(), Some(2), "{}", errors(&ran));
}

#[test]
fn more_captures_or_readings_than_one_fit_can_take_are_refused_before_any_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let head = "[motor]\nname = \"m\"\n";
    let capture =
        |k| format!("[[captures]]\nname = \"c{k}\"\nfile = \"none.csv\"\nrole = \"start\"\n");
    let captures: String = (0..251).map(capture).collect();
    fs::write(at.join("captures.toml"), format!("{head}{captures}")).unwrap();
    let expected = "the sheet has 251 captures, expected at most 250";
    refused(at, &["fit", "captures.toml"], expected);
    let readings = "[[readings]]\nkind = \"ohmmeter\"\nreadings_ohm = [1.0]\n".repeat(501);
    fs::write(at.join("readings.toml"), format!("{head}{readings}")).unwrap();
    refused(
        at,
        &["fit", "readings.toml"],
        "the sheet has 501 readings, expected at most 500",
    );
}

#[test]
fn one_time_in_every_row_is_no_record() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let rows: String = (0..10_000)
        .map(|k| format!("0.5,{},{}\n", k % 7, 1 + k % 3))
        .collect();
    let text = format!("Time (s),CH1 (V),CH2 (A)\n{rows}");
    fs::write(at.join("one_time.csv"), text).unwrap();
    let expected = "one_time.csv:2: all 10000 rows carry the time 0.5 s, expected times that rise";
    refused(at, &["look", "one_time.csv"], expected);
}

#[test]
fn a_number_beyond_what_a_double_holds_is_called_that() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let rows = |times: &dyn Fn(usize) -> String| -> String {
        let row = |k| format!("{},{},1\n", times(k), k % 7);
        let rows: String = (0..200).map(row).collect();
        format!("Time (s),CH1 (V),CH2 (A)\n{rows}")
    };
    fs::write(at.join("huge.csv"), rows(&|k| format!("{k}e304"))).unwrap();
    refused(
        at,
        &["look", "huge.csv"],
        "(first: a cell is not a number of at most 1.8e308)",
    );
}

#[test]
fn as_many_readings_as_a_sheet_can_have_end_soon_and_say_little_more_than_one() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    copy("telescope_focuser", at);
    let interval = |sheet: &str| {
        let ran = bounded(at, &["fit", sheet, "--json"]);
        assert_eq!(ran.status.code(), Some(0), "{}", errors(&ran));
        let fit: serde_json::Value = serde_json::from_str(&text(&ran)).unwrap();
        let r = &fit["parameters"]["terminal_resistance"];
        (r["lower"].as_f64().unwrap(), r["upper"].as_f64().unwrap())
    };
    let sheet = fs::read_to_string(at.join("bench.toml")).unwrap();
    let from = sheet.find("[[readings]]\nkind = \"ohmmeter\"").unwrap();
    let length = sheet[from + 1..].find("[[readings]]").unwrap() + 1;
    let reading = &sheet[from..from + length];
    let many = format!("{sheet}\n{}", reading.repeat(490));
    fs::write(at.join("many.toml"), many).unwrap();
    let (one, many) = (interval("bench.toml"), interval("many.toml"));
    // The meter's gain and the contact's excess at its current are the same in all of them.
    let share = (many.1 - many.0) / (one.1 - one.0);
    assert!((0.5..1.1).contains(&share), "{one:?} {many:?}");
}
