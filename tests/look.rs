//! `rundown look` on the public benches: columns, role, events, phases and the ripple line, in text and as JSON.

use approx::assert_relative_eq;
use serde_json::Value;
use std::process::Command;

fn look(arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_rundown"))
        .arg("look")
        .args(arguments)
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures"))
        .output()
        .expect("the program runs");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    (output.status.code(), text)
}

fn found(file: &str) -> Value {
    let (status, text) = look(&["--json", file]);
    assert_eq!(status, Some(0), "{text}");
    let documents: Value = serde_json::from_str(&text).expect("JSON");
    documents[0]["found"].clone()
}

#[test]
fn a_run_down_shows_its_role_its_events_and_its_ripple_line() {
    let found = found("floor_scrubber/F0002.csv.gz");
    assert_eq!(found["columns"]["voltage"], 5);
    assert_eq!(found["columns"]["current"], 6);
    assert_eq!(found["role"]["name"], "run-down");
    let events: Vec<&str> = found["events"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| e["name"].as_str().unwrap())
        .collect();
    assert_eq!(events, ["switch-off", "arc", "standstill"]);
    let phases = found["phases"].as_array().unwrap();
    let kinds: Vec<&str> = phases.iter().map(|p| p["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["driven", "cut", "open", "cut", "rest"]);
    assert_eq!(phases[1]["reason"], "arc");
    for pair in phases.windows(2) {
        assert_eq!(
            pair[1]["first_row"].as_u64().unwrap(),
            pair[0]["last_row"].as_u64().unwrap() + 1
        );
    }
    // The truth file of this motor: the segments of its commutator and its constant; probe and channel are good to 3 %.
    let truth: Value = serde_json::from_str(
        &std::fs::read_to_string(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/fixtures/floor_scrubber/truth.json"
        ))
        .unwrap(),
    )
    .unwrap();
    let best = &found["ripple"]["candidates"][0];
    let constant = best["back_emf_constant_v_s_per_rad"].as_f64().unwrap();
    let line = &found["ripple"]["line"];
    // A line of N cycles a revolution stands at N/(2 pi K).
    assert_relative_eq!(
        line["cycles_per_volt_second"].as_f64().unwrap(),
        line["harmonic_of_revolution"].as_f64().unwrap() / (std::f64::consts::TAU * constant),
        max_relative = 1e-9
    );
    assert_eq!(best["segments"], truth["commutator"]["segments"]);
    assert!(line["standard_uncertainty"].as_f64().unwrap() > 0.0);
    assert_relative_eq!(
        constant,
        truth["motor_in_this_case"]["K_V_s_per_rad"]
            .as_f64()
            .unwrap(),
        max_relative = 0.03
    );
    assert!(best["probability"].as_f64().unwrap() > 0.9, "{best}");
}

#[test]
fn the_page_says_the_same_in_words() {
    let (status, text) = look(&["--details", "floor_scrubber/F0002.csv.gz"]);
    assert_eq!(status, Some(0));
    for part in [
        "   run-down (0.95); ",
        "   voltage \"CH1\" ",
        "contact opens at -100 \u{b5}s",
        "  columns (confidence 1.00): ",
        "  role: ",
        "  phase: cut (arc), rows 1078 to 1083, ",
        "  phase: open, rows 1084 to 12347, ",
        "  ripple: line at 26.7",
        " cycles per V\u{b7}s, ",
        "    12 segments, 2 poles, 12 cycles a revolution: K = 71.",
        "      probability 0.980\n",
    ] {
        assert!(text.contains(part), "`{part}` is missing in:\n{text}");
    }
}

#[test]
fn a_start_has_no_ripple_and_a_noise_floor_has_no_line() {
    let found = found("floor_scrubber/F0001.csv.gz");
    assert_eq!(found["role"]["name"], "start");
    assert!(found["ripple"].is_null());
    // A run-down without a commutator: a bare exponential in 8-bit noise.
    let folder = tempfile::tempdir().unwrap();
    let mut csv = String::from("Time (s),CH1 (V),CH2 (A)\n");
    let mut state = 1_u64;
    for k in 0..6000 {
        let t = f64::from(k - 400) * 1e-4;
        let e = if k < 400 {
            12.0
        } else {
            10.0 * (-t / 0.15).exp()
        };
        let i = if k < 400 { 0.5 } else { 0.0 };
        // Uniform noise of a linear congruential generator.
        let mut noise = || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
        };
        csv.push_str(&format!(
            "{t:.4},{:.3},{:.4}\n",
            e + 0.1 * noise(),
            i + 0.02 * noise()
        ));
    }
    let path = folder.path().join("bare.csv");
    std::fs::write(&path, csv).unwrap();
    let (_, text) = look(&["--details", path.to_str().unwrap()]);
    assert!(text.contains("   run-down ("), "{text}");
    assert!(
        text.contains("  ripple: no line above the noise floor (chance of a false alarm 0.001)"),
        "{text}"
    );
}

#[test]
fn val_the_line_of_a_steady_current_is_at_the_simulated_speed() {
    // f = N ω/(2π), ω and N from the truth files of these motors; the clocks are good to 25 ppm.
    for (motor, file) in [
        ("telescope_focuser", "steady.csv.gz"),
        ("floor_scrubber", "F0002.csv.gz"),
    ] {
        let truth: Value = serde_json::from_str(
            &std::fs::read_to_string(format!(
                "{}/fixtures/{motor}/truth.json",
                env!("CARGO_MANIFEST_DIR")
            ))
            .unwrap(),
        )
        .unwrap();
        let speed = truth["steady"]["speed_rad_s"].as_f64().unwrap();
        let cycles = truth["commutator"]["lines_per_turn"].as_f64().unwrap();
        let found = found(&format!("{motor}/{file}"));
        let current = &found["current_ripple"][0];
        assert_eq!(current["motion"], "steady running");
        assert_relative_eq!(
            current["frequency_hz"].as_f64().unwrap(),
            cycles * speed / std::f64::consts::TAU,
            max_relative = 3e-4
        );
        // At constant speed an alias cannot be excluded, and is told.
        assert!(current["aliases_hz"].as_array().unwrap().len() > 1);
        assert!(
            current["remarks"][0]
                .as_str()
                .unwrap()
                .contains("cannot distinguish")
        );
    }
}

#[test]
fn a_start_tells_the_line_it_rises_to() {
    let found = found("telescope_focuser/startup.csv.gz");
    let current = &found["current_ripple"][0];
    assert_eq!(current["motion"], "start");
    // The speed at the end of the record and the lines a turn are those of the truth file.
    let truth: Value = serde_json::from_str(
        &std::fs::read_to_string(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/fixtures/telescope_focuser/truth.json"
        ))
        .unwrap(),
    )
    .unwrap();
    let speed = truth["captures"]["startup"]["speed_last_rad_s"]
        .as_f64()
        .unwrap();
    let cycles = truth["commutator"]["lines_per_turn"].as_f64().unwrap();
    assert_relative_eq!(
        current["frequency_hz"].as_f64().unwrap(),
        cycles * speed / std::f64::consts::TAU,
        max_relative = 3e-3
    );
    let (_, text) = look(&["--details", "telescope_focuser/startup.csv.gz"]);
    assert!(
        text.contains("ripple of the current (start): line at"),
        "{text}"
    );
}
