//! Benches with evidence left out: what is not determined stays so, a sum is known where its parts are not, and every use of a motor file gets
//! the same numbers. The truth of the benches is that of the simulation that drew them (`fixtures/<motor>/truth.json`).

use rundown::motor_file::{self, MotorFile, Overwrite, Parameter, ParameterName as Name, Status};
use serde_json::Value;
use std::path::Path;
use std::process::Output;
use tempfile::TempDir;

/// A shipped motor of which only the named captures and the readings of the named kinds are left, with more text at the end.
fn reduced(motor: &str, items: &[&str], more: &str) -> TempDir {
    let fixture = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(motor);
    let folder = tempfile::tempdir().expect("a folder");
    for entry in std::fs::read_dir(&fixture).expect("a fixture") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name");
        std::fs::copy(&path, folder.path().join(name)).expect("a copy");
    }
    let sheet = std::fs::read_to_string(fixture.join("bench.toml")).expect("a sheet");
    let mut tables: Vec<String> = vec![String::new()];
    for line in sheet.lines() {
        if line.starts_with('[') {
            tables.push(String::new());
        }
        let table = tables.last_mut().expect("begun");
        table.push_str(line);
        table.push('\n');
    }
    let named = |table: &String| {
        let key = if table.starts_with("[[captures]]") {
            "name"
        } else {
            "kind"
        };
        items
            .iter()
            .any(|item| table.contains(&format!("{key} = \"{item}\"")))
    };
    let kept: String = tables
        .iter()
        .filter(|table| !table.starts_with("[[") || named(table))
        .map(String::as_str)
        .collect();
    std::fs::write(folder.path().join("bench.toml"), kept + more).expect("written");
    folder
}

/// Words of an output, its lines joined.
fn joined(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    std::process::Command::new(env!("CARGO_BIN_EXE_rundown"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("run")
}

fn fitted(folder: &Path) -> MotorFile {
    let output = run(folder, &["fit", "bench.toml", "-o", "motor.json"]);
    let message = joined(&output.stderr);
    motor_file::read(&folder.join("motor.json"))
        .unwrap_or_else(|error| panic!("{error}: {message}"))
}

fn measured(file: &MotorFile, name: Name) -> &Parameter {
    let parameter = &file.parameters[&name];
    assert_eq!(parameter.status, Status::Measured, "{}", name.key());
    parameter
}

fn assert_holds(parameter: &Parameter, truth: f64) {
    let (lower, upper) = (
        parameter.lower.expect("a bound"),
        parameter.upper.expect("a bound"),
    );
    assert!(
        lower <= truth && truth <= upper,
        "{lower} to {upper}, truth {truth}"
    );
}

fn assert_undetermined(file: &MotorFile, names: &[Name]) {
    for name in names {
        let parameter = &file.parameters[name];
        assert_eq!(
            parameter.status,
            Status::Undetermined,
            "{}: {:?}",
            name.key(),
            parameter.value
        );
    }
}

/// K is known, J/K² is not: a first guess of it must not make an inertia.
#[test]
fn a_held_rotor_and_two_tachometer_readings_leave_the_inertia_undetermined() {
    let reading = "\n[[readings]]\nkind = \"tachometer\"\nwith = \"tacho\"\nspeed = { rpm = 5160 }\n\
        terminal_voltage = { v = 24.0, limit_percent = 1 }\ncurrent = { a = 0.214, limit_percent = 5 }\n";
    let folder = reduced(
        "ticket_printer",
        &["locked", "ohmmeter"],
        &reading.repeat(2),
    );
    let file = fitted(folder.path());
    let inert = [
        Name::InertiaCapacitance,
        Name::RotorInertia,
        Name::MechanicalTimeConstant,
    ];
    assert_undetermined(&file, &inert);
    assert_holds(measured(&file, Name::BackEmfConstant), 0.041_883_6);
}

#[test]
fn without_a_resistance_no_part_of_the_loop_is_measured() {
    let folder = reduced("ticket_printer", &["coast", "break"], "");
    let file = fitted(folder.path());
    let electrical = [
        Name::TerminalResistance,
        Name::BrushDrop,
        Name::ElectricalTimeConstant,
        Name::MechanicalTimeConstant,
        Name::ArmatureInductance,
    ];
    assert_undetermined(&file, &electrical);
    let operating = file.operating;
    assert!(
        operating
            .is_none_or(|points| points.stall_current.is_none() && points.stall_torque.is_none())
    );
}

/// Between 0.5 and 2 A a contact drop of 0.85 V with its scale at 0.6 A looks like a resistance: 0.31 Ω reads as 1.0 Ω.
#[test]
fn a_contact_drop_that_small_currents_do_not_show_leaves_resistance_and_stall_open() {
    let folder = reduced("floor_scrubber", &["F0002", "F0005"], "");
    let output = run(folder.path(), &["fit", "bench.toml", "-o", "motor.json"]);
    assert_eq!(output.status.code(), Some(1));
    let file = motor_file::read(&folder.path().join("motor.json")).expect("a file");
    assert_undetermined(&file, &[Name::TerminalResistance]);
    let operating = file.operating.as_ref().expect("operating points");
    assert!(operating.stall_torque.is_none() && operating.stall_current.is_none());
    assert!(operating.no_load_speed.is_some());
    // One start: whatever its contact drops (0.72 V in truth) is bounded by nothing that a start shows.
    let folder = reduced("ticket_printer", &["start", "ohmmeter"], "");
    let file = fitted(folder.path());
    assert_holds(measured(&file, Name::BrushDrop), 0.72);
    assert_holds(measured(&file, Name::TerminalResistance), 3.186);
}

#[test]
fn one_start_to_a_steady_speed_gives_the_inertia_and_the_sum_of_friction() {
    let folder = reduced("ticket_printer", &["start"], "");
    let file = fitted(folder.path());
    let (k, coulomb, viscous, inertia) = (0.041_883_6, 0.0056, 6.2e-6, 6.4e-6);
    let capacitance = measured(&file, Name::InertiaCapacitance);
    assert_holds(capacitance, inertia / (k * k));
    let relative = |p: &Parameter| p.standard_uncertainty.expect("u") / p.value.expect("value");
    assert!(relative(capacitance) < 0.15, "{}", relative(capacitance));
    let sum = measured(&file, Name::FrictionCurrentAtSpeed);
    let emf_v = sum.at_back_emf_v.expect("where it holds");
    assert_holds(sum, (coulomb + viscous * emf_v / k) / k);
    assert!(relative(sum) < 0.15, "{}", relative(sum));
    // No part of the sum can exceed it.
    let most = sum.upper.expect("a bound");
    let part = |name, of_one: f64| measured(&file, name).upper.expect("a bound") * of_one;
    assert!(part(Name::FrictionCurrent, 1.0) < 1.1 * most);
    assert!(part(Name::ViscousConductance, emf_v) < 1.1 * most);
    assert_holds(measured(&file, Name::FrictionCurrent), coulomb / k);
    // What is there is not asked for.
    let asked = file
        .parameters
        .values()
        .filter_map(|p| p.suggestion.as_deref());
    for suggestion in asked {
        assert!(!suggestion.contains("a start from rest"), "{suggestion}");
    }
}

#[test]
fn a_steady_run_with_a_known_resistance_bounds_each_part_of_friction_by_the_sum() {
    let folder = reduced("telescope_focuser", &["steady", "ohmmeter"], "");
    let file = fitted(folder.path());
    let truth: Value = serde_json::from_str(
        &std::fs::read_to_string(folder.path().join("truth.json")).expect("a truth"),
    )
    .expect("JSON");
    let number = |section: &str, key: &str| truth[section][key].as_f64().expect("a number");
    let k = number("motor_in_this_case", "K_V_s_per_rad");
    let sum = measured(&file, Name::FrictionCurrentAtSpeed);
    for (name, part) in [
        (Name::FrictionCurrent, number("motor_at_25C", "Tc_Nm") / k),
        (
            Name::ViscousConductance,
            number("motor_at_25C", "B_Nm_s_per_rad") / (k * k),
        ),
    ] {
        let parameter = &file.parameters[&name];
        assert!(parameter.status == Status::Undetermined || parameter.one_sided.is_some());
        if parameter.status == Status::Measured {
            assert_holds(parameter, part);
        }
    }
    assert!(sum.standard_uncertainty.expect("u") < 0.1 * sum.value.expect("value"));
}

/// One set of draws: the fit's values at the supply are those of `drive` and `claim`, to the last bit.
#[test]
fn fit_drive_and_claim_give_the_same_numbers_for_the_same_question() {
    let folder = reduced(
        "ticket_printer",
        &["start", "coast", "locked", "ohmmeter", "tachometer"],
        "",
    );
    let at = folder.path();
    let mut file = fitted(at);
    let points = file.operating.clone().expect("a supply is stated");
    let current = points.no_load_current.expect("known");
    let torque = points.stall_torque.expect("known");
    let sizing = json(&run(
        at,
        &[
            "drive",
            "motor.json",
            "--supply",
            "24V",
            "--draws",
            "200",
            "--json",
        ],
    ));
    let running = row(&sizing, "running_current");
    assert_eq!(running["middle"].as_f64(), Some(current.value));
    assert_eq!(running["lower"].as_f64(), Some(current.lower));
    assert_eq!(running["upper"].as_f64(), Some(current.upper));
    let tau = row(&sizing, "mechanical_time_constant");
    assert_eq!(
        tau["middle"].as_f64(),
        file.value(Name::MechanicalTimeConstant)
    );
    // The temperatures exactly those of the captures: then nothing but the motor is uncertain.
    for parameter in file.parameters.values_mut() {
        parameter.at_25_c = None;
        parameter.temperature_c = parameter.temperature_c.map(|_| 25.0);
    }
    motor_file::write(&at.join("at_25.json"), &file, Overwrite::MotorFileOnly).expect("written");
    let sheet = "[sheet]\nnominal_voltage = \"24 V\"\nreference_temperature = \"25 °C\"\nstall_values = \"measured\"\n\
        [claims]\nno_load_current = { value = \"210 mA\", tolerance = \"20 %\" }\nstall_torque = \"290 mN·m\"\n";
    std::fs::write(at.join("vendor.toml"), sheet).expect("written");
    let judged = json(&run(at, &["claim", "at_25.json", "vendor.toml", "--json"]));
    let predicted = |entry: &str| {
        let findings = judged["findings"].as_array().expect("findings");
        let found = findings
            .iter()
            .find(|f| f["entry"] == entry)
            .expect("judged");
        (
            found["predicted"].as_f64().expect("a value"),
            found["standard_uncertainty"].as_f64().expect("u"),
        )
    };
    let same = |(value, u): (f64, f64), (of_fit, u_of_fit): (f64, f64)| {
        assert!((value / of_fit - 1.0).abs() < 1e-9, "{value} {of_fit}");
        // The magnets' coefficient is of no effect at their own temperature.
        assert!((u / u_of_fit - 1.0).abs() < 1e-6, "{u} {u_of_fit}");
    };
    same(
        predicted("no_load_current"),
        (current.value, current.standard_uncertainty),
    );
    // Armature reaction counted, as the fit does.
    same(
        predicted("stall_torque"),
        (torque.value, torque.standard_uncertainty),
    );
}

#[test]
fn verify_sees_an_edit_of_the_model_of_a_warning_or_of_the_operating_values() {
    let folder = reduced(
        "ticket_printer",
        &["start", "coast", "locked", "tachometer"],
        "",
    );
    let at = folder.path();
    fitted(at);
    let arguments = ["verify", "motor.json", "--inputs-only"];
    assert_eq!(run(at, &arguments).status.code(), Some(0));
    let text = std::fs::read_to_string(at.join("motor.json")).expect("written");
    let edits: [fn(&mut Value); 4] = [
        |file| file["model"]["armature_reaction_per_a"] = serde_json::json!({"value": 5.0}),
        |file| file["operating"]["no_load_current"]["value"] = 0.3.into(),
        |file| file["warnings"] = serde_json::json!([]),
        |file| {
            file.as_object_mut()
                .expect("a map")
                .remove("content_sha256");
        },
    ];
    for edit in edits {
        let mut file: Value = serde_json::from_str(&text).expect("JSON");
        edit(&mut file);
        std::fs::write(at.join("motor.json"), file.to_string()).expect("written");
        let output = run(at, &arguments);
        let page = joined(&output.stdout);
        assert_eq!(output.status.code(), Some(1), "{page}");
        assert!(
            page.contains("EDITED") || page.contains("NOT KNOWN"),
            "{page}"
        );
    }
}

#[test]
fn a_level_is_a_probability_in_every_command_and_a_percentage_gets_a_hint() {
    let folder = reduced("ticket_printer", &["locked"], "");
    for command in [&["fit", "bench.toml"][..], &["drive", "none.json"]] {
        let output = run(folder.path(), &[command, &["--level", "95"]].concat());
        let message = joined(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{message}");
        assert!(message.contains("95 % is --level 0.95"), "{message}");
    }
}

#[test]
fn a_supply_far_beyond_the_captures_is_refused_and_one_somewhat_beyond_is_named_so() {
    let folder = reduced(
        "ticket_printer",
        &["start", "coast", "locked", "tachometer"],
        "",
    );
    let at = folder.path();
    fitted(at);
    let far = run(at, &["drive", "motor.json", "--supply", "12kV"]);
    let message = joined(&far.stderr);
    assert_eq!(far.status.code(), Some(2), "{message}");
    assert!(
        message.contains("--supply 12000 V: expected at most"),
        "{message}"
    );
    let beyond = json(&run(
        at,
        &[
            "drive",
            "motor.json",
            "--supply",
            "36V",
            "--draws",
            "200",
            "--json",
        ],
    ));
    let warnings = beyond["warnings"].to_string();
    assert!(
        warnings.contains("friction and windage are extrapolated"),
        "{warnings}"
    );
}

fn json(output: &Output) -> Value {
    let message = || joined(&output.stderr);
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", message()))
}

fn row<'a>(sizing: &'a Value, key: &str) -> &'a Value {
    let sections = sizing["sections"].as_array().expect("sections").iter();
    let mut rows = sections.flat_map(|section| section["rows"].as_array().expect("rows"));
    rows.find(|row| row["key"] == key).expect("a row")
}
