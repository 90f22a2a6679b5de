//! The written motor file: schema, exactness, refusal of wrong files.

#[path = "common/bare.rs"]
mod bare;
mod schema;

use bare::bare;
use rundown::bench::Certificate;
use rundown::motor_file::{
    self, Agreement, AtTemperature, CaptureHealth, Confrontation, Coordinate, Covariance, Cut,
    Distribution, FORMAT, Fit, Identifiability, Input, ModelTerms, MotorFacts, MotorFile,
    MotorFileError, Nuisance, OneSided, OperatingPoint, OperatingPoints, Overwrite, Parameter,
    ParameterName, Program, Range, RunsTest, Severity, Status, Stop, StopReason, Term,
    TermDecision, TermName, Validity, Warning,
};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

fn point(unit: &str) -> OperatingPoint {
    OperatingPoint {
        value: 1.0 / 3.0,
        unit: unit.to_owned(),
        standard_uncertainty: 0.01,
        lower: 0.31,
        upper: 0.35,
    }
}

/// A file in which every optional key stands.
fn full() -> MotorFile {
    use ParameterName as Name;
    let mut resistance =
        Parameter::measured(Name::TerminalResistance, 3.186, 0.021, (3.145, 3.227), 0.95);
    resistance.temperature_c = Some(27.5);
    resistance.at_25_c = Some(AtTemperature {
        value: 3.155_6,
        unit: "Ohm".to_owned(),
        standard_uncertainty: 0.023,
        lower: 3.11,
        upper: 3.2,
        level: 0.95,
        status: Status::Measured,
        temperature_c: 25.0,
    });
    resistance.budget = BTreeMap::from([
        ("noise".to_owned(), 0.25),
        ("gain of shunt".to_owned(), 0.75),
    ]);
    resistance.note = Some("mean over the positions that the rotor passed".to_owned());
    let mut drop = Parameter::measured(Name::BrushDrop, 0.0, 0.1, (0.0, 0.19), 0.95);
    drop.one_sided = Some(OneSided::Upper);
    drop.status = Status::FromPrior;
    drop.at_back_emf_v = Some(22.8);
    drop.at_speed_rad_s = Some(541.0);
    drop.suggestion = Some("a locked-rotor capture at two voltages".to_owned());
    let parameters = BTreeMap::from([
        (Name::TerminalResistance, resistance),
        // A value with 17 digits and one near the smallest normal number: exactness is tested with them.
        (
            Name::ArmatureInductance,
            Parameter::measured(
                Name::ArmatureInductance,
                0.1 + 0.2,
                1.0 / 3.0e9,
                (0.3, 0.300_000_1),
                0.95,
            ),
        ),
        (
            Name::InertiaCapacitance,
            Parameter::measured(
                Name::InertiaCapacitance,
                2.31e-3,
                4.0e-5,
                (2.23e-3, 2.39e-3),
                0.95,
            ),
        ),
        (
            Name::BackEmfConstant,
            Parameter::undetermined(Name::BackEmfConstant, "one tachometer reading"),
        ),
        (Name::BrushDrop, drop),
    ]);
    let (r, l) = (0.021_f64, 1.0_f64 / 3.0e9);
    MotorFile {
        format: FORMAT.to_owned(),
        program: Program::this(),
        motor: Some(MotorFacts {
            name: "ticket printer".to_owned(),
            commutator_segments: Some(5),
            poles: Some(2),
            brush_count: None,
            brushes: Some(rundown::bench::BrushKind::MetalCarbon),
            magnets: Some(rundown::bench::MagnetKind::Ferrite),
            supply_v: Some(24.0),
        }),
        inputs: vec![Input {
            path: "start.csv".to_owned(),
            sha256: "0123456789abcdef".repeat(4),
            role: Some("start".to_owned()),
        }],
        certificates: vec![Certificate {
            instrument: "shunt".to_owned(),
            number: "K-2291".to_owned(),
            date: Some("2026-02-11".to_owned()),
        }],
        inductance_at: Vec::new(),
        thermal: None,
        constant_candidates: Vec::new(),
        confrontations: vec![Confrontation {
            kind: "reading".to_owned(),
            item: "ohmmeter".to_owned(),
            stated: Some(1.2),
            model: Some(r),
            standard_uncertainty: Some(0.05),
            unit: "Ohm".to_owned(),
            deviation: Some(-4.1),
            agreement: Agreement::Doubtful,
            text: Some("the ohmmeter reads less than the captures show".to_owned()),
        }],
        parameters,
        covariance: Covariance {
            order: vec![Name::TerminalResistance, Name::ArmatureInductance],
            matrix: vec![vec![r * r, 0.3 * r * l], vec![0.3 * r * l, l * l]],
        },
        distribution: Some(Distribution {
            coordinates: vec![
                Coordinate::Parameter(Name::TerminalResistance),
                Coordinate::Parameter(Name::BrushDrop),
                Coordinate::Term(TermName::SaturationPerA2),
            ],
            at: vec![3.186_f64.ln(), 0.0, 4e-4],
            information: vec![
                vec![2.3e4, 1.2, 0.0],
                vec![1.2, 100.0, 0.0],
                vec![0.0, 0.0, 1e8],
            ],
            pull: vec![0.0, -3.0, 0.0],
            may_be_absent: vec![Coordinate::Parameter(Name::BrushDrop)],
        }),
        operating: Some(OperatingPoints {
            voltage_v: 24.0,
            level: 0.95,
            trials: 10_000,
            seed: Some(1),
            stable_digits: Some(2),
            no_load_speed: Some(point("rad/s")),
            no_load_current: Some(point("A")),
            stall_torque: Some(point("N.m")),
            stall_current: Some(point("A")),
        }),
        model: Some(ModelTerms {
            brush_scale_a: Some(Term {
                value: 0.3,
                standard_uncertainty: Some(0.1),
            }),
            saturation_per_a: Some(Term {
                value: 0.02,
                standard_uncertainty: None,
            }),
            ..ModelTerms::default()
        }),
        fit: Fit {
            stop: Stop {
                reason: StopReason::Converged,
                text: "gradient 1e-9 of its start, limit 1e-8".to_owned(),
                iterations: Some(14),
            },
            chi_squared: Some(1034.2),
            degrees_of_freedom: Some(1021.0),
            assumption: Some("residuals correlated over 8 bins at most".to_owned()),
            identifiability: Some(Identifiability {
                rank: 11,
                size: 12,
                condition_number: 4.1e5,
                threshold: 1e-6,
                text: Some("J and K apart are not determined".to_owned()),
            }),
            captures: vec![CaptureHealth {
                name: "start".to_owned(),
                role: "start".to_owned(),
                samples: 100_000,
                points: 420,
                chi_squared_per_point: Some(1.03),
                current_residual_rms_a: Some(0.012),
                voltage_residual_rms_v: Some(0.02),
                autocorrelation_lag_one: Some(-0.01),
                runs_test: Some(RunsTest {
                    runs: 203,
                    expected: 211.0,
                    z: -0.78,
                }),
                pull: Some(0.7),
                pull_parameter: Some("terminal_resistance".to_owned()),
                cuts: vec![Cut {
                    start_s: 0.0,
                    end_s: 2.1e-3,
                    reason: "bounce".to_owned(),
                }],
            }],
            terms: vec![TermDecision {
                term: "windage".to_owned(),
                kept: false,
                information_criterion_change: Some(1.8),
                likelihood_ratio: Some(0.2),
                p_value: Some(0.65),
                reason:
                    "no evidence; keeping it would raise viscous friction by 0.3 of its uncertainty"
                        .to_owned(),
            }],
            nuisances: vec![Nuisance {
                name: "gain of shunt".to_owned(),
                value: 1.002,
                unit: "1".to_owned(),
                standard_uncertainty: 0.004,
                prior_value: Some(1.0),
                prior_standard_uncertainty: Some(0.005),
                prior_distribution: None,
            }],
        },
        warnings: vec![Warning {
            severity: Severity::Warning,
            kind: "clipped".to_owned(),
            subject: Some("start".to_owned()),
            values: serde_json::Map::new(),
            text: "the current is clipped at 8.0 A for 0.4 ms; these rows are not used".to_owned(),
        }],
        validity: Validity {
            current_a: Some(Range {
                lower: -6.1,
                upper: 7.4,
            }),
            speed_rad_s: Some(Range {
                lower: 0.0,
                upper: 512.0,
            }),
            back_emf_v: Some(Range {
                lower: 0.0,
                upper: 22.8,
            }),
            temperature_c: Some(Range {
                lower: 22.0,
                upper: 31.0,
            }),
        },
        content_sha256: Some("0123456789abcdef".repeat(4)),
    }
}

/// A file in which only the required keys stand, of a fit that stalled.
fn stalled() -> MotorFile {
    let mut file = bare();
    file.fit.stop.reason = StopReason::Stalled;
    file.fit.stop.text = "no lower cost found".to_owned();
    file
}

fn text(file: &MotorFile) -> String {
    motor_file::to_text(Path::new("motor.json"), file).expect("the file is right")
}

#[test]
fn written_files_obey_the_schema() {
    let files = [full(), stalled()].map(|file| serde_json::from_str(&text(&file)).expect("JSON"));
    for faults in schema::faults(&files) {
        assert!(faults.is_empty(), "{faults:#?}");
    }
}

#[test]
fn a_certificate_stands_beside_its_instrument_in_the_budget_and_nowhere_else() {
    let mut file = full();
    let named = |file: &MotorFile| -> Vec<(String, Option<String>)> {
        let lines = motor_file::budget_lines(file).into_iter();
        let of_resistance = lines.filter(|l| l.parameter == ParameterName::TerminalResistance);
        of_resistance
            .map(|l| (l.source, l.certificate.map(|c| c.to_string())))
            .collect()
    };
    let certificate = Some("certificate K-2291, 2026-02-11".to_owned());
    assert_eq!(
        named(&file),
        [
            ("gain of shunt".to_owned(), certificate.clone()),
            ("noise".to_owned(), None)
        ]
    );
    // A vertical range belongs to its oscilloscope; a longer name is another instrument.
    let resistance = file.parameters.get_mut(&ParameterName::TerminalResistance);
    resistance.expect("known").budget = BTreeMap::from([
        ("gain of shunt, CH1 at 5 V/div".to_owned(), 0.6),
        ("gain of shunt 2".to_owned(), 0.4),
    ]);
    assert_eq!(
        named(&file),
        [
            ("gain of shunt, CH1 at 5 V/div".to_owned(), certificate),
            ("gain of shunt 2".to_owned(), None)
        ]
    );
}

#[test]
fn reading_back_gives_the_same_bits() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("motor.json");
    let written = full();
    motor_file::write(&path, &written, Overwrite::MotorFileOnly).expect("write");
    let read = motor_file::read(&path).expect("read");
    assert_eq!(read, written);
    let bits = |file: &MotorFile| {
        file.covariance
            .matrix
            .iter()
            .flatten()
            .map(|value| value.to_bits())
            .collect::<Vec<_>>()
    };
    assert_eq!(bits(&read), bits(&written));
    assert_eq!(text(&read), text(&written));
    let left: Vec<_> = std::fs::read_dir(folder.path()).expect("list").collect();
    assert_eq!(left.len(), 1, "a temporary file was left: {left:?}");
}

/// What is wrong, how to make it wrong, and what the message must hold.
type Wrong = (fn(&mut Value), &'static str);

#[test]
fn wrong_files_are_refused_by_schema_and_reader_alike() {
    let wrongs: &[Wrong] = &[
        (
            |v| v["format"] = json!("rundown-motor-file/9"),
            "another version of the program",
        ),
        (|v| v["format"] = json!("other"), "this is no motor file"),
        (|v| v["surplus"] = json!(1), "unknown field `surplus`"),
        (
            |v| {
                v.as_object_mut().map(|o| o.remove("inputs"));
            },
            "missing field `inputs`",
        ),
        (
            |v| v["parameters"]["torque"] = json!({"unit": "N.m", "status": "undetermined"}),
            "unknown variant `torque`",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["unit"] = json!("ohm"),
            "parameters.terminal_resistance.unit: found \"ohm\", expected \"Ohm\"",
        ),
        (
            |v| v["operating"]["stall_torque"]["unit"] = json!("N.cm"),
            "operating.stall_torque.unit: found \"N.cm\", expected \"N.m\"",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["value"] = json!(-1.0),
            "parameters.terminal_resistance.value: found -1, expected a number above zero",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["value"] = json!(null),
            "parameters.terminal_resistance.value: found null",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["value"] = json!("3.1"),
            "invalid type: string",
        ),
        (
            |v| {
                v["parameters"]["terminal_resistance"]
                    .as_object_mut()
                    .map(|o| o.remove("upper"));
            },
            "parameters.terminal_resistance.upper: found nothing",
        ),
        (
            |v| v["parameters"]["back_emf_constant"]["value"] = json!(0.02),
            "expected nothing: the status is `undetermined`",
        ),
        (
            |v| v["parameters"]["back_emf_constant"]["status"] = json!("guessed"),
            "unknown variant `guessed`",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["level"] = json!(1.0),
            "parameters.terminal_resistance.level",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["temperature_c"] = json!(-400.0),
            "above -273.15",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["at_25_c"]["temperature_c"] = json!(20.0),
            "at_25_c.temperature_c: found 20, expected 25",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["budget"]["noise"] = json!(1.2),
            "budget.noise",
        ),
        (
            |v| v["inputs"][0]["sha256"] = json!("ABC"),
            "inputs[0].sha256",
        ),
        (
            |v| v["covariance"]["order"][1] = json!("terminal_resistance"),
            "each parameter once",
        ),
        (|v| v["model"]["brush_scale_a"] = json!(0.3), "invalid type"),
        (
            |v| v["fit"]["stop"]["reason"] = json!("fine"),
            "unknown variant `fine`",
        ),
        (
            |v| v["fit"]["captures"][0]["samples"] = json!(-3),
            "invalid value",
        ),
        (
            |v| v["validity"]["current_a"] = json!([0, 1]),
            "validity.current_a: found an array, expected an object",
        ),
    ];
    let right: Value = serde_json::from_str(&text(&full())).expect("JSON");
    let values: Vec<Value> = wrongs
        .iter()
        .map(|(break_it, _)| {
            let mut value = right.clone();
            break_it(&mut value);
            value
        })
        .collect();
    let found = schema::faults(&values);
    for (row, ((value, faults), (_, part))) in values.iter().zip(found).zip(wrongs).enumerate() {
        assert!(
            !faults.is_empty(),
            "the schema lets wrong file {row} ({part}) pass"
        );
        let written = serde_json::to_string_pretty(value).expect("JSON");
        let error = motor_file::from_text(Path::new("motor.json"), &written).expect_err(part);
        let message = error.to_string();
        assert!(message.starts_with("motor.json:"), "{message}");
        assert!(
            message.contains(part),
            "wrong file {row}: {message:?} lacks {part:?}"
        );
    }
}

#[test]
fn what_a_schema_cannot_say_the_reader_still_refuses() {
    let wrongs: &[Wrong] = &[
        (
            |v| v["parameters"]["terminal_resistance"]["lower"] = json!(3.2),
            "parameters.terminal_resistance.lower: found 3.2, expected a number not above the value 3.186",
        ),
        (
            |v| v["parameters"]["terminal_resistance"]["budget"]["noise"] = json!(0.5),
            "shares that add up to 1.25",
        ),
        (
            |v| v["covariance"]["matrix"][0][0] = json!(1.0),
            "the square of the standard uncertainty of `terminal_resistance`",
        ),
        (
            |v| v["covariance"]["matrix"][0][1] = json!(1e-12),
            "found 2.1e-12, expected 1e-12, as at [0][1]",
        ),
        (
            |v| {
                v["covariance"]["matrix"][0][1] = json!(1.0);
                v["covariance"]["matrix"][1][0] = json!(1.0);
            },
            "no correlation exceeds 1",
        ),
        (
            |v| v["covariance"]["matrix"][1] = json!([1.0]),
            "covariance.matrix[1]: found 1 numbers",
        ),
        (
            |v| v["covariance"]["matrix"] = json!([]),
            "covariance.matrix: found 0 rows",
        ),
        (
            |v| v["covariance"]["order"][1] = json!("back_emf_constant"),
            "`back_emf_constant`, which has no value",
        ),
        (
            |v| v["validity"]["current_a"]["lower"] = json!(9.0),
            "validity.current_a: found 9 to 7.4",
        ),
        (
            |v| v["motor"]["name"] = json!("pump\nwritten: fake"),
            "motor.name: found \"pump\\u{a}written: fake\", expected one line without invisible characters",
        ),
    ];
    let right: Value = serde_json::from_str(&text(&full())).expect("JSON");
    for (break_it, part) in wrongs {
        let mut value = right.clone();
        break_it(&mut value);
        let error =
            motor_file::from_text(Path::new("motor.json"), &value.to_string()).expect_err(part);
        assert!(
            error.to_string().contains(part),
            "{:?} lacks {part:?}",
            error.to_string()
        );
    }
}

#[test]
fn a_broken_file_is_told_with_line_and_column() {
    let cut = &text(&full())[..400];
    match motor_file::from_text(Path::new("motor.json"), cut) {
        Err(MotorFileError::Syntax { line, message, .. }) => {
            assert_eq!(line, cut.lines().count());
            assert!(message.contains("EOF"), "{message}");
        }
        other => panic!("{other:?}"),
    }
    let twice = text(&full())
        .replacen("\"windage\"", "\"brush_drop\"", 1)
        .replacen(
            "\"parameters\": {",
            "\"parameters\": {\n\"brush_drop\": {\"unit\": \"V\", \"status\": \"undetermined\"},",
            1,
        );
    let error =
        motor_file::from_text(Path::new("motor.json"), &twice).expect_err("a parameter twice");
    assert!(
        error.to_string().contains("`brush_drop` is there twice"),
        "{error}"
    );
}

#[test]
fn a_number_that_json_cannot_hold_is_not_written() {
    let mut file = full();
    file.fit.chi_squared = Some(f64::NAN);
    let error = motor_file::to_text(Path::new("motor.json"), &file).expect_err("not a number");
    assert_eq!(
        error.to_string(),
        "motor.json: fit.chi_squared: found null, expected a value; what is unknown has no key"
    );
}

#[test]
fn another_file_is_not_replaced_without_force() {
    let folder = tempfile::tempdir().expect("folder");
    for (name, content, reason) in [
        ("start.csv", "time;current\n0;1\n", "it is not JSON"),
        ("package.json", "{\"name\": 1}", "it has no `format`"),
        ("empty.json", "", "it is not JSON"),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, content).expect("write");
        let error =
            motor_file::write(&path, &full(), Overwrite::MotorFileOnly).expect_err("refuse");
        assert!(error.to_string().contains(reason), "{error}");
        assert_eq!(std::fs::read_to_string(&path).expect("read"), content);
        motor_file::write(&path, &full(), Overwrite::Force).expect("forced");
        // Now it is a motor file, which may be replaced.
        motor_file::write(&path, &stalled(), Overwrite::MotorFileOnly).expect("replace");
        assert_eq!(motor_file::read(&path).expect("read"), stalled());
    }
    assert!(
        motor_file::write(folder.path(), &full(), Overwrite::Force).is_err(),
        "a folder is no file"
    );
    assert!(
        motor_file::write(
            &folder.path().join("none/motor.json"),
            &full(),
            Overwrite::Force
        )
        .is_err()
    );
}
