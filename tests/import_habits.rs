//! Habits of exports, each as a few words of header and the way a row is written: the same record must come of all of them.

use rundown::capture::{ReadError, ReadOptions, Record, TimeAxis, read_from};
use std::path::Path;

const ROWS: usize = 200;
const STEP_S: f64 = 1e-4;
const START_S: f64 = -5e-3;

/// Time (s), voltage (V) and current (A) of a row: a contact that closes at row 50.
fn sample(k: usize) -> (f64, f64, f64) {
    let on = k >= 50;
    let ripple = ((k * 7) % 5) as f64 * 0.05;
    let current = if on {
        4.0 - (k - 50) as f64 * 0.02
    } else {
        0.0
    };
    (
        START_S + k as f64 * STEP_S,
        if on { 12.0 - ripple } else { 0.0 },
        current,
    )
}

fn file(header: &str, row: fn(usize, f64, f64, f64) -> String) -> String {
    let rows = (0..ROWS).map(|k| {
        let (t, u, i) = sample(k);
        row(k, t, u, i) + "\n"
    });
    format!("{header}{}", rows.collect::<String>())
}

fn open(text: &str) -> Result<Record, ReadError> {
    read_from(Path::new("a.csv"), text.as_bytes(), &ReadOptions::default())
}

type Row = fn(usize, f64, f64, f64) -> String;

/// Header and row, with the unit that both columns must have and whether the start is stated.
const READ: &[(&str, Row, bool, bool)] = &[
    (
        "Time{us},Volt{V},Curr{mA}\n",
        |_, t, u, i| format!("{:.1},{u:.3},{:.1}", t * 1e6, i * 1e3),
        true,
        true,
    ),
    (
        "Time <ms>,U <V>,I <A>\n",
        |_, t, u, i| format!("{:.3},{u:.3},{i:.4}", t * 1e3),
        true,
        true,
    ),
    (
        "ms,Motor Volts,Motor Amps\n",
        |_, t, u, i| format!("{:.3},{u:.3},{i:.4}", t * 1e3),
        true,
        true,
    ),
    (
        "Time per sample,0.0001\nChannel,CH1,CH2\nUnit,V,A\n",
        |k, _, u, i| format!("{k},{u:.3},{i:.4}"),
        true,
        false,
    ),
    (
        "Waveform,CH1,CH2\nSample Rate (Sa/s),10000,10000\nX Origin (s),-0.005,-0.005\nY Unit,V,A\nData,,\n",
        |_, _, u, i| format!(",{u:.3},{i:.4}"),
        true,
        true,
    ),
    // Rows counted from 1: the origin is the time of the first.
    (
        "Unit,V,A\nX0,-0.005,-0.005\ndX,0.0001,0.0001\n,,\n",
        |k, _, u, i| format!("{},{u:.3},{i:.4}", k + 1),
        true,
        true,
    ),
    (
        "Sampling: 10 kS/s; Pretrigger: 50\nU [V];I [A]\n",
        |_, _, u, i| format!("{u:.3};{i:.4}"),
        true,
        true,
    ),
    (
        "| t (s) | U (V) | I (A) |\n|---|---|---|\n",
        |_, t, u, i| format!("| {t:.5} | {u:.3} | {i:.4} |"),
        true,
        true,
    ),
    (
        "Time (s),Voltage, filtered (V),Current (A)\n",
        |_, t, u, i| format!("{t:.5},{u:.3},{i:.4}"),
        true,
        true,
    ),
    (
        "Time,Pin,CH1,CH2\ns,dBm,V,A\n",
        |k, t, u, i| format!("{t:.5},-10.{},{u:.3},{i:.4}", k % 10),
        true,
        true,
    ),
    (
        "t u i\ns V A\n",
        |_, t, u, i| {
            format!("{t:.5E} {u:.3E} {i:.4E}")
                .replace("E-", "D-")
                .replace("E0", "D+00")
        },
        true,
        true,
    ),
    (
        "#Title: run\n#Columns: time_s voltage_V current_A\n",
        |_, t, u, i| format!("{t:.5} {u:.3} {i:.4}"),
        true,
        true,
    ),
    (
        "%time_ms,%u_V,%i_A\n",
        |_, t, u, i| format!("{:.3},{u:.3},{i:.4}", t * 1e3),
        true,
        true,
    ),
    (
        "time (s),u (V),i (A)\n",
        |k, t, u, i| match (52..90).contains(&k) && k % 2 == 0 {
            true => format!("{t:.5},{u:.3},>3.0"),
            false => format!("{t:.5},{u:.3},{i:.4}"),
        },
        true,
        true,
    ),
    (
        "",
        |_, t, u, i| format!("{{\"t\": {t:.5}, \"u\": {u:.3}, \"i\": {i:.4}}}"),
        false,
        true,
    ),
    // A row of figures above the names.
    (
        "1,2,3\nTime(s),U(V),I(A)\n",
        |_, t, u, i| format!("{t:.5},{u:.3},{i:.4}"),
        true,
        true,
    ),
    (
        "Scan,Time (ms),101 (VDC),102 (ADC)\n",
        |k, t, u, i| format!("{},{:.3},{u:.3},{i:.4}", k + 1, t * 1e3),
        true,
        true,
    ),
    (
        "U(V),I(A)\nSampling period (ms),0.1\n",
        |_, _, u, i| format!("{u:.3},{i:.4}"),
        true,
        false,
    ),
    (
        "\"Name\",\"CH1\",\"CH2\"\n\"Unit\",\"V\",\"A\"\n\"Sampling interval\",\"100\",\"us\"\n",
        |_, _, u, i| format!("\"\",{u:.3},{i:.4}"),
        true,
        false,
    ),
    (
        "Time(s),U(V),I(A)\n",
        |_, t, u, i| format!("=\"{t:.5}\",=\"{u:.3}\",=\"{i:.4}\""),
        true,
        true,
    ),
    (
        "time (s), u (V), i (A)\n",
        |_, t, u, i| format!("[{t:.5}, {u:.3}, {i:.4}],"),
        true,
        true,
    ),
    (
        "",
        |_, t, u, i| format!("({t:.5}; {u:.3}; {i:.4})"),
        false,
        true,
    ),
    (
        "us,mV,mA\n",
        |_, t, u, i| format!("{:.0},{:.0},{:.1}", t * 1e6, u * 1e3, i * 1e3),
        true,
        true,
    ),
    (
        "Address,t (s),u (V),i (A)\n",
        |k, t, u, i| format!("0x{k:04X},{t:.5},{u:.3},{i:.4}"),
        true,
        true,
    ),
    // One column with a point where the others have a comma.
    (
        "Zeit;U;I\ns;V;A\n",
        |_, t, u, i| {
            let comma = |text: String| text.replace('.', ",");
            format!(
                "{};{u:.3};{}",
                comma(format!("{t:.5}")),
                comma(format!("{i:.4}"))
            )
        },
        true,
        true,
    ),
    // Without names, time behind the values.
    (
        "",
        |_, t, u, i| format!("{u:.3},{i:.4},{t:.5}"),
        false,
        true,
    ),
    (
        "",
        |_, t, u, i| format!("t={t:.5}; u={u:.3}; i={i:.4}"),
        false,
        true,
    ),
];

#[test]
fn the_same_record_comes_of_every_habit() {
    for (header, row, units, start) in READ {
        let text = file(header, *row);
        let shown = &text[..text.len().min(120)];
        let record = open(&text).unwrap_or_else(|error| panic!("{error}\n{shown}"));
        let TimeAxis::Uniform {
            start_s,
            step_s,
            len,
        } = record.time
        else {
            panic!("{:?}\n{shown}", record.time);
        };
        assert_eq!(len, ROWS, "{shown}");
        assert!((step_s - STEP_S).abs() < 1e-12, "{step_s}\n{shown}");
        assert!(
            !start || (start_s - START_S).abs() < 1e-12,
            "{start_s}\n{shown}"
        );
        let most = |c: &rundown::capture::Channel| {
            let known = c.values.iter().filter(|v| v.is_finite());
            known.fold(f64::MIN, |a, v| a.max(*v))
        };
        let holds = |unit: &str, value: f64| {
            let mut channels = record.channels.iter();
            channels.any(|c| {
                c.unit.as_deref() == units.then_some(unit) && (most(c) - value).abs() < 1e-9
            })
        };
        assert!(holds("V", 12.0), "{:?}\n{shown}", record.channels);
        assert!(holds("A", 4.0), "{:?}\n{shown}", record.channels);
    }
}

#[test]
fn what_is_no_record_against_time_is_refused_with_what_it_is() {
    for (header, row, what) in [
        (
            "Time,Channel,Value\n",
            (|_, t, u, i| format!("{t:.5},CH1,{u:.3}\n{t:.5},CH2,{i:.4}")) as Row,
            "column 2 names the channel of each row (CH1, CH2)",
        ),
        (
            "Time,Channel,Value\n",
            |_, t, u, i| format!("{t:.5},1,{u:.3}\n{t:.5},2,{i:.4}"),
            "column 2 names the channel of each row (1, 2)",
        ),
        (
            "Cursor,1\nFFT Magnitude\nX,Y\n",
            |k, _, u, _| format!("{},{:.3}", k * 10, u - 80.0),
            "not a record against time",
        ),
        // Rows of one column more from some row on: the first ones must not go without a word.
        (
            "Time(s),U(V),I(A)\n",
            |k, t, u, i| match k {
                0..60 => format!("{t:.5},{u:.3},{i:.4}"),
                60 => "Time(s),U(V),I(A),n(rpm)".to_owned(),
                _ => format!("{t:.5},{u:.3},{i:.4},{k}"),
            },
            "--skip-lines",
        ),
        (
            "Order,Amplitude (A)\n",
            |k, _, _, i| format!("{:.1},{i:.4}", k as f64 * 0.1),
            "not a record against time",
        ),
    ] {
        let error = open(&file(header, row)).expect_err(header).to_string();
        assert!(error.contains(what), "{error}");
    }
}

#[test]
fn codes_of_a_converter_and_names_in_doubt_get_no_unit() {
    for (header, row, kind) in [
        (
            "Y multiplier,0.05\nX increment,1e-4\nY unit,V\nCODE\n",
            (|_, _, u, _| format!("{:.0}", u / 0.05)) as Row,
            "codes",
        ),
        (
            "Time (s),Voltage,filtered (V),Current (A)\n",
            |_, t, u, i| format!("{t:.5},{u:.3},{i:.4}"),
            "header-wider",
        ),
    ] {
        let record = open(&file(header, row)).unwrap_or_else(|error| panic!("{error}"));
        let doubtful = record
            .warnings
            .iter()
            .any(|w| w.kind.code() == kind && w.kind.is_doubtful());
        assert!(doubtful, "{:?}", record.warnings);
        assert!(record.channels.iter().all(|c| c.unit.is_none()), "{header}");
    }
}

/// Days of a spreadsheet in a column that is called time: their steps are round in seconds, not in days.
#[test]
fn days_of_a_spreadsheet_are_known_by_their_steps() {
    let rows = (0..50).map(|k| {
        let (_, u, i) = sample(k);
        format!(
            "{:.9},{u:.3},{i:.4}\n",
            45_000.4 + f64::from(k as u32) * 0.5 / 86_400.0
        )
    });
    let text = format!("Time,U (V),I (A)\n{}", rows.collect::<String>());
    let record = open(&text).expect("a record");
    let TimeAxis::Uniform {
        start_s, step_s, ..
    } = record.time
    else {
        panic!("{:?}", record.time);
    };
    assert!(
        start_s == 0.0 && (step_s - 0.5).abs() < 1e-5,
        "{start_s} {step_s}"
    );
}

/// Figures that neither decimal mark makes sure numbers of are named, not left out in silence.
#[test]
fn figures_that_can_be_read_in_two_ways_are_named() {
    let rows = (0..50).map(|k| {
        format!(
            "{},{:02};{}.{:03};0,{:02}\n",
            k / 100,
            k,
            12 + k % 3,
            100 + k,
            k
        )
    });
    let text = format!("Zeit (s);U (V);I (A)\n{}", rows.collect::<String>());
    let record = open(&text).expect("a record");
    let named = record
        .warnings
        .iter()
        .any(|w| w.kind.is_doubtful() && w.text().contains("column 2"));
    assert!(named, "{:?}", record.warnings);
}
