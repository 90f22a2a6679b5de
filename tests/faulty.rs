//! Every bad capture of `fixtures/faulty/` through the commands a person runs: what is told, word for word, and the exit status
//! (2 could not run, 1 should not be trusted as it is, 0 told and usable).

use serde_json::Value;
use std::path::Path;
use std::process::Command;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/faulty");

/// What every quick run says of accuracies nobody stated: not what these tests are about.
const HABITUAL: [&str; 3] = [
    "warning: instrument \"",
    "warning: channel \"",
    "warning: no winding temperature",
];

fn output(arguments: &[&str], folder: &Path) -> std::process::Output {
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program runs");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(!errors.contains("panicked"), "{arguments:?}: {errors}");
    output
}

/// Warnings and errors, each with the lines that continue it joined.
fn messages(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let mut within = None;
    for line in text.lines() {
        let words = line.trim_start();
        let indent = line.len() - words.len();
        if words.starts_with("warning:") || words.starts_with("error:") {
            found.push(words.to_owned());
            within = Some(indent);
        } else if within.is_some_and(|first| indent > first) && !words.is_empty() {
            if let Some(last) = found.last_mut() {
                *last += " ";
                *last += words;
            }
        } else {
            within = None;
        }
    }
    found
}

/// Exit status, and the lines that warn or refuse.
fn run_in(arguments: &[&str], folder: &Path) -> (Option<i32>, String) {
    let mut arguments = arguments.to_vec();
    // One capture leaves parameters undetermined; here the status is that of its record.
    if arguments[0] == "fit" {
        arguments.push("--partial");
    }
    let output = output(&arguments, folder);
    let all = [output.stdout, output.stderr].concat();
    let told: Vec<String> = messages(&String::from_utf8(all).expect("UTF-8"))
        .into_iter()
        .filter(|line| !HABITUAL.iter().any(|habit| line.starts_with(habit)))
        .collect();
    (output.status.code(), told.join("\n"))
}

fn run(arguments: &[&str]) -> (Option<i32>, String) {
    run_in(arguments, Path::new(FOLDER))
}

/// The parameters of a fit's motor file.
fn parameters(arguments: &[&str]) -> Value {
    let output = output(&[&["fit", "--json"], arguments].concat(), Path::new(FOLDER));
    let file: Value = serde_json::from_slice(&output.stdout).expect("a motor file");
    file["parameters"].clone()
}

#[test]
fn a_truncated_row_is_placed_and_the_rows_before_it_are_used() {
    let (status, told) = run(&["look", "truncated_row.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: line 929, cell 3: the last row is incomplete: it ends at cell 3 of 3 with "0". The copy stopped there; the row is left out and the 927 rows before it are used"#);
    let (status, told) = run(&["fit", "--start", "truncated_row.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: truncated_row: truncated_row.csv:929:3: the last row is incomplete: it ends at cell 3 of 3 with "0". The copy stopped there; the row is left out and the 927 rows before it are used"#);
}

#[test]
fn an_empty_file_is_told() {
    let (status, told) = run(&["look", "empty.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: empty.csv: the file is empty (0 bytes), expected rows of numbers. Export the record again"#);
    let (status, told) = run(&["fit", "--start", "empty.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: capture "empty": empty.csv: the file is empty (0 bytes), expected rows of numbers. Export the record again"#);
}

#[test]
fn a_header_alone_names_the_columns_it_announced() {
    let (status, told) = run(&["look", "header_only.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: header_only.csv:1: no samples: the header announces 3 columns: `Time (s)`, `CH1 (V)`, `CH2 (A)` and no row of numbers below. Export the record again with its samples"#);
    let (status, told) = run(&["fit", "--start", "header_only.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: capture "header_only": header_only.csv:1: no samples: the header announces 3 columns: `Time (s)`, `CH1 (V)`, `CH2 (A)` and no row of numbers below. Export the record again with its samples"#);
}

#[test]
fn time_that_goes_back_is_placed() {
    let (status, told) = run(&["look", "time_backwards.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: time_backwards.csv:701: time goes back from 0.04632 s to 0.04624 s (1 place). Export the record again, or pass --time-gaps split to keep its longest increasing stretch"#);
    let (status, told) = run(&["fit", "--start", "time_backwards.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: capture "time_backwards": time_backwards.csv:701: time goes back from 0.04632 s to 0.04624 s (1 place). Export the record again, or pass --time-gaps split to keep its longest increasing stretch"#);
    let (status, told) = run(&["look", "--time-gaps", "split", "time_backwards.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"
    warning: line 701: time goes back from 0.04632 s to 0.04624 s; as requested, only the longest increasing stretch is kept
    warning: line 702: only 800 of 1500 rows are kept, the longest stretch in which time increases without a gap
    warning: no contact closes in this record: it begins with the motor already driven, so neither rise nor peak is seen and inductance is not determined by it. Lengthen the pre-trigger
    "#);
}

#[test]
fn time_that_stands_still_tells_the_step_implied() {
    let (status, told) = run(&["look", "time_repeated.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: line 3: time does not advance: -0.01 s is repeated, the first of 1379 places in 1500 rows. The export has too few digits (0.001 s); the record as a whole implies a step of 8e-5 s, which is used. Export with more digits, or give the sampling interval with --interval"#);
    let (status, told) = run(&["fit", "--start", "time_repeated.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: time_repeated: time_repeated.csv:3: time does not advance: -0.01 s is repeated, the first of 1379 places in 1500 rows. The export has too few digits (0.001 s); the record as a whole implies a step of 8e-5 s, which is used. Export with more digits, or give the sampling interval with --interval"#);
}

#[test]
fn a_change_of_layout_is_placed() {
    let (status, told) = run(&["look", "mixed_delimiters.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: line 751: the layout changes here: above, the field delimiter is ',' with '.' as decimal mark; from here on ';' with ','. The 749 rows above are used, the 751 below are not. Export the record again, or bring the file to one layout"#);
    let (status, told) = run(&["fit", "--start", "mixed_delimiters.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: mixed_delimiters: mixed_delimiters.csv:751: the layout changes here: above, the field delimiter is ',' with '.' as decimal mark; from here on ';' with ','. The 749 rows above are used, the 751 below are not. Export the record again, or bring the file to one layout"#);
}

#[test]
fn a_blank_voltage_leaves_the_current() {
    let (status, told) = run(&["look", "all_blank.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: line 2, cell 2: column 2 "CH1 (V)" has no numbers: all 1500 cells are blank or marked missing. The other channel can still be used"#);
    let (status, told) = run(&["fit", "--start", "all_blank.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: capture "all_blank" (all_blank.csv): column 2 "CH1 (V)" (voltage) holds no number in 1500 rows. Export it again, or say voltage.recorded = false to use the other channel alone"#);
}

#[test]
fn clipped_samples_are_counted_and_their_effect_is_told() {
    let (status, told) = run(&["look", "clipped_current.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: the current clips at 1.01 A for 193 samples: the true peak is higher, so resistance and inductance would come out too large; these samples are left out. Use a larger scale per division"#);
    let (status, told) = run(&["fit", "--start", "clipped_current.csv", "--supply", "12V"]);
    // Whether what is left converges is the solver's affair.
    assert_ne!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"warning: clipped_current: the current clips at 1.01 A for 193 samples: the true peak is higher, so resistance and inductance would come out too large; these samples are left out. Use a larger scale per division"#);
}

#[test]
fn an_ac_coupled_run_down_is_refused() {
    let (status, told) = run(&["look", "ac_coupled_rundown.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: the voltage is -31.0 mV before the lead comes off, crosses zero and goes down to -997 mV in the run-down although the motor only slows: AC coupling of the channel is suspected. The run-down is not usable for friction and inertia. Set the channel to DC coupling and record again"#);
    let (status, told) = run(&[
        "fit",
        "--rundown",
        "ac_coupled_rundown.csv",
        "--supply",
        "12V",
    ]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"
    warning: ac_coupled_rundown: the voltage is -31.0 mV before the lead comes off, crosses zero and goes down to -997 mV in the run-down although the motor only slows: AC coupling of the channel is suspected. The run-down is not usable for friction and inertia. Set the channel to DC coupling and record again
    error: the captures could not be fitted: no capture holds a stretch in which current flows and the model can follow it; a start, a run-down and a brake are the usual three
    "#);
}

#[test]
fn a_supply_in_current_limit_is_told() {
    let (status, told) = run(&["look", "current_limited_start.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: the current stays at a plateau of 576 mA for 50.4 ms while the voltage sags to 4.84 V of 12.2 V: the supply limits its current. The voltage makes no step, so only a record with the voltage measured can be used; raise the limit above the stall current or use a battery"#);
    let (status, told) = run(&[
        "fit",
        "--start",
        "current_limited_start.csv",
        "--supply",
        "12V",
    ]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: current_limited_start: the current stays at a plateau of 576 mA for 50.4 ms while the voltage sags to 4.84 V of 12.2 V: the supply limits its current. The voltage makes no step, so only a record with the voltage measured can be used; raise the limit above the stall current or use a battery"#);
}

#[test]
fn a_reversed_probe_is_told_and_can_be_turned() {
    let (status, told) = run(&["look", "current_reversed.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: the current is negative while the source drives the motor (with the voltage positive it reaches -1.69 A): the current probe is the wrong way round. The phases were found with the sign turned; flip the polarity of the current channel (`reversed = true` in a bench sheet, `--reverse-current` without one)"#);
    let (status, told) = run(&["fit", "--start", "current_reversed.csv", "--supply", "12V"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: current_reversed: the current is negative while the source drives the motor (with the voltage positive it reaches -1.69 A): the current probe is the wrong way round. The phases were found with the sign turned; flip the polarity of the current channel (`reversed = true` in a bench sheet, `--reverse-current` without one)"#);
    let (status, told) = run(&[
        "fit",
        "--reverse-current",
        "--start",
        "current_reversed.csv",
        "--supply",
        "12V",
    ]);
    assert_eq!(status, Some(0), "{told}");
    assert_eq!(told, "");
}

#[test]
fn a_forgotten_probe_ratio_is_told_against_the_supply() {
    let (status, told) = run(&["look", "probe_ratio_ten_times.csv"]);
    assert_eq!(status, Some(0), "{told}");
    assert_eq!(told, "");
    let (status, told) = run(&[
        "fit",
        "--start",
        "probe_ratio_ten_times.csv",
        "--supply",
        "12V",
    ]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: probe_ratio_ten_times: the voltage reaches about 1.2 V, a tenth of the stated supply of 12.0 V: the ratio of the probe was probably not set. Say apply_probe_ratio = 10 for this channel, or correct the supply; otherwise R, L and K come out ten times too small"#);
}

#[test]
fn a_rise_between_two_samples_tells_the_interval_needed() {
    let (status, told) = run(&["look", "rise_undersampled.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: the rise to 63 % of the peak current takes 1 sample of 1.00 ms: the electrical time constant is below about 1.00 ms, and the inductance cannot be determined from this record. Sample at 50.0 µs or less"#);
    let (status, told) = run(&["fit", "--start", "rise_undersampled.csv", "--supply", "12V"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: rise_undersampled: the rise to 63 % of the peak current takes 1 sample of 1.00 ms: the electrical time constant is below about 1.00 ms, and the inductance cannot be determined from this record. Sample at 50.0 µs or less"#);
}

#[test]
fn a_picture_is_recognised() {
    let (status, told) = run(&["look", "picture_named.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: picture_named.csv: not text: recognised as an image (PNG) by its first bytes, expected an exported table of numbers. Export the samples as CSV, not the screen"#);
    let (status, told) = run(&["fit", "--start", "picture_named.csv"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"error: capture "picture_named": picture_named.csv: not text: recognised as an image (PNG) by its first bytes, expected an exported table of numbers. Export the samples as CSV, not the screen"#);
}

#[test]
fn a_missed_trigger_is_told() {
    let (status, told) = run(&["look", "trigger_missed.csv"]);
    assert_eq!(status, Some(1), "{told}");
    insta::assert_snapshot!(told, @r#"warning: no event above the noise: voltage stays at -1.00 mV ± 20.8 mV, current stays at 0 A ± 4.00 mA. The trigger was probably missed; nothing can be estimated from this record. Trigger on the current edge at about a tenth of the expected peak and record again"#);
    let (status, told) = run(&["fit", "--start", "trigger_missed.csv", "--supply", "12V"]);
    assert_eq!(status, Some(2), "{told}");
    insta::assert_snapshot!(told, @r#"
    warning: trigger_missed: no event above the noise: voltage stays at -1.00 mV ± 20.8 mV, current stays at 0 A ± 4.00 mA. The trigger was probably missed; nothing can be estimated from this record. Trigger on the current edge at about a tenth of the expected peak and record again
    error: the captures could not be fitted: no capture holds a stretch in which current flows and the model can follow it; a start, a run-down and a brake are the usual three
    "#);
}

#[test]
fn a_gap_in_time_is_placed_and_measured() {
    let (status, told) = run(&["look", "gap_in_time.csv"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: line 497: gap in time from 0.02992 s to 0.032 s: 0.00208 s long, about 25 samples missing. The record is used in 2 pieces. Pass --time-gaps split to keep the longest piece only"#);
    let (status, told) = run(&["fit", "--start", "gap_in_time.csv", "--supply", "12V"]);
    assert_eq!(status, Some(0), "{told}");
    insta::assert_snapshot!(told, @r#"warning: gap_in_time: gap_in_time.csv:497: gap in time from 0.02992 s to 0.032 s: 0.00208 s long, about 25 samples missing. The record is used in 2 pieces. Pass --time-gaps split to keep the longest piece only"#);
}

#[test]
fn a_rise_between_two_samples_leaves_the_inductance_open() {
    let found = parameters(&["--start", "rise_undersampled.csv", "--supply", "12V"]);
    for name in ["armature_inductance", "electrical_time_constant"] {
        assert_eq!(found[name]["status"], "undetermined", "{name}");
        assert!(found[name]["value"].is_null(), "{name}");
    }
    // The same rig sampled at 80 µs shows its rise.
    let fine = parameters(&["--start", "gap_in_time.csv", "--supply", "12V"]);
    assert_eq!(fine["armature_inductance"]["status"], "measured");
}

#[test]
fn an_ac_coupled_run_down_changes_nothing_that_a_start_says() {
    let alone = parameters(&["--start", "gap_in_time.csv", "--supply", "12V"]);
    let both = parameters(&[
        "--start",
        "gap_in_time.csv",
        "--rundown",
        "ac_coupled_rundown.csv",
        "--supply",
        "12V",
    ]);
    for (name, parameter) in alone.as_object().expect("a table of parameters") {
        assert_eq!(parameter["status"], both[name]["status"], "{name}");
        let value = |p: &Value| p["value"].as_f64();
        if let (Some(a), Some(b)) = (value(parameter), value(&both[name])) {
            assert!(
                (a - b).abs() <= 1e-4 * a.abs() + 1e-12,
                "{name}: {a} and {b}"
            );
        }
    }
    assert_eq!(both["coulomb_friction_torque"]["status"], "undetermined");
    // The steady current at the end of the start bounds it, with or without the run-down.
    assert_eq!(both["friction_current"]["status"], "measured");
    assert!(both["friction_current"]["upper"].as_f64() < Some(1.9));
}

#[test]
fn friction_beyond_every_current_seen_is_no_value() {
    for file in [
        "clipped_current.csv",
        "truncated_row.csv",
        "mixed_delimiters.csv",
    ] {
        let found = parameters(&["--start", file, "--supply", "12V"]);
        for name in ["friction_current", "brush_drop", "viscous_conductance"] {
            let Some(upper) = found[name]["upper"].as_f64() else {
                assert_eq!(found[name]["status"], "undetermined", "{file} {name}");
                continue;
            };
            // 12.4 V and 1.9 A are the most that these files hold.
            let most = if name == "brush_drop" { 12.4 } else { 1.9 };
            assert!(upper < most, "{file} {name}: {upper}");
            assert!(
                found[name]["standard_uncertainty"].as_f64() > Some(0.0),
                "{file} {name}"
            );
        }
    }
}

#[test]
fn a_sheet_tells_the_probe_ratio_and_mends_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let capture = Path::new(FOLDER).join("probe_ratio_ten_times.csv");
    std::fs::copy(capture, folder.path().join("start.csv")).expect("a copy");
    let sheet = |keys: &str| {
        let text = format!(
            r#"[motor]
name = "pump"
winding_temperature = {{ c = 24, limit_k = 2 }}
[supply]
voltage = {{ v = 12, limit_percent = 1 }}
[instruments.scope]
kind = "oscilloscope"
bits = 8
gain = {{ limit_percent = 2 }}
zero = {{ limit_divisions = 0.1 }}
[channels.CH1]
measures = "voltage"
column = 2
through = ["scope"]
per_division = 2
{keys}
[channels.CH2]
measures = "current"
column = 3
through = ["scope"]
per_division = 0.5
[[captures]]
file = "start.csv"
role = "start"
"#
        );
        std::fs::write(folder.path().join("bench.toml"), text).expect("a sheet");
        run_in(&["fit", "bench.toml"], folder.path())
    };
    let (status, told) = sheet("");
    assert_eq!(status, Some(1), "{told}");
    assert!(
        told.contains(
            "start: the voltage reaches about 1.2 V, a tenth of the stated supply of 12.0 V"
        ),
        "{told}"
    );
    let (status, told) = sheet("apply_probe_ratio = 10\n");
    assert_eq!((status, told.as_str()), (Some(0), ""));
}

#[test]
fn no_file_makes_the_event_finder_panic_in_a_role_it_has_not() {
    use rundown::bench::Role;
    for entry in std::fs::read_dir(FOLDER).expect("the folder") {
        let path = entry.expect("an entry").path();
        let Ok(record) = rundown::capture::read(&path, &rundown::capture::ReadOptions::default())
        else {
            continue;
        };
        let waveform = rundown::events::guess_columns(&record).waveform(&record);
        for role in Role::ALL {
            let timeline = rundown::events::find(&waveform, role);
            let rows: usize = timeline.phases.iter().map(|p| p.end - p.first).sum();
            assert_eq!(rows, record.time.len(), "{} as {role:?}", path.display());
        }
    }
}
