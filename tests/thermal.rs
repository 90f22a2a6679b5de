//! The thermal model from heat runs and cooling curves: a bench with truth, drawn records, and what must not pass in silence.

#[path = "common/bare.rs"]
mod bare;
#[path = "common/measured.rs"]
mod measured;

use measured::measured;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rand_distr::StandardNormal;
use rundown::bench::{
    Bench, BrushKind, HeatKind, HeatRecord, HeatSeries, LoadOptions, MotorFacts, Stated, read_sheet,
};
use rundown::motor_file::{self, MotorFile, ParameterName as Name, Status, Thermal, ThermalName};
use rundown::next::{Size, heat_plan};
use rundown::thermal;
use std::path::Path;
use std::process::{Command, Output};

const NETWORK: [ThermalName; 4] = ThermalName::NETWORK;

fn program(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_rundown"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program runs")
}

fn fixture() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/heat")
}

fn value(thermal: &Thermal, name: ThermalName) -> Option<(f64, f64, f64)> {
    let parameter = &thermal.parameters[&name];
    Some((parameter.value?, parameter.lower?, parameter.upper?))
}

#[test]
fn the_bench_with_truth_gives_its_four_constants_and_a_rating_that_follows_from_them() {
    let folder = tempfile::tempdir().expect("folder");
    let sheet = fixture().join("bench.toml");
    let sheet = sheet.to_str().expect("a path");
    let output = program(&["fit", sheet, "-o", "motor.json"], folder.path());
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(
        output.status.code(),
        Some(0),
        "{said}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(
        said.contains("R_th1") && said.contains("winding to ambient"),
        "{said}"
    );
    let file = motor_file::read(&folder.path().join("motor.json")).expect("a motor file");
    let thermal = file.thermal.as_ref().expect("a thermal model");
    let truth: serde_json::Value = serde_json::from_str(
        &std::fs::read_to_string(fixture().join("thermal_truth.json")).expect("truth"),
    )
    .expect("JSON");
    for (name, key) in NETWORK.into_iter().zip([
        "R_winding_housing_K_per_W",
        "C_winding_J_per_K",
        "R_housing_ambient_K_per_W",
        "C_housing_J_per_K",
    ]) {
        let truth = truth[key].as_f64().expect("a number");
        let (middle, lower, upper) = value(thermal, name).expect("measured");
        assert!(
            lower <= truth && truth <= upper,
            "{key}: {truth} in {lower}..{upper}"
        );
        assert!((upper - lower) / middle < 0.2, "{key}: {lower}..{upper}");
    }
    let (total, ..) = value(thermal, ThermalName::WindingToAmbientResistance).expect("measured");
    assert!((total / 23.0452 - 1.0).abs() < 0.05, "{total}");
    // The files are among the inputs, and the file is the same when its content is verified.
    let roles: Vec<&str> = file
        .inputs
        .iter()
        .filter_map(|input| input.role.as_deref())
        .collect();
    assert!(
        roles.contains(&"heat-run") && roles.contains(&"cool-down"),
        "{roles:?}"
    );
    assert_eq!(file.content_sha256, Some(file.content_sha256()));

    let output = program(&["verify", "motor.json", "--allow-outside"], folder.path());
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");

    let drive = |more: &[&str]| {
        let mut arguments = vec![
            "drive",
            "motor.json",
            "--supply",
            "24V",
            "--ambient",
            "23°C",
            "--json",
        ];
        arguments.extend(more);
        let output = program(&arguments, folder.path());
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        serde_json::from_str::<serde_json::Value>(&text)
            .unwrap_or_else(|error| panic!("{error}: {text}"))
    };
    let row = |sizing: &serde_json::Value, key: &str| {
        let sections = sizing["sections"].as_array().expect("sections");
        let rating = sections
            .iter()
            .find(|section| section["key"] == "rating")
            .expect("a rating");
        let rows = rating["rows"].as_array().expect("rows");
        rows.iter()
            .find(|row| row["key"] == key)
            .unwrap_or_else(|| panic!("{key}: {rating}"))
            .clone()
    };
    // At 130 °C the steady heat is (130 - 23)/R_th; with R of copper at 130 °C and the brush drop it gives the current.
    let sizing = drive(&["--winding-limit", "130°C"]);
    let heat_w = 107.0 / 23.0452;
    let hot_ohm = 3.1862 * (234.5 + 130.0) / (234.5 + 25.5);
    let current = (-0.72 + (0.72f64 * 0.72 + 4.0 * hot_ohm * heat_w).sqrt()) / (2.0 * hot_ohm);
    let text = row(&sizing, "continuous_current").to_string();
    let number = row(&sizing, "continuous_current")["middle"]
        .as_f64()
        .unwrap_or_else(|| panic!("{text}"));
    assert!((number / current - 1.0).abs() < 0.03, "{number} {current}");
    claims_and_duties(folder.path());
    exports(folder.path());
    // Without a limit there is no number.
    assert!(row(&drive(&[]), "continuous_current")["middle"].is_null());
}

/// Every export holds the network or says what it leaves out.
fn exports(folder: &Path) {
    let export = |format: &str| {
        let output = program(
            &["export", "motor.json", "--to", format, "--supply", "24V"],
            folder,
        );
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{format}: {said}");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    std::fs::write(folder.join("motor.py"), export("python")).expect("written");
    // The steady rise of 3 W, and that of the winding's own time constant over a housing that is still cold.
    let code = "import motor\nprint(*motor.rises(3.0, 5e4), *motor.rises(3.0, 20.0))";
    let output = Command::new("python3")
        .args(["-c", code])
        .current_dir(folder)
        .output();
    let output = output.expect("python3 runs");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let found: Vec<f64> = text
        .split_whitespace()
        .map(|cell| cell.parse().expect("a number"))
        .collect();
    for (found, wanted, within) in [
        (found[0], 3.0 * 23.0452, 0.05),
        (found[1], 3.0 * 14.0452, 0.05),
        (found[2], 27.0 * (1.0 - (-20.0f64 / 126.0).exp()), 0.05),
    ] {
        assert!((found / wanted - 1.0).abs() < within, "{text}");
    }
    let rise_20_s = found[2];
    std::fs::write(
        folder.join("motor.m"),
        export("octave") + "\n[w, h] = rises(m, 3, 20, 0, 0);\nprintf(\"rise %.9e\\n\", w);\n",
    )
    .expect("written");
    let output = Command::new("octave-cli")
        .args(["--no-gui", "motor.m"])
        .current_dir(folder)
        .output();
    let text = String::from_utf8_lossy(&output.expect("octave-cli runs").stdout).into_owned();
    let rise: f64 = text
        .split("rise ")
        .nth(1)
        .and_then(|t| t.trim().parse().ok())
        .unwrap_or_else(|| panic!("{text}"));
    assert!((rise / rise_20_s - 1.0).abs() < 1e-9, "{rise} {rise_20_s}");
    let spice = export("spice");
    let name = spice
        .split(".subckt ")
        .nth(2)
        .and_then(|t| t.split(' ').next())
        .expect("a name");
    let deck = format!(
        "steady rise of 3 W\n{spice}\nxt w h 0 {name}\ni1 0 w dc 3\n.op\n.print op v(w) v(h)\n.end\n"
    );
    std::fs::write(folder.join("deck.cir"), deck).expect("written");
    let output = Command::new("ngspice")
        .args(["-b", "deck.cir"])
        .current_dir(folder)
        .output();
    let text = String::from_utf8_lossy(&output.expect("ngspice runs").stdout).into_owned();
    let volts = |node: &str| -> f64 {
        let line = text
            .lines()
            .find(|line| line.trim_start().starts_with(&format!("{node} ")));
        let cell = line.and_then(|line| line.split_whitespace().nth(1));
        cell.and_then(|cell| cell.parse().ok())
            .unwrap_or_else(|| panic!("{node}: {text}"))
    };
    assert!(
        (volts("w") / found[0] - 1.0).abs() < 1e-4 && (volts("h") / found[1] - 1.0).abs() < 1e-4,
        "{text}"
    );
    assert!(
        spice.contains("_thermal winding housing room") && spice.contains("Rth2 housing room"),
        "{spice}"
    );
    for format in ["modelica", "c"] {
        assert!(
            export(format).contains("Left out: heating of the winding"),
            "{format}"
        );
    }
    let table = export("csv");
    assert!(
        table.contains("winding_to_ambient_resistance_k_per_w_lower"),
        "{table}"
    );
}

/// A datasheet with the truth agrees and one without does not; a duty ends where the two equations do, and is drawn.
fn claims_and_duties(folder: &Path) {
    std::fs::write(
        folder.join("sheet.toml"),
        "[sheet]\nnominal_voltage = \"24 V\"\nwinding_limit = \"130 °C\"\nambient = \"23 °C\"\ndefault_tolerance = \"8 %\"\n[claims]\nthermal_resistance = \"23.05 K/W\"\nwinding_housing_resistance = \"9 °C/W\"\nwinding_thermal_time_constant = \"126 s\"\nhousing_thermal_time_constant = \"30 min\"\ncontinuous_current = { at_most = \"1.2 A\" }\n",
    )
    .expect("written");
    let output = program(&["claim", "motor.json", "sheet.toml", "--json"], folder);
    assert_eq!(output.status.code(), Some(1));
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let verdict = |entry: &str| {
        let findings = found["findings"].as_array().expect("findings");
        let finding = findings.iter().find(|f| f["entry"] == entry);
        finding.unwrap_or_else(|| panic!("{entry}: {found}"))["verdict"].clone()
    };
    for agrees in [
        "thermal_resistance",
        "winding_housing_resistance",
        "winding_thermal_time_constant",
        "continuous_current",
    ] {
        assert_eq!(verdict(agrees), "agrees", "{agrees}");
    }
    // R_th2 C_th2 is 41 minutes.
    assert_eq!(verdict("housing_thermal_time_constant"), "disagrees");

    // 10 minutes of 1.2 A, 20 of nothing.
    std::fs::copy(fixture().join("duty.csv"), folder.join("duty.csv")).expect("copied");
    let arguments = [
        "drive",
        "motor.json",
        "--supply",
        "24V",
        "--ambient",
        "23°C",
        "--winding-limit",
        "130°C",
        "--profile",
        "duty.csv",
        "--pictures",
        "pictures",
        "--json",
        "--draws",
        "200",
    ];
    let output = program(&arguments, folder);
    let sizing: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(sizing["profile"]["first"], "profile_heat_share", "{sizing}");
    let row = |key: &str| {
        let sections = sizing["sections"].as_array().expect("sections");
        let rows = sections
            .iter()
            .flat_map(|s| s["rows"].as_array().expect("rows"));
        rows.clone()
            .find(|row| row["key"] == key)
            .unwrap_or_else(|| panic!("{key}"))
            .clone()
    };
    // The two equations with the true constants, in steps of 50 ms.
    let peaks: Vec<f64> = [1, 40]
        .into_iter()
        .map(|rounds| {
            let (mut winding, mut housing, mut peak) = (0.0f64, 0.0f64, 0.0f64);
            for step in 0..36_000 * rounds {
                if step % 36_000 == 0 {
                    peak = 0.0;
                }
                let current = if step % 36_000 < 12_000 { 1.2 } else { 0.0 };
                let ohm = 3.1862 * (234.5 + 23.0 + winding) / (234.5 + 25.5);
                let across = (winding - housing) / 9.0;
                winding += 0.05 * (current * (current * ohm + 0.72) - across) / 14.0;
                housing += 0.05 * (across - housing / 14.0452) / 175.744;
                peak = peak.max(winding);
            }
            23.0 + peak
        })
        .collect();
    for (key, peak) in [
        ("profile_winding_once", peaks[0]),
        ("profile_winding_repeated", peaks[1]),
    ] {
        let (lower, upper) = (row(key)["lower"].as_f64(), row(key)["upper"].as_f64());
        assert!(
            lower < Some(peak) && Some(peak) < upper,
            "{key}: {peak} in {}",
            row(key)
        );
        assert!(
            upper.expect("known") - lower.expect("known") < 0.15 * peak,
            "{}",
            row(key)
        );
    }
    for name in [
        "profile.svg",
        "profile.png",
        "torque_regions.svg",
        "torque_regions.png",
    ] {
        assert!(folder.join("pictures").join(name).is_file(), "{name}");
    }
    let svg = std::fs::read_to_string(folder.join("pictures/profile.svg")).expect("written");
    assert!(
        svg.contains("repeated without a pause"),
        "the winding is drawn"
    );
}

/// With the largest resistance to be expected the winding ends at the safe temperature or a little below, and the voltage limit is what
/// the supply shows there.
#[test]
fn the_planned_run_stays_below_the_safe_temperature_in_the_worst_case() {
    let mut file = electrical();
    let size = Size {
        diameter_m: Some(0.036),
        length_m: Some(0.057),
        mass_kg: None,
    };
    let plan = heat_plan(&file, &size, 25.0).expect("a plan");
    let total = plan.thermal_resistance_k_per_w.expect("guessed");
    // π · 36 mm · 57 mm + π/2 · (36 mm)² = 84.8 cm²; 1/(10 · 0.00848) · 1.6 = 18.9 K/W.
    assert!((total.value / 18.87 - 1.0).abs() < 1e-3, "{total:?}");
    assert!(!plan.known);
    let run = plan.run.expect("a run");
    let captures_c = file.parameters[&Name::TerminalResistance]
        .temperature_c
        .expect("stated");
    let hot = RESISTANCE_OHM * (234.5 + 80.0) / (234.5 + captures_c);
    assert!((plan.stop_resistance_ohm / hot - 1.0).abs() < 1e-9);
    let rise = |current: f64| total.high * current * (hot * current + DROP_V);
    assert!(
        rise(run.current_a) <= 55.0 && rise(1.1 * run.current_a) > 55.0,
        "{run:?}"
    );
    assert!((run.stop_voltage_v - hot * run.current_a - DROP_V).abs() < 1e-9);
    assert!(run.cold_voltage_v < run.stop_voltage_v && run.fuse_a > Some(run.current_a));
    // Without a size there is no current, and the resistance that ends the run stays.
    let plan = heat_plan(&file, &Size::default(), 25.0).expect("a plan");
    assert!(plan.run.is_none() && plan.stop_resistance_ohm > RESISTANCE_OHM);
    file.parameters.remove(&Name::TerminalResistance);
    assert!(heat_plan(&file, &size, 25.0).is_err());
}

/// Meters with errors of their own within these standard uncertainties, and a motor with its constants.
struct Drawn {
    network: [f64; 4],
    records: Vec<HeatRecord>,
}

const RESISTANCE_OHM: f64 = 2.0;
const DROP_V: f64 = 0.6;
const ROOM_C: f64 = 22.0;

/// The motor as a fit of captures would give it, true to its uncertainties.
fn electrical() -> MotorFile {
    let values = [
        (Name::TerminalResistance, RESISTANCE_OHM, 0.02),
        (Name::BrushDrop, DROP_V, 0.02),
    ];
    measured(
        "drawn",
        &values,
        25.0,
        (Name::TerminalResistance, Name::BrushDrop, -0.5),
    )
}

fn bench(records: Vec<HeatRecord>) -> Bench {
    Bench {
        path: None,
        sha256: None,
        motor: MotorFacts {
            name: "drawn".into(),
            brushes: Some(BrushKind::Carbon),
            ..MotorFacts::default()
        },
        instruments: Vec::new(),
        certificates: Vec::new(),
        captures: Vec::new(),
        readings: Vec::new(),
        tables: Vec::new(),
        heat: records,
        warnings: Vec::new(),
        notes: Vec::new(),
        capture_warnings: Vec::new(),
    }
}

/// A heat run of `run_s` and a cooling curve after it, by small steps of the two equations, written here once more.
fn drawn(seed: u64, run_s: f64) -> Drawn {
    let mut random = StdRng::seed_from_u64(seed);
    let mut normal = move || -> f64 { random.sample(StandardNormal) };
    let spread = |middle: f64, normal: f64| middle * (0.4 * normal).exp();
    let network = [
        spread(8.0, normal()),
        spread(15.0, normal()),
        spread(10.0, normal()),
        spread(150.0, normal()),
    ];
    let [r1, c1, r2, c2] = network;
    // Some 60 K in the winding in the end.
    let current = (60.0 / (r1 + r2) / (1.2 * RESISTANCE_OHM)).sqrt();
    let (gain_v, gain_i, gain_ohm) = (1e-3 * normal(), 2.5e-3 * normal(), 5e-4 * normal());
    let (zero_c, contact, room) = (0.75 * normal(), 0.02 * normal(), ROOM_C + 0.25 * normal());
    let position = 1.0 + 0.03 * normal();
    let (leads, film) = (0.1 + 0.005 * normal(), 0.4 * normal().abs());
    let other = 0.02 * normal();
    let ohm = |winding_c: f64| {
        let copper = (234.5 + winding_c) / (234.5 + 25.0);
        RESISTANCE_OHM * position * ((1.0 - other) * copper + other)
    };
    let (mut winding, mut housing) = (room + 0.5 * normal(), room + 0.5 * normal());
    let step_s = 0.1;
    let advance = |winding: &mut f64, housing: &mut f64, heat_w: f64| {
        let across = (*winding - *housing) / r1;
        *winding += step_s * (heat_w - across) / c1;
        *housing += step_s * (across - (*housing - room) / r2) / c2;
    };
    let mut rows: [Vec<f64>; 4] = Default::default();
    for step in 0..(run_s / step_s) as usize {
        let voltage = current * ohm(winding) + DROP_V;
        if step % 50 == 0 {
            rows[0].push(step as f64 * step_s);
            rows[1].push(voltage * (1.0 + gain_v) + 5e-4 * normal());
            rows[2].push(current * (1.0 + gain_i) + 5e-5 * normal());
            rows[3].push(housing - (housing - room) * contact + zero_c + 0.15 * normal());
        }
        advance(&mut winding, &mut housing, voltage * current);
    }
    let mut cooling: [Vec<f64>; 2] = Default::default();
    let at = [10.0, 20.0, 40.0, 80.0, 160.0, 300.0, 600.0, 1200.0, 2400.0];
    for step in 1..=24_000 {
        advance(&mut winding, &mut housing, 0.0);
        let time_s = step as f64 * step_s;
        if at
            .iter()
            .any(|wanted| (time_s - wanted).abs() < 0.5 * step_s)
        {
            cooling[0].push(time_s);
            let read = (ohm(winding) + leads + film) * (1.0 + gain_ohm);
            cooling[1].push((read * 1e3).round() / 1e3);
        }
    }
    let series = |values: &[f64], relative_uncertainty, absolute_uncertainty| {
        Some(HeatSeries {
            values: values.to_vec(),
            relative_uncertainty,
            absolute_uncertainty,
        })
    };
    let ambient_c = Stated {
        value: ROOM_C,
        standard_uncertainty: 0.25,
    };
    let run = HeatRecord {
        name: "run".into(),
        kind: HeatKind::HeatRun,
        file: None,
        time_s: rows[0].clone(),
        voltage_v: series(&rows[1], 1e-3, 0.0),
        current_a: series(&rows[2], 2.5e-3, 0.0),
        resistance_ohm: None,
        housing_c: series(&rows[3], 0.0, 0.75),
        rotor_held: true,
        ambient_c,
        leads_ohm: Stated {
            value: 0.0,
            standard_uncertainty: 0.0,
        },
        after: None,
        delay_s: 0.0,
    };
    let cool = HeatRecord {
        name: "cool".into(),
        kind: HeatKind::CoolDown,
        time_s: cooling[0].clone(),
        voltage_v: None,
        current_a: None,
        resistance_ohm: series(&cooling[1], 5e-4, 0.0),
        housing_c: None,
        leads_ohm: Stated {
            value: 0.1,
            standard_uncertainty: 0.005,
        },
        after: Some(0),
        ..run.clone()
    };
    Drawn {
        network,
        records: vec![run, cool],
    }
}

#[test]
fn intervals_hold_the_truth_of_drawn_motors_and_are_not_wide() {
    let (mut held, mut all, mut widths) = (0, 0, Vec::new());
    for seed in 0..40 {
        let drawn = drawn(seed, 4000.0);
        let found = thermal::identify(&bench(drawn.records), &electrical(), 0.95);
        assert!(found.conflicts.is_empty(), "{seed}: {:?}", found.conflicts);
        let thermal = found
            .thermal
            .unwrap_or_else(|| panic!("{seed}: {:?}", found.warnings));
        for (name, truth) in NETWORK.into_iter().zip(drawn.network) {
            let Some((middle, lower, upper)) = value(&thermal, name) else {
                continue;
            };
            all += 1;
            held += usize::from(lower <= truth && truth <= upper);
            widths.push((upper - lower) / middle);
        }
    }
    assert!(all >= 150, "{all}");
    let share = held as f64 / all as f64;
    // 160 intervals of 95 %: two standard deviations of the count below; the priors are as wide as the errors drawn or wider.
    assert!(share > 0.915, "{held} of {all}");
    widths.sort_by(f64::total_cmp);
    assert!(widths[all / 2] < 0.12, "{}", widths[all / 2]);
}

#[test]
fn a_short_run_gives_the_winding_alone_and_says_so() {
    let drawn = drawn(3, 240.0);
    let run = vec![HeatRecord {
        housing_c: None,
        ..drawn.records[0].clone()
    }];
    let thermal = thermal::identify(&bench(run), &electrical(), 0.95)
        .thermal
        .expect("a model");
    let capacity = value(&thermal, ThermalName::WindingHeatCapacity).expect("the winding's");
    assert!(
        capacity.1 <= drawn.network[1] && drawn.network[1] <= capacity.2,
        "{capacity:?}"
    );
    for name in [
        ThermalName::HousingToAmbientResistance,
        ThermalName::HousingHeatCapacity,
    ] {
        let parameter = &thermal.parameters[&name];
        assert_eq!(parameter.status, Status::Undetermined, "{name:?}");
        assert!(parameter.value.is_none());
        assert!(
            parameter
                .suggestion
                .as_ref()
                .is_some_and(|text| text.contains("longer heat run"))
        );
    }
    assert!(!thermal.is_complete());
}

#[test]
fn a_cooling_curve_of_another_run_is_a_conflict() {
    let (one, other) = (drawn(5, 4000.0), drawn(9, 4000.0));
    let mut mixed = vec![one.records[0].clone(), other.records[1].clone()];
    // The other motor's readings, as if its winding had cooled within a minute.
    mixed[1].time_s = mixed[1].time_s.iter().map(|s| s / 40.0).collect();
    let found = thermal::identify(&bench(mixed), &electrical(), 0.95);
    assert!(!found.conflicts.is_empty());
    let thermal = found.thermal.expect("a model");
    assert!(
        thermal
            .parameters
            .values()
            .any(|p| p.status == Status::InConflict)
    );
}

#[test]
fn cooling_curves_alone_give_no_resistance() {
    let mut cool = drawn(1, 4000.0).records.remove(1);
    cool.after = None;
    let found = thermal::identify(&bench(vec![cool]), &electrical(), 0.95);
    assert!(found.thermal.is_none());
    assert!(
        found.warnings[0].to_string().contains("heat run"),
        "{:?}",
        found.warnings
    );
}

#[test]
fn a_heat_record_without_what_it_needs_is_refused_by_its_place() {
    let folder = tempfile::tempdir().expect("folder");
    let sheet = std::fs::read_to_string(fixture().join("bench.toml")).expect("a sheet");
    for name in ["start_tacho", "coast_tacho", "brake", "heat_run"] {
        let name = format!("{name}.csv.gz");
        std::fs::copy(fixture().join(&name), folder.path().join(&name)).expect("a copy");
    }
    std::fs::copy(
        fixture().join("cool_down.csv"),
        folder.path().join("cool_down.csv"),
    )
    .expect("a copy");
    for (old, new, said) in [
        ("kind = \"heat-run\"", "kind = \"heating\"", "heat-run"),
        (
            "after = \"heat_run\"",
            "after = \"warm_up\"",
            "expected the name of a heat run",
        ),
        (
            "file = \"cool_down.csv\"",
            "time_s = [1, 2, 3]",
            "expected 4 or more",
        ),
        (
            "voltage = { limit_percent = 0.2 }",
            "voltage = { column = \"Volts\" }",
            "no column is called \"Volts\"",
        ),
    ] {
        assert!(sheet.contains(old), "{old}");
        let path = folder.path().join("bench.toml");
        std::fs::write(&path, sheet.replace(old, new)).expect("write");
        let error = read_sheet(&path, &LoadOptions::default())
            .expect_err(new)
            .to_string();
        assert!(
            error.contains(said) && error.contains("bench.toml:"),
            "{new}: {error}"
        );
    }
    // Typed in the sheet instead of a file.
    let typed = "time_s = [8, 14, 20, 30, 45, 60, 90, 120]\nresistance = { ohm = [5.444, 5.431, 5.411, 5.382, 5.354, 5.318, 5.27, 5.224], limit_percent = 0.1 }";
    let path = folder.path().join("bench.toml");
    let text = sheet
        .replace("file = \"cool_down.csv\"", typed)
        .replace("\nresistance = { limit_percent = 0.1 }\n", "\n");
    std::fs::write(&path, text).expect("write");
    let bench = read_sheet(&path, &LoadOptions::default()).expect("a bench");
    assert_eq!(bench.heat[1].time_s.len(), 8);
}
