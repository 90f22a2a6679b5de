//! What the fuzzer has found interesting, through the same readers: no panic. The fuzzer itself is `scripts/fuzz`.

use crate::bench::fixture;
use rundown::bench::{LoadOptions, read_sheet_bytes};
use rundown::capture::{self, ReadOptions};
use rundown::{claim, events, motor_file};
use std::path::Path;

/// Every input of one target.
fn inputs(target: &str) -> Vec<Vec<u8>> {
    let folder = fixture("fuzz").join(target);
    let inputs: Vec<Vec<u8>> = std::fs::read_dir(folder)
        .expect("the corpus")
        .map(|entry| std::fs::read(entry.expect("an entry").path()).expect("an input"))
        .collect();
    assert!(inputs.len() > 5, "{target}: {} inputs", inputs.len());
    inputs
}

#[test]
fn the_corpora_of_the_fuzzer_do_no_harm() {
    let options = ReadOptions::default();
    let mut read = 0;
    for bytes in inputs("import").iter().chain(&inputs("preamble")) {
        if let Ok(record) = capture::read_from(Path::new("f.csv"), bytes.as_slice(), &options) {
            events::guess_columns(&record);
            read += 1;
        }
    }
    assert!(read > 20, "only {read} inputs are records");
    for bytes in inputs("numbers") {
        let text = String::from_utf8_lossy(&bytes);
        assert!(capture::parse_seconds(&text).is_none_or(f64::is_finite));
    }
    let sheet = fixture("fuzz").join("sheet").join("bench.toml");
    for bytes in inputs("sheet") {
        read_sheet_bytes(&sheet, &bytes, &LoadOptions::default()).ok();
    }
    for bytes in inputs("vendor_sheet") {
        let text = String::from_utf8_lossy(&bytes);
        claim::sheet::from_text(Path::new("v.toml"), &text).ok();
    }
    let mut files = 0;
    for bytes in inputs("motor_file") {
        let text = String::from_utf8_lossy(&bytes);
        if let Ok(file) = motor_file::from_text(Path::new("m.json"), &text) {
            motor_file::table::render(&file);
            motor_file::table::screen(&file);
            files += 1;
        }
    }
    assert!(files > 0, "no input is a motor file");
}
