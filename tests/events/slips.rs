//! A held rotor that slips, and a current probe too slow for the rise.

use crate::test_motor::TestMotor;
use rundown::bench::{CaptureWarning, Role, Waveform};
use rundown::events::{Remark, find};

fn held(seed: u64) -> Waveform {
    TestMotor {
        held: true,
        seed,
        ..TestMotor::default()
    }
    .record()
}

fn slipped(waveform: &Waveform) -> Option<String> {
    let told = find(waveform, Role::LockedRotor);
    let doubted = told.capture_warnings.contains(&CaptureWarning::Slipped);
    let mut words = told.remarks.iter().map(ToString::to_string);
    let words = words.find(|r| r.contains("slipped"));
    assert_eq!(doubted, words.is_some());
    words
}

#[test]
fn a_rotor_that_stays_is_not_doubted() {
    for seed in 1..=20 {
        assert_eq!(slipped(&held(seed)), None);
    }
}

#[test]
fn a_rotor_that_slips_is_told_with_place_and_size() {
    let mut waveform = held(3);
    let rows = waveform.time.len();
    // From 60 ms on it turns steadily with a tenth of the supply as back-EMF: the current falls by a tenth.
    let from = rows * 7 / 10;
    let current = waveform.current_a.as_mut().expect("recorded");
    for value in &mut current.values[from..] {
        *value *= 0.9;
    }
    let words = slipped(&waveform).expect("told");
    assert!(words.contains("jumps near 6"), "{words}");
    assert!(words.contains("+11 %"), "{words}");
}

/// Step onto a held rotor, L/R = 465 µs at 5 µs a row.
fn stepped(seed: u64) -> Waveform {
    TestMotor {
        held: true,
        step_s: 5e-6,
        seed,
        ..TestMotor::default()
    }
    .record()
}

/// The record as a probe of this time constant shows it.
fn behind(mut waveform: Waveform, lag_s: f64) -> Waveform {
    let kept = (-5e-6 / lag_s).exp();
    let values = &mut waveform.current_a.as_mut().expect("recorded").values;
    let mut shown = values[0];
    for value in values {
        shown = kept * shown + (1.0 - kept) * *value;
        *value = shown;
    }
    waveform
}

fn told(waveform: &Waveform) -> bool {
    let remarks = find(waveform, Role::LockedRotor).remarks;
    remarks.iter().any(|r| matches!(r, Remark::SlowRise { .. }))
}

#[test]
fn a_slow_probe_is_told_and_a_fast_one_is_not() {
    for seed in 1..=20 {
        assert!(!told(&stepped(seed)), "no probe, seed {seed}");
        assert!(!told(&behind(stepped(seed), 10e-6)), "fast, seed {seed}");
        assert!(told(&behind(stepped(seed), 230e-6)), "slow, seed {seed}");
    }
}
