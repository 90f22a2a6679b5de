//! Exports run by the tools that read them, against our own simulation. A tool that is missing fails its test.

#[path = "common/bare.rs"]
mod bare;
#[path = "common/measured.rs"]
mod measured;

use measured::measured;
use rundown::export::{
    End, Instance, c_header, load_line, modelica, rows, script, spice, state_space,
};
use rundown::motor::{Condition, Constants, State, advance};
use rundown::motor_file::{
    self, Covariance, Input, ModelTerms, MotorFile, Overwrite, Parameter, ParameterName as Name,
    Term,
};
use std::path::Path;
use std::process::{Command, Output};

/// Largest disagreement with our simulation, as a share of the largest value in the run.
const AGREEMENT: f64 = 0.005;

fn motor(values: &[(Name, f64)], model: Option<ModelTerms>) -> MotorFile {
    let values: Vec<(Name, f64, f64)> = values
        .iter()
        .map(|&(name, value)| (name, value, 0.02 * value))
        .collect();
    let pair = (Name::TerminalResistance, Name::RotorInertia, 0.6);
    let mut file = measured("Ticket printer, feed", &values, 24.0, pair);
    file.motor.as_mut().expect("named").supply_v = Some(12.0);
    file.inputs = vec![Input {
        path: "start.csv".to_owned(),
        sha256: "0123456789abcdef".repeat(4),
        role: Some("start".to_owned()),
    }];
    file.model = model;
    file
}

const PLAIN: [(Name, f64); 5] = [
    (Name::TerminalResistance, 2.0),
    (Name::ArmatureInductance, 1.5e-3),
    (Name::BackEmfConstant, 0.02),
    (Name::CoulombFrictionTorque, 3e-3),
    (Name::RotorInertia, 1.5e-6),
];

fn plain() -> MotorFile {
    motor(&PLAIN, None)
}

/// Every term of the model at work.
fn full() -> MotorFile {
    let term = |value| {
        Some(Term {
            value,
            standard_uncertainty: None,
        })
    };
    let mut values = PLAIN.to_vec();
    values.extend([
        (Name::ViscousFriction, 1e-6),
        (Name::Windage, 2e-9),
        (Name::BrushDrop, 0.5),
    ]);
    let terms = ModelTerms {
        windage_a_per_v2: None,
        brush_scale_a: term(0.2),
        saturation_per_a: term(0.05),
        armature_reaction_per_a: term(0.001),
        eddy_share: term(0.2),
        eddy_resistance_ohm: term(5.0),
    };
    motor(&values, Some(terms))
}

fn estimate(file: &MotorFile) -> Instance<'_> {
    Instance::estimate(file, "the test").expect("complete")
}

/// Current and speed every `step_s` from a state, by our own simulation.
fn simulate(
    motor: &Instance<'_>,
    voltage_v: Option<f64>,
    speed: f64,
    step_s: f64,
    steps: usize,
) -> Vec<(f64, f64)> {
    let (terminal, mechanical) = (motor.terminal, motor.mechanical);
    let k = mechanical.back_emf_constant_v_s_per_rad;
    let constants: Constants<f64> = Constants::new(&terminal);
    let mut state = State {
        back_emf: k * speed,
        ..State::rest()
    };
    let condition = voltage_v.map_or(Condition::Open, Condition::Voltage);
    let mut run = vec![(0.0, speed)];
    for _ in 0..steps {
        state = advance(&constants, state, condition, step_s, false).end;
        run.push((state.current, state.back_emf / k));
    }
    run
}

fn tool(name: &str, arguments: &[&str], folder: &Path) -> Output {
    Command::new(name)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap_or_else(|error| {
            panic!("{name} cannot be run ({error}); install it with scripts/install_test_tools")
        })
}

fn text(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

/// The same on one line, however it is wrapped.
fn unwrapped(output: &Output) -> String {
    text(output)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// Times, currents, speeds from a deck around the subcircuit.
fn in_spice(
    motor: &Instance<'_>,
    around: &str,
    speed: f64,
    step_s: f64,
    end_s: f64,
) -> Vec<[f64; 3]> {
    let folder = tempfile::tempdir().expect("folder");
    let deck = format!(
        "deck\n{}{around}\nXm in 0 shaft 0 {} w0={speed:e}\n.tran {step_s:e} {end_s:e} 0 {step_s:e} uic\n\
         .control\nrun\nwrdata out.txt i(Vs) v(shaft)\n.endc\n.end\n",
        spice::subcircuit(motor),
        motor.identifier()
    );
    std::fs::write(folder.path().join("deck.cir"), deck).expect("write");
    let output = tool("ngspice", &["-b", "deck.cir"], folder.path());
    let table = std::fs::read_to_string(folder.path().join("out.txt"))
        .unwrap_or_else(|error| panic!("{error}: {}", text(&output)));
    let rows: Vec<[f64; 3]> = table
        .lines()
        .map(|line| {
            let cells: Vec<f64> = line
                .split_whitespace()
                .map(|cell| cell.parse().expect("number"))
                .collect();
            // The source's current flows out of its plus end.
            [cells[0], -cells[1], cells[3]]
        })
        .collect();
    assert!(
        rows.last().expect("rows")[0] > 0.999 * end_s,
        "{}",
        text(&output)
    );
    rows
}

fn at(rows: &[[f64; 3]], time: f64) -> (f64, f64) {
    let after = rows
        .partition_point(|row| row[0] < time)
        .clamp(1, rows.len() - 1);
    let (a, b) = (rows[after - 1], rows[after]);
    let share = ((time - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
    (a[1] + share * (b[1] - a[1]), a[2] + share * (b[2] - a[2]))
}

fn agree(theirs: &[[f64; 3]], ours: &[(f64, f64)], step_s: f64, what: &str) {
    let largest =
        |pick: fn(&(f64, f64)) -> f64| ours.iter().map(|row| pick(row).abs()).fold(0.0, f64::max);
    let (current, speed) = (largest(|row| row.0), largest(|row| row.1));
    assert!(speed > 100.0, "{what}: the motor does not turn");
    for (row, (i, w)) in ours.iter().enumerate().skip(1) {
        let time = row as f64 * step_s;
        let (their_i, their_w) = at(theirs, time);
        if current > 0.0 {
            assert!(
                (their_i - i).abs() <= AGREEMENT * current,
                "{what} at {time} s: {their_i} A, {i} A"
            );
        }
        assert!(
            (their_w - w).abs() <= AGREEMENT * speed,
            "{what} at {time} s: {their_w} rad/s, {w} rad/s"
        );
    }
}

#[test]
fn the_subcircuit_agrees_with_the_simulation_in_start_run_down_and_brake() {
    let mut unsaturated = full();
    if let Some(terms) = &mut unsaturated.model {
        terms.saturation_per_a = None;
    }
    for (name, file) in [
        ("plain", plain()),
        ("full", full()),
        ("unsaturated", unsaturated),
    ] {
        let motor = estimate(&file);
        let step = 1e-5;
        let theirs = in_spice(&motor, "Vs in 0 12", 0.0, step, 0.08);
        agree(
            &theirs,
            &simulate(&motor, Some(12.0), 0.0, step, 8000),
            step,
            &format!("{name} start"),
        );
        let theirs = in_spice(&motor, "Vs in 0 0", 500.0, step, 0.04);
        agree(
            &theirs,
            &simulate(&motor, Some(0.0), 500.0, step, 4000),
            step,
            &format!("{name} brake"),
        );
        // Open terminals: a gigaohm from the motor to a source of zero volts.
        let theirs = in_spice(&motor, "Vs far 0 0\nRopen far in 1e9", 500.0, 1e-4, 0.3);
        agree(
            &theirs,
            &simulate(&motor, None, 500.0, 1e-4, 3000),
            1e-4,
            &format!("{name} run-down"),
        );
    }
}

#[test]
fn val_the_half_bridge_deck_runs_with_the_textbook_ripple() {
    let file = plain();
    let deck = spice::half_bridge(&estimate(&file), None).expect("a deck");
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("deck.cir"), &deck).expect("write");
    let output = text(&tool("ngspice", &["-b", "deck.cir"], folder.path()));
    let measured = |name: &str| -> f64 {
        output
            .lines()
            .find(|line| line.starts_with(name))
            .and_then(|line| {
                line.split('=')
                    .nth(1)?
                    .split_whitespace()
                    .next()?
                    .parse()
                    .ok()
            })
            .unwrap_or_else(|| panic!("no {name} in {output}"))
    };
    let ripple = measured("largest_current") - measured("smallest_current");
    // Ripple at half duty without regard to slow back-EMF: (V/R) tanh(T/(4 Ta)) (chopper-fed armature, exact); here
    // T = Ta/5. Switch, supply and dead time take a few per cent.
    let expected = 12.0 / 2.0 * (0.05_f64).tanh();
    assert!(
        (ripple / expected - 1.0).abs() < 0.06,
        "{ripple} {expected}"
    );
    assert!(measured("speed") > 10.0);
    let own_lines = deck.lines().count() - spice::subcircuit(&estimate(&file)).lines().count();
    assert!(
        (25..=35).contains(&own_lines),
        "{own_lines} lines around the subcircuit"
    );
}

#[test]
fn the_scripts_simulate_the_same_start() {
    for file in [plain(), full()] {
        let motor = estimate(&file);
        let folder = tempfile::tempdir().expect("folder");
        let python = script::python(&motor, None).expect("a script");
        let octave = script::octave(&motor, None).expect("a script");
        std::fs::write(folder.path().join("start.py"), python).expect("write");
        std::fs::write(folder.path().join("start.m"), octave).expect("write");
        let ours = simulate(&motor, Some(12.0), 0.0, 1e-6, 60_000);
        let peak = ours.iter().map(|row| row.0).fold(0.0, f64::max);
        for output in [
            tool("python3", &["start.py"], folder.path()),
            tool(
                "octave-cli",
                &["--no-gui", "--no-init-file", "start.m"],
                folder.path(),
            ),
        ] {
            let printed = text(&output);
            let number = |line: &str| -> f64 {
                let rest = printed
                    .split(line)
                    .nth(1)
                    .unwrap_or_else(|| panic!("{printed}"));
                rest.split_whitespace()
                    .next()
                    .and_then(|word| word.parse().ok())
                    .expect("number")
            };
            assert!(
                (number("peak current ") / peak - 1.0).abs() < AGREEMENT,
                "{printed} {peak}"
            );
            let end = printed
                .split("after ")
                .nth(1)
                .and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok());
            let row = (end.expect("end") / 1e-6).round() as usize;
            let (i, w) = ours[row.min(ours.len() - 1)];
            assert!(
                (number("final speed ") / w - 1.0).abs() < AGREEMENT,
                "{printed} {w}"
            );
            assert!(
                (number("final current ") - i).abs() < AGREEMENT * peak,
                "{printed} {i}"
            );
        }
    }
}

#[test]
fn the_c_header_compiles_without_a_warning_and_computes_right() {
    let file = full();
    let motor = estimate(&file);
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(
        folder.path().join("motor.h"),
        c_header::header(&motor).expect("a header"),
    )
    .expect("write");
    let program = r#"
#include <stdio.h>
#include "motor.h"
int main(void)
{
    printf("%ld %ld %ld %ld %ld %.17g %.17g\n",
        (long)ticket_printer__feed_back_emf_mv(12000, 2345), (long)ticket_printer__feed_back_emf_mv(-12000, -2345),
        (long)ticket_printer__feed_speed_mrad_s(7000), (long)ticket_printer__feed_torque_unm(-1234),
        (long)ticket_printer__feed_current_ma(56789), TICKET_PRINTER__FEED_ROTOR_INERTIA,
        TICKET_PRINTER__FEED_ROTOR_INERTIA_U);
    return 0;
}
"#;
    std::fs::write(folder.path().join("main.c"), program).expect("write");
    let flags = [
        "-std=c99",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-pedantic",
        "main.c",
        "-o",
        "main",
    ];
    let output = tool("cc", &flags, folder.path());
    assert!(output.status.success(), "{}", text(&output));
    let printed = text(&tool("./main", &[], folder.path()));
    let found: Vec<f64> = printed
        .split_whitespace()
        .map(|word| word.parse().expect("number"))
        .collect();
    // mV, mV, mrad/s, µN·m, mA; each rounded to a whole number once or twice.
    let emf: f64 = 12_000.0 - 2.0 * 2345.0 - 500.0;
    let expected = [
        emf,
        -emf,
        7.0 / 0.02 * 1e3,
        -1.234 * 0.02 * 1e6,
        0.056_789 / 0.02 * 1e3,
    ];
    for (found, expected) in found.iter().zip(expected) {
        assert!((found - expected).abs() <= 1.0, "{found} {expected}");
    }
    assert_eq!(found[5], 1.5e-6);
    assert_eq!(found[6], 0.02 * 1.5e-6);
}

#[test]
fn the_modelica_record_carries_the_constant_and_the_friction() {
    let file = full();
    let motor = estimate(&file);
    let record = modelica::record(&motor, None).expect("a record");
    for name in [
        "extends Modelica.Electrical.Machines.Utilities.ParameterRecords.DcPermanentMagnetData(",
        "frictionParameters(PRef=",
        "brushParameters(V=",
        "end Ticket_printer__feed;",
    ] {
        assert!(record.contains(name), "{record}");
    }
    let number = |key: &str| -> f64 {
        let rest = record
            .split(&format!("{key}="))
            .nth(1)
            .unwrap_or_else(|| panic!("{key}: {record}"));
        let end = rest.find([',', ')']).expect("an end");
        rest[..end].parse().expect("number")
    };
    // k = ViNominal/wNominal with ViNominal = VaNominal - Ra IaNominal - brush drop (Modelica Standard Library).
    let k = (number("VaNominal") - number("Ra") * number("IaNominal") - number("(V"))
        / number("wNominal");
    assert!((k / 0.02 - 1.0).abs() < 1e-12, "{k}");
    // tau = PRef/wRef (w/wRef)^power_w: torque and slope at no load.
    let (p, w, n) = (number("PRef"), number("wRef"), number("power_w"));
    let drag = |w: f64| 3e-3 + 1e-6 * w + 2e-9 * w * w;
    let law = |x: f64| p / w * (x / w).powf(n);
    assert!((law(w) / drag(w) - 1.0).abs() < 1e-9);
    assert!((law(1.01 * w) / drag(1.01 * w) - 1.0).abs() < 1e-4);
    assert_eq!(number("TaRef"), 24.0 + 273.15);
    assert_eq!(number("Jr"), number("Js"));
    // The inductance is one number there; at 20 kHz a fifth of it is screened: 1.2 mH and a little for 1.5 mH.
    assert!(
        record.contains("screening by eddy currents (at 20 kHz the inductance is 1.2"),
        "{record}"
    );
}

#[test]
fn a_parser_of_the_language_reads_the_modelica_record() {
    // Python package modparc 0.2.1, an independent parser of the Modelica grammar.
    let file = full();
    let record = modelica::record(&estimate(&file), None).expect("a record");
    let folder = tempfile::tempdir().expect("folder");
    std::fs::write(folder.path().join("record.mo"), record).expect("write");
    let python = concat!(env!("CARGO_MANIFEST_DIR"), "/target/test-python/bin/python");
    let program = "import modparc; print(type(modparc.parse_file('record.mo')).__name__)";
    let output = tool(python, &["-c", program], folder.path());
    assert!(
        text(&output).contains("StoredDefinition"),
        "{}",
        text(&output)
    );
}

/// Rows of a CSV table by its headings.
fn rows_of(bytes: &[u8]) -> Vec<std::collections::HashMap<String, Option<f64>>> {
    let mut reader = csv::Reader::from_reader(bytes);
    let heads = reader.headers().expect("heads").clone();
    reader
        .records()
        .map(|row| {
            let row = row.expect("a row");
            heads
                .iter()
                .zip(&row)
                .map(|(head, cell)| (head.to_owned(), cell.parse().ok()))
                .collect()
        })
        .collect()
}

#[test]
fn the_torque_speed_table_follows_the_line_of_the_motor_and_bounds_it() {
    let file = plain();
    let table = rows_of(&load_line::torque_speed(&file, 12.0).expect("a table"));
    assert_eq!(table.len(), 41);
    for row in &table {
        let number = |key: &str| row[key].expect("a number");
        let speed = number("speed_rad_s");
        // T = K (V - K w)/R - T_c for a motor with nothing but resistance and Coulomb friction.
        let current = (12.0 - 0.02 * speed) / 2.0;
        let torque = 0.02 * current - 3e-3;
        for (key, wanted) in [
            ("current_a", current),
            ("torque_nm", torque),
            ("electrical_power_w", 12.0 * current),
            ("shaft_power_w", torque * speed),
        ] {
            let (low, high) = (
                number(&format!("{key}_lower")),
                number(&format!("{key}_upper")),
            );
            assert!(
                low <= wanted && wanted <= high,
                "{key} {speed}: {wanted} in {low}..{high}"
            );
            assert!(
                (number(key) - wanted).abs() <= 0.2 * (high - low) + 1e-12,
                "{key} {speed}"
            );
        }
    }
    // Standstill: the current's relative uncertainty is that of R, 2 %.
    let held = &table[0];
    let width = held["current_a_upper"].expect("bound") - held["current_a_lower"].expect("bound");
    assert!(
        (width / 6.0 / (2.0 * 1.96 * 0.02) - 1.0).abs() < 0.05,
        "{width}"
    );
}

#[test]
fn the_efficiency_map_is_empty_where_the_load_holds_the_rotor() {
    let file = plain();
    let map = rows_of(&load_line::efficiency_map(&file, 12.0).expect("a map"));
    assert_eq!(map.len(), 8 * 24);
    for row in &map {
        let (voltage, torque) = (row["voltage_v"].expect("V"), row["torque_nm"].expect("T"));
        let current = (torque + 3e-3) / 0.02;
        let speed = (voltage - 2.0 * current) / 0.02;
        match row["efficiency"] {
            None => assert!(speed < 150.0, "{voltage} {torque} {speed}"),
            Some(efficiency) => {
                assert!(speed > 0.0, "{voltage} {torque} {speed}");
                let wanted = torque * speed / (voltage * current);
                assert!((efficiency - wanted).abs() < 0.03, "{efficiency} {wanted}");
            }
        }
    }
    assert!(map.iter().any(|row| row["efficiency"].is_none()));
    assert!(map.iter().filter(|row| row["efficiency"].is_some()).count() > 60);
}

#[test]
fn val_state_space_of_the_control_tutorial_motor() {
    // Control Tutorials (Michigan, Carnegie Mellon, Detroit Mercy), DC motor speed: J 0.01, b 0.1, K 0.01, R 1, L 0.5;
    // poles -9.997499218 and -2.002500782, gain 0.0999000999 rad/(s V), speed at 1 s 0.08303711 rad/s.
    let file = motor(
        &[
            (Name::TerminalResistance, 1.0),
            (Name::ArmatureInductance, 0.5),
            (Name::BackEmfConstant, 0.01),
            (Name::ViscousFriction, 0.1),
            (Name::RotorInertia, 0.01),
        ],
        None,
    );
    let document = state_space::document(&estimate(&file), Some(0.05));
    let matrix = |kind: &str, name: &str| {
        let entry = |r: usize, c: usize| document[kind][name][r][c].as_f64().expect("number");
        nalgebra::Matrix2::new(entry(0, 0), entry(0, 1), entry(1, 0), entry(1, 1))
    };
    let (a, b) = (matrix("continuous", "a"), matrix("continuous", "b"));
    let (sum, product) = (a.trace(), a.determinant());
    let root = (sum * sum / 4.0 - product).sqrt();
    assert!((sum / 2.0 - root + 9.997_499_218).abs() < 1e-9);
    assert!((sum / 2.0 + root + 2.002_500_782).abs() < 1e-9);
    let gain = -(a.try_inverse().expect("regular") * b)[(1, 0)];
    assert!((gain - 0.099_900_099_9).abs() < 1e-10);
    let (ad, bd) = (matrix("discrete", "a"), matrix("discrete", "b"));
    let mut x = nalgebra::Vector2::zeros();
    for _ in 0..20 {
        x = ad * x + bd * nalgebra::Vector2::new(1.0, 0.0);
    }
    assert!((x[1] - 0.083_037_11).abs() < 1e-8, "{}", x[1]);
    assert_eq!(document["left_out"].as_array().map(Vec::len), Some(0));
    let left = state_space::document(&estimate(&full()), None);
    assert!(left.get("discrete").is_none());
    assert!(
        left["left_out"]
            .as_array()
            .is_some_and(|list| list.iter().any(|key| key == "coulomb_friction_torque"))
    );
}

#[test]
fn a_corner_takes_the_others_along_their_correlation() {
    let file = plain();
    let corner =
        Instance::corner(&file, "the test", Name::TerminalResistance, End::High).expect("a corner");
    assert_eq!(corner.value(Name::TerminalResistance), 2.0 + 1.96 * 0.04);
    // Correlation 0.6, so 0.6 · 1.96 of its own standard uncertainties.
    let inertia = 1.5e-6 * (1.0 + 0.6 * 1.96 * 0.02);
    assert!((corner.value(Name::RotorInertia) / inertia - 1.0).abs() < 1e-12);
    assert_eq!(corner.value(Name::BackEmfConstant), 0.02);
    // A derived one follows from the corner's own values.
    let time = corner.value(Name::MechanicalTimeConstant);
    assert!((time / (inertia * corner.value(Name::TerminalResistance) / 4e-4) - 1.0).abs() < 1e-12);
}

fn run(file: &MotorFile, options: &[&str]) -> Output {
    let folder = tempfile::tempdir().expect("folder");
    motor_file::write(
        &folder.path().join("motor.json"),
        file,
        Overwrite::MotorFileOnly,
    )
    .expect("write");
    Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder.path())
        .args(["export", "motor.json", "--to"])
        .args(options)
        .output()
        .expect("run")
}

#[test]
fn what_is_undetermined_stops_an_export_with_the_reason() {
    let mut file = plain();
    let name = Name::RotorInertia;
    file.parameters.insert(
        name,
        Parameter::undetermined(name, "one tachometer reading"),
    );
    let keep: Vec<usize> = (0..5)
        .filter(|k| file.covariance.order[*k] != name)
        .collect();
    file.covariance = Covariance {
        order: keep.iter().map(|k| file.covariance.order[*k]).collect(),
        matrix: keep
            .iter()
            .map(|r| {
                keep.iter()
                    .map(|c| file.covariance.matrix[*r][*c])
                    .collect()
            })
            .collect(),
    };
    for format in [
        "spice",
        "spice-half-bridge",
        "modelica",
        "fmu",
        "table",
        "efficiency-map",
        "c",
        "python",
        "octave",
        "state-space",
    ] {
        let output = run(&file, &[format]);
        assert_eq!(output.status.code(), Some(2), "{format}");
        assert!(output.stdout.is_empty(), "{format}");
        let said = unwrapped(&output);
        assert!(
            said.contains("rotor inertia is not determined"),
            "{format}: {said}"
        );
        assert!(said.contains("one tachometer reading"), "{format}: {said}");
    }
    // A table has an empty cell for it.
    let output = run(&file, &["csv"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    let mut reader = csv::Reader::from_reader(output.stdout.as_slice());
    let heads = reader.headers().expect("heads").clone();
    let row = reader.records().next().expect("a row").expect("a row");
    let cell = |head: &str| {
        row.get(heads.iter().position(|name| name == head).expect(head))
            .expect("a cell")
    };
    assert_eq!(cell("rotor_inertia_kg_m2"), "");
    assert_eq!(cell("rotor_inertia_status"), "undetermined");
    assert_eq!(cell("terminal_resistance_ohm").parse::<f64>(), Ok(2.0));
    assert_eq!(
        cell("terminal_resistance_ohm_standard_uncertainty").parse::<f64>(),
        Ok(0.04)
    );
    assert!(cell("inputs").starts_with("start.csv sha256:0123"));
}

#[test]
fn drawn_motors_repeat_with_the_seed_and_follow_the_covariance() {
    let file = plain();
    let draws = |seed: &str| run(&file, &["csv", "--samples", "400", "--seed", seed]).stdout;
    assert_eq!(draws("3"), draws("3"));
    assert_ne!(draws("3"), draws("4"));
    let bytes = draws("3");
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let heads = reader.headers().expect("heads").clone();
    let column = |name: &str| heads.iter().position(|head| head == name).expect(name);
    let (r, j) = (
        column("terminal_resistance_ohm"),
        column("rotor_inertia_kg_m2"),
    );
    let rows: Vec<(f64, f64)> = reader
        .records()
        .map(|row| {
            let row = row.expect("a row");
            let number = |place: usize| row[place].parse::<f64>().expect("number");
            ((number(r) - 2.0) / 0.04, (number(j) - 1.5e-6) / 3e-8)
        })
        .collect();
    assert_eq!(rows.len(), 400);
    let mean = rows.iter().map(|(a, b)| a * b).sum::<f64>() / 400.0;
    // Correlation 0.6; standard deviation of this mean is sqrt((1 + 0.36)/400) = 0.058.
    assert!((mean - 0.6).abs() < 0.24, "{mean}");
    let output = run(&file, &["spice", "--samples", "3"]);
    assert_eq!(
        String::from_utf8_lossy(&output.stdout)
            .matches("\n.subckt ticket_printer__feed_")
            .count(),
        3
    );
}

#[test]
fn wrong_options_are_told_with_what_would_do() {
    let file = plain();
    for (options, message) in [
        (
            vec!["c", "--samples", "3"],
            "--samples: the C header holds one motor",
        ),
        (vec!["csv", "--samples", "0"], "expected 1 to"),
        (
            vec!["c", "--at", "middle", "windage"],
            "expected `low` or `high`",
        ),
        (
            vec!["c", "--at", "low", "rotor_inerta"],
            "the nearest is `rotor_inertia`",
        ),
        (
            vec!["c", "--at", "low", "windage"],
            "`windage` has no value",
        ),
        (vec!["python", "--supply", "12"], "has no unit"),
        (
            vec!["python", "--supply", "0.1V"],
            "would not turn at 0.1 V",
        ),
        (vec!["c", "-o", "motor.json"], "is the motor file"),
        (vec!["c", "-o", "."], "it names no file"),
    ] {
        let output = run(&file, &options);
        assert_eq!(output.status.code(), Some(2), "{options:?}");
        assert!(
            unwrapped(&output).contains(message),
            "{options:?}: {}",
            text(&output)
        );
    }
    let mut silent = plain();
    silent.motor = None;
    assert!(unwrapped(&run(&silent, &["octave"])).contains("state it with --supply"));
}

#[test]
fn the_parquet_table_is_framed_as_the_format_says() {
    let file = plain();
    let bytes = rows::parquet(&[rows::Row {
        file: &file,
        instance: None,
    }])
    .expect("a table");
    // apache/parquet-format: begins and ends with PAR1, the footer's length stands before the last mark.
    assert_eq!(&bytes[..4], b"PAR1");
    assert_eq!(&bytes[bytes.len() - 4..], b"PAR1");
    let length = u32::from_le_bytes(
        bytes[bytes.len() - 8..bytes.len() - 4]
            .try_into()
            .expect("four bytes"),
    );
    assert!((length as usize) < bytes.len() - 8);
}

#[test]
fn a_table_has_one_row_a_motor() {
    let (one, other) = (plain(), full());
    let table = rows::frame(&[
        rows::Row {
            file: &one,
            instance: None,
        },
        rows::Row {
            file: &other,
            instance: None,
        },
    ])
    .expect("a table");
    assert_eq!(table.height(), 2);
}
