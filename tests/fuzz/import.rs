//! Any bytes as an exported file: read, judged, packed and unpacked, in bulk and row by row.
#![no_main]

mod target;

use rundown::capture::{self, Limits, ReadOptions, Record, TimeGaps};
use rundown::events;
use std::io::Write;
use std::path::Path;
use target::fuzz_target;

fn options() -> ReadOptions {
    ReadOptions {
        limits: Limits {
            line_bytes: 1 << 16,
            columns: 64,
            numbers: 1 << 20,
            text_bytes: 1 << 22,
            ..Limits::default()
        },
        chunk_bytes: Some(0),
        ..ReadOptions::default()
    }
}

fn read(bytes: &[u8], options: &ReadOptions) -> Option<Record> {
    capture::read_from(Path::new("f.csv"), bytes, options).ok()
}

/// Same numbers, missing cells included.
fn same(one: &Record, other: &Record) -> bool {
    let bits = |record: &Record| -> Vec<Vec<u64>> {
        let channels = record.channels.iter();
        channels
            .map(|c| {
                c.values
                    .iter()
                    .map(|v| if v.is_nan() { 0 } else { v.to_bits() })
                    .collect()
            })
            .collect()
    };
    bits(one) == bits(other) && one.time.len() == other.time.len()
}

fuzz_target!(|bytes| {
    // The last byte chooses what else is tried.
    let Some((&choice, bytes)) = bytes.split_last() else {
        return;
    };
    let mut options = options();
    if choice & 1 != 0 {
        options.time_gaps = TimeGaps::Split;
    } else if choice & 0x20 != 0 {
        options.time_gaps = TimeGaps::Sort;
        options.hex_columns = vec![2];
    }
    let Some(record) = read(bytes, &options) else {
        return;
    };
    for channel in &record.channels {
        assert_eq!(channel.values.len(), record.time.len());
        assert_eq!(
            channel.missing,
            channel.values.iter().filter(|v| v.is_nan()).count()
        );
        capture::noise(&channel.values);
        capture::quantisation_step(&channel.values);
        let clipped = capture::clipped(&channel.values, &channel.overrange);
        assert_eq!(clipped.len(), channel.values.len());
    }
    if choice & 2 != 0 {
        events::guess_columns(&record);
    }
    if choice & 4 != 0 {
        let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        packer.write_all(bytes).expect("memory");
        let packed = packer.finish().expect("memory");
        // Bytes that are packed already would be unpacked once more.
        if !bytes.starts_with(b"\x1f\x8b") {
            let unpacked = read(&packed, &options).expect("readable when not packed");
            assert!(same(&record, &unpacked), "packing changes the record");
        }
    }
    if choice & 0x18 == 0x18 {
        let bulk = ReadOptions {
            chunk_bytes: Some(1 + usize::from(choice >> 5) * 40),
            ..options
        };
        let bulk = read(bytes, &bulk).expect("readable row by row");
        assert!(same(&record, &bulk), "bulk and rows differ");
    }
});
