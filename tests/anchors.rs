//! Speed anchors against the truth: what gives the back-EMF constant and the inertia without a tachometer, and what is told
//! when two anchors contradict.

#[path = "common/load.rs"]
mod load;

use load::load;
use rundown::bench::{Bench, LoadOptions, Reading, read_sheet};
use rundown::events;
use rundown::fit::{Estimate, FitOptions, Reported, Status, estimate};
use std::path::Path;
use testbench::{DrawnBench, Scenario, Shot, ShotKind, Stated, draw, presets};

fn fitted(bench: &Bench) -> Estimate {
    let timelines: Vec<_> = bench
        .captures
        .iter()
        .map(|c| events::find(&c.waveform, c.role))
        .collect();
    estimate(bench, &timelines, &FitOptions::default()).expect("the captures can be fitted")
}

fn fitted_files(drawn: &DrawnBench) -> Estimate {
    fitted(&load(drawn).expect("the sheet can be read"))
}

fn without_speeds(bench: &mut Bench) {
    bench
        .readings
        .retain(|r| !matches!(r, Reading::Speed { .. } | Reading::SpunBackEmf { .. }));
}

/// A motor whose ripple tells nothing: an even commutator of very many pulses is smooth.
fn smooth(mut scenario: Scenario) -> Scenario {
    let commutator = &mut scenario.machine.commutator;
    (
        commutator.emf_ripple,
        commutator.unevenness,
        commutator.needle_v,
    ) = (0.0, 0.0, 0.0);
    (commutator.resistance_variation, commutator.brush_noise) = (0.0, 0.0);
    scenario.machine.cogging_nm = 0.0;
    scenario.facts.commutator_segments = None;
    scenario
}

fn one<'a>(reported: &'a [Reported], name: &str) -> &'a Reported {
    let found = reported.iter().find(|r| r.name == name);
    found.unwrap_or_else(|| panic!("{name} is reported"))
}

/// Whether the intervals of K, J and Coulomb friction hold the truth; each must be measured, to better than `relative`.
fn holds(found: &Estimate, drawn: &DrawnBench, relative: f64) -> bool {
    let reported = found.reported();
    [
        "back_emf_constant",
        "rotor_inertia",
        "coulomb_friction_torque",
    ]
    .iter()
    .filter(|name| {
        let r = one(&reported, name);
        assert_eq!(r.status, Status::Measured, "{name}: {:?}", found.remarks);
        let e = r.estimate.expect("measured");
        let truth = drawn.truth.parameter(name).expect("known");
        println!(
            "seed {} {name} {truth:.4e}: {:.4e}, {:.4e} to {:.4e}",
            drawn.truth.seed, e.value, e.lower, e.upper
        );
        assert!(e.standard_uncertainty < relative * e.value, "{name}: {e:?}");
        // A miss by as much again is no chance any more.
        let (below, above) = (e.value - e.lower, e.upper - e.value);
        assert!(
            e.lower - below < truth && truth < e.upper + above,
            "{name} {truth}: {e:?}"
        );
        e.lower <= truth && truth <= e.upper
    })
    .count()
        == 3
}

/// Four benches of fixed seeds whose three 95 % intervals hold; the three hang on the same gain and would miss together.
fn none_misses(miss: impl Fn(u64) -> bool) {
    let missed: Vec<u64> = (1..=4).filter(|seed| miss(*seed)).collect();
    assert!(
        missed.is_empty(),
        "the benches of seeds {missed:?} miss the truth"
    );
}

/// What the fit remarks, in words.
fn texts(found: &Estimate) -> Vec<String> {
    found.remarks.iter().map(ToString::to_string).collect()
}

#[test]
fn a_disc_of_known_inertia_gives_the_constant_and_the_inertia() {
    none_misses(|seed| {
        let drawn = draw(&smooth(presets::seed_spreader()), seed).unwrap();
        assert!(!drawn.readings.iter().any(testbench::Reading::is_speed));
        let found = fitted_files(&drawn);
        assert!(found.speeds.is_empty() && found.ripple.iter().all(|r| r.taken.is_none()));
        !holds(&found, &drawn, 0.15)
    });
}

/// A load is drawn as so much more Coulomb friction in one capture of the same bench: the same instruments, the same segments.
fn with_load(scenario: &Scenario, load_nm: f64, seed: u64) -> DrawnBench {
    let mut free = scenario.clone();
    free.plan.push(Shot::new("free", ShotKind::Steady));
    let mut drawn = draw(&free, seed).unwrap();
    let mut loaded = scenario.clone();
    loaded.plan = vec![Shot::new("loaded", ShotKind::Steady)];
    loaded.machine.coulomb_friction_nm += load_nm;
    loaded.machine.breakaway_nm += load_nm;
    let mut load = draw(&loaded, seed).unwrap();
    load.captures[0].load_torque_nm = Some(Stated {
        value: load_nm,
        standard_uncertainty: 0.01 * load_nm,
    });
    drawn.append(load);
    drawn
}

#[test]
fn a_known_load_torque_gives_the_constant_and_the_inertia() {
    let mut scenario = smooth(presets::seed_spreader());
    scenario
        .plan
        .retain(|s| s.kind != ShotKind::RunDownWithDisc);
    none_misses(|seed| {
        let drawn = with_load(&scenario, 0.04, seed);
        !holds(&fitted_files(&drawn), &drawn, 0.1)
    });
}

#[test]
fn a_driven_record_gives_the_constant_and_the_inertia() {
    none_misses(|seed| {
        let mut drawn = draw(&smooth(presets::curd_stirrer()), seed).unwrap();
        drawn.list_driven_records();
        let found = fitted_files(&drawn);
        let told = |f: &String| f.starts_with("driven:") && f.contains("driven give K");
        let remarks = texts(&found);
        assert!(remarks.iter().any(told), "{remarks:?}");
        !holds(&found, &drawn, 0.05)
    });
}

#[test]
fn the_ripple_of_a_driven_record_tells_the_cycles_of_a_turn() {
    let mut drawn = draw(&presets::curd_stirrer(), 2).unwrap();
    drawn.list_driven_records();
    let found = fitted_files(&drawn);
    holds(&found, &drawn, 0.05);
    let remarks = texts(&found);
    let told = remarks
        .iter()
        .find(|f| f.contains("cycles a revolution") && f.starts_with("driven"));
    let told = told.unwrap_or_else(|| panic!("{remarks:?}"));
    assert!(
        told.contains("as in the run-down") || told.contains("harmonic of the run-down's 18"),
        "{told}"
    );
}

#[test]
fn a_driven_record_whose_speed_drifts_is_told_and_one_without_voltage_is_not_used() {
    let mut drawn = draw(&smooth(presets::curd_stirrer()), 1).unwrap();
    drawn.list_driven_records();
    let mut still = drawn.clone();
    let volts = |drawn: &mut DrawnBench, of: &dyn Fn(usize, f64) -> f64| {
        let driven = drawn.captures.last_mut().expect("the driven record");
        let trace = driven.waveform.voltage_v.as_mut().expect("recorded");
        for (k, v) in trace.values.iter_mut().enumerate() {
            *v = of(k, *v);
        }
    };
    let rows = drawn.captures.last().expect("captures").waveform.rows() as f64;
    volts(&mut drawn, &|k, v| v * (1.0 + 0.05 * k as f64 / rows));
    let told = texts(&fitted_files(&drawn));
    assert!(told.iter().any(|r| r.contains("drifts by +4.")), "{told:?}");
    let mean = 5.7;
    volts(&mut still, &|k, _| {
        if k % 2 == 0 {
            1e-3 * mean
        } else {
            -1e-3 * mean
        }
    });
    let found = fitted_files(&still);
    assert!(
        texts(&found)
            .iter()
            .any(|r| r.contains("no steady voltage")),
        "{:?}",
        found.remarks
    );
    assert_eq!(
        one(&found.reported(), "back_emf_constant").status,
        Status::Undetermined
    );
}

#[test]
fn a_wrong_segment_count_beside_a_tachometer_is_told_as_a_ratio_with_the_right_one() {
    let mut scenario = presets::curd_stirrer();
    // A commutator so even that its comb cannot contradict what somebody counted.
    scenario.machine.commutator.unevenness = 0.0;
    scenario.facts.commutator_segments = Some(12);
    scenario.plan.retain(|s| s.kind != ShotKind::Driven);
    let drawn = draw(&scenario, 3).unwrap();
    let found = fitted_files(&drawn);
    let told = conflict(&found, "commutator segments");
    assert!(
        told.contains("states 12 commutator segments") && told.contains("show"),
        "{told}"
    );
    holds(&found, &drawn, 0.05);
}

/// What is said of the first conflict of an item whose name begins so.
fn conflict(found: &Estimate, item: &str) -> String {
    let mut conflicts = found.conflicts().filter(|c| c.item.starts_with(item));
    let line = conflicts.next();
    let line = line.unwrap_or_else(|| panic!("{:?}", found.confrontations));
    line.text.as_ref().expect("what was seen").to_string()
}

fn double_the_tachometer(drawn: &mut DrawnBench) {
    for reading in &mut drawn.readings {
        if let testbench::Reading::Tachometer { speed_rad_s, .. } = reading {
            speed_rad_s.value *= 2.0;
        }
    }
}

#[test]
fn a_tachometer_that_counted_two_marks_is_told_as_a_factor_of_two() {
    let mut scenario = presets::curd_stirrer();
    scenario.plan.retain(|s| s.kind != ShotKind::Driven);
    let mut drawn = draw(&scenario, 3).unwrap();
    double_the_tachometer(&mut drawn);
    let found = fitted_files(&drawn);
    let told = conflict(&found, "ripple pattern");
    assert!(
        told.contains("2 times") && told.contains("counted two marks"),
        "{told}"
    );
}

#[test]
fn two_readings_that_contradict_are_told_with_sigmas_and_their_ratio() {
    let mut drawn = draw(&smooth(presets::curd_stirrer()), 3).unwrap();
    double_the_tachometer(&mut drawn);
    let found = fitted_files(&drawn);
    let told = conflict(&found, "");
    assert!(
        told.contains("σ") && told.contains("is 2 times K from tachometer (rundown)"),
        "{told}"
    );
}

#[test]
fn the_ripple_of_a_steady_current_tells_the_true_speed_and_enters_the_fit() {
    let mut scenario = presets::bottle_warmer_fan();
    scenario.instruments.tachometer_limit = None;
    let mut seen = 0;
    for seed in 1..=3 {
        let drawn = draw(&scenario, seed).unwrap();
        let found = fitted_files(&drawn);
        for speed in &found.speeds {
            if speed.motion != events::Motion::Steady {
                continue;
            }
            let name = &drawn.captures[speed.capture].name;
            let truth = drawn.truth_of(name).unwrap();
            let truth = truth.steady_speed_rad_s.expect("it ran freely");
            let a = speed.anchor;
            println!(
                "{name}: {} ± {} against {truth}",
                a.speed_rad_per_s, a.standard_uncertainty_rad_per_s
            );
            // The mean before the record and the speed at an instant differ by the unevenness of running.
            assert!(
                (a.speed_rad_per_s / truth - 1.0).abs() < 2e-3,
                "{name} of seed {seed}"
            );
            seen += 1;
        }
    }
    assert!(seen >= 3, "only {seen} steady currents told a speed");
}

#[test]
fn aliased_ripple_of_a_current_is_told_and_not_used() {
    let mut scenario = presets::curd_stirrer();
    scenario.instruments.high_resolution = false;
    scenario.plan.retain(|s| s.kind != ShotKind::Driven);
    // Thirty turns of eighteen cycles on some 700 rows: more than half a cycle between two rows.
    scenario.plan.push(Shot {
        rows: 700,
        ..Shot::new("slow", ShotKind::Steady)
    });
    let drawn = draw(&scenario, 2).unwrap();
    let found = fitted_files(&drawn);
    let slow = drawn.captures.iter().position(|c| c.name == "slow");
    assert!(found.speeds.iter().all(|s| Some(s.capture) != slow));
    assert!(
        texts(&found)
            .iter()
            .any(|r| r.starts_with("slow:") && r.contains("aliased")),
        "{:?}",
        found.remarks
    );
}

/// No tachometer anywhere: the ripple alone, with the segment count of the notes where they have one.
#[test]
fn every_public_motor_gives_its_mechanical_side_without_a_speed_reading() {
    for motor in [
        "camera_slider",
        "dosing_pump",
        "floor_scrubber",
        "telescope_focuser",
        "ticket_printer",
    ] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures")
            .join(motor);
        let mut bench = read_sheet(&folder.join("bench.toml"), &LoadOptions::default()).unwrap();
        without_speeds(&mut bench);
        let reported = fitted(&bench).reported();
        let truth = std::fs::read(folder.join("truth.json"))
            .ok()
            .map(|bytes| serde_json::from_slice::<serde_json::Value>(&bytes).unwrap());
        for (name, section, key) in [
            ("back_emf_constant", "motor_in_this_case", "K_V_s_per_rad"),
            ("rotor_inertia", "motor_at_25C", "J_kg_m2"),
            ("coulomb_friction_torque", "motor_at_25C", "Tc_Nm"),
        ] {
            let r = one(&reported, name);
            assert_eq!(r.status, Status::Measured, "{motor}: {name}");
            let e = r.estimate.expect("measured");
            assert!(
                e.standard_uncertainty < 0.1 * e.value,
                "{motor}: {name} {e:?}"
            );
            if let Some(truth) = &truth {
                let truth = truth[section][key].as_f64().expect("a number");
                assert!(
                    e.lower <= truth && truth <= e.upper,
                    "{motor}: {name} {truth} outside {e:?}"
                );
            }
        }
    }
}

#[test]
fn a_driven_capture_needs_its_speed_and_only_it_may_have_one() {
    let folder = tempfile::tempdir().unwrap();
    let rows: String = (0..400)
        .map(|k| {
            format!(
                "{},{}\n",
                f64::from(k) * 1e-4,
                4.0 + 0.01 * f64::from(k % 3)
            )
        })
        .collect();
    std::fs::write(
        folder.path().join("spun.csv"),
        format!("time (s),CH1 (V)\n{rows}"),
    )
    .unwrap();
    let sheet = |capture: &str| {
        let path = folder.path().join("bench.toml");
        let text = format!(
            "[motor]\nname = \"mixer\"\n[instruments.scope]\nkind = \"oscilloscope\"\nbits = 8\n[channels.CH1]\nmeasures = \"voltage\"\nthrough = [\"scope\"]\n[[captures]]\nfile = \"spun.csv\"\n{capture}\n"
        );
        std::fs::write(&path, text).unwrap();
        read_sheet(&path, &LoadOptions::default())
    };
    let bench = sheet("role = \"driven\"\ndriven_speed = { rpm = 1200, limit_rpm = 2 }").unwrap();
    let speed = bench.captures[0].driven_speed_rad_s.expect("stated");
    assert!(
        (speed.value - 125.66).abs() < 0.01
            && (speed.standard_uncertainty - 0.2094 / 3f64.sqrt()).abs() < 1e-3
    );
    let missing = sheet("role = \"driven\"").unwrap_err().to_string();
    assert!(
        missing.contains("driven_speed") && missing.contains("rpm"),
        "{missing}"
    );
    let wrong = sheet("role = \"steady\"\ndriven_speed = { rpm = 1200, limit_rpm = 2 }")
        .unwrap_err()
        .to_string();
    assert!(wrong.contains("tachometer"), "{wrong}");
}

/// A four-pole motor with seven segments, 28 ripple cycles a turn, of which the sheet states `segments` and `poles`; no speed is read.
fn four_poles(unevenness: f64, counted: (Option<u32>, Option<u32>), seed: u64) -> DrawnBench {
    let mut scenario = presets::curd_stirrer();
    scenario.plan.retain(|s| s.kind != ShotKind::Driven);
    scenario.instruments.tachometer_limit = None;
    let commutator = &mut scenario.machine.commutator;
    (commutator.segments, commutator.poles) = (7, 4);
    commutator.unevenness = unevenness;
    scenario.facts.commutator_segments = counted.0;
    scenario.facts.poles = counted.1;
    draw(&scenario, seed).unwrap()
}

#[test]
fn the_ripple_of_four_poles_gives_the_true_constant_or_none() {
    let segments = [None, Some(7)];
    let poles = [None, Some(4)];
    let cells = [0.0, 5e-4, 1e-3, 2e-3, 0.01];
    for (k, unevenness) in cells.into_iter().enumerate() {
        for (s, p) in segments
            .iter()
            .flat_map(|s| poles.iter().map(move |p| (*s, *p)))
        {
            let drawn = four_poles(unevenness, (s, p), k as u64 + 1);
            let found = fitted_files(&drawn);
            let reported = found.reported();
            let constant = one(&reported, "back_emf_constant");
            let Some(e) = constant
                .estimate
                .filter(|_| constant.status == Status::Measured)
            else {
                continue;
            };
            let truth = drawn.truth.parameter("back_emf_constant").expect("known");
            assert!(
                (e.value / truth - 1.0).abs() < 0.1,
                "unevenness {unevenness}, counted {s:?} {p:?}: {} for {truth}",
                e.value
            );
        }
    }
}

#[test]
fn a_constant_that_ripple_leaves_open_is_named_with_what_settles_it() {
    let drawn = four_poles(0.0, (Some(7), None), 1);
    let found = fitted_files(&drawn);
    let reported = found.reported();
    let constant = one(&reported, "back_emf_constant");
    assert_eq!(constant.status, Status::Undetermined);
    let settled = constant.settled_by.as_deref().unwrap_or_default();
    for part in ["poles", "7 segments, 2 poles", "7 segments, 4 poles"] {
        assert!(settled.contains(part), "{settled}");
    }
}
