//! Events, roles and columns on the captures of the five public motors.

#[path = "common/load.rs"]
mod load;

use load::load;
use rundown::bench::{self, LoadOptions, Role, Waveform};
use rundown::capture::{self, ReadOptions};
use rundown::events::{EventKind, PhaseKind, find, guess_columns, guess_role};
use std::path::{Path, PathBuf};
use testbench::{draw, presets};

const MOTORS: [&str; 5] = [
    "camera_slider",
    "dosing_pump",
    "floor_scrubber",
    "telescope_focuser",
    "ticket_printer",
];

fn folder(motor: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(motor)
}

fn bench_of(motor: &str) -> bench::Bench {
    bench::read_sheet(&folder(motor).join("bench.toml"), &LoadOptions::default())
        .unwrap_or_else(|e| panic!("{motor}: {e}"))
}

/// What the simulation recorded of a capture: switch event and standstill in s.
fn truth(motor: &str, path: &Path) -> Option<(f64, Option<f64>)> {
    let text = std::fs::read_to_string(folder(motor).join("truth.json")).ok()?;
    let json: serde_json::Value = serde_json::from_str(&text).expect("truth.json is JSON");
    let file = path.file_name()?.to_str()?;
    let stem = file.split('.').next()?;
    let capture = &json["captures"][stem];
    Some((
        capture["switch_event_s"].as_f64()?,
        capture["stop_time_s"].as_f64(),
    ))
}

fn step_s(waveform: &Waveform) -> f64 {
    match (waveform.time.at(0), waveform.time.at(1)) {
        (Some(a), Some(b)) => b - a,
        _ => panic!("no time axis"),
    }
}

/// The event in which the switch of a role acts.
fn switch_event(role: Role) -> Option<EventKind> {
    match role {
        Role::Start | Role::LockedRotor => Some(EventKind::SwitchOn),
        Role::RunDown | Role::TurnOff => Some(EventKind::SwitchOff),
        Role::Brake => Some(EventKind::Short),
        Role::Pwm | Role::PwmLocked | Role::Steady | Role::Driven => None,
    }
}

/// Cosine between two columns over the rows where both have numbers: 1 when one is a positive multiple of the other.
fn likeness(a: &[f64], b: &[f64]) -> f64 {
    let pairs = a
        .iter()
        .zip(b)
        .filter(|(x, y)| x.is_finite() && y.is_finite());
    let (xy, xx, yy) = pairs.fold((0.0, 0.0, 0.0), |(p, q, r), (x, y)| {
        (p + x * y, q + x * x, r + y * y)
    });
    xy / (xx * yy).sqrt()
}

#[test]
fn every_role_of_the_five_motors_is_guessed() {
    let mut wrong = Vec::new();
    let mut seen = 0;
    for motor in MOTORS {
        for capture in bench_of(motor).captures {
            seen += 1;
            let guess = guess_role(&capture.waveform);
            if guess.role != capture.role {
                wrong.push(format!(
                    "{motor}/{}: {:?} taken for {guess:?}",
                    capture.name, capture.role
                ));
            }
        }
    }
    assert_eq!(seen, 25);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_column_of_the_five_motors_is_guessed() {
    for motor in MOTORS {
        for capture in bench_of(motor).captures {
            let record =
                capture::read(&capture.path, &ReadOptions::default()).expect("the capture opens");
            let guess = guess_columns(&record);
            let told = format!("{motor}/{}: {guess:?}", capture.name);
            for (index, trace) in [
                (guess.voltage, &capture.waveform.voltage_v),
                (guess.current, &capture.waveform.current_a),
            ] {
                let (index, trace) = (index.expect("guessed"), trace.as_ref().expect("measured"));
                let likeness = likeness(&record.channels[index].values, &trace.values);
                assert!(likeness > 0.999_999, "{likeness} {told}");
            }
            assert!(!guess.voltage_reversed && !guess.current_reversed, "{told}");
            assert!(guess.confidence > 0.7, "{told}");
            assert_eq!(guess.role.role, capture.role, "{told}");
        }
    }
}

#[test]
fn switch_events_agree_with_what_was_simulated() {
    let mut compared = 0;
    for motor in MOTORS {
        for capture in bench_of(motor).captures {
            let Some(kind) = switch_event(capture.role) else {
                continue;
            };
            let timeline = find(&capture.waveform, capture.role);
            let found = timeline
                .first_time_of(kind)
                .unwrap_or_else(|| panic!("{motor}/{}: no {kind} in {timeline:?}", capture.name));
            // The trigger stands at 0 where no truth is stated, and it is set on this event.
            let step = step_s(&capture.waveform);
            let (expected, rows) = match truth(motor, &capture.path) {
                Some((event, _)) => (event, 3.0),
                None => (0.0, 60.0),
            };
            let off = (found - expected) / step;
            assert!(
                off.abs() <= rows,
                "{motor}/{}: {kind} {off:.1} samples off",
                capture.name
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 20);
}

#[test]
fn standstill_agrees_with_what_was_simulated() {
    let mut compared = 0;
    for motor in MOTORS {
        for capture in bench_of(motor).captures {
            let Some((_, Some(stop_s))) = truth(motor, &capture.path) else {
                continue;
            };
            let timeline = find(&capture.waveform, capture.role);
            let found = timeline
                .first_time_of(EventKind::Standstill)
                .expect("standstill is found");
            assert!(
                (found - stop_s).abs() < 0.01 * stop_s,
                "{motor}/{}: {found} for {stop_s}",
                capture.name
            );
            let open = timeline
                .phases
                .iter()
                .find(|p| p.kind == PhaseKind::Open)
                .expect("open phase");
            let end_s = capture.waveform.time.at(open.end - 1).expect("row inside");
            assert!(
                end_s < stop_s,
                "{motor}/{}: open until {end_s}, stop at {stop_s}",
                capture.name
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 3);
}

#[test]
fn the_phases_of_each_capture_follow_its_role() {
    for motor in MOTORS {
        for capture in bench_of(motor).captures {
            let timeline = find(&capture.waveform, capture.role);
            let mut at = 0;
            for phase in &timeline.phases {
                assert_eq!(phase.first, at, "{motor}/{}", capture.name);
                at = phase.end;
            }
            assert_eq!(at, capture.waveform.time.len(), "{motor}/{}", capture.name);
            let kinds: Vec<&str> = timeline
                .phases
                .iter()
                .filter_map(|p| match p.kind {
                    PhaseKind::Rest => Some("rest"),
                    PhaseKind::Driven => Some("driven"),
                    PhaseKind::Open => Some("open"),
                    PhaseKind::Shorted => Some("shorted"),
                    PhaseKind::Excluded(_) => None,
                })
                .collect();
            let expected: &[&[&str]] = match capture.role {
                Role::Start | Role::LockedRotor => &[&["rest", "driven"]],
                Role::RunDown => &[&["driven", "open", "rest"], &["driven", "open"]],
                Role::Brake => &[&["driven", "open", "shorted", "rest"]],
                Role::TurnOff => &[&["driven", "rest"]],
                Role::Pwm | Role::PwmLocked | Role::Steady => &[&["driven"]],
                Role::Driven => &[&["open"]],
            };
            assert!(
                expected.contains(&kinds.as_slice()),
                "{motor}/{}: {:?}",
                capture.name,
                timeline.phases
            );
        }
    }
}

/// From the last closing of a bouncing contact on the source stays connected: the driven phase begins at the first sample behind
/// it, or a few later.
#[test]
fn driven_phases_begin_after_the_last_closing_of_the_drawn_contact() {
    let mut bounced = 0;
    for scenario in presets::all() {
        for seed in 1..=3 {
            let drawn = draw(&scenario, seed).unwrap();
            for capture in load(&drawn).unwrap().captures {
                if !matches!(capture.role, Role::Start | Role::LockedRotor) {
                    continue;
                }
                let contacts = &drawn.truth_of(&capture.name).unwrap().contacts_s;
                let last_s = contacts.last().expect("the contact closes");
                let step_s = step_s(&capture.waveform);
                if let [.., opened_s, closed_s] = contacts[..] {
                    // An opening between two or three rows is not seen for sure.
                    if closed_s - opened_s < 3.0 * step_s {
                        continue;
                    }
                    bounced += 1;
                }
                let timeline = find(&capture.waveform, capture.role);
                let driven = timeline
                    .phases
                    .iter()
                    .find(|p| p.kind == PhaseKind::Driven)
                    .expect("driven phase");
                let first_s = capture.waveform.time.at(driven.first).expect("row inside");
                let rows = (first_s - last_s) / step_s;
                assert!(
                    (0.0..6.0).contains(&rows),
                    "{} {} of seed {seed}: driven from {first_s}, {rows} samples after the last closing",
                    scenario.facts.name,
                    capture.name
                );
            }
        }
    }
    assert!(bounced > 10, "{bounced} contacts bounced");
}
