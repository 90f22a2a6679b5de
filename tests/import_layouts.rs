//! Records written in many layouts and read back: the numbers, the time axis and the names must be the same.

use proptest::prelude::*;
use rundown::capture::{Limits, ReadError, ReadOptions, Record, TimeAxis, read_from};
use std::io::{Cursor, Read, Write};
use std::path::Path;

fn open(bytes: &[u8], options: &ReadOptions) -> Result<Record, ReadError> {
    read_from(Path::new("record.csv"), Cursor::new(bytes), options)
}

/// A layout to write in.
#[derive(Clone, Copy, Debug)]
struct Dress {
    delimiter: char,
    comma: bool,
    ending: &'static str,
    header: usize,
    trailing: bool,
    blank_line: bool,
    preamble: bool,
    milli: bool,
    encoding: usize,
    packed: bool,
}

fn dress() -> impl Strategy<Value = Dress> {
    (
        prop_oneof![
            Just((',', false)),
            Just((';', false)),
            Just((';', true)),
            Just(('\t', false)),
            Just(('\t', true))
        ],
        prop_oneof![Just("\n"), Just("\r\n")],
        1usize..3,
        any::<bool>(),
        any::<bool>(),
        any::<bool>(),
        any::<bool>(),
        0usize..5,
        any::<bool>(),
    )
        .prop_map(
            |(
                (delimiter, comma),
                ending,
                header,
                trailing,
                blank_line,
                preamble,
                milli,
                encoding,
                packed,
            )| Dress {
                delimiter,
                comma,
                ending,
                header,
                trailing,
                blank_line,
                preamble,
                milli,
                encoding,
                packed,
            },
        )
}

fn write(dress: Dress, start: i64, step: i64, values: &[(i32, i32)]) -> Vec<u8> {
    let d = dress.delimiter;
    let tail = if dress.trailing {
        d.to_string()
    } else {
        String::new()
    };
    let mut lines = Vec::new();
    if dress.preamble {
        lines.push(format!("Record Length{d}{}{tail}", values.len()));
        lines.push(format!("Coupling{d}DC{d}AC{tail}"));
        lines.push(format!("Remark{d}K\u{e4}fig{tail}"));
    }
    let (time, volt) = if dress.milli {
        ("ms", "mV")
    } else {
        ("s", "V")
    };
    if dress.header == 1 {
        lines.push(format!("Time ({time}){d}CH1 ({volt}){d}CH2 (A){tail}"));
    } else {
        lines.push(format!("Time{d}CH1{d}CH2{tail}"));
        lines.push(format!("({time}){d}({volt}){d}(A){tail}"));
    }
    if dress.blank_line {
        lines.push(String::new());
    }
    for (k, (a, b)) in values.iter().enumerate() {
        // Whole microseconds, thousandths of a volt, ten-thousandths of an ampere: exact as decimal text.
        let t = start + step * k as i64;
        let (t, a) = if dress.milli {
            (format!("{:.3}", t as f64 / 1e3), format!("{a}.0"))
        } else {
            (
                format!("{:.6}", t as f64 / 1e6),
                format!("{:.3}", f64::from(*a) / 1e3),
            )
        };
        let b = format!("{:.4}", f64::from(*b) / 1e4);
        let mut line = [t, a, b].join(&d.to_string());
        if dress.comma {
            line = line.replace('.', ",");
        }
        lines.push(line + &tail);
    }
    let text = lines.join(dress.ending) + dress.ending;
    let bytes = match dress.encoding {
        0 => text.into_bytes(),
        1 => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
        2 => [
            b"\xff\xfe".to_vec(),
            text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
        ]
        .concat(),
        3 => text.encode_utf16().flat_map(u16::to_be_bytes).collect(),
        _ => text.chars().map(|c| c as u32 as u8).collect(),
    };
    if !dress.packed {
        return bytes;
    }
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(&bytes).unwrap();
    packer.finish().unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_is_read(
        dress in dress(),
        start in -100_000i64..100_000,
        step in 1i64..5000,
        values in prop::collection::vec((-30_000i32..30_000, -99_999i32..99_999), 4..60),
    ) {
        let record = open(&write(dress, start, step, &values), &ReadOptions::default()).unwrap();
        prop_assert!(record.warnings.is_empty(), "{:?}", record.warnings);
        prop_assert_eq!(record.channels.len(), 2);
        let TimeAxis::Uniform { start_s, step_s, len } = record.time else {
            return Err(TestCaseError::fail("time is even"));
        };
        prop_assert_eq!(len, values.len());
        prop_assert!((start_s - start as f64 / 1e6).abs() < 1e-12, "{}", start_s);
        prop_assert!((step_s - step as f64 / 1e6).abs() < 1e-15, "{}", step_s);
        prop_assert_eq!(record.channels[0].unit.as_deref(), Some("V"));
        for (k, (a, b)) in values.iter().enumerate() {
            prop_assert_eq!(record.channels[0].values[k], f64::from(*a) / 1e3);
            prop_assert_eq!(record.channels[1].values[k], f64::from(*b) / 1e4);
        }
        if dress.preamble {
            prop_assert_eq!(record.channels[1].facts.coupling.as_deref(), Some("AC"));
            prop_assert_eq!(&record.preamble[2].values[0], "K\u{e4}fig");
        }
    }

    #[test]
    fn any_bytes_give_a_record_or_an_error(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = open(&bytes, &ReadOptions::default());
    }

    #[test]
    fn any_table_like_text_gives_a_record_or_an_error(text in "[-+0-9.,;\t\n eEinfaV()\"#=]{0,300}") {
        let _ = open(text.as_bytes(), &ReadOptions::default());
    }
}

/// A regular table of `rows` rows.
fn large(rows: usize, delimiter: char, comma: bool) -> String {
    let mut text = format!("Time (s){delimiter}CH1 (V){delimiter}CH2 (A)\r\n");
    for k in 0..rows {
        let line = format!(
            "{:.6}{delimiter}{:.4}{delimiter}{:.5e}\r\n",
            -0.01 + k as f64 * 2e-6,
            12.0 * (k as f64 * 1e-3).sin(),
            (k % 97) as f64 * 1.3e-3
        );
        text.push_str(&if comma { line.replace('.', ",") } else { line });
    }
    text
}

#[test]
fn bulk_and_row_by_row_agree() {
    let by_rows = ReadOptions {
        chunk_bytes: Some(0),
        ..ReadOptions::default()
    };
    let in_bulk = ReadOptions {
        chunk_bytes: Some(100_000),
        ..ReadOptions::default()
    };
    for (delimiter, comma) in [(',', false), (';', true), ('\t', false)] {
        let clean = large(30_000, delimiter, comma);
        let blank_cell = clean.replacen("12,0000", "", 1).replacen("12.0000", "", 1);
        let odd = clean.clone() + &format!("1{delimiter}---{delimiter}inf\r\n0.5{delimiter}x\r\n");
        for text in [&clean, &blank_cell, &odd] {
            let one = open(text.as_bytes(), &by_rows).unwrap();
            let other = open(text.as_bytes(), &in_bulk).unwrap();
            assert_eq!(
                format!("{:?}", one.warnings),
                format!("{:?}", other.warnings)
            );
            assert_eq!(one.time, other.time);
            assert_eq!(one.sha256, other.sha256);
            for (a, b) in one.channels.iter().zip(&other.channels) {
                assert_eq!(a.missing, b.missing);
                assert!(
                    a.values
                        .iter()
                        .zip(&b.values)
                        .all(|(x, y)| x.to_bits() == y.to_bits())
                );
            }
        }
    }
}

#[test]
fn a_bad_row_deep_in_a_bulk_table_keeps_its_line() {
    let text = large(30_000, ',', false);
    let lines: Vec<&str> = text.lines().collect();
    let mut bad = lines.clone();
    bad[20_000] = "garbage";
    let options = ReadOptions {
        chunk_bytes: Some(100_000),
        ..ReadOptions::default()
    };
    let record = open(bad.join("\n").as_bytes(), &options).unwrap();
    let remark = record
        .warnings
        .iter()
        .find(|r| r.kind.code() == "bad-rows")
        .unwrap();
    assert_eq!(remark.line, Some(20_001));
}

/// Text of a record made as it is read, so that no file of hundreds of megabytes is needed.
struct Made<F> {
    next: usize,
    rows: usize,
    line: F,
    left: Vec<u8>,
    at: usize,
}

impl<F: FnMut(usize, &mut Vec<u8>)> Read for Made<F> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if self.at == self.left.len() {
            self.left.clear();
            self.at = 0;
            while self.left.len() < 1 << 16 && self.next < self.rows {
                (self.line)(self.next, &mut self.left);
                self.next += 1;
            }
        }
        let count = buffer.len().min(self.left.len() - self.at);
        buffer[..count].copy_from_slice(&self.left[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}

#[test]
fn ten_million_samples_a_nanosecond_apart_from_one_second_keep_their_times() {
    let rows = 10_000_000;
    let made = Made {
        next: 0,
        rows,
        line: |k, out: &mut Vec<u8>| {
            if k == 0 {
                out.extend(b"CH1,Start,Increment,\nVolt,1.000000000,1.000000e-09,\n");
            }
            out.extend_from_slice([&b"1.5,\n"[..], b"1.6,\n", b"1.4,\n"][k % 3]);
        },
        left: Vec::new(),
        at: 0,
    };
    let record = read_from(Path::new("long.csv"), made, &ReadOptions::default()).unwrap();
    assert_eq!(
        record.time,
        TimeAxis::Uniform {
            start_s: 1.0,
            step_s: 1e-9,
            len: rows
        }
    );
    assert_eq!(record.channels[0].values.len(), rows);
    assert_eq!(record.channels[0].values[rows - 1], 1.5);
}

#[test]
fn printed_times_a_nanosecond_apart_from_one_second_keep_their_times() {
    let mut text = String::from("Time (s),CH1 (V)\n");
    for k in 0..200_000 {
        text.push_str(&format!("1.{k:09},{}.5\n", k % 3));
    }
    let record = open(text.as_bytes(), &ReadOptions::default()).unwrap();
    assert_eq!(
        record.time,
        TimeAxis::Uniform {
            start_s: 1.0,
            step_s: 1e-9,
            len: 200_000
        }
    );
}

#[test]
fn overrides_win_over_what_is_found() {
    let text = "a,b,c\n0,10,5\n1,20,6\n2,30,7\n";
    let options = ReadOptions {
        time_column: Some(2),
        units: vec![(2, "ms".to_string()), (3, "mA".to_string())],
        ..ReadOptions::default()
    };
    let record = open(text.as_bytes(), &options).unwrap();
    assert_eq!(record.time.at(2), Some(0.03));
    let names: Vec<_> = record.channels.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, ["a", "c"]);
    assert_eq!(record.channels[1].values, [0.005, 0.006, 0.007]);
    let options = ReadOptions {
        decimal: Some(b','),
        delimiter: Some(b';'),
        ..ReadOptions::default()
    };
    let error = open(b"t,v\n0.1,1.5\n0.2,1.6\n", &options)
        .unwrap_err()
        .to_string();
    assert!(error.contains("Drop --delimiter and --decimal"), "{error}");
    let options = ReadOptions {
        encoding: Some("klingon".to_string()),
        ..ReadOptions::default()
    };
    assert!(
        open(b"1,2\n", &options)
            .unwrap_err()
            .to_string()
            .contains("--encoding klingon")
    );
}

#[test]
fn files_beyond_the_bounds_are_refused_with_their_place() {
    let with = |limits: Limits| ReadOptions {
        limits,
        ..ReadOptions::default()
    };
    let table = "t,v\n0,1\n1,2\n2,3\n3,4\n";
    let limits = Limits {
        numbers: 5,
        ..Limits::default()
    };
    let error = open(table.as_bytes(), &with(limits)).unwrap_err();
    assert!(
        error.text().starts_with("more than 5 numbers") && error.line == Some(4),
        "{error}"
    );
    let limits = Limits {
        line_bytes: 100,
        ..Limits::default()
    };
    let long = format!("t,v\n0,1\n{}\n", "9".repeat(200));
    let error = open(long.as_bytes(), &with(limits)).unwrap_err();
    assert!(
        error.text().contains("longer than 100 bytes") && error.line == Some(3),
        "{error}"
    );
    let limits = Limits {
        columns: 8,
        ..Limits::default()
    };
    let wide = format!("{}\n", "1,".repeat(20)).repeat(3);
    let error = open(wide.as_bytes(), &with(limits)).unwrap_err();
    assert!(error.text().starts_with("21 columns, at most 8"), "{error}");
    let limits = Limits {
        text_bytes: 10_000,
        ..Limits::default()
    };
    let error = open(&[b"1,2\n".repeat(100_000)].concat(), &with(limits)).unwrap_err();
    assert!(
        error.text().starts_with("more than 10000 bytes of text"),
        "{error}"
    );
}

#[test]
fn damaged_and_foreign_files_are_named_for_what_they_are() {
    let options = ReadOptions::default();
    for (bytes, part) in [
        (&b"PK\x03\x04rest"[..], "spreadsheet"),
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"%PDF-1.7", "PDF"),
        (b"a\0b\0\0\0c", "binary data"),
        (b"\n\n\n", "blank lines"),
        (b"hello\nworld\n", "no samples"),
        (b"\x1f\x8b\x08\0\0\0\0\0", "compressed stream"),
    ] {
        let text = open(bytes, &options).unwrap_err().to_string();
        assert!(text.contains(part), "{text}");
    }
    let mut zero = b"t,v\n".to_vec();
    for k in 0..5000 {
        zero.extend(format!("{k},1\n").into_bytes());
    }
    zero.extend(b"5000,\0\n");
    let error = open(&zero, &options).unwrap_err();
    assert!(
        error.text().starts_with("the text contains a zero byte") && error.line == Some(5002),
        "{error}"
    );
}
