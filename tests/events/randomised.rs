//! Roles, columns and instants over a row of randomised motors, benches and hurried hands.

use crate::covers;
use crate::test_motor::{Contact, TestMotor, chopped};
use rundown::bench::{Role, Trace, Waveform};
use rundown::capture::{ReadOptions, Record, read_from};
use rundown::events::{EventKind, find, guess_columns, guess_role};

/// Motors from a coin-size ironless one to a traction one, and what the instruments add.
fn motors() -> Vec<(&'static str, TestMotor)> {
    let base = TestMotor::default();
    let coin = TestMotor {
        r: 12.0,
        l: 0.2e-3,
        k: 2.5e-3,
        inertia: 3e-8,
        friction: 2.5e-5,
        viscous: 5e-9,
        source_v: 3.0,
        source_r: 0.3,
        code_v: 0.016,
        code_a: 0.0016,
        noise_v: 0.008,
        noise_a: 0.0008,
        ripple: (0.04, 10.0),
        step_s: 20e-6,
        ..base.clone()
    };
    let three_bars = TestMotor {
        r: 6.5,
        l: 3e-3,
        k: 0.012,
        inertia: 4e-7,
        friction: 1e-3,
        viscous: 5e-7,
        ripple: (0.14, 6.0),
        code_a: 0.016,
        noise_a: 0.008,
        ..base.clone()
    };
    let traction = TestMotor {
        r: 0.05,
        l: 0.1e-3,
        k: 0.09,
        inertia: 4e-3,
        friction: 0.25,
        viscous: 4e-4,
        source_v: 36.0,
        source_r: 0.03,
        code_v: 0.2,
        code_a: 4.0,
        noise_v: 0.1,
        noise_a: 1.5,
        zero_a: -2.0,
        ripple: (0.01, 24.0),
        step_s: 20e-6,
        ..base.clone()
    };
    let humming = TestMotor {
        mains_v: 0.15,
        zero_v: 0.2,
        zero_a: 0.12,
        ..base.clone()
    };
    let geared = TestMotor {
        friction: 0.03,
        ..base.clone()
    };
    let fine = TestMotor {
        code_v: 0.0,
        code_a: 0.0,
        noise_v: 0.004,
        noise_a: 0.001,
        ..base.clone()
    };
    vec![
        ("middling", base),
        ("coin", coin),
        ("three bars", three_bars),
        ("traction", traction),
        ("humming", humming),
        ("geared", geared),
        ("fine", fine),
    ]
}

/// Time in which the run-down ends, from friction alone.
fn stop_s(motor: &TestMotor) -> f64 {
    let tau = motor.inertia / motor.viscous;
    tau * (1.0 + motor.viscous * motor.speed / motor.friction).ln()
}

/// Mechanical time constant with source and brush short out, s.
fn tau_m(motor: &TestMotor) -> f64 {
    (motor.r + motor.source_r) * motor.inertia / motor.k.powi(2)
}

/// One waveform a role for a motor, its time base chosen as a person would.
fn bench(motor: &TestMotor) -> Vec<(Role, TestMotor)> {
    let rows = 8_000;
    let at = |window_s: f64, pre: f64| TestMotor {
        step_s: window_s / rows as f64,
        start_s: -pre * window_s,
        rows,
        ..motor.clone()
    };
    let running = motor.clone().running();
    let (mechanical, electrical) = (tau_m(motor), motor.l / motor.r);
    let mut start = at(6.0 * mechanical, 0.1);
    start.contacts = vec![
        (-99.0, Contact::Open),
        (0.0, Contact::Source),
        (0.3e-3, Contact::Open),
        (0.6e-3, Contact::Source),
    ];
    let mut coast = TestMotor {
        ..at(1.2 * stop_s(&running), 0.06)
    }
    .running();
    coast.contacts = vec![(-99.0, Contact::Source), (0.0, Contact::Open)];
    let mut brake = at(6.0 * mechanical + 6e-3, 0.1).running();
    let flight = 0.4 * -brake.start_s;
    brake.contacts = vec![
        (-99.0, Contact::Source),
        (-flight, Contact::Open),
        (0.0, Contact::Short(0.02 * motor.r)),
        (0.4e-3, Contact::Open),
        (0.6e-3, Contact::Short(0.02 * motor.r)),
    ];
    let mut locked = at(12.0 * electrical, 0.1);
    locked.held = true;
    let mut off = at(12.0 * electrical, 0.1);
    off.held = true;
    off.current = motor.source_v / (motor.r + motor.source_r);
    off.contacts = vec![(-99.0, Contact::Source), (0.0, Contact::Diode(0.6))];
    let period = 0.6 * electrical;
    let mut pwm = at(12.0 * period, 0.1).running();
    pwm.speed *= 0.45;
    pwm.current *= 1.0;
    pwm.contacts = chopped(period, 0.5, -3.0 * period, 14.0 * period);
    let mut pwm_held = pwm.clone();
    pwm_held.held = true;
    pwm_held.speed = 0.0;
    pwm_held.current = 0.5 * off.current;
    let mut steady = at(0.2, 0.0).running();
    steady.contacts = vec![(-99.0, Contact::Source)];
    vec![
        (Role::Start, start),
        (Role::RunDown, coast),
        (Role::Brake, brake),
        (Role::LockedRotor, locked),
        (Role::TurnOff, off),
        (Role::Pwm, pwm),
        (Role::PwmLocked, pwm_held),
        (Role::Steady, steady),
    ]
}

/// A shot as it should be, and as a hurried person makes it: other polarity, few samples, short pre-trigger, cut early, a brake resistor.
fn hurried(role: Role, shot: &TestMotor) -> Vec<(&'static str, TestMotor, f64)> {
    let window_s = shot.rows as f64 * shot.step_s;
    let mut found = vec![(AS_IS, shot.clone(), 1.0), ("turned", shot.clone(), -1.0)];
    let mut coarse = shot.clone();
    coarse.rows = 1_500;
    coarse.step_s = window_s / 1_500.0;
    found.push(("coarse", coarse, 1.0));
    if role != Role::Steady {
        let mut late = shot.clone();
        late.start_s = -0.03 * window_s;
        if role == Role::Brake {
            late.contacts[1].0 = 0.5 * late.start_s;
        }
        found.push(("short pre-trigger", late, 1.0));
    }
    if matches!(role, Role::Start | Role::RunDown | Role::Brake) {
        let mut cut = shot.clone();
        cut.rows = shot.rows * 2 / 5;
        found.push(("cut early", cut, 1.0));
    }
    if role == Role::Brake {
        let mut resistor = shot.clone();
        for contact in &mut resistor.contacts {
            if let Contact::Short(r) = &mut contact.1 {
                *r = shot.r;
            }
        }
        found.push(("across a resistor", resistor, 1.0));
    }
    let mut noisy = shot.clone();
    noisy.noise_v *= 2.5;
    noisy.noise_a *= 2.5;
    noisy.seed = 7;
    found.push(("noisy", noisy, 1.0));
    found
}

const AS_IS: &str = "as is";

#[test]
fn roles_and_instants_of_randomised_motors_are_found() {
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (name, motor) in motors() {
        for (role, shot) in bench(&motor) {
            for (what, shot, sign) in hurried(role, &shot) {
                let mut waveform = shot.record();
                for trace in [&mut waveform.voltage_v, &mut waveform.current_a]
                    .into_iter()
                    .flatten()
                {
                    trace.values.iter_mut().for_each(|x| *x *= sign);
                }
                seen += 1;
                let guess = guess_role(&waveform);
                if guess.role != role {
                    wrong.push(format!(
                        "{name}, {what}: {role:?} taken for {:?} ({:.2}): {}",
                        guess.role, guess.confidence, guess.reason
                    ));
                }
                let timeline = find(&waveform, role);
                covers(&timeline, shot.rows);
                let kind = match role {
                    Role::Start | Role::LockedRotor => EventKind::SwitchOn,
                    Role::RunDown | Role::TurnOff => EventKind::SwitchOff,
                    Role::Brake => EventKind::Short,
                    _ => continue,
                };
                let found = timeline.first_time_of(kind);
                let rows = found.map(|t| (t / shot.step_s).abs());
                // A no-load current below the noise leaves only a step of the voltage that is no larger than a code.
                let most = if what == AS_IS { 8.0 } else { 20.0 };
                if rows.is_none_or(|r| r > most) {
                    wrong.push(format!(
                        "{name}, {what}: {role:?} {kind} off by {rows:?}; {:?}",
                        timeline.phases
                    ));
                }
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {seen}:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

/// Voltage and current as a file with both columns in volts, the current across 50 mΩ.
fn exported(waveform: &Waveform, swapped: bool) -> Record {
    let mut text = String::from("time (s),column 1 (V),column 2 (V)\n");
    let values = |trace: &Option<Trace>| trace.as_ref().expect("recorded").values.clone();
    let (volts, amps) = (values(&waveform.voltage_v), values(&waveform.current_a));
    for (k, (volt, amp)) in volts.into_iter().zip(amps).enumerate() {
        let time_s = waveform.time.at(k).expect("within");
        let (one, other) = match swapped {
            false => (volt, 0.05 * amp),
            true => (0.05 * amp, volt),
        };
        text += &format!("{time_s},{one},{other}\n");
    }
    read_from(
        "randomised.csv".as_ref(),
        text.as_bytes(),
        &ReadOptions::default(),
    )
    .expect("a record")
}

#[test]
fn columns_of_randomised_motors_are_guessed_without_units() {
    let mut wrong = Vec::new();
    for (name, motor) in motors() {
        for (role, shot) in bench(&motor) {
            // A turn-off in raw volts holds little that tells the two apart.
            if role == Role::TurnOff {
                continue;
            }
            for swapped in [false, true] {
                let record = exported(&shot.record(), swapped);
                let guess = guess_columns(&record);
                // A steady run whose ripple is below one code tells nothing, and the guess must say so.
                if role == Role::Steady && guess.confidence <= 0.5 {
                    continue;
                }
                let expected = if swapped {
                    (Some(1), Some(0))
                } else {
                    (Some(0), Some(1))
                };
                if (guess.voltage, guess.current) != expected
                    || guess.role.role != role
                    || guess.current_reversed
                {
                    wrong.push(format!("{name}, {role:?}, swapped {swapped}: {guess:?}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong.join("\n"));
}
