//! The fast ways of the importer against the plain one: the same record to the last bit, on every shipped capture and on
//! drawn files with faults in them.

use proptest::prelude::*;
use rundown::capture::{Limits, ReadError, ReadOptions, Record, TimeAxis, read_from};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Everything in a record as text, numbers by their bits.
fn told(result: &Result<Record, ReadError>) -> String {
    let record = match result {
        Ok(record) => record,
        Err(error) => return format!("error: {error}"),
    };
    let bits = |values: &[f64]| -> Vec<u64> { values.iter().map(|v| v.to_bits()).collect() };
    let time = match &record.time {
        TimeAxis::Uniform {
            start_s,
            step_s,
            len,
        } => format!("{:x} {:x} {len}", start_s.to_bits(), step_s.to_bits()),
        TimeAxis::Listed(times) => format!("{:?}", bits(times)),
        TimeAxis::Absent { len } => format!("absent {len}"),
    };
    let channels: Vec<_> = record
        .channels
        .iter()
        .map(|c| {
            (
                &c.name,
                c.column,
                &c.unit,
                c.missing,
                &c.overrange,
                bits(&c.values),
            )
        })
        .collect();
    format!(
        "{:?}\n{:?}\n{time}\n{}\n{channels:?}\n{:?}\n{}",
        record.layout, record.preamble, record.first_data_line, record.warnings, record.sha256
    )
}

/// A byte reader that gives its bytes in pieces of many lengths.
struct Pieces<'a>(&'a [u8], usize);

impl Read for Pieces<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.1 = (self.1 * 31 + 7) % 997;
        let count = (self.1 + 1).min(buffer.len()).min(self.0.len());
        buffer[..count].copy_from_slice(&self.0[..count]);
        self.0 = &self.0[count..];
        Ok(count)
    }
}

fn both(path: &Path, bytes: &[u8], piece: usize) -> (String, String) {
    let options = |chunk_bytes| ReadOptions {
        chunk_bytes: Some(chunk_bytes),
        ..ReadOptions::default()
    };
    // Row by row, a few bytes at a time, so that the line ends too are found the slow way as well as the fast.
    let plain = read_from(path, Pieces(bytes, 3), &options(0));
    let fast = read_from(path, bytes, &options(piece));
    (told(&plain), told(&fast))
}

fn captures(folder: &Path, found: &mut Vec<PathBuf>) {
    for item in std::fs::read_dir(folder).expect("a folder") {
        let path = item.expect("an item").path();
        if path.is_dir() {
            captures(&path, found);
        } else {
            found.push(path);
        }
    }
}

#[test]
fn every_shipped_capture_is_read_to_the_same_bits() {
    let mut paths = Vec::new();
    captures(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures"),
        &mut paths,
    );
    assert!(paths.len() > 50);
    for path in paths {
        let bytes = std::fs::read(&path).expect("a file");
        for piece in [200, 4096] {
            let (plain, fast) = both(&path, &bytes, piece);
            assert!(plain == fast, "{} in pieces of {piece}", path.display());
        }
    }
}

/// One cell: mostly a number as instruments print it, now and then anything else.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        30 => (-99_999i32..99_999, 0u32..6).prop_map(|(n, d)| format!("{:.*}", d as usize, f64::from(n) / 1e3)),
        20 => (-1e3f64..1e3).prop_map(|v| format!("{v:.9e}")),
        10 => (-1e3f64..1e3).prop_map(|v| format!(" {v:.3E} ")),
        5 => any::<f64>().prop_map(|v| format!("{v:e}")),
        1 => prop::sample::select(vec!["", "---", "nan", "inf", "-OL", "9.91E37", "x", "1.5.2", "\"2\"", "00012345678901234567890.5"]).prop_map(str::to_owned),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn drawn_files_are_read_to_the_same_bits(
        rows in prop::collection::vec((cell(), cell()), 30..300),
        // The layout is looked for in the first thousand lines; what comes behind them is read another way.
        copies in prop::sample::select(vec![1usize, 1, 9]),
        spoilt in prop::option::weighted(0.4, (0usize..2700, prop::sample::select(vec!["", "1", "1,2,3,4,5", "# note", "a;b", "\u{fc}"]))),
        comma in any::<bool>(),
        crlf in prop::sample::select(vec!["\n", "\r\n", "\r"]),
        open_end in any::<bool>(),
        piece in 40usize..3000,
        cells_odd in any::<bool>(),
    ) {
        let delimiter = if comma { ';' } else { ',' };
        let mut lines = vec![format!("t (s){delimiter}a (V){delimiter}b (A)")];
        for (k, (a, b)) in std::iter::repeat_n(&rows, copies).flatten().enumerate() {
            let plain = |text: &String| cells_odd || text.trim().parse::<f64>().is_ok_and(|v| v.abs() < 9.9e37);
            let shown = |text: &String| if plain(text) { text.clone() } else { "0.5".to_owned() };
            let time = format!("{:.6}", 1e-3 * k as f64);
            let (mut time, mut a, mut b) = (time, shown(a), shown(b));
            if comma {
                for text in [&mut time, &mut a, &mut b] {
                    *text = text.replace('.', ",");
                }
            }
            lines.push(format!("{time}{delimiter}{a}{delimiter}{b}"));
        }
        if let Some((at, line)) = spoilt {
            let at = at.min(lines.len());
            lines.insert(at, line.to_owned());
        }
        let mut text = lines.join(crlf);
        if !open_end {
            text.push_str(crlf);
        }
        let (plain, fast) = both(Path::new("drawn.csv"), text.as_bytes(), piece);
        prop_assert_eq!(plain, fast);
    }
}

#[test]
fn bounds_hold_behind_the_head_as_row_by_row() {
    let row = |k: usize| format!("{:.6},{}.5,-{}e-3\r\n", 1e-3 * k as f64, k % 90, k % 7);
    let mut text = String::from("t (s),a (V),b (A)\r\n");
    (0..2000).for_each(|k| text += &row(k));
    // A number with blanks before it is one, however many they are.
    text += &format!("2.000000,{}1.5,2\r\n", " ".repeat(300));
    (2001..3000).for_each(|k| text += &row(k));
    let read = |chunk_bytes, line_bytes, text_bytes| {
        let options = ReadOptions {
            chunk_bytes: Some(chunk_bytes),
            limits: Limits {
                line_bytes,
                text_bytes,
                ..Limits::default()
            },
            ..ReadOptions::default()
        };
        told(&read_from(Path::new("long.csv"), text.as_bytes(), &options))
    };
    let all = text.len() as u64;
    for piece in [0, 150, 5000] {
        assert!(!read(piece, 316, all).starts_with("error"), "{piece}");
        let long = read(piece, 310, all);
        assert!(
            long.starts_with("error: long.csv:2002: "),
            "{piece}: {long}"
        );
        let much = read(piece, 316, all - 10);
        assert!(much.starts_with("error: long.csv:"), "{piece}: {much}");
        assert!(
            much.contains(&format!("more than {} bytes", all - 10)),
            "{much}"
        );
    }
    assert_eq!(read(0, 316, all), read(5000, 316, all));
}
