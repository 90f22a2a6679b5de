//! `rundown drive`: the real binary on a motor file.

#[path = "common/bare.rs"]
mod bare;
#[path = "common/measured.rs"]
mod measured;

use measured::measured;
use rundown::motor_file::{self, MotorFile, Overwrite, Parameter, ParameterName as Name};
use serde_json::Value;
use std::process::Output;

const VALUES: [(Name, f64, f64); 6] = [
    (Name::TerminalResistance, 2.0, 0.04),
    (Name::ArmatureInductance, 1.5e-3, 3e-5),
    (Name::BackEmfConstant, 0.02, 2e-4),
    (Name::CoulombFrictionTorque, 3e-3, 1.5e-4),
    (Name::RotorInertia, 1.5e-6, 3e-8),
    (Name::BrushDrop, 0.5, 0.1),
];
const RESISTANCE_TO_DROP: f64 = -0.9;

fn file(values: &[(Name, f64, f64)]) -> MotorFile {
    let pair = (
        Name::TerminalResistance,
        Name::BrushDrop,
        RESISTANCE_TO_DROP,
    );
    measured("dosing pump motor", values, 25.0, pair)
}

/// The same motor seen without any speed.
fn without_anchor() -> MotorFile {
    let mut motor = file(&[
        VALUES[0],
        VALUES[1],
        VALUES[5],
        (Name::InertiaCapacitance, 3.75e-3, 5e-5),
        (Name::FrictionCurrent, 0.15, 5e-3),
    ]);
    for name in [
        Name::BackEmfConstant,
        Name::CoulombFrictionTorque,
        Name::RotorInertia,
    ] {
        motor.parameters.insert(
            name,
            Parameter::undetermined(name, "one tachometer reading"),
        );
    }
    motor
}

/// Words of an output, its lines joined.
fn joined(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn run(motor: &MotorFile, options: &[&str]) -> Output {
    // Few draws where nothing depends on them: the tests run unoptimised.
    let few: &[&str] = match options.contains(&"--draws") || options.contains(&"--level") {
        true => &[],
        false => &["--draws", "200"],
    };
    let folder = tempfile::tempdir().expect("folder");
    motor_file::write(
        &folder.path().join("motor.json"),
        motor,
        Overwrite::MotorFileOnly,
    )
    .expect("write");
    std::process::Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder.path())
        .args(["drive", "motor.json"])
        .args(few)
        .args(options)
        .output()
        .expect("run")
}

fn json(motor: &MotorFile, options: &[&str]) -> (Option<i32>, Value) {
    let output = run(motor, &[options, &["--json"]].concat());
    let value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)));
    (output.status.code(), value)
}

fn row<'a>(sizing: &'a Value, key: &str) -> &'a Value {
    sizing["sections"]
        .as_array()
        .expect("sections")
        .iter()
        .flat_map(|section| section["rows"].as_array().expect("rows"))
        .find(|row| row["key"] == key)
        .unwrap_or_else(|| panic!("no row {key}"))
}

fn number(row: &Value, key: &str) -> f64 {
    row[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} in {row}"))
}

const EVERYTHING: [&str; 32] = [
    "--bus-limit",
    "14V",
    "--stop-time",
    "60ms",
    "--supply",
    "12V",
    "--source-resistance",
    "0.1Ohm",
    "--lead-resistance",
    "50mOhm",
    "--load",
    "5 mN·m",
    "--load-inertia",
    "2 g·cm²",
    "--current-limit",
    "3A",
    "--switch-resistance",
    "20mOhm",
    "--dead-time",
    "500ns",
    "--clamp-voltage",
    "24V",
    "--stray-capacitance",
    "200pF",
    "--brake-resistor",
    "3Ohm",
    "--brake-ramp",
    "40ms",
    "--bus-capacitance",
    "470uF",
    "--thermal-mass",
    "12 J/K",
];

#[test]
fn drive_prints_every_topic_with_bounds_and_its_cautions() {
    let options = [&EVERYTHING[..], &["--winding-limit", "120°C", "--details"]].concat();
    let output = run(&file(&VALUES), &options);
    let text = joined(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    for expected in [
        "dosing pump motor at 12 V",
        "Time constants expected",
        "Start at full voltage",
        "Soft start under a current limit",
        "PWM",
        "Half bridge",
        "Turn-off",
        "Braking from running speed",
        "Held rotor",
        "caution: a locked rotor at full voltage overheats in seconds",
        "caution: opening an inductive circuit makes hundreds of volts and an arc: clamp it",
        "caution: braking energy pumped into a supply raises its voltage",
        "caution: repeated hard braking can demagnetise the magnets",
    ] {
        assert!(text.contains(expected), "{expected} is not in\n{text}");
    }
    // The motor file has no thermal model, which alone gives the rating.
    let (before, rating) = text
        .split_once("What the winding can carry")
        .expect("a rating");
    assert!(!before.contains("not available"), "{text}");
    assert!(rating.contains("not available, needs a heat run"), "{text}");
    assert!(!text.contains("NaN") && !text.contains("nan "), "{text}");
}

/// I = (V − V_b)/R with R and V_b correlated −0.9, to first order: ∂I/∂R = −I/R, ∂I/∂V_b = −1/R.
#[test]
fn drive_bounds_follow_the_covariance_and_repeat() {
    let options = ["--supply", "12V", "--draws", "2000"];
    let output = |seed: &str| {
        let folder = tempfile::tempdir().expect("folder");
        let path = folder.path().join("motor.json");
        motor_file::write(&path, &file(&VALUES), Overwrite::MotorFileOnly).expect("write");
        let run = std::process::Command::new(env!("CARGO_BIN_EXE_rundown"))
            .current_dir(folder.path())
            .args(["drive", "motor.json", "--json", "--seed", seed])
            .args(options)
            .output()
            .expect("run");
        run.stdout
    };
    let (one, two, other) = (output("1"), output("1"), output("2"));
    assert!(one == two, "the same seed gives the same bytes");
    assert!(one != other, "another seed draws other motors");
    let sizing: Value = serde_json::from_slice(&one).expect("JSON");
    let stall = row(&sizing, "stall_current");
    let current = 11.5 / 2.0;
    assert!((number(stall, "middle") - current).abs() < 0.005);
    let (by_r, by_drop) = (-current / 2.0 * 0.04, -0.5 * 0.1);
    let u = (by_r * by_r + by_drop * by_drop + 2.0 * RESISTANCE_TO_DROP * by_r * by_drop).sqrt();
    let half = 0.5 * (number(stall, "upper") - number(stall, "lower"));
    assert!((half / (1.96 * u) - 1.0).abs() < 0.06, "{half} {u}");
    assert_eq!(stall["worst"], stall["upper"]);
    let speed = row(&sizing, "running_speed");
    assert_eq!(speed["worst"], speed["lower"]);
}

#[test]
fn drive_without_a_speed_anchor_still_gives_what_needs_none() {
    let (status, sizing) = json(&without_anchor(), &["--supply", "12V"]);
    assert_eq!(status, Some(1), "the speed is missing");
    let speed = row(&sizing, "running_speed");
    let reason = speed["absent"]["undetermined"].as_str().expect("a reason");
    assert!(
        reason.contains("back-EMF constant is not determined"),
        "{reason}"
    );
    assert!(reason.contains("one tachometer reading"), "{reason}");
    assert!(speed.get("middle").is_none(), "no number");
    // The same motor with an anchor: currents and times agree.
    let (_, anchored) = json(&file(&VALUES), &["--supply", "12V"]);
    for key in ["inrush_peak", "run_up_time", "short_stop", "pwm_ripple"] {
        let (one, other) = (row(&sizing, key), row(&anchored, key));
        let ratio = number(one, "middle") / number(other, "middle");
        assert!((ratio - 1.0).abs() < 1e-3, "{key} {ratio}");
    }
    // A load told as torque cannot be turned into a current without K.
    let (status, loaded) = json(&without_anchor(), &["--supply", "12V", "--load", "5mNm"]);
    assert_eq!(status, Some(1));
    assert!(row(&loaded, "inrush_peak")["absent"]["undetermined"].is_string());
    assert!(row(&loaded, "stall_current")["middle"].is_number());
    let (_, loaded) = json(
        &without_anchor(),
        &["--supply", "12V", "--load-current", "0.25A"],
    );
    assert!(row(&loaded, "inrush_peak")["middle"].is_number());
}

#[test]
fn drive_of_an_undetermined_inductance_gives_the_rest() {
    let mut values = VALUES.to_vec();
    values.remove(1);
    let mut motor = file(&values);
    motor.parameters.insert(
        Name::ArmatureInductance,
        Parameter::undetermined(Name::ArmatureInductance, "a locked-rotor capture"),
    );
    let (status, sizing) = json(&motor, &["--supply", "12V"]);
    assert_eq!(status, Some(1));
    assert!(row(&sizing, "stall_current")["middle"].is_number());
    assert!(row(&sizing, "mechanical_time_constant")["middle"].is_number());
    let ripple = &row(&sizing, "pwm_ripple")["absent"]["undetermined"];
    assert!(
        ripple
            .as_str()
            .expect("reason")
            .contains("a locked-rotor capture")
    );
}

#[test]
fn drive_that_would_not_turn_says_so_and_ends_with_1() {
    let output = run(&file(&VALUES), &["--supply", "12V", "--load", "1 N·m"]);
    let text = joined(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(
        text.contains("friction and load hold the rotor at this supply"),
        "{text}"
    );
    assert!(text.contains("stalled"), "{text}");
}

/// A folder with the motor file and a profile.
fn with_profile(motor: &MotorFile, profile: &str, options: &[&str]) -> Output {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path();
    motor_file::write(&path.join("motor.json"), motor, Overwrite::MotorFileOnly).expect("write");
    std::fs::write(path.join("moves.csv"), profile).expect("write");
    std::process::Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(path)
        .args([
            "drive",
            "motor.json",
            "--profile",
            "moves.csv",
            "--draws",
            "200",
        ])
        .args(options)
        .output()
        .expect("run")
}

const MOVE: &str = "time_s,speed_rpm\n0,0\n0.1,1500\n0.3,1500\n0.4,0\n";

#[test]
fn a_profile_says_which_limit_is_met_first_and_ends_with_1_where_one_is_passed() {
    let options = [
        "--supply",
        "12V",
        "--load-inertia",
        "30 g·cm²",
        "--current-limit",
        "3A",
    ];
    let output = with_profile(&file(&VALUES), MOVE, &options);
    let text = joined(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{text}");
    assert!(text.contains("profile: within every limit;"), "{text}");
    assert!(
        text.contains("needs a heat run")
            || text.contains("with a heat run")
            || text.contains("; a heat run"),
        "{text}"
    );
    assert!(
        !text.contains("°C 95"),
        "no temperature without thermal data: {text}"
    );
    // By hand: 157.08 rad/s in 0.1 s; (1.5e-6 + 3e-6) kg·m² · 1570.8 rad/s² + 3 mN·m = 10.07 mN·m; over 0.02 N·m/A 0.503 A.
    let output = with_profile(&file(&VALUES), MOVE, &[&options[..], &["--json"]].concat());
    let sizing: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let peak = row(&sizing, "profile_peak_current");
    assert!(
        (number(peak, "middle") / 0.50343 - 1.0).abs() < 2e-3,
        "{peak}"
    );
    assert!(
        number(peak, "lower") < 0.5034 && 0.5034 < number(peak, "upper"),
        "{peak}"
    );
    // 3.1416 V + 0.503 A · 2 Ω + 0.5 V of 12 V.
    let share = number(row(&sizing, "profile_voltage_share"), "middle");
    assert!((share / 0.3873 - 1.0).abs() < 0.01, "{share}");
    assert!(row(&sizing, "profile_winding_once")["middle"].is_null());
    assert_eq!(sizing["profile"]["first"], "profile_voltage_share");
    let fast = MOVE.replace("1500", "9000");
    let output = with_profile(&file(&VALUES), &fast, &options);
    let text = joined(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(text.contains("profile: exceeds"), "{text}");
}

#[test]
fn a_profile_that_cannot_be_read_is_refused_with_place_and_expected() {
    let output = with_profile(
        &file(&VALUES),
        "time_s,pears\n0,1\n1,2\n",
        &["--supply", "12V"],
    );
    let text = joined(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{text}");
    assert!(
        text.contains("moves.csv: column 2 \"pears\" has no unit"),
        "{text}"
    );
    assert!(text.contains("speed_rpm, torque_mNm"), "{text}");
}

/// A capacitor, a resistor and a stop that follow from the order; what lies beyond the captures has its mark.
#[test]
fn braking_is_sized_for_a_bus_limit_and_a_stop_time() {
    let options = [
        "--supply",
        "12V",
        "--brake-ramp",
        "20ms",
        "--bus-limit",
        "14V",
        "--stop-time",
        "200ms",
        "--load-inertia",
        "30 g·cm²",
    ];
    let (status, sizing) = json(&file(&VALUES), &options);
    let absent = |row: &&Value| row["absent"]["does_not_exist"].is_string();
    let rows = sizing["sections"].as_array().expect("sections").iter();
    let rows = rows.flat_map(|section| section["rows"].as_array().expect("rows"));
    let absent: Vec<&Value> = rows.filter(absent).collect();
    assert_eq!(status, Some(0), "{absent:?}");
    let of = |key: &str, end: &str| number(row(&sizing, key), end);
    // 2 E/(V_lim² − V²), with all kinetic energy the safe side.
    for end in ["middle", "upper"] {
        let energy = of("ramp_returned", end);
        let wanted = 2.0 * energy / (14.0 * 14.0 - 144.0);
        assert!((of("bus_capacitor", end) / wanted - 1.0).abs() < 1e-6);
        let bound = 2.0 * of("kinetic_energy", end) / (14.0 * 14.0 - 144.0);
        assert!((of("bus_capacitor_bound", end) / bound - 1.0).abs() < 1e-6);
    }
    let (standard, lower) = (
        of("stop_resistor_standard", "middle"),
        of("stop_resistor", "lower"),
    );
    assert!(
        standard <= lower && lower < 1.15 * standard,
        "{standard} {lower}"
    );
    assert!(of("stop_resistor_time", "upper") <= 200.2e-3);
    // All energy in the motor is lost in both resistances; the resistor's part by the ratio, friction apart.
    let share = of("stop_resistor_energy", "middle") / of("kinetic_energy", "middle");
    assert!(
        0.2 < share && share < standard / (standard + 2.0),
        "{share}"
    );
    let mut motor = file(&VALUES);
    let seen = motor_file::Range {
        lower: 0.0,
        upper: 3.0,
    };
    motor.validity.current_a = Some(seen);
    let (_, sizing) = json(&motor, &["--supply", "12V"]);
    assert_eq!(row(&sizing, "stall_current")["extrapolated"], true);
    assert!(row(&sizing, "running_current")["extrapolated"].is_null());
    let text = joined(&run(&motor, &["--supply", "12V"]).stdout);
    assert!(
        text.contains("A* ") && text.contains("* beyond the currents"),
        "{text}"
    );
}

#[test]
fn drive_refuses_what_cannot_be() {
    for (options, expected) in [
        (
            vec!["--supply", "-12V"],
            "--supply -12: expected a value above zero",
        ),
        (vec!["--supply", "12"], "has no unit"),
        (
            vec!["--supply", "12V", "--duty", "1.2"],
            "--duty 1.2: expected a share above 0 and below 1",
        ),
        (vec!["--supply", "12V", "--duty", "120 %"], "--duty 1.2"),
        (
            vec!["--supply", "12V", "--thermal-mass", "12 J"],
            "expected a heat capacity",
        ),
        (
            vec!["--supply", "12V", "--frequency", "0Hz"],
            "--frequency 0",
        ),
        (vec!["--supply", "12V", "--level", "100"], "--level 100"),
        (
            vec!["--supply", "12V", "--draws", "3"],
            "--draws 3: expected 200 to 100000",
        ),
        (
            vec!["--supply", "12V", "--bus-limit", "11V"],
            "--bus-limit 11: expected a voltage above that of the supply",
        ),
        (
            vec!["--supply", "12V", "--gear-efficiency", "120 %"],
            "--gear-efficiency 1.2: expected a share above 0",
        ),
        (vec![], "the motor file states no supply voltage"),
    ] {
        let output = run(&file(&VALUES), &options);
        let text = joined(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{options:?} {text}");
        assert!(text.contains(expected), "{options:?}: {text}");
    }
}
