//! Real exports found in public test data against values computed by a rule per file, independently of this importer
//! (`fixtures/scope_exports/expected.json`, whose README says where the files come from).

use rundown::capture::{ReadOptions, Record, TimeAxis, read};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/scope_exports")
}

/// The file itself, or the same packed.
fn path_of(name: &str) -> PathBuf {
    let plain = folder().join(name);
    if plain.exists() {
        plain
    } else {
        folder().join(format!("{name}.gz"))
    }
}

fn open(name: &str) -> Record {
    read(&path_of(name), &ReadOptions::default()).unwrap_or_else(|error| panic!("{error}"))
}

fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found} found, {expected} expected"
    );
}

fn check_time(record: &Record, expected: &Value, name: &str) {
    let number = |key: &str| expected[key].as_f64();
    let Some(median) = number("dt_median") else {
        assert!(
            matches!(record.time, TimeAxis::Absent { .. }),
            "{name}: no time expected"
        );
        return;
    };
    let (first, last) = (number("t_first").unwrap(), number("t_last").unwrap());
    let (least, most) = (number("dt_min").unwrap(), number("dt_max").unwrap());
    let rows = record.time.len();
    // The printed times may be rounded; they may be off by no more than their steps jitter.
    let rounding = (most - least) + 1e-6 * median;
    close(
        record.time.at(0).unwrap(),
        first,
        rounding,
        &format!("{name}: first time"),
    );
    close(
        record.time.at(rows - 1).unwrap(),
        last,
        rounding,
        &format!("{name}: last time"),
    );
    match &record.time {
        TimeAxis::Uniform { step_s, .. } => {
            // The expected steps are given to six digits.
            assert!(
                (least - 5e-6 * median..=most + 5e-6 * median).contains(step_s),
                "{name}: step {step_s} not within {least}..{most}"
            );
            close(
                *step_s,
                median,
                1e-3 * median,
                &format!("{name}: median step"),
            );
        }
        TimeAxis::Listed(times) => {
            let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
            steps.sort_by(f64::total_cmp);
            close(steps[0], least, 1e-9, &format!("{name}: least step"));
            close(
                steps[steps.len() - 1],
                most,
                1e-9,
                &format!("{name}: longest step"),
            );
            let middle = steps.len() / 2;
            let found = if steps.len() % 2 == 1 {
                steps[middle]
            } else {
                0.5 * (steps[middle - 1] + steps[middle])
            };
            close(found, median, 1e-6, &format!("{name}: median step"));
        }
        TimeAxis::Absent { .. } => panic!("{name}: time expected"),
    }
}

#[test]
fn val_every_export_agrees_with_its_expected_values() {
    let expected: Vec<Value> =
        serde_json::from_slice(&std::fs::read(folder().join("expected.json")).unwrap()).unwrap();
    assert_eq!(expected.len(), 26);
    for expected in &expected {
        let name = expected["file"].as_str().unwrap();
        let record = open(name);
        let whole = |key: &str| expected[key].as_u64().unwrap() as usize;
        assert_eq!(
            record.first_data_line,
            whole("first_data_line"),
            "{name}: first line"
        );
        assert_eq!(record.time.len(), whole("data_rows"), "{name}: rows");
        assert_eq!(record.channels.len(), whole("channels"), "{name}: channels");
        let missing: usize = record.channels.iter().map(|c| c.missing).sum();
        assert_eq!(missing, whole("missing_cells"), "{name}: missing");
        check_time(&record, expected, name);
        for (at, channel) in record.channels.iter().enumerate() {
            assert_eq!(channel.values.len(), record.time.len(), "{name}: length");
            let finite: Vec<f64> = channel
                .values
                .iter()
                .copied()
                .filter(|v| v.is_finite())
                .collect();
            assert_eq!(channel.missing, channel.values.len() - finite.len());
            let of = |key: &str| expected[key][at].as_f64();
            assert_eq!(
                finite.first().copied(),
                of("first_finite"),
                "{name}: first of {at}"
            );
            assert_eq!(
                finite.iter().copied().reduce(f64::min),
                of("col_min"),
                "{name}"
            );
            assert_eq!(
                finite.iter().copied().reduce(f64::max),
                of("col_max"),
                "{name}"
            );
            if let Some(mean) = of("col_mean") {
                let found = finite.iter().sum::<f64>() / finite.len() as f64;
                close(
                    found,
                    mean,
                    1e-8 * mean.abs() + 1e-11,
                    &format!("{name}: mean of {at}"),
                );
            }
        }
    }
}

fn kinds(record: &Record) -> Vec<(String, Option<usize>)> {
    record
        .warnings
        .iter()
        .map(|r| (r.kind.code(), r.line))
        .collect()
}

#[test]
fn a_preamble_step_that_contradicts_the_time_column_is_told() {
    let record = open("kv_preamble_1ch_short.csv");
    assert_eq!(
        kinds(&record),
        [
            ("interval-contradicts".to_owned(), Some(9)),
            ("record-length".to_owned(), Some(10))
        ]
    );
    assert!(
        record.warnings[0].text().contains("2e-7 s"),
        "{}",
        record.warnings[0].text()
    );
    assert!(
        record.warnings[0].text().contains("4e-7 s"),
        "{}",
        record.warnings[0].text()
    );
}

#[test]
fn preamble_facts_reach_their_channels() {
    let record = open("quoted_kv_preamble_2ch.csv");
    let facts: Vec<_> = record.channels.iter().map(|c| c.facts.clone()).collect();
    assert_eq!(facts[0].probe_ratio, Some(10.0));
    assert_eq!(facts[1].probe_ratio, Some(1.0));
    assert_eq!(facts[1].vertical_scale_per_division, Some(2.0));
    assert_eq!(facts[0].inverted, Some(false));
    let record = open("kv_preamble_multicolumn_label_row_3ch.csv");
    assert!(
        record
            .channels
            .iter()
            .all(|c| c.facts.probe_ratio == Some(10.0))
    );
    assert!(
        record
            .channels
            .iter()
            .all(|c| c.unit.as_deref() == Some("V"))
    );
    let record = open("daq_text_tab_two_time_columns.txt");
    assert_eq!(record.channels[0].unit.as_deref(), Some("V"));
    assert_eq!(record.channels[1].unit_text.as_deref(), Some("g"));
    assert_eq!(record.channels[1].unit, None);
}

#[test]
fn announced_but_empty_channels_are_told_one_by_one() {
    let record = open("daq_text_tab_empty_channels.txt");
    let empty: Vec<_> = record
        .warnings
        .iter()
        .filter(|r| r.kind.code() == "no-numbers")
        .map(|r| r.column)
        .collect();
    assert_eq!(empty, [Some(4), Some(5), Some(6), Some(7)]);
}

#[test]
fn latin_1_names_are_decoded() {
    let record = open("daq_text_tab_uneven_time_comment_column.txt");
    assert_eq!(record.channels[1].name, "Temperatura (\u{b0}C)");
}

#[test]
fn the_hash_is_that_of_the_bytes_on_disk() {
    // From the sha256sum tool.
    assert_eq!(
        open("kv_preamble_1ch_short.csv").sha256,
        "b8f59a318b089239c50b5dadec5f5b80bc9006aa9d38242e6acb6cb349df83a0"
    );
}
