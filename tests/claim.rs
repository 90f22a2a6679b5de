//! `rundown claim`: the real binary on a motor file and a sheet.

#[path = "common/bare.rs"]
mod bare;
#[path = "common/measured.rs"]
mod measured;

use measured::measured;
use rundown::bench::BrushKind;
use rundown::motor_file::{
    self, AtTemperature, Covariance, MotorFile, Overwrite, Parameter, ParameterName as Name, Status,
};
use serde_json::Value;
use std::path::Path;
use std::process::Output;

const UNCERTAINTIES: [(Name, f64, f64); 6] = [
    (Name::TerminalResistance, 2.0, 0.04),
    (Name::ArmatureInductance, 1.5e-3, 3e-5),
    (Name::BackEmfConstant, 0.02, 2e-4),
    (Name::CoulombFrictionTorque, 3e-3, 1.5e-4),
    (Name::RotorInertia, 1.5e-6, 3e-8),
    (Name::BrushDrop, 0.5, 0.1),
];
const RESISTANCE_TO_DROP: f64 = -0.9;

/// Brush drop against resistance with correlation -0.9, everything at 25 °C.
fn motor() -> MotorFile {
    let pair = (
        Name::TerminalResistance,
        Name::BrushDrop,
        RESISTANCE_TO_DROP,
    );
    let mut file = measured("dosing pump motor", &UNCERTAINTIES, 25.0, pair);
    for (name, value, u) in UNCERTAINTIES {
        let parameter = file.parameters.get_mut(&name).expect("just written");
        parameter.at_25_c = Some(AtTemperature {
            value,
            unit: name.ucum().to_owned(),
            standard_uncertainty: u,
            lower: value - 1.96 * u,
            upper: value + 1.96 * u,
            level: 0.95,
            status: Status::Measured,
            temperature_c: 25.0,
        });
    }
    let facts = file.motor.as_mut().expect("named");
    facts.magnets = Some(rundown::bench::MagnetKind::Ferrite);
    file
}

/// The same motor seen without any speed.
fn without_anchor() -> MotorFile {
    let mut file = motor();
    for name in [
        Name::BackEmfConstant,
        Name::CoulombFrictionTorque,
        Name::RotorInertia,
    ] {
        file.parameters.insert(
            name,
            Parameter::undetermined(name, "one tachometer reading"),
        );
    }
    for (name, value, u) in [
        (Name::InertiaCapacitance, 3.75e-3, 5e-5),
        (Name::FrictionCurrent, 0.15, 5e-3),
    ] {
        let parameter =
            Parameter::measured(name, value, u, (value - 2.0 * u, value + 2.0 * u), 0.95);
        file.parameters.insert(name, parameter);
    }
    file.covariance = Covariance {
        order: vec![Name::TerminalResistance],
        matrix: vec![vec![0.04 * 0.04]],
    };
    file
}

fn run(file: &MotorFile, sheet: &str, options: &[&str]) -> Output {
    let folder = tempfile::tempdir().expect("folder");
    motor_file::write(
        &folder.path().join("motor.json"),
        file,
        Overwrite::MotorFileOnly,
    )
    .expect("write");
    std::fs::write(folder.path().join("sheet.toml"), sheet).expect("write");
    std::process::Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder.path())
        .args(["claim", "motor.json", "sheet.toml"])
        .args(options)
        .output()
        .expect("run")
}

fn json(file: &MotorFile, sheet: &str) -> (Option<i32>, Value) {
    let output = run(file, sheet, &["--json"]);
    let value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)));
    (output.status.code(), value)
}

fn finding<'a>(value: &'a Value, entry: &str) -> &'a Value {
    value["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .find(|finding| finding["entry"] == entry)
        .expect(entry)
}

fn sheet(claims: &str) -> String {
    format!(
        "[sheet]\nnominal_voltage = \"12 V\"\nreference_temperature = \"25 °C\"\nstall_values = \"extrapolated\"\n[claims]\n{claims}\n"
    )
}

#[test]
fn a_claim_far_inside_its_limits_agrees_with_status_0() {
    let (status, value) = json(
        &motor(),
        &sheet("torque_constant = { value = \"20.1 mN·m/A\", tolerance = \"10 %\" }"),
    );
    assert_eq!(status, Some(0));
    let found = finding(&value, "torque_constant");
    assert_eq!(found["verdict"], "agrees");
    assert!(found["conformance_probability"].as_f64().expect("number") > 0.999);
}

#[test]
fn a_claim_far_outside_its_limits_disagrees_with_status_1() {
    let (status, value) = json(
        &motor(),
        &sheet("speed_constant = { value = \"600 rpm/V\", tolerance = \"10 %\" }"),
    );
    assert_eq!(status, Some(1));
    let found = finding(&value, "speed_constant");
    assert_eq!(found["verdict"], "disagrees");
    // In V·s/rad the limits change places: 660 rpm/V is the lower one.
    let lower = found["lower_limit"].as_f64().expect("number");
    assert!((lower * 660.0 * std::f64::consts::PI / 30.0 - 1.0).abs() < 1e-12);
}

#[test]
fn a_claim_near_its_limit_cannot_be_told_yet_and_says_what_bound_would_settle_it() {
    let text = sheet("terminal_resistance = { at_most = \"2.05 Ω\" }");
    let (status, value) = json(&motor(), &text);
    assert_eq!(status, Some(1));
    let found = finding(&value, "terminal_resistance");
    assert_eq!(found["verdict"], "cannot_tell_yet");
    // (2.05 - 2.00)/1.6449: one limit, risk 5 %.
    let needed = found["needed_standard_uncertainty"]
        .as_f64()
        .expect("number");
    assert!((needed - 0.05 / 1.644_854).abs() < 1e-6, "{needed}");
    // A bound below the needed one gives the verdict.
    let mut sharper = motor();
    let factor = 0.99 * needed / 0.04;
    let parameter = sharper
        .parameters
        .get_mut(&Name::TerminalResistance)
        .expect("R");
    parameter.standard_uncertainty = Some(0.04 * factor);
    parameter
        .at_25_c
        .as_mut()
        .expect("at 25")
        .standard_uncertainty = 0.04 * factor;
    for k in 0..6 {
        sharper.covariance.matrix[0][k] *= factor;
        sharper.covariance.matrix[k][0] *= factor;
    }
    let (status, value) = json(&sharper, &text);
    assert_eq!(status, Some(0));
    assert_eq!(finding(&value, "terminal_resistance")["verdict"], "agrees");
}

#[test]
fn the_covariance_of_resistance_and_brush_drop_is_carried() {
    let (_, value) = json(
        &motor(),
        &sheet("stall_current = { value = \"5.75 A\", tolerance = \"10 %\" }"),
    );
    let found = finding(&value, "stall_current");
    // I = (V - V_b)/R: u² = (u_b² + I² u_r² + 2 I r u_b u_r)/R², JCGM 100:2008, 5.2.2.
    let (i, ub, ur) = (5.75_f64, 0.1_f64, 0.04_f64);
    let expected =
        (ub * ub + i * i * ur * ur + 2.0 * i * RESISTANCE_TO_DROP * ub * ur).sqrt() / 2.0;
    let without = (ub * ub + i * i * ur * ur).sqrt() / 2.0;
    let found_u = found["standard_uncertainty"].as_f64().expect("number");
    // Ten thousand draws: four standard deviations of their mean and of their spread.
    assert!((found["predicted"].as_f64().expect("number") - i).abs() < 0.05 * expected);
    assert!(
        (found_u / expected - 1.0).abs() < 0.03,
        "{found_u} {expected}"
    );
    assert!(found_u < 0.9 * without, "the covariance was dropped");
    assert_eq!(found["method"], "monte_carlo");
}

#[test]
fn the_sheets_temperature_moves_resistance_and_constant() {
    let text = sheet("terminal_resistance = \"2.4 Ω\"\ntorque_constant = \"18 mN·m/A\"")
        .replace("25 °C", "75 °C");
    let (status, value) = json(&motor(), &text);
    // Nothing to judge by: no tolerance is printed.
    assert_eq!(status, Some(1));
    let predicted = |entry| {
        finding(&value, entry)["predicted"]
            .as_f64()
            .expect("number")
    };
    // Copper: (234.5 + 75)/(234.5 + 25); ferrite: -0.2 % per kelvin over 50 K.
    assert!((predicted("terminal_resistance") - 2.0 * 309.5 / 259.5).abs() < 1e-9);
    assert!((predicted("torque_constant") - 0.02 * 0.9).abs() < 1e-9);
    assert!(finding(&value, "torque_constant").get("verdict").is_none());
}

#[test]
fn brushes_and_grease_widen_what_is_brought_to_another_temperature() {
    let hot = sheet("terminal_resistance = \"2.4 Ω\"\nfriction_torque = \"3 mN·m\"")
        .replace("25 °C", "80 °C");
    let of = |brushes, entry: &str| {
        let mut file = motor();
        file.motor.as_mut().expect("named").brushes = Some(brushes);
        let (_, value) = json(&file, &hot);
        let number = |key: &str| finding(&value, entry)[key].as_f64().expect("number");
        (number("predicted"), number("standard_uncertainty"))
    };
    // A fifth of R that does not warm: 2 Ω (1 + 0.8 · 55/259.5), 3.5 % below copper alone.
    let a_fifth = 2.0 * (1.0 + 0.8 * 55.0 / 259.5);
    let (copper, u) = of(BrushKind::Carbon, "terminal_resistance");
    assert!((copper - 2.0 * 314.5 / 259.5).abs() < 1e-9);
    // Two per cent of R, and 0.1 of the rise.
    let share = 0.1 * 2.0 * 55.0 / 259.5;
    assert!((u - (0.02 * copper).hypot(share)).abs() < 5e-4, "{u}");
    assert!(a_fifth > copper - 1.96 * u);
    let (_, metal) = of(BrushKind::Metal, "terminal_resistance");
    assert!(metal < 0.9 * u, "{metal} {u}");
    // 5 % at 25 °C, 0.5 % a kelvin over 55 K.
    let (friction, u) = of(BrushKind::Carbon, "friction_torque");
    assert!((friction - 3e-3).abs() < 1e-12);
    assert!((u / 3e-3 - 0.05_f64.hypot(0.275)).abs() < 2e-3, "{u}");
}

#[test]
fn without_a_speed_anchor_the_terminal_entries_are_still_judged() {
    let claims = "no_load_current = { value = \"150 mA\", tolerance = \"20 %\" }\n\
                  mechanical_time_constant = { value = \"7.5 ms\", tolerance = \"20 %\" }\n\
                  maximum_power = { value = \"15.8 W\", tolerance = \"20 %\" }\n\
                  no_load_speed = { value = \"5330 rpm\", tolerance = \"20 %\" }";
    let (status, value) = json(&without_anchor(), &sheet(claims));
    assert_eq!(status, Some(1));
    for entry in [
        "no_load_current",
        "mechanical_time_constant",
        "maximum_power",
    ] {
        assert_eq!(finding(&value, entry)["verdict"], "agrees", "{entry}");
    }
    let speed = finding(&value, "no_load_speed");
    assert_eq!(speed["verdict"], "cannot_tell_yet");
    assert!(
        speed.get("predicted").is_none(),
        "an unknown must stay absent"
    );
    assert_eq!(
        speed["remark"],
        "back-EMF constant is not determined by this motor file; it would be determined by: one tachometer reading"
    );
    // The same with the anchor: the two ways agree.
    let (_, anchored) = json(&motor(), &sheet(claims));
    for entry in [
        "no_load_current",
        "mechanical_time_constant",
        "maximum_power",
    ] {
        let predicted =
            |value: &Value| finding(value, entry)["predicted"].as_f64().expect("number");
        assert!(
            (predicted(&value) / predicted(&anchored) - 1.0).abs() < 5e-3,
            "{entry}"
        );
    }
}

#[test]
fn faults_of_a_sheet_are_told_with_their_place_and_status_2() {
    for (text, message) in [
        (
            "[claims]\nno_load_sped = \"5200 rpm\"\n",
            "sheet.toml:2:1: unknown key `no_load_sped` in [claims]; the nearest known key is `no_load_speed`",
        ),
        (
            "[claims]\nterminal_resistance = { valeu = \"2 Ω\" }\n",
            "sheet.toml:2:25: unknown key `valeu` in [claims.terminal_resistance]; the nearest known key is `value`",
        ),
        (
            "[shet]\n",
            "sheet.toml:1:2: unknown key `shet` in the sheet; the nearest known key is `sheet`",
        ),
        (
            "[sheet]\nnominal_volts = \"2 V\"\n[claims]\n",
            "unknown key `nominal_volts` in [sheet]; the nearest known key is `nominal_voltage`",
        ),
        (
            "[claims]\nno_load_speed = \"5200 rpm\"\n",
            "sheet.toml:2:17: `no_load_speed` holds at the nominal voltage only",
        ),
        (
            "[claims]\nterminal_resistance = 2.0\n",
            "sheet.toml:2:23: `terminal_resistance` in [claims] is a number (2.0), expected a text with a number and a unit",
        ),
        (
            "[claims]\nterminal_resistance = \"2.0 V\"\n",
            "\"V\" is not a recognised unit of resistance; use one of Ω, mΩ, kΩ",
        ),
        (
            "[claims]\nterminal_resistance = \"2.0\"\n",
            "\"2.0\" has no unit",
        ),
        (
            "[claims]\nterminal_resistance = { tolerance = \"2 %\" }\n",
            "a tolerance needs a `value`",
        ),
        (
            "[claims]\nterminal_resistance = { value = \"2 Ω\", tolerance = \"2 %\", at_most = \"3 Ω\" }\n",
            "two different things",
        ),
        (
            "[claims]\nterminal_resistance = { value = \"2 Ω\", tolerance = \"3 Ω\" }\n",
            "reaches below zero",
        ),
        (
            "[claims]\nterminal_resistance = { at_least = \"3 Ω\", at_most = \"2 Ω\" }\n",
            "`at_least` lies above `at_most`",
        ),
        ("[claims]\n", "holds no entry"),
        ("", "lacks the key `claims`"),
        (
            "[sheet]\nstall_values = \"guessed\"\n[claims]\n",
            "expected \"extrapolated\" or \"measured\"",
        ),
        ("[claims\n", "sheet.toml:1:"),
    ] {
        let output = run(&motor(), text, &[]);
        let stderr = String::from_utf8_lossy(&output.stderr);
        let stderr = stderr.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(output.status.code(), Some(2), "{text}: {stderr}");
        assert!(
            stderr.contains(message),
            "{text}: {stderr:?} lacks {message:?}"
        );
    }
    let output = run(
        &motor(),
        "[claims]\nterminal_resistance = \"2 Ω\"\n",
        &["--risk", "50"],
    );
    assert_eq!(output.status.code(), Some(2));
}

/// What a careless or malicious sheet may hold in place of a resistance: each is refused at its place, nothing ends in a panic.
#[test]
fn hostile_entries_are_refused_at_their_place() {
    for (value, message) in [
        (r#""1e400 Ω""#, "1e400"),
        (r#""1e308 kΩ""#, "beyond any number of Ω"),
        (r#""NaN Ω""#, "NaN"),
        (r#""inf Ω""#, "inf"),
        (r#""-2 Ω""#, "\"-2 Ω\" is not above zero"),
        (r#""0 Ω""#, "\"0 Ω\" is not above zero"),
        (r#""1e-400 Ω""#, "is not above zero"),
        (r#""""#, "\"\""),
        (r#""2 Ω\u202e""#, "Ω"),
        (r#"["2 Ω"]"#, "is a list"),
        (
            r#"{ value = "2 Ω", tolerance = "-5 %" }"#,
            "is no tolerance",
        ),
        (
            r#"{ value = "2 Ω", tolerance = "100 %" }"#,
            "is no tolerance",
        ),
        (
            r#"{ value = "2 Ω", plus = "1e308 kΩ" }"#,
            "beyond any number",
        ),
        (
            r#"{ value = "1e308 Ω", plus = "90 %" }"#,
            "reaches beyond any number",
        ),
        (r#"{ value = "2 Ω", value = "3 Ω" }"#, "duplicate"),
        (r#"{ "wért" = "2 Ω" }"#, "unknown key `wért`"),
        (
            r#"{ value = "2 Ω", frequency = "1 kHz" }"#,
            "only an inductance",
        ),
        ("\"2 Ω\"\nterminal_resistance = \"3 Ω\"", "duplicate"),
        (
            "\"2 Ω\"\nspeed_constant = \"1e-320 rpm/V\"",
            "beyond any number",
        ),
        ("\"2 Ω\"\n\"ток\" = \"3 A\"", "unknown key `ток`"),
    ] {
        let text = format!("[claims]\nterminal_resistance = {value}\n");
        let output = run(&motor(), &text, &[]);
        let stderr = String::from_utf8_lossy(&output.stderr);
        let stderr = stderr.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(output.status.code(), Some(2), "{text}: {stderr}");
        let place = stderr.contains("sheet.toml:2:") || stderr.contains("sheet.toml:3:");
        assert!(place && stderr.contains(message), "{text}: {stderr}");
        assert!(output.stdout.is_empty(), "{text}");
    }
}

/// A tolerance of zero is a claim that no measurement can confirm, and no fault of the sheet.
#[test]
fn a_tolerance_of_zero_disagrees_or_stays_undecided() {
    for value in ["2 Ω", "5 Ω"] {
        let claim = format!("terminal_resistance = {{ value = \"{value}\", tolerance = \"0 %\" }}");
        let (status, found) = json(&motor(), &sheet(&claim));
        assert_eq!(status, Some(1));
        let verdict = &finding(&found, "terminal_resistance")["verdict"];
        assert_eq!(verdict, "disagrees", "{value}");
    }
}

/// The example of the documentation, as printed there.
fn example() -> String {
    let text =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/claim_sheet.md"))
            .expect("docs");
    let block = text.split("```toml\n").nth(1).expect("a block");
    block.split("```").next().expect("an end").to_owned()
}

#[test]
fn the_documented_example_gives_the_documented_table() {
    let output = run(&motor(), &example(), &[]);
    let table = String::from_utf8_lossy(&output.stdout);
    let text =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/claim_sheet.md"))
            .expect("docs");
    assert_eq!(output.status.code(), Some(1), "{table}");
    assert!(
        text.contains(table.as_ref()),
        "docs/claim_sheet.md does not hold what the program prints:\n{table}"
    );
}
