//! Any text above or beside a sound table: the preamble reader, whose facts must be numbers that can be used.
#![no_main]

mod target;

use rundown::capture::{self, ReadOptions};
use std::path::Path;
use target::fuzz_target;

fuzz_target!(|bytes| {
    let Some((&choice, bytes)) = bytes.split_last() else {
        return;
    };
    let mut text = Vec::new();
    if choice & 1 == 0 {
        text.extend_from_slice(bytes);
        text.extend_from_slice(b"\nTIME,CH1,CH2\n");
        for k in 0..60 {
            text.extend_from_slice(format!("{}e-6,{}.5,0.{k}\n", k * 5, k % 4).as_bytes());
        }
    } else {
        // Beside: each line of the preamble stands in front of a row.
        let mut lines = bytes.split(|b| *b == b'\n').take(200);
        for k in 0..200 {
            let line = lines.next().unwrap_or(b",");
            text.extend_from_slice(line);
            text.extend_from_slice(format!(",,{}e-6,{}.5,0.{k},\n", k * 5, k % 4).as_bytes());
        }
    }
    let options = ReadOptions {
        chunk_bytes: Some(0),
        ..ReadOptions::default()
    };
    if let Ok(record) = capture::read_from(Path::new("f.csv"), text.as_slice(), &options) {
        for channel in &record.channels {
            let facts = &channel.facts;
            for number in [
                facts.probe_ratio,
                facts.vertical_scale_per_division,
                facts.vertical_offset,
            ] {
                assert!(number.is_none_or(f64::is_finite), "{facts:?}");
            }
            assert!(
                facts.probe_ratio.is_none_or(|ratio| ratio > 0.0),
                "{facts:?}"
            );
        }
    }
});
