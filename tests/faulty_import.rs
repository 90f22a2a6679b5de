//! Bad captures (`fixtures/faulty/README.md`): what a reader of one file can know of each must be told, with its place.

use rundown::capture::{ReadError, ReadOptions, Record, TimeAxis, TimeGaps, clipped, read};
use std::path::{Path, PathBuf};
use std::process::Command;

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/faulty")
        .join(name)
}

fn open(name: &str) -> Record {
    read(&path(name), &ReadOptions::default()).unwrap_or_else(|error| panic!("{error}"))
}

fn fail(name: &str) -> (ReadError, String) {
    let error = read(&path(name), &ReadOptions::default()).expect_err(name);
    let text = error.to_string();
    (error, text)
}

/// The one remark of a record, without the folder before the file name.
fn remark(record: &Record) -> (String, String) {
    assert_eq!(record.warnings.len(), 1, "{:?}", record.warnings);
    let remark = &record.warnings[0];
    let folder = path("").display().to_string();
    (remark.kind.code(), remark.to_string().replace(&folder, ""))
}

#[test]
fn a_truncated_row_is_told_with_its_line_and_left_out() {
    let record = open("truncated_row.csv");
    assert_eq!(record.time.len(), 927);
    let (kind, text) = remark(&record);
    assert_eq!(kind, "row-truncated");
    assert!(
        text.starts_with("truncated_row.csv:929:3: the last row is incomplete"),
        "{text}"
    );
    assert!(text.contains("the 927 rows before it are used"), "{text}");
}

#[test]
fn an_empty_file_is_told() {
    let (_, text) = fail("empty.csv");
    assert!(
        text.contains("empty (0 bytes)") && text.contains("Export the record again"),
        "{text}"
    );
}

#[test]
fn a_header_without_samples_names_its_columns() {
    let (error, text) = fail("header_only.csv");
    assert_eq!(error.line, Some(1));
    for part in [
        "header_only.csv:1: no samples",
        "`Time (s)`, `CH1 (V)`, `CH2 (A)`",
    ] {
        assert!(text.contains(part), "{text}");
    }
}

#[test]
fn time_running_backwards_is_placed_and_can_be_split() {
    let (_, text) = fail("time_backwards.csv");
    assert!(
        text.contains(
            "time_backwards.csv:701: time goes back from 0.04632 s to 0.04624 s (1 place)"
        ),
        "{text}"
    );
    let options = ReadOptions {
        time_gaps: TimeGaps::Split,
        ..ReadOptions::default()
    };
    let record = read(&path("time_backwards.csv"), &options).unwrap();
    assert!(
        record.time.len() > 790 && record.time.len() < 802,
        "{}",
        record.time.len()
    );
    assert!(
        matches!(record.time, TimeAxis::Uniform { step_s: 8e-5, .. }),
        "{:?}",
        record.time
    );
    assert_eq!(record.channels[0].values.len(), record.time.len());
}

#[test]
fn repeated_times_tell_the_step_implied_and_the_way_out() {
    let record = open("time_repeated.csv");
    let (kind, text) = remark(&record);
    assert_eq!(kind, "time-coarse");
    assert!(
        text.starts_with("time_repeated.csv:3: time does not advance: -0.01 s is repeated"),
        "{text}"
    );
    assert!(
        text.contains("implies a step of 8e-5 s") && text.contains("--interval"),
        "{text}"
    );
    let options = ReadOptions {
        interval_s: Some(8e-5),
        start_s: Some(-0.0096),
        ..ReadOptions::default()
    };
    let given = read(&path("time_repeated.csv"), &options).unwrap();
    assert!(given.warnings.is_empty());
    assert_eq!(
        given.time,
        TimeAxis::Uniform {
            start_s: -0.0096,
            step_s: 8e-5,
            len: 1500
        }
    );
}

#[test]
fn a_change_of_layout_in_mid_file_is_placed() {
    let record = open("mixed_delimiters.csv");
    let (kind, text) = remark(&record);
    assert_eq!(kind, "layout-change");
    assert!(
        text.starts_with("mixed_delimiters.csv:751: the layout changes here"),
        "{text}"
    );
    assert_eq!(record.time.len(), 749);
}

#[test]
fn a_column_without_numbers_leaves_the_other_usable() {
    let record = open("all_blank.csv");
    let (kind, text) = remark(&record);
    assert_eq!(kind, "no-numbers");
    assert!(
        text.contains("column 2 \"CH1 (V)\" has no numbers"),
        "{text}"
    );
    assert!(
        text.contains("The other channel can still be used"),
        "{text}"
    );
    assert_eq!(record.channels[1].missing, 0);
}

#[test]
fn samples_at_the_top_code_are_counted() {
    let record = open("clipped_current.csv");
    let flags = |at: usize| {
        let channel = &record.channels[at];
        clipped(&channel.values, &channel.overrange)
            .into_iter()
            .filter(|&f| f)
            .count()
    };
    // Counted with a text tool: 193 cells hold 1.0141, the end of the range.
    assert_eq!(flags(1), 193);
    assert_eq!(flags(0), 0);
}

#[test]
fn a_picture_is_recognised() {
    let (_, text) = fail("picture_named.csv");
    assert!(
        text.contains("not text: recognised as an image (PNG)"),
        "{text}"
    );
}

#[test]
fn a_gap_is_told_with_place_and_length() {
    let record = open("gap_in_time.csv");
    let (kind, text) = remark(&record);
    assert_eq!(kind, "time-gap");
    assert!(
        text.starts_with("gap_in_time.csv:497: gap in time from 0.02992 s to 0.032 s: 0.00208 s long, about 25 samples missing"),
        "{text}"
    );
    assert!(text.contains("used in 2 pieces"), "{text}");
}

#[test]
fn mistakes_one_file_cannot_show_are_read_without_a_word() {
    for name in [
        "ac_coupled_rundown.csv",
        "current_limited_start.csv",
        "current_reversed.csv",
        "probe_ratio_ten_times.csv",
        "rise_undersampled.csv",
        "trigger_missed.csv",
    ] {
        let record = open(name);
        assert!(record.warnings.is_empty(), "{name}: {:?}", record.warnings);
        for channel in &record.channels {
            assert!(
                !clipped(&channel.values, &channel.overrange).contains(&true),
                "{name} {}",
                channel.name
            );
        }
    }
}

#[test]
fn look_sets_its_exit_status() {
    for (name, status) in [
        ("trigger_missed.csv", 1),
        ("truncated_row.csv", 0),
        ("gap_in_time.csv", 0),
        ("time_repeated.csv", 1),
        ("mixed_delimiters.csv", 1),
        ("time_backwards.csv", 2),
        ("empty.csv", 2),
        ("picture_named.csv", 2),
        ("header_only.csv", 2),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
            .arg("look")
            .arg(path(name))
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(status), "{name}");
        let text = String::from_utf8(output.stdout).unwrap();
        assert_eq!(status == 2, text.is_empty(), "{name}: {text}");
        assert!(!text.contains('\u{1b}'), "{name}: escape codes in a pipe");
    }
}

#[test]
fn look_prints_json_for_good_and_bad_files_alike() {
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(["look", "--json"])
        .arg(path("clipped_current.csv"))
        .arg(path("empty.csv"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let documents: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(documents[0]["channels"][1]["clipped"], 193);
    assert_eq!(documents[0]["channels"][1]["clip_level"], 1.0141);
    assert_eq!(documents[0]["time"]["step_s"], 8e-5);
    assert!(documents[1]["error"].as_str().unwrap().contains("empty"));
}
