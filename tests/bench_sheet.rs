//! Bench sheets: the five public motors load, their numbers come out in SI, and every error tells its place.

use approx::assert_relative_eq;
use rundown::bench::{
    Bench, BenchError, BenchRemark, BrushKind, CaptureWarning, LoadOptions, QuickRun, Reading,
    Role, quick_bench, read_sheet,
};
use rundown::events::{Timeline, find};
use std::path::{Path, PathBuf};

const MOTORS: [&str; 5] = [
    "camera_slider",
    "dosing_pump",
    "floor_scrubber",
    "telescope_focuser",
    "ticket_printer",
];

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn fixture(motor: &str) -> Bench {
    let path = fixtures().join(motor).join("bench.toml");
    read_sheet(&path, &LoadOptions::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// A folder with one small start capture and the sheet `text`.
fn folder(text: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("bench.toml"), text).unwrap();
    std::fs::write(dir.path().join("start.csv"), start_csv(1.0, 1.0)).unwrap();
    dir
}

/// A start with 12 V and a current that peaks at 3 A, each multiplied.
fn start_csv(volts: f64, amperes: f64) -> String {
    let mut csv = String::from("Time (s),CH1 (V),CH2 (A)\n");
    for k in 0..400 {
        let t = f64::from(k - 40) * 1e-4;
        let (v, i) = if k < 40 {
            (0.0, 0.0)
        } else {
            let v = 12.0 + 0.05 * f64::from(k % 3);
            (v, 3.0 * ((-t / 8e-3).exp() - (-t / 4e-4).exp()) + 0.2)
        };
        csv.push_str(&format!("{t:.5},{:.3},{:.4}\n", v * volts, i * amperes));
    }
    csv
}

fn read(dir: &tempfile::TempDir) -> Result<Bench, BenchError> {
    read_sheet(&dir.path().join("bench.toml"), &LoadOptions::default())
}

/// The text of the error, with the folder taken off.
fn told(text: &str) -> String {
    let dir = folder(text);
    let error = read(&dir).expect_err("this sheet must be refused");
    error
        .to_string()
        .replace(&format!("{}/", dir.path().display()), "")
        .replace(&dir.path().display().to_string(), "DIR")
}

const HEAD: &str = "[motor]\nname = \"pump\"\n";
const WIRED: &str = "[motor]
name = \"pump\"
winding_temperature = { c = 24, limit_k = 2 }
[supply]
voltage = { v = 12, limit_percent = 1 }
[instruments.scope]
kind = \"oscilloscope\"
bits = 8
gain = { limit_percent = 2 }
zero = { limit_divisions = 0.1 }
[instruments.clamp]
kind = \"current-probe\"
gain = { limit_percent = 3 }
zero = { limit_ma = 40 }
[channels.CH1]
measures = \"voltage\"
through = [\"scope\"]
per_division = 5
[channels.CH2]
measures = \"current\"
through = [\"scope\", \"clamp\"]
per_division = 1
[[captures]]
file = \"start.csv\"
role = \"start\"
";

#[test]
fn all_five_public_motors_load_with_every_capture() {
    for motor in MOTORS {
        let bench = fixture(motor);
        assert_eq!(bench.captures.len(), 5, "{motor}");
        assert!(bench.sha256.is_some());
        for capture in &bench.captures {
            let waveform = &capture.waveform;
            let rows = waveform.time.len();
            assert!(rows >= 9000, "{motor} {}", capture.name);
            for trace in [&waveform.voltage_v, &waveform.current_a] {
                let trace = trace.as_ref().expect("both channels were recorded");
                assert_eq!(trace.values.len(), rows);
                // Flags are there only where a row is clipped.
                assert!(trace.clipped.is_empty() || trace.clipped.len() == rows);
            }
            let temperature = capture.winding_temperature_c.expect("every note tells it");
            assert!(temperature.standard_uncertainty > 0.0);
            assert!(!capture.ac_coupled);
        }
        // Nothing in the notes gives reason to doubt polarity, ratio or coupling.
        for remark in &texts(&bench.warnings) {
            for doubt in [
                "wrong way round",
                "ratio of the probe",
                "AC coupl",
                "its unit is",
            ] {
                assert!(!remark.contains(doubt), "{motor}: {remark}");
            }
        }
    }
}

#[test]
fn only_kicks_that_left_the_screen_are_marked_as_clipped() {
    let mut found = Vec::new();
    for motor in MOTORS {
        for capture in fixture(motor).captures {
            for (word, trace) in [
                ("voltage", &capture.waveform.voltage_v),
                ("current", &capture.waveform.current_a),
            ] {
                let clipped = &trace.as_ref().unwrap().clipped;
                let count = clipped.iter().filter(|c| **c).count();
                if count > 0 {
                    found.push(format!("{motor} {} {word} {count}", capture.name));
                }
            }
        }
    }
    // Counted in the files: cells that are -inf, and cells at an end of the screen that the kick of an opened contact
    // reached. Where the preamble tells the screen it ends at -12.500 V and, one code inside, 37.305 V (offset 12.5 V,
    // 5 divisions of 5 V either way). Elsewhere the two ends stand 2^bits - 1 steps apart: -4.00000 and 15.99512 V
    // (camera slider), -1.0000 and 14.9375 V, -15.000 and 24.844 V (dosing pump).
    assert_eq!(
        found,
        [
            "camera_slider start voltage 7",
            "camera_slider brake voltage 8",
            "dosing_pump run up voltage 6",
            "dosing_pump braked voltage 5",
            "floor_scrubber F0001 voltage 12",
            "floor_scrubber F0003 voltage 13",
            "telescope_focuser startup voltage 2",
            "ticket_printer start voltage 7",
            "ticket_printer brake voltage 27",
            "ticket_printer locked voltage 101",
            "ticket_printer break voltage 376",
        ]
    );
}

#[test]
fn limits_become_standard_uncertainties() {
    let bench = fixture("ticket_printer");
    let [scope, probe, clamp] = bench.instruments.as_slice() else {
        panic!("{:?}", bench.instruments);
    };
    let root = 3f64.sqrt();
    assert_relative_eq!(scope.gain_relative_uncertainty, 0.02 / root);
    assert!(scope.gain_per_channel);
    assert_relative_eq!(
        scope.time_base_relative_uncertainty.unwrap(),
        50e-6 / root,
        max_relative = 1e-12
    );
    assert_relative_eq!(probe.gain_relative_uncertainty, 0.01 / root);
    assert_relative_eq!(clamp.gain_relative_uncertainty, 0.02 / root);
    assert_eq!(clamp.bandwidth_hz, Some(100e3));
    assert!(!clamp.gain_per_channel);
    // Zero of the current in the start: the clamp's 40 mA and 0.1 division of 1 A, both limits.
    let start = &bench.captures[0];
    assert_relative_eq!(
        start.current_chain.as_ref().unwrap().zero_uncertainty,
        (0.04f64.powi(2) + 0.1f64.powi(2)).sqrt() / root,
        max_relative = 1e-9
    );
    // 0.1 % and 1 rpm of 5160 rpm.
    let Some(Reading::Speed { speed_rad_s, .. }) = bench.readings.get(1) else {
        panic!("{:?}", bench.readings);
    };
    assert_relative_eq!(
        speed_rad_s.value,
        5160.0 * std::f64::consts::TAU / 60.0,
        max_relative = 1e-12
    );
    assert_relative_eq!(
        speed_rad_s.standard_uncertainty / speed_rad_s.value,
        (5.16 + 1.0) / root / 5160.0,
        max_relative = 1e-9
    );
}

#[test]
fn hardware_that_two_captures_share_is_one_instrument() {
    for motor in MOTORS {
        let bench = fixture(motor);
        let first = &bench.captures[0];
        for capture in &bench.captures {
            for (a, b) in [
                (&capture.voltage_chain, &first.voltage_chain),
                (&capture.current_chain, &first.current_chain),
            ] {
                let (a, b) = (a.as_ref().unwrap(), b.as_ref().unwrap());
                assert_eq!(a.instruments, b.instruments);
                assert_eq!(a.column, b.column, "one gain of the scope a channel");
            }
            assert_ne!(
                capture.voltage_chain.as_ref().unwrap().column,
                capture.current_chain.as_ref().unwrap().column
            );
        }
    }
}

#[test]
fn a_shunt_inside_the_voltage_is_the_one_the_current_passes_through() {
    for (motor, ohm) in [
        ("telescope_focuser", 1.0),
        ("dosing_pump", 0.22),
        ("camera_slider", 0.05),
    ] {
        for capture in fixture(motor).captures {
            let (found, index) = capture.series_in_voltage.expect("notes say so");
            assert_relative_eq!(found, ohm);
            let chain = capture.current_chain.unwrap();
            assert!(chain.instruments.contains(&index.unwrap()), "{motor}");
        }
    }
    for motor in ["ticket_printer", "floor_scrubber"] {
        for capture in fixture(motor).captures {
            assert_eq!(capture.series_in_voltage, None);
        }
    }
}

#[test]
fn a_capacitor_across_the_motor_is_a_warning_where_a_capture_depends_on_it() {
    let with = |role: &str| {
        let text = WIRED
            .replace(
                "name = \"pump\"",
                "name = \"pump\"\ncapacitor = { nf = 47, limit_percent = 20 }",
            )
            .replace("role = \"start\"", &format!("role = \"{role}\""));
        read(&folder(&text)).expect("a bench")
    };
    let says = |remarks: &[BenchRemark]| {
        let mut texts = remarks.iter().map(ToString::to_string);
        texts.any(|text| text.contains("capacitor of 47"))
    };
    let start = with("start");
    assert_relative_eq!(
        start.motor.capacitor_f.expect("stated"),
        47e-9,
        max_relative = 1e-12
    );
    assert!(says(&start.notes) && !says(&start.warnings));
    let opened = with("turn-off");
    assert!(says(&opened.warnings) && !says(&opened.notes));
}

#[test]
fn raw_volts_across_a_shunt_become_amperes() {
    let bench = fixture("camera_slider");
    let locked = bench
        .captures
        .iter()
        .find(|c| c.role == Role::LockedRotor)
        .unwrap();
    let current = locked.waveform.current_a.as_ref().unwrap();
    let last = *current.values.last().unwrap();
    // Ohm's law with the noted ohmmeter range and battery gives 4.3 to 5 A; the ohmmeter reads brushes too high.
    assert!((4.0..7.0).contains(&last), "{last} A");
    // 12 bits: the step of 0.122 mV over 50 milliohm.
    assert_relative_eq!(
        current.quantisation_step.unwrap(),
        0.000122 / 0.05,
        max_relative = 0.02
    );
}

#[test]
fn millivolts_milliamperes_and_milliseconds_come_out_in_si() {
    let bench = fixture("dosing_pump");
    let brake = bench
        .captures
        .iter()
        .find(|c| c.role == Role::Brake)
        .unwrap();
    assert_relative_eq!(
        brake.waveform.time.at(0).unwrap(),
        -12e-3,
        max_relative = 1e-9
    );
    let current = brake.waveform.current_a.as_ref().unwrap();
    assert_relative_eq!(current.values[0], 0.1094, max_relative = 1e-9);
}

/// What has no sign, and a reading without its accuracy, are refused with the name of the key.
#[test]
fn sizes_without_a_sign_and_readings_without_an_accuracy_are_refused_by_name() {
    let tachometer = |speed: &str| {
        format!(
            "{WIRED}[[readings]]\nkind = \"tachometer\"\ncapture = \"start\"\nspeed = {speed}\n"
        )
    };
    let ohmmeter = |leads: &str| {
        format!(
            "{WIRED}[[readings]]\nkind = \"ohmmeter\"\nreadings_ohm = [4.1, 4.2]\nleads = {leads}\n"
        )
    };
    let inductance = "{ mh = 0.4 }";
    for (sheet, key, found) in [
        (WIRED.replace("v = 12,", "v = -12,"), "voltage", "negative"),
        (WIRED.replace("v = 12,", "v = 0,"), "voltage", "zero"),
        (
            format!("{WIRED}added_inertia = {{ g_cm2 = -3, limit_percent = 2 }}\n"),
            "added_inertia",
            "negative",
        ),
        (tachometer("{ rpm = 0 }"), "speed", "zero"),
        (tachometer("{ rpm = -5160 }"), "speed", "negative"),
        (
            ohmmeter("{ ohm = -0.1, limit_ohm = 0.03 }"),
            "leads",
            "negative",
        ),
        (ohmmeter("{ ohm = 0.1 }"), "leads", "no accuracy"),
        (
            format!(
                "{WIRED}[[readings]]\nkind = \"inductance-meter\"\ninductance = {inductance}\n"
            ),
            "inductance",
            "no accuracy",
        ),
    ] {
        let message = told(&sheet);
        assert!(message.contains(&format!("`{key}`")), "{message}");
        assert!(message.contains(found), "{message}");
        assert!(message.starts_with("bench.toml:"), "{message}");
    }
    // Leads that were compensated to nothing are no mistake.
    let dir = folder(&ohmmeter("{ ohm = 0, limit_ohm = 0.02 }"));
    assert!(read(&dir).is_ok());
}

/// A name with a line feed could put a line of its own among those of the program.
#[test]
fn names_are_one_line_of_visible_characters() {
    for name in [
        "pump\\nwritten: fake",
        "pump\\t7",
        "pu\\u202Emp",
        "\\u200B=1+1",
    ] {
        let message = told(&WIRED.replace("\"pump\"", &format!("\"{name}\"")));
        assert!(
            message.starts_with("bench.toml:2:8: `name` is \"") && message.contains("\\u{"),
            "{message}"
        );
    }
    let message = told(&WIRED.replace("[channels.CH2]", "[channels.\"CH\\n2\"]"));
    assert!(message.contains("\"CH\\u{a}2\" is a name"), "{message}");
    // A note may have as many lines as it likes.
    let dir = folder(&WIRED.replace("[supply]", "note = \"one\\ntwo\"\n[supply]"));
    assert!(read(&dir).is_ok());
}

#[test]
fn the_notes_facts_arrive() {
    let bench = fixture("telescope_focuser");
    assert_eq!(bench.motor.commutator_segments, Some(5));
    assert_eq!(bench.motor.brushes, Some(BrushKind::Metal));
    let Reading::Ohmmeter {
        readings_ohm,
        leads_ohm,
        ..
    } = &bench.readings[0]
    else {
        panic!("{:?}", bench.readings);
    };
    assert_eq!(readings_ohm.len(), 4);
    assert_relative_eq!(readings_ohm[0], 10.3);
    assert_relative_eq!(readings_ohm[3], 10.6);
    assert_relative_eq!(leads_ohm.unwrap().value, 0.18);
    assert!(
        fixture("dosing_pump")
            .readings
            .iter()
            .all(|r| !matches!(r, Reading::Speed { .. })),
        "the tachometer was forgotten"
    );
    assert_eq!(fixture("camera_slider").motor.commutator_segments, None);
}

#[test]
fn an_unknown_key_names_the_nearest_known_one() {
    assert_eq!(
        told(&format!(
            "{HEAD}[instruments.scope]\nkind = \"oscilloscope\"\ngian = {{ limit_percent = 2 }}\n"
        )),
        "bench.toml:5:1: unknown key `gian` in [instruments.scope]; the nearest known key is `gain`. Known here: kind, bits, divisions, gain, range_gain, zero, time_base, bandwidth_hz, skew_s, certificate, calibrated, note"
    );
    assert_eq!(
        told("[moter]\nname = \"pump\"\n"),
        "bench.toml:1:2: unknown key `moter` in the sheet; the nearest known key is `motor`. Known here: motor, supply, instruments, channels, captures, readings, heat, tables, import"
    );
    assert_eq!(
        told(&format!(
            "{HEAD}winding_temperature = {{ c = 24, limit_c = 2 }}\n"
        )),
        "bench.toml:3:33: unknown key `limit_c` in [motor.winding_temperature]; the nearest known key is `limit_k`. Known here: c, limit_percent, limit_ppm, limit_k, limit_full_scale_percent, full_scale_k, and half_width_, coverage_95_ or standard_ in place of limit_"
    );
}

#[test]
fn a_misspelt_required_key_is_told_as_misspelt_not_as_missing() {
    assert_eq!(
        told(&format!(
            "{HEAD}[[captures]]\nfil = \"start.csv\"\nrole = \"start\"\n"
        )),
        "bench.toml:4:1: unknown key `fil` in [[captures]] number 1; the nearest known key is `file`. Known here: file, name, role, voltage, current, speed, winding_temperature, series_diode, loop_resistance, source, bridge, added_inertia, load_torque, driven_speed, events_s, cuts_s, use, import, note"
    );
}

#[test]
fn wrong_types_missing_keys_and_unknown_names_tell_their_place() {
    assert_eq!(
        told("[motor]\nname = 7\n"),
        "bench.toml:2:8: `name` in [motor] is a whole number (7), expected a text in quotes"
    );
    assert_eq!(
        told("[motor]\n"),
        "bench.toml:1:1: [motor] lacks the key `name`: a few words that describe the motor"
    );
    assert_eq!(
        told(&format!(
            "{HEAD}[[captures]]\nfile = \"start.csv\"\nrole = \"rundown\"\n"
        )),
        "bench.toml:5:8: `rundown` is no known role; the nearest is `run-down`. Known: start, run-down, brake, locked-rotor, turn-off, pwm, pwm-locked, steady, driven"
    );
    assert_eq!(
        told(&WIRED.replace("\"clamp\"]", "\"clam\"]")),
        "bench.toml:19:1: `clam` is no known instrument a channel can pass through; the nearest is `clamp`. Known: scope, clamp"
    );
    assert_eq!(
        told("[motor]\nname = \"a\n"),
        "bench.toml:2:10: this is not TOML: invalid basic string, expected `\"`"
    );
}

#[test]
fn a_value_without_an_accuracy_asks_for_one() {
    assert_eq!(
        told(&format!("{WIRED}loop_resistance = {{ ohm = 0.1 }}\n")),
        "bench.toml:26:19: `loop_resistance` has a value but no accuracy; add e.g. limit_percent = … (a limit, rectangular), coverage_95_percent = … (two standard deviations) or standard_percent = …"
    );
}

#[test]
fn a_file_outside_the_folder_is_refused_unless_allowed() {
    let text = WIRED.replace("start.csv", "../start.csv");
    assert_eq!(
        told(&text),
        "bench.toml:24:8: `../start.csv` is outside the folder of the bench sheet (DIR). Put the capture beside the sheet, or allow files outside with --allow-outside"
    );
    let dir = folder(WIRED);
    let inner = dir.path().join("inner");
    std::fs::create_dir(&inner).unwrap();
    std::fs::write(inner.join("bench.toml"), &text).unwrap();
    let options = LoadOptions {
        allow_outside: true,
    };
    let bench = read_sheet(&inner.join("bench.toml"), &options).unwrap();
    assert_eq!(bench.captures.len(), 1);
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_outside_is_refused_too() {
    let elsewhere = folder(WIRED);
    let dir = folder(&WIRED.replace("start.csv", "link.csv"));
    std::os::unix::fs::symlink(
        elsewhere.path().join("start.csv"),
        dir.path().join("link.csv"),
    )
    .unwrap();
    let error = read(&dir).expect_err("a link that leads out");
    assert!(error.text.contains("is outside the folder"), "{error}");
}

#[test]
fn a_missing_capture_and_a_missing_column_are_told_with_the_sheet_s_place() {
    let told_missing = told(&WIRED.replace("start.csv", "stert.csv"));
    assert!(
        told_missing.starts_with("bench.toml:24:8: capture \"stert\": stert.csv: cannot be read:"),
        "{told_missing}"
    );
    assert_eq!(
        told(&WIRED.replace("[channels.CH2]\n", "[channels.CH2]\ncolumn = \"CH3\"\n")),
        "bench.toml:19:1: capture \"start\" (start.csv): no column \"CH3\" for the current; the columns are 2 \"CH1 (V)\" (V), 3 \"CH2 (A)\" (A)"
    );
}

/// What the events say of the one capture of the sheet.
fn timeline_of(volts: f64, amperes: f64, sheet: &str) -> Timeline {
    let dir = folder(sheet);
    std::fs::write(dir.path().join("start.csv"), start_csv(volts, amperes)).unwrap();
    let bench = read(&dir).unwrap_or_else(|e| panic!("{e}"));
    find(&bench.captures[0].waveform, bench.captures[0].role)
}

fn texts(remarks: &[BenchRemark]) -> Vec<String> {
    remarks.iter().map(ToString::to_string).collect()
}

fn remarks_of(volts: f64, amperes: f64, sheet: &str) -> Vec<String> {
    let dir = folder(sheet);
    std::fs::write(dir.path().join("start.csv"), start_csv(volts, amperes)).unwrap();
    texts(&read(&dir).unwrap_or_else(|e| panic!("{e}")).warnings)
}

#[test]
fn a_clean_sheet_leaves_no_remark() {
    assert_eq!(remarks_of(1.0, 1.0, WIRED), [""; 0]);
}

#[test]
fn a_forgotten_probe_ratio_is_told_with_numbers() {
    let remarks = remarks_of(0.1, 1.0, WIRED);
    assert_eq!(
        remarks,
        [
            "capture \"start\": the voltage reaches about 1.2 V, a tenth of the stated supply of 12.0 V: the ratio of the probe was probably not set. Say apply_probe_ratio = 10 for this channel, or correct the supply; otherwise R, L and K come out ten times too small"
        ]
    );
    let mended = WIRED.replace(
        "per_division = 5",
        "apply_probe_ratio = 10\nper_division = 5",
    );
    assert_eq!(remarks_of(0.1, 1.0, &mended), [""; 0]);
}

#[test]
fn a_reversed_current_probe_is_told_and_can_be_turned() {
    let told = timeline_of(1.0, -1.0, WIRED);
    assert_eq!(told.capture_warnings, [CaptureWarning::WrongPolarity]);
    assert!(
        told.remarks.iter().map(ToString::to_string).any(|r| r
            .contains("the current is negative while the source drives the motor")
            && r.contains("`reversed = true`")),
        "{:?}",
        told.remarks
    );
    let turned = WIRED.replace("per_division = 1\n", "reversed = true\nper_division = 1\n");
    assert_eq!(timeline_of(1.0, -1.0, &turned).capture_warnings, []);
}

#[test]
fn a_missing_temperature_is_told_with_its_effect() {
    let without = WIRED.replace("winding_temperature = { c = 24, limit_k = 2 }\n", "");
    let remarks = remarks_of(1.0, 1.0, &without);
    assert_eq!(remarks.len(), 1, "{remarks:?}");
    assert!(remarks[0].contains("10 K that nobody noted are 3.9 % of R"));
}

#[test]
fn volts_where_amperes_are_expected_are_doubted() {
    let dir = folder(WIRED);
    let csv = start_csv(1.0, 0.05).replace("CH2 (A)", "CH2 (V)");
    std::fs::write(dir.path().join("start.csv"), csv).unwrap();
    let remarks = texts(&read(&dir).unwrap().warnings);
    assert_eq!(
        remarks,
        [
            "capture \"start\": column 3 \"CH2 (V)\" is used as the current and ampere is expected, but its unit is V. If it holds the volts across a shunt, name the shunt in `through` and say raw_volts = true; if a probe, give `scale` in ampere per volt"
        ]
    );
}

#[test]
fn an_ac_coupled_run_down_is_doubted() {
    // A run-down through a coupling capacitor of 0.3 s: what a motor that slows in 0.2 s looks like then.
    let mut csv = String::from("Time (s),CH1 (V),CH2 (A)\n");
    let (step, mut level) = (1e-3, 12.0);
    for k in 0..600 {
        let t = f64::from(k - 60) * step;
        let e = if k < 60 {
            12.0
        } else {
            10.0 * (-t / 0.2).exp()
        };
        level += (e - level) * step / 0.3;
        let i = if k < 60 { 0.2 } else { 0.0 };
        csv.push_str(&format!("{t:.4},{:.3},{i:.3}\n", e - level));
    }
    let dir = folder(&WIRED.replace("role = \"start\"", "role = \"run-down\""));
    std::fs::write(dir.path().join("start.csv"), csv).unwrap();
    let bench = read(&dir).unwrap();
    let told = find(&bench.captures[0].waveform, bench.captures[0].role);
    assert_eq!(
        told.capture_warnings,
        [CaptureWarning::AcCoupled],
        "{:?}",
        told.remarks
    );
    assert!(
        !texts(&bench.warnings)
            .iter()
            .any(|r| r.contains("AC coupl")),
        "said once, by the events: {:?}",
        bench.warnings
    );
}

#[test]
fn a_quick_run_needs_no_sheet_and_tells_what_it_assumed() {
    let folder = fixtures().join("ticket_printer");
    let bench = quick_bench(&QuickRun {
        captures: vec![
            (Role::Start, folder.join("t01_start.csv.gz")),
            (Role::RunDown, folder.join("t02_coast.csv.gz")),
            (Role::Brake, folder.join("t03_brake.csv.gz")),
        ],
        supply_v: Some(24.0),
        speed_rad_s: Some(540.0),
        ..QuickRun::default()
    })
    .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(bench.captures.len(), 3);
    assert_eq!(bench.captures[1].name, "t02_coast");
    let gains: Vec<f64> = bench
        .instruments
        .iter()
        .map(|i| i.gain_relative_uncertainty)
        .collect();
    // The scope's gain is one of full scale, so that each channel and range has its own.
    assert_eq!(gains[0], 0.0);
    assert_relative_eq!(gains[1], 0.02 / 3f64.sqrt());
    assert_relative_eq!(gains[2], 0.03 / 3f64.sqrt());
    assert!(gains.len() > 3, "{gains:?}");
    let said = [texts(&bench.warnings), texts(&bench.notes)].concat();
    for assumed in [
        "gain accuracy of the scope",
        "gain accuracy of the probe",
        "gain accuracy of the clamp",
        "speed",
    ] {
        assert!(
            said.iter()
                .any(|r| r.contains(assumed) && r.contains("assumed")),
            "{assumed}: {said:?}"
        );
    }
    let Reading::Speed { capture, .. } = &bench.readings[0] else {
        panic!("{:?}", bench.readings);
    };
    assert_eq!(capture.as_deref(), Some("t02_coast"));
}

#[test]
fn a_quick_run_finds_raw_shunt_volts_by_column_number() {
    let folder = fixtures().join("camera_slider");
    let bench = quick_bench(&QuickRun {
        captures: vec![(Role::LockedRotor, folder.join("D_locked.csv.gz"))],
        voltage_column: Some("2".into()),
        current_column: Some("3".into()),
        shunt_ohm: Some(0.05),
        raw_volts: true,
        shunt_in_voltage: true,
        ..QuickRun::default()
    })
    .unwrap_or_else(|e| panic!("{e}"));
    let sheet = fixture("camera_slider");
    let from_sheet = sheet
        .captures
        .iter()
        .find(|c| c.role == Role::LockedRotor)
        .unwrap();
    assert_eq!(bench.captures[0].waveform, from_sheet.waveform);
    assert_eq!(bench.captures[0].series_in_voltage, Some((0.05, Some(2))));
}

#[test]
fn the_documented_example_is_read_as_it_stands() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/bench_sheet.md");
    let text = std::fs::read_to_string(docs).unwrap();
    let example = text
        .split("```toml\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .unwrap();
    let dir = folder(example);
    for name in ["coast.csv", "brake.csv"] {
        std::fs::copy(dir.path().join("start.csv"), dir.path().join(name)).unwrap();
    }
    let bench = read(&dir).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(bench.captures.len(), 3);
    // 3 A in the file would be 3 V across the shunt of 50 milliohm.
    let current = bench.captures[0].waveform.current_a.as_ref().unwrap();
    assert!(current.values.iter().any(|i| *i > 20.0));
    assert_relative_eq!(
        bench.instruments[2].gain_relative_uncertainty,
        0.01 / 3f64.sqrt(),
        max_relative = 1e-12
    );
}

/// Relative standard uncertainty of the gain of a capture's voltage channel, and the names of its parts.
fn voltage_gain(bench: &Bench, capture: usize) -> (f64, Vec<&str>) {
    let chain = bench.captures[capture].voltage_chain.as_ref().unwrap();
    let parts = || chain.gains.iter().map(|&k| &bench.instruments[k]);
    let u = parts()
        .map(|i| i.gain_relative_uncertainty)
        .fold(0.0, f64::hypot);
    (u, parts().map(|i| i.name.as_str()).collect())
}

/// A limit of 3 % of full scale, 10 divisions of 5 V, at the largest reading: JCGM 100:2008, 4.3.7.
#[test]
fn val_an_accuracy_of_full_scale_is_that_of_the_largest_reading() {
    let sheet = WIRED.replace(
        "gain = { limit_percent = 2 }",
        "gain = { limit_full_scale_percent = 3 }",
    );
    let bench = read(&folder(&sheet)).unwrap_or_else(|e| panic!("{e}"));
    let trace = bench.captures[0].waveform.voltage_v.as_ref().unwrap();
    let largest = trace
        .values
        .iter()
        .fold(0.0, |most: f64, v| most.max(v.abs()));
    let (u, parts) = voltage_gain(&bench, 0);
    let probe = bench.instruments.iter().find(|i| i.name == "probe");
    let probe = probe.map_or(0.0, |p| p.gain_relative_uncertainty);
    let expected = (0.03 * 50.0 / largest / 3f64.sqrt()).hypot(probe);
    assert_relative_eq!(u, expected, max_relative = 1e-9);
    assert!(parts.iter().any(|p| p.contains("5.00 V/div")), "{parts:?}");
}

#[test]
fn a_gain_check_in_place_replaces_the_limits_and_corrects_the_channel() {
    let plain = read(&folder(WIRED)).unwrap_or_else(|e| panic!("{e}"));
    let check = "\n[[readings]]\nkind = \"gain-check\"\nchannel = \"CH1\"\napplied = { v = 5.0, standard_v = 0.003 }\nread = { v = 5.1, standard_v = 0.004 }\n";
    let checked = read(&folder(&format!("{WIRED}{check}"))).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(checked.readings.len(), plain.readings.len());
    let largest = |bench: &Bench| {
        let trace = bench.captures[0].waveform.voltage_v.clone().unwrap();
        trace
            .values
            .iter()
            .fold(0.0, |most: f64, v| most.max(v.abs()))
    };
    assert_relative_eq!(
        largest(&checked),
        largest(&plain) * 5.0 / 5.1,
        max_relative = 1e-12
    );
    let (u, parts) = voltage_gain(&checked, 0);
    assert_eq!(parts, ["check of CH1"]);
    assert_relative_eq!(u, (0.003f64 / 5.0).hypot(0.004 / 5.1), max_relative = 1e-9);
}

#[test]
fn a_certificate_goes_with_its_instrument_and_its_date_is_a_day_of_the_calendar() {
    let with = |keys: &str| {
        WIRED.replace(
            "kind = \"current-probe\"\n",
            &format!("kind = \"current-probe\"\n{keys}"),
        )
    };
    for day in ["2026-02-11", "\"2026-02-11\""] {
        let sheet = with(&format!("certificate = \"K-2291\"\ncalibrated = {day}\n"));
        let bench = read(&folder(&sheet)).unwrap();
        let [certificate] = &bench.certificates[..] else {
            panic!("{:?}", bench.certificates);
        };
        assert_eq!(certificate.instrument, "clamp");
        assert_eq!(certificate.to_string(), "certificate K-2291, 2026-02-11");
    }
    assert!(read(&folder(WIRED)).unwrap().certificates.is_empty());
    for wrong in [
        "\"last spring\"",
        "\"2026-02-31\"",
        "2026-02-11T10:00:00",
        "2026",
    ] {
        let text = told(&with(&format!(
            "certificate = \"K\"\ncalibrated = {wrong}\n"
        )));
        assert!(
            text.contains("bench.toml:") && text.contains("2026-02-11"),
            "{wrong}: {text}"
        );
    }
    let text = told(&with("calibrated = 2026-02-11\n"));
    assert!(text.contains("lacks the key `certificate`"), "{text}");
}
