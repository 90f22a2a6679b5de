//! Currents recorded by themselves, at 60 kS/s with strong commutation ripple: what they show, and the speed that their ripple gives.
//!
//! `CURRENTS` sets how many are drawn of each kind.

use rundown::bench::{Role, Trace, Waveform};
use rundown::capture::TimeAxis;
use rundown::events::{current_stretches, find, guess_role};
use rundown::ripple::{RippleOptions, speed_in_current};
use testbench::{Coupling, CurrentKind, CurrentRecord, draw_current};

/// How many are drawn of each kind.
fn count() -> u64 {
    let stated = std::env::var("CURRENTS").ok();
    stated.map_or(10, |n| n.parse().expect("a number"))
}

fn waveform(record: &CurrentRecord) -> Waveform {
    Waveform {
        time: TimeAxis::Uniform {
            start_s: 0.0,
            step_s: record.step_s,
            len: record.speed_rad_s.len(),
        },
        voltage_v: None,
        current_a: Some(Trace {
            values: record.current_a.values.clone(),
            quantisation_step: Some(record.current_a.step),
            clipped: record.current_a.clipped.clone(),
        }),
    }
}

const KINDS: [(CurrentKind, Coupling, Role); 7] = [
    (CurrentKind::Start, Coupling::Direct, Role::Start),
    (CurrentKind::Start, Coupling::Window, Role::Start),
    (CurrentKind::Start, Coupling::Capacitor, Role::Start),
    (CurrentKind::Steady, Coupling::Direct, Role::Steady),
    (CurrentKind::Steady, Coupling::Capacitor, Role::Steady),
    (CurrentKind::Brake, Coupling::Direct, Role::Brake),
    (CurrentKind::RunDown, Coupling::Direct, Role::RunDown),
];

#[test]
fn a_current_alone_shows_what_the_motor_does() {
    let mut wrong = Vec::new();
    for (kind, coupling, role) in KINDS {
        for seed in 1..=count() {
            let guess = guess_role(&waveform(&draw_current(kind, coupling, seed)));
            if guess.role != role {
                wrong.push(format!(
                    "{kind:?} {coupling:?} {seed}: {:?}, {}",
                    guess.role, guess.reason
                ));
            }
        }
    }
    let all = KINDS.len() as u64 * count();
    assert!(
        20 * wrong.len() as u64 <= all,
        "{} of {all}:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn the_ripple_of_a_current_alone_gives_its_speed_or_nothing() {
    let (mut absent, mut wrong, mut all) = (Vec::new(), Vec::new(), 0);
    for (kind, coupling, role) in &KINDS[..5] {
        for seed in 1..=count() {
            let record = draw_current(*kind, *coupling, seed);
            let waveform = waveform(&record);
            let timeline = find(&waveform, *role);
            let cycles = Some(record.cycles_per_revolution);
            let named = format!(
                "{kind:?} {coupling:?} {seed}, {} cycles",
                record.cycles_per_revolution
            );
            all += 1;
            let stretches = current_stretches(&waveform, &timeline, *role);
            let Some(stretch) = stretches.first() else {
                absent.push(format!("{named}: no stretch, {:?}", timeline.phases));
                continue;
            };
            let found = speed_in_current(stretch, None, cycles, &RippleOptions::default());
            let found = match found {
                Ok(found) if !found.speed.is_empty() => found,
                Ok(found) => {
                    let remarks: Vec<String> =
                        found.remarks.iter().map(ToString::to_string).collect();
                    absent.push(format!("{named}: {}", remarks.join("; ")));
                    continue;
                }
                Err(why) => {
                    absent.push(format!("{named}: {why}"));
                    continue;
                }
            };
            let last = found.speed.last().expect("points");
            let row = ((last.time_s / record.step_s) as usize).min(record.speed_rad_s.len() - 1);
            let (speed, truth) = (
                last.speed_rad_per_s.expect("a speed"),
                record.speed_rad_s[row],
            );
            if (speed / truth - 1.0).abs() > 0.01 {
                wrong.push(format!("{named}: {speed:.1} for {truth:.1} rad/s"));
            }
        }
    }
    assert!(
        20 * absent.len() <= all && 100 * wrong.len() <= all,
        "of {all} {} absent:\n{}\n{} wrong:\n{}",
        absent.len(),
        absent.join("\n"),
        wrong.len(),
        wrong.join("\n")
    );
}
