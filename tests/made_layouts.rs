//! Small exports, each with one habit of real exporters, against what must happen to them (`fixtures/made_layouts/expected.json`,
//! written independently of this importer).

use rundown::capture::{ReadError, ReadOptions, Record, TimeAxis, TimeGaps, read, read_from};
use rundown::events::guess_columns;
use serde_json::Value;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/made_layouts")
}

fn expected() -> Value {
    let text = std::fs::read(folder().join("expected.json")).expect("expected.json");
    serde_json::from_slice(&text).expect("JSON")
}

fn read_with(name: &str, options: &ReadOptions) -> Result<Record, ReadError> {
    read(&folder().join(format!("{name}.gz")), options)
}

fn open(name: &str) -> Record {
    read_with(name, &ReadOptions::default()).unwrap_or_else(|error| panic!("{error}"))
}

fn kinds(record: &Record) -> Vec<String> {
    record.warnings.iter().map(|w| w.kind.code()).collect()
}

fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= 1e-9 * expected.abs() + 1e-15
}

/// What differs from the expected values.
fn differences(record: &Record, expected: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut check = |good: bool, what: String| {
        if !good {
            wrong.push(what);
        }
    };
    if let Some(rows) = expected["rows"].as_u64() {
        check(
            record.time.len() as u64 == rows,
            format!("{} rows", record.time.len()),
        );
    }
    if let Some(step) = expected["step"].as_f64() {
        match record.time {
            TimeAxis::Uniform {
                start_s, step_s, ..
            } => {
                check(close(step_s, step), format!("step {step_s}"));
                let start = expected["start"].as_f64().unwrap_or(start_s);
                check(close(start_s, start), format!("start {start_s}"));
            }
            _ => check(false, "times are not even".to_string()),
        }
    }
    let channel = |column: &str| {
        let column: usize = column.parse().expect("a column number");
        record.channels.iter().find(|c| c.column == column)
    };
    let texts = |key: &str| expected[key].as_object().cloned().unwrap_or_default();
    for (column, unit) in texts("units") {
        let found = channel(&column).and_then(|c| c.unit.clone());
        check(
            found.as_deref() == unit.as_str(),
            format!("unit of {column}: {found:?}"),
        );
    }
    for (column, name) in texts("names") {
        let found = channel(&column).map(|c| c.name.clone());
        check(
            found.as_deref() == name.as_str(),
            format!("name of {column}: {found:?}"),
        );
    }
    if let Some(most) = expected["vmax"].as_f64() {
        let reaches = |values: &[f64]| {
            let largest = values
                .iter()
                .copied()
                .filter(|v| v.is_finite())
                .reduce(f64::max);
            largest.is_some_and(|v| close(v, most))
        };
        check(
            record.channels.iter().any(|c| reaches(&c.values)),
            format!("no channel reaches {most} V"),
        );
    }
    wrong
}

#[test]
fn val_every_layout_opens_right_or_is_refused_as_expected() {
    let expected = expected();
    let all = expected.as_object().expect("an object");
    assert_eq!(all.len(), 52);
    let mut wrong = Vec::new();
    for (name, expected) in all {
        let expect = expected["expect"].as_str().expect("a text");
        match read_with(name, &ReadOptions::default()) {
            Ok(_) if expect == "refuse" => wrong.push(format!("{name}: opened")),
            Err(error) if !expect.contains("refuse") => wrong.push(format!("{name}: {error}")),
            Ok(record) => {
                let differs = differences(&record, expected);
                wrong.extend(differs.into_iter().map(|text| format!("{name}: {text}")));
            }
            Err(_) => {}
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn what_is_to_be_told_is_told() {
    for (name, kind) in [
        ("A4_time_rounded_duplicates.csv", "time-coarse"),
        ("A5c_no_header_ms.csv", "time-unit-assumed"),
        ("F4_overrange_words.csv", "overrange"),
        ("F5_footer_statistics.csv", "footer"),
        ("F6_footer_numeric.csv", "row-truncated"),
        ("F7_repeated_header_midfile.csv", "text-rows"),
        ("G1_nul_padded_end.csv", "padding"),
        ("G2_integer_codes_steps.txt", "time-absent"),
    ] {
        let record = open(name);
        assert!(
            kinds(&record).iter().any(|k| k == kind),
            "{name}: {:?}",
            kinds(&record)
        );
    }
    let record = open("A2b_channel_dropout_words.csv");
    assert_eq!(
        (record.channels[1].missing, record.channels[1].name.as_str()),
        (20, "i (A)")
    );
    let record = open("A2_mixed_logic_hex_bits.csv");
    for part in [
        "\"gray4\" holds hexadecimal codes",
        "\"bits3\" holds logic bits",
    ] {
        assert!(
            record
                .layout
                .iter()
                .any(|rule| rule.to_string().contains(part)),
            "{:?}",
            record.layout
        );
    }
    assert_eq!(
        open("F4_overrange_words.csv").channels[1].overrange.len(),
        6
    );
}

#[test]
fn an_amplitude_is_the_voltage() {
    for name in ["B7_amplitude_names.txt", "B8_amplitude_volt.csv"] {
        let guess = guess_columns(&open(name));
        assert_eq!((guess.voltage, guess.current), (Some(0), None), "{name}");
    }
}

/// A refusal names what the file is, and a flag under which it opens.
#[test]
fn the_flag_that_a_refusal_names_works() {
    let refused = |name: &str, part: &str| {
        let error = read_with(name, &ReadOptions::default()).expect_err(name);
        let text = error.to_string();
        assert!(text.contains(part), "{name}: {text}");
    };
    let time_column = |column| ReadOptions {
        time_column: Some(column),
        ..ReadOptions::default()
    };
    let gaps = |time_gaps| ReadOptions {
        time_gaps,
        ..ReadOptions::default()
    };
    let hexadecimal = ReadOptions {
        hex_columns: vec![2],
        ..ReadOptions::default()
    };
    for (name, part, options, rows) in [
        ("D2_fft_hz_db.csv", "--time-column 1", time_column(1), 300),
        ("D4_fft_khz_units_row.csv", "is in kHz", time_column(1), 300),
        (
            "D1_segmented_time_restarts.csv",
            "--time-gaps split",
            gaps(TimeGaps::Split),
            100,
        ),
        (
            "A3_unsorted_times.csv",
            "--time-gaps sort",
            gaps(TimeGaps::Sort),
            100,
        ),
        ("B3_hex_codes.csv", "--hex-column 2", hexadecimal, 400),
    ] {
        refused(name, part);
        let record = read_with(name, &options).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(record.time.len(), rows, "{name}");
    }
    let record =
        read_with("A3_unsorted_times.csv", &gaps(TimeGaps::Sort)).expect("a sorted record");
    assert!(
        kinds(&record).iter().any(|k| k == "time-sorted"),
        "{:?}",
        kinds(&record)
    );
    assert!(record.channels[0].values.windows(2).all(|w| w[0] < w[1]));
}

/// Refusals of what has no record in it, and the part of the message that says why.
#[test]
fn what_is_no_record_against_time_says_what_it_is() {
    for (head, row, part) in [
        (
            "Point,Frequency,Magnitude",
            "K,K0,-60.5",
            "is called \"Frequency\"",
        ),
        ("nm,Absorbance", "3K,0.5", "is called \"nm\""),
        (
            "Freq. [kHz];Gain [dB];Phase [deg]",
            "K.5;-3;45",
            "is in kHz",
        ),
        ("X;Y\nHz;V", "K.5;1.5", "is in Hz"),
        ("RBW,10\nX,Y", "K.5,1.5", "states a \"RBW\""),
        ("X,FFT(CH1)", "K.5,1.5", "a transform"),
    ] {
        let rows = rows(60, |k| row.replace('K', &(k + 1).to_string()));
        let error = of_text(&format!("{head}\n{rows}"), &ReadOptions::default()).expect_err(head);
        let text = error.to_string();
        let against = "not a record against time";
        assert!(
            text.contains(against) && text.contains(part),
            "{head}: {error}"
        );
    }
    // A frequency that is measured beside time is a channel.
    let text = format!(
        "Time (s),Frequency (Hz)\n{}",
        rows(40, |k| format!("0.{k:03},{}.5", 50 + k))
    );
    assert!(of_text(&text, &ReadOptions::default()).is_ok());
}

#[test]
fn a_unit_in_its_own_column_is_taken_where_it_does_not_change() {
    let row = |k: usize, unit: &str| format!("{}.5,ms,{}.25,{unit}", k, k % 7);
    let text = |last: &str| {
        let rows = rows(1500, |k| row(k, if k < 1400 { "mV" } else { last }));
        format!("Time,Unit,Reading,Unit\n{rows}")
    };
    let record = of_text(&text("mV"), &ReadOptions::default()).expect("a record");
    let channel = &record.channels[0];
    assert_eq!(
        (channel.unit.as_deref(), channel.values[1]),
        (Some("V"), 1.25e-3)
    );
    assert!(
        matches!(record.time, TimeAxis::Uniform { step_s: 1e-3, .. }),
        "{:?}",
        record.time
    );
    // Far behind the head too.
    let error = of_text(&text("V"), &ReadOptions::default()).expect_err("units");
    assert_eq!((error.line, error.column), (Some(1402), Some(4)), "{error}");
}

#[test]
fn days_of_a_spreadsheet_are_no_seconds() {
    let serial = |k: usize| 45_292.5 + k as f64 * 0.5 / 86_400.0;
    for name in ["Date", "Time"] {
        let text = format!(
            "{name},U (V)\n{}",
            rows(40, |k| format!("{:.9},{}.5", serial(k), k % 3))
        );
        let record = of_text(&text, &ReadOptions::default()).expect("a record");
        assert_eq!(kinds(&record), ["time-unit-inferred"], "{name}");
        let TimeAxis::Uniform { step_s, .. } = record.time else {
            panic!("{name}: {:?}", record.time);
        };
        assert!((step_s - 0.5).abs() < 1e-3, "{name}: {step_s}");
    }
}

#[test]
fn times_in_falling_order_are_times() {
    let text = format!(
        "Time (s),U (V)\n{}",
        rows(40, |k| format!("{:.3},{}.5", 0.039 - k as f64 * 1e-3, k))
    );
    let error = of_text(&text, &ReadOptions::default()).expect_err("backwards");
    assert!(error.to_string().contains("--time-gaps sort"), "{error}");
    let sort = ReadOptions {
        time_gaps: TimeGaps::Sort,
        ..ReadOptions::default()
    };
    let record = of_text(&text, &sort).expect("a record");
    assert_eq!(record.channels[0].values[0], 39.5);
}

fn of_text(text: &str, options: &ReadOptions) -> Result<Record, ReadError> {
    read_from(Path::new("record.csv"), text.as_bytes(), options)
}

/// Rows of a text, `row` making each.
fn rows(count: usize, row: impl Fn(usize) -> String) -> String {
    (0..count).map(|k| row(k) + "\n").collect()
}

#[test]
fn settings_give_interval_and_start_in_many_spellings() {
    for (head, step, start) in [
        ("Sampling Rate : 2500000\nCH1,CH2\n", 4e-7, 0.0),
        ("Time/Div,1ms\nInterval,0.08uS\nCH1,CH2\n", 8e-8, 0.0),
        (
            "# Samplerate = 10 kHz\n# t0 = -1 ms\nCH1,CH2\n",
            1e-4,
            -1e-3,
        ),
        ("xIncrement,2e-6\nxOrigin,-4e-3\nCH1,CH2\n", 2e-6, -4e-3),
        ("CH1,CH2,t0 = -2e-3,dt = 1e-5\n", 1e-5, -2e-3),
        ("Horizontal Resolution: 2 us/pt\nCH1,CH2\n", 2e-6, 0.0),
        ("Horizontal step: 100 us\nCH1,CH2\n", 1e-4, 0.0),
        (
            "Trigger Point,20\nSample Interval,1e-3\nCH1,CH2\n",
            1e-3,
            -0.02,
        ),
        (
            "Start:0\nPoints:30\nXInc:1.0E-04\nXOrg:-5.0E-03\nCH1,CH2\n",
            1e-4,
            -5e-3,
        ),
    ] {
        let text = format!(
            "{head}{}",
            rows(30, |k| format!("{}.5,{}.25", k % 7, k % 5))
        );
        let record = of_text(&text, &ReadOptions::default()).expect(head);
        let TimeAxis::Uniform {
            start_s, step_s, ..
        } = record.time
        else {
            panic!("{head}: {:?}", record.time);
        };
        assert!(
            close(step_s, step) && close(start_s, start),
            "{head}: {start_s} {step_s}"
        );
        assert_eq!(record.channels[0].name, "CH1", "{head}");
    }
    // Settings that disagree are told, and a bare length of 20 is hardly one in seconds.
    for (head, kind) in [
        (
            "Sample Interval,1e-3\nSample Rate,2000\nCH1\n",
            "intervals-disagree",
        ),
        ("Sample Interval,20\nCH1\n", "time-unit-assumed"),
    ] {
        let text = format!("{head}{}", rows(30, |k| format!("{}.5", k % 7)));
        let record = of_text(&text, &ReadOptions::default()).expect(head);
        assert!(
            kinds(&record).iter().any(|k| k == kind),
            "{head}: {:?}",
            kinds(&record)
        );
    }
}

#[test]
fn both_samples_of_a_peak_detect_export_are_kept() {
    let text = format!(
        "Time (s),CH1 (V)\n{}",
        rows(40, |k| format!("{:.4},{}.5", (k / 2) as f64 * 2e-4, k % 3))
    );
    let record = of_text(&text, &ReadOptions::default()).expect("a record");
    assert_eq!(
        record.time,
        TimeAxis::Uniform {
            start_s: 0.0,
            step_s: 1e-4,
            len: 40
        }
    );
    assert_eq!(kinds(&record), ["time-shared"]);
}

#[test]
fn a_clock_passes_midnight_and_a_date_alone_is_no_channel() {
    let clock = |k: usize| {
        let second = 86_397 + k;
        let second = second % 86_400;
        format!(
            "{:02}:{:02}:{:02}.00",
            second / 3600,
            second / 60 % 60,
            second % 60
        )
    };
    let text = format!(
        "Date,Clock,U (V)\n{}",
        rows(9, |k| format!(
            "2024-01-0{},{},{}.5",
            1 + usize::from(k > 2),
            clock(k),
            k % 4
        ))
    );
    let record = of_text(&text, &ReadOptions::default()).expect("a record");
    assert_eq!(
        record.time,
        TimeAxis::Uniform {
            start_s: 0.0,
            step_s: 1.0,
            len: 9
        }
    );
    assert_eq!(record.channels.len(), 1);
}

#[test]
fn times_since_1970_are_counted_from_the_first_row() {
    for (scale, step) in [(1.0, 1e-2), (1e3, 1e-2), (1e6, 1e-2)] {
        let text = format!(
            "timestamp,u (V)\n{}",
            rows(20, |k| format!(
                "{:.3},{}.5",
                (1.7e9 + k as f64 * step) * scale,
                k % 4
            ))
        );
        let record = of_text(&text, &ReadOptions::default()).expect("a record");
        let TimeAxis::Uniform {
            start_s, step_s, ..
        } = record.time
        else {
            panic!("{:?}", record.time);
        };
        assert!(
            start_s == 0.0 && (step_s - step).abs() < 1e-6,
            "{start_s} {step_s}"
        );
        assert_eq!(kinds(&record), ["time-unit-inferred"]);
    }
}

#[test]
fn two_channels_with_their_settings_beside_them_keep_their_units() {
    let text = rows(40, |k| {
        let (key, one, two) = match k {
            0 => ("Record Length", "40", "40"),
            1 => ("Sample Interval", "1e-4", "1e-4"),
            5 => ("Source", "CH1", "CH2"),
            6 => ("Vertical Units", "V", "A"),
            _ => ("", "", ""),
        };
        let t = k as f64 * 1e-4;
        format!(
            "{key},{one},,{t:.4},{}.5,,{key},{two},,{t:.4},{}.25,",
            k % 5,
            k % 3
        )
    });
    let record = of_text(&text, &ReadOptions::default()).expect("a record");
    let found: Vec<(&str, Option<&str>)> = record
        .channels
        .iter()
        .map(|c| (c.name.as_str(), c.unit.as_deref()))
        .collect();
    assert_eq!(found, [("CH1", Some("V")), ("CH2", Some("A"))]);
    assert_eq!(record.time.len(), 40);
}

#[test]
fn a_sweep_without_names_shows_in_its_steps() {
    let text = rows(60, |k| {
        format!("{:.4},{}.5", 10.0 * 1.1f64.powi(k as i32), k % 5)
    });
    let error = of_text(&text, &ReadOptions::default()).expect_err("a sweep");
    assert!(
        error
            .text()
            .contains("not a record against time: column 1 "),
        "{error}"
    );
}

#[test]
fn grouped_digits_that_may_be_fractions_are_not_left_out_in_silence() {
    let value = |k: usize| {
        if k < 20 {
            format!("1,{:03}", 500 + k)
        } else {
            format!("5,{:03},250", k)
        }
    };
    let text = format!(
        "Time (us),U (uV)\n{}",
        rows(60, |k| format!("{k}00,\"{}\"", value(k)))
    );
    assert!(of_text(&text, &ReadOptions::default()).is_err());
    let point = ReadOptions {
        decimal: Some(b'.'),
        ..ReadOptions::default()
    };
    let error = of_text(&text, &point).expect_err("grouped digits");
    assert!(error.to_string().contains("--skip-lines 21"), "{error}");
    let skip = ReadOptions {
        skip_lines: Some(21),
        ..point
    };
    let record = of_text(&text, &skip).expect("a record");
    assert_eq!(
        (record.time.len(), record.channels[0].values[0]),
        (40, 5_020_250.0)
    );
}

#[test]
fn commas_that_are_both_are_put_together_or_refused() {
    let spaced = rows(30, |k| format!("0,{:04}, {},50", k, k % 5));
    let record = of_text(&spaced, &ReadOptions::default()).expect("a record");
    assert_eq!(record.channels[0].values[3], 3.5);
    let tight = rows(30, |k| format!("0,{:04},{},50", k, k % 5));
    let error = of_text(&tight, &ReadOptions::default()).expect_err("commas");
    assert!(
        error.text().contains("delimiter and decimal mark at once"),
        "{error}"
    );
    let both = ReadOptions {
        delimiter: Some(b','),
        decimal: Some(b','),
        ..ReadOptions::default()
    };
    let record = of_text(&tight, &both).expect("a record");
    assert_eq!(record.channels[0].values[3], 3.5);
}

/// The bytes of a packed layout.
fn bytes_of(name: &str) -> Vec<u8> {
    let packed = std::fs::read(folder().join(format!("{name}.gz"))).expect("a file");
    let mut bytes = Vec::new();
    std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(&packed[..]), &mut bytes)
        .expect("gzip");
    bytes
}

/// Cuts, swapped lines and foreign bytes at places drawn from a fixed seed.
#[test]
fn damage_gives_a_record_or_an_error_and_bulk_gives_the_same() {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut draw = |below: usize| {
        // xorshift64 (Marsaglia 2003).
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % below.max(1) as u64) as usize
    };
    const FOREIGN: [&[u8]; 12] = [
        b",",
        b";",
        b"\"",
        b"\n",
        b":",
        b"=",
        b"\0",
        b"e",
        b"\xb5",
        b"\xe6\x97\xb6",
        b"-",
        b"12:00:00 PM",
    ];
    let bulk = ReadOptions {
        chunk_bytes: Some(64),
        ..ReadOptions::default()
    };
    let by_rows = ReadOptions {
        chunk_bytes: Some(0),
        ..ReadOptions::default()
    };
    for name in expected().as_object().expect("an object").keys() {
        let whole = bytes_of(name);
        for _ in 0..12 {
            let mut bytes = whole.clone();
            for _ in 0..1 + draw(4) {
                let at = draw(bytes.len().min(600));
                let end = (at + draw(30)).min(bytes.len());
                bytes.splice(at..end, FOREIGN[draw(FOREIGN.len())].iter().copied());
            }
            bytes.truncate(bytes.len() - draw(bytes.len() / 2));
            let read = |options: &ReadOptions| read_from(Path::new("a.csv"), &bytes[..], options);
            match (read(&by_rows), read(&bulk)) {
                (Ok(one), Ok(other)) => {
                    assert_eq!(one.time.len(), other.time.len(), "{name}");
                    for (a, b) in one.channels.iter().zip(&other.channels) {
                        assert_eq!(a.values.len(), one.time.len(), "{name}");
                        let same = a
                            .values
                            .iter()
                            .zip(&b.values)
                            .all(|(x, y)| x.to_bits() == y.to_bits());
                        assert!(same, "{name}: column {}", a.column);
                    }
                    if let TimeAxis::Listed(times) = &one.time {
                        assert!(
                            times.windows(2).all(|w| w[1] > w[0]),
                            "{name}: {:?}",
                            one.warnings
                        );
                    }
                    guess_columns(&one);
                }
                (one, other) => assert_eq!(one.is_err(), other.is_err(), "{name}"),
            }
        }
    }
}

#[test]
fn an_override_of_a_column_that_is_not_there_is_told() {
    let text = "time (s),u (V)\n".to_owned()
        + &rows(30, |k| format!("{:.3},{}.5", 1e-3 * k as f64, k % 7));
    let options = ReadOptions {
        units: vec![(9, "V".to_owned())],
        ..ReadOptions::default()
    };
    let record = of_text(&text, &options).expect("a record");
    let [warning] = record.warnings.as_slice() else {
        panic!("{:?}", record.warnings);
    };
    assert_eq!(warning.kind.code(), "no-such-column");
    assert!(warning.kind.is_doubtful());
    assert!(
        warning.text().contains("column 9, and the table has 2"),
        "{warning}"
    );
    assert!(
        of_text(&text, &ReadOptions::default())
            .expect("a record")
            .warnings
            .is_empty()
    );
}

#[test]
fn json_and_xy_plots_are_named_as_such() {
    let numbers: Vec<String> = (0..300).map(|k| format!("{}.5", k % 7)).collect();
    let numbers = numbers.join(", ");
    for text in [
        format!("{{\"u\": [{numbers}], \"i\": [{numbers}]}}\n"),
        format!("[[{numbers}], [{numbers}]]\n"),
        format!("{{\n\"u\": [\n{}\n]}}\n", numbers.replace(", ", ",\n")),
    ] {
        let error = of_text(&text, &ReadOptions::default()).expect_err("JSON");
        assert!(error.text().contains("this is JSON"), "{error}");
    }
    let xy = "CH1 (V),CH2 (V)\n".to_owned()
        + &rows(200, |k| {
            let angle = 0.1 * k as f64;
            format!("{:.4},{:.4}", angle.sin(), angle.cos())
        });
    let text = of_text(&xy, &ReadOptions::default())
        .expect("a record")
        .warnings[0]
        .text();
    assert!(
        text.contains("XY plot") && text.contains("against time"),
        "{text}"
    );
}
