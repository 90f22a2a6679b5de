//! Functional Mock-up Units run by FMPy (Python package, the reference importer of the standard), against our own simulation.

#[path = "common/bare.rs"]
mod bare;
#[path = "common/measured.rs"]
mod measured;

use measured::measured;
use rundown::export::Instance;
use rundown::export::fmu::{self, FmiVersion};
use rundown::motor::{Condition, Constants, State, advance};
use rundown::motor_file::{
    ModelTerms, MotorFile, Parameter, ParameterName as Name, Term, Thermal, ThermalName,
};
use serde_json::{Value, json};
use std::process::Command;

/// Largest disagreement with our simulation, as a share of the largest value in the run.
const AGREEMENT: f64 = 1e-4;

/// Every term of the model at work, or the plain ones only.
fn motor(full: bool) -> MotorFile {
    let mut values = vec![
        (Name::TerminalResistance, 2.0, 0.04),
        (Name::ArmatureInductance, 1.5e-3, 3e-5),
        (Name::BackEmfConstant, 0.02, 4e-4),
        (Name::CoulombFrictionTorque, 3e-3, 6e-5),
        (Name::RotorInertia, 1.5e-6, 3e-8),
    ];
    if full {
        values.extend([
            (Name::ViscousFriction, 1e-6, 2e-8),
            (Name::Windage, 2e-9, 4e-11),
            (Name::BrushDrop, 0.5, 0.01),
        ]);
    }
    let pair = (Name::TerminalResistance, Name::RotorInertia, 0.6);
    let mut file = measured("Ticket printer <feed> & \"cutter\"", &values, 24.0, pair);
    let term = |value| {
        Some(Term {
            value,
            standard_uncertainty: None,
        })
    };
    file.model = full.then(|| ModelTerms {
        windage_a_per_v2: None,
        brush_scale_a: term(0.2),
        saturation_per_a: term(0.05),
        armature_reaction_per_a: term(0.001),
        eddy_share: term(0.2),
        eddy_resistance_ohm: term(5.0),
    });
    file
}

/// One run: what is set before, and the voltage of each step.
struct Case {
    kind: &'static str,
    set: Vec<(&'static str, f64)>,
    speed: f64,
    /// Torque that adds to Coulomb friction of a rotor that turns forwards, N·m.
    load: f64,
    step_s: f64,
    voltage_v: Vec<f64>,
}

impl Case {
    fn new(kind: &'static str, speed: f64, step_s: f64, voltage_v: Vec<f64>) -> Case {
        Case {
            kind,
            set: vec![("speed", speed)],
            speed,
            load: 0.0,
            step_s,
            voltage_v,
        }
    }

    fn json(&self) -> Value {
        let set: serde_json::Map<String, Value> = self
            .set
            .iter()
            .map(|&(name, value)| (name.to_owned(), json!(value)))
            .collect();
        json!({"kind": self.kind, "set": set, "step": self.step_s, "voltage": self.voltage_v})
    }

    /// Current and speed after each step by our own simulation.
    fn simulated(&self, motor: &Instance<'_>) -> Vec<[f64; 2]> {
        let k = motor.mechanical.back_emf_constant_v_s_per_rad;
        let mut terminal = motor.terminal;
        terminal.friction_current_a += self.load / k;
        let constants: Constants<f64> = Constants::new(&terminal);
        let mut state = State {
            back_emf: k * self.speed,
            ..State::rest()
        };
        let mut rows = Vec::new();
        for &voltage_v in &self.voltage_v {
            // Small steps of our own, so that its error is far below the agreement asked for.
            for _ in 0..20 {
                let step_s = self.step_s / 20.0;
                state = advance(
                    &constants,
                    state,
                    Condition::Voltage(voltage_v),
                    step_s,
                    false,
                )
                .end;
            }
            rows.push([state.current, state.back_emf / k]);
        }
        rows
    }
}

/// Rows of time, current, speed and angle of each case.
fn run(motor: &Instance<'_>, version: FmiVersion, cases: &[Case]) -> Vec<Vec<[f64; 4]>> {
    let unit = fmu::unit(motor, version).expect("written");
    assert_eq!(unit.without_library, None);
    let folder = tempfile::tempdir().expect("folder");
    let path = |name: &str| folder.path().join(name);
    let (archive, list, rows) = (path("motor.fmu"), path("cases.json"), path("rows.json"));
    std::fs::write(&archive, unit.bytes).expect("write");
    let cases: Vec<Value> = cases.iter().map(Case::json).collect();
    std::fs::write(&list, json!(cases).to_string()).expect("write");
    let root = env!("CARGO_MANIFEST_DIR");
    let python = format!("{root}/target/test-python/bin/python");
    let output = Command::new(&python)
        .arg(format!("{root}/tests/fmu/run.py"))
        .args([&archive, &list, &rows])
        .output()
        .unwrap_or_else(|error| panic!("{python}: {error}; run scripts/install_test_tools"));
    let result = std::fs::read_to_string(&rows)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)));
    let result: Value = serde_json::from_str(&result).expect("JSON");
    assert_eq!(result["problems"], json!([]));
    serde_json::from_value(result["rows"].clone()).expect("rows")
}

fn agree(rows: &[[f64; 4]], expected: &[[f64; 2]], what: &str) {
    assert_eq!(rows.len(), expected.len(), "{what}");
    for (quantity, place) in [("current", 0), ("speed", 1)] {
        let largest = expected
            .iter()
            .fold(0.0f64, |most, row| most.max(row[place].abs()));
        for (n, (row, wanted)) in rows.iter().zip(expected).enumerate() {
            let apart = (row[place + 1] - wanted[place]).abs();
            assert!(
                apart <= AGREEMENT * largest,
                "{what}, {quantity} of row {n}: {} for {}, {:.1e} of the largest",
                row[place + 1],
                wanted[place],
                apart / largest
            );
        }
    }
}

fn pwm(high_v: f64) -> Vec<f64> {
    (0..200)
        .map(|n| if n % 10 < 6 { high_v } else { 0.0 })
        .collect()
}

#[test]
fn start_brake_and_pwm_agree_with_our_simulation_in_both_versions_and_kinds() {
    for full in [false, true] {
        let file = motor(full);
        let motor = Instance::estimate(&file, "the test").expect("complete");
        for version in [FmiVersion::Two, FmiVersion::Three] {
            let mut cases = Vec::new();
            for kind in ["cs", "me"] {
                cases.push(Case::new(kind, 0.0, 2e-4, vec![12.0; 300]));
                // Down to rest, where friction holds the rotor, and some while there.
                cases.push(Case::new(kind, 400.0, 2e-4, vec![0.0; 300]));
                cases.push(Case::new(kind, 0.0, 1e-5, pwm(12.0)));
                let mut loaded = Case::new(kind, 0.0, 2e-4, vec![12.0; 300]);
                // Less than Coulomb friction: a larger one would turn the rotor backwards before the current has risen.
                loaded.load = 0.0025;
                loaded.set.push(("load_torque", 0.0025));
                cases.push(loaded);
            }
            for (rows, case) in run(&motor, version, &cases).iter().zip(&cases) {
                let what = format!("{version:?} {} {} full {full}", case.kind, case.speed);
                agree(rows, &case.simulated(&motor), &what);
            }
        }
    }
}

#[test]
fn a_rotor_that_friction_holds_stays_exactly_at_rest_and_breaks_away_above_it() {
    let file = motor(true);
    let motor = Instance::estimate(&file, "the test").expect("complete");
    let friction = motor.mechanical.coulomb_friction_nm;
    let pushed = |kind, torque: f64| Case {
        set: vec![("load_torque", -torque)],
        ..Case::new(kind, 0.0, 1e-4, vec![0.0; 20])
    };
    for version in [FmiVersion::Two, FmiVersion::Three] {
        let cases = [
            pushed("cs", 0.99 * friction),
            pushed("me", 0.99 * friction),
            pushed("cs", 1.5 * friction),
            pushed("me", 1.5 * friction),
        ];
        let rows = run(&motor, version, &cases);
        for held in &rows[..2] {
            assert!(
                held.iter().all(|row| row[2] == 0.0 && row[3] == 0.0),
                "{version:?}"
            );
        }
        for turning in &rows[2..] {
            // At first the surplus of torque alone accelerates the rotor.
            let wanted = 0.5 * friction / motor.mechanical.rotor_inertia_kg_m2 * 1e-4;
            assert!(
                (turning[0][2] / wanted - 1.0).abs() < 0.02,
                "{version:?} {}",
                turning[0][2]
            );
        }
    }
}

#[test]
fn resistance_follows_the_temperature_of_the_winding_by_the_rule_of_copper() {
    let file = motor(false);
    let motor = Instance::estimate(&file, "the test").expect("complete");
    // Held at rest by a heavy load, the current settles at V/R; from 24 to 124 degC, (234.5 + 124)/(234.5 + 24) = 1.386847 (IEC 60034-1, 8.6.2).
    let case = |temperature_c: f64| Case {
        set: vec![
            ("winding_temperature", temperature_c + 273.15),
            ("added_inertia", 1.0),
        ],
        ..Case::new("cs", 0.0, 1e-3, vec![2.0; 20])
    };
    let rows = run(&motor, FmiVersion::Three, &[case(24.0), case(124.0)]);
    let ratio = rows[0][19][1] / rows[1][19][1];
    assert!((ratio - 1.386_847).abs() < 2e-5, "{ratio}");
}

#[test]
fn the_same_motor_gives_the_same_description_and_source() {
    let file = motor(true);
    let motor = Instance::estimate(&file, "the test").expect("complete");
    let one = fmu::unit(&motor, FmiVersion::Two).expect("written").bytes;
    assert_eq!(
        one,
        fmu::unit(&motor, FmiVersion::Two).expect("written").bytes
    );
}

/// A thermal model whose times are short enough for a test.
fn warming() -> MotorFile {
    let log_values = [4.0f64, 0.05, 6.0, 0.5].map(f64::ln);
    let parameter = |name: ThermalName, log_value: f64| {
        let value = log_value.exp();
        let mut parameter = Parameter::measured(
            Name::TerminalResistance,
            value,
            0.02 * value,
            (0.96 * value, 1.04 * value),
            0.95,
        );
        parameter.unit = name.ucum().to_owned();
        (name, parameter)
    };
    let mut file = motor(false);
    file.thermal = Some(Thermal {
        parameters: ThermalName::NETWORK
            .into_iter()
            .zip(log_values)
            .map(|(name, log_value)| parameter(name, log_value))
            .collect(),
        log_values,
        log_covariance: [[0.0; 4]; 4],
        ambient_c: 24.0,
        hottest_winding_c: 100.0,
    });
    file
}

#[test]
fn the_winding_warms_as_the_two_bodies_do() {
    let file = warming();
    let motor = Instance::estimate(&file, "the test").expect("complete");
    // Held by a heavy load, the motor takes V^2/R(T): two bodies in small steps, written here once more.
    let (mut winding, mut housing) = (0.0f64, 0.0f64);
    let mut current = 0.0;
    let h = 1e-5;
    for _ in 0..100_000 {
        let resistance = 2.0 * (234.5 + 24.0 + winding) / (234.5 + 24.0);
        current += h * (2.0 - resistance * current) / 1.5e-3;
        let through = (winding - housing) / 4.0;
        winding += h * (resistance * current * current - through) / 0.05;
        housing += h * (through - housing / 6.0) / 0.5;
    }
    for version in [FmiVersion::Two, FmiVersion::Three] {
        for kind in ["cs", "me"] {
            let case = Case {
                set: vec![("added_inertia", 1e3)],
                ..Case::new(kind, 0.0, 1e-2, vec![2.0; 100])
            };
            let rows = run(&motor, version, &[case]);
            let last = rows[0].last().expect("rows");
            assert!(
                (last[1] / current - 1.0).abs() < 1e-4,
                "{version:?} {kind}: {} for {current}",
                last[1]
            );
        }
    }
}
