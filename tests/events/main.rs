//! Events on analytic waveforms and on a test motor.

mod randomised;
mod slips;
mod spoiled;
mod test_motor;

use rundown::bench::Role;
use rundown::events::{EventKind, Exclusion, PhaseKind, Remark, Timeline, find};
use test_motor::{Contact, TestMotor};

/// The phases cover all rows, in order.
fn covers(timeline: &Timeline, rows: usize) {
    let mut at = 0;
    for phase in &timeline.phases {
        assert_eq!(phase.first, at, "hole or overlap in {:?}", timeline.phases);
        assert!(phase.end > phase.first);
        at = phase.end;
    }
    assert_eq!(at, rows);
}

fn phase(timeline: &Timeline, kind: PhaseKind) -> Option<(usize, usize)> {
    let mut rows = timeline.phases.iter().filter(|p| p.kind == kind);
    rows.next().map(|p| (p.first, p.end))
}

/// Whether a remark with this short name was made.
fn remarked(timeline: &Timeline, code: &str) -> bool {
    timeline
        .remarks
        .iter()
        .any(|r| serde_json::to_value(r).unwrap()["code"] == code)
}

#[track_caller]
fn near(found: Option<f64>, expected: f64, tolerance: f64) {
    let found = found.expect("the instant was not found");
    assert!(
        (found - expected).abs() <= tolerance,
        "found {found}, expected {expected} ± {tolerance}"
    );
}

fn bouncing_start() -> TestMotor {
    TestMotor {
        contacts: vec![
            (-1.0, Contact::Open),
            (0.0, Contact::Source),
            (0.4e-3, Contact::Open),
            (0.7e-3, Contact::Source),
            (1.3e-3, Contact::Open),
            (1.5e-3, Contact::Source),
        ],
        ..TestMotor::default()
    }
}

fn coasting() -> TestMotor {
    TestMotor {
        contacts: vec![(-1.0, Contact::Source), (0.0, Contact::Open)],
        step_s: 40e-6,
        start_s: -20e-3,
        rows: 17_000,
        ..TestMotor::default()
    }
    .running()
}

fn braking() -> TestMotor {
    TestMotor {
        contacts: vec![
            (-1.0, Contact::Source),
            (-4e-3, Contact::Open),
            (0.0, Contact::Short(0.02)),
            (0.5e-3, Contact::Open),
            (0.7e-3, Contact::Short(0.02)),
        ],
        rows: 12_000,
        ..TestMotor::default()
    }
    .running()
}

#[test]
fn a_bouncing_start_is_driven_after_the_last_make() {
    let waveform = bouncing_start().record();
    let timeline = find(&waveform, Role::Start);
    covers(&timeline, 10_000);
    near(timeline.first_time_of(EventKind::SwitchOn), 0.0, 20e-6);
    let (first, end) = phase(&timeline, PhaseKind::Driven).unwrap();
    assert!(
        (1150..1156).contains(&first),
        "driven from row {first}; the last make is row 1150"
    );
    assert_eq!(end, 10_000);
    let (from, to) = phase(&timeline, PhaseKind::Excluded(Exclusion::Bounce)).unwrap();
    assert!(
        (997..=1000).contains(&from) && to == first,
        "bounce {from}..{to}"
    );
    assert_eq!(phase(&timeline, PhaseKind::Rest), Some((0, from)));
    assert!(timeline.remarks.is_empty(), "{:?}", timeline.remarks);
}

#[test]
fn a_start_is_found_by_either_channel_alone() {
    for hide_voltage in [false, true] {
        let mut waveform = bouncing_start().record();
        if hide_voltage {
            waveform.voltage_v = None;
        } else {
            waveform.current_a = None;
        }
        let timeline = find(&waveform, Role::Start);
        covers(&timeline, 10_000);
        near(timeline.first_time_of(EventKind::SwitchOn), 0.0, 40e-6);
        let (first, _) = phase(&timeline, PhaseKind::Driven).unwrap();
        assert!(
            (1150..1170).contains(&first),
            "voltage hidden {hide_voltage}: driven from {first}"
        );
    }
}

#[test]
fn a_clean_make_needs_no_wide_cut() {
    let waveform = TestMotor {
        held: true,
        rows: 3_000,
        ..TestMotor::default()
    }
    .record();
    let timeline = find(&waveform, Role::LockedRotor);
    let (first, end) = phase(&timeline, PhaseKind::Driven).unwrap();
    assert!(
        (1000..1005).contains(&first) && end == 3_000,
        "{first}..{end}"
    );
}

#[test]
fn a_run_down_is_open_from_the_kick_to_standstill() {
    let waveform = coasting().record();
    let timeline = find(&waveform, Role::RunDown);
    covers(&timeline, 17_000);
    near(timeline.first_time_of(EventKind::SwitchOff), 0.0, 100e-6);
    // Closed form of Coulomb and viscous friction: ω = 0 at τ·ln(1 + Bω₀/T_c), τ = J/B.
    let motor = coasting();
    let tau = motor.inertia / motor.viscous;
    let stop = tau * (1.0 + motor.viscous * motor.speed / motor.friction).ln();
    near(
        timeline.first_time_of(EventKind::Standstill),
        stop,
        0.015 * stop,
    );
    let (first, end) = phase(&timeline, PhaseKind::Open).unwrap();
    assert!(
        (500..510).contains(&first),
        "open from row {first}; the release is row 500"
    );
    let last_s = -20e-3 + end as f64 * 40e-6;
    assert!(
        last_s < stop && last_s > 0.95 * stop,
        "open until {last_s}, stop {stop}"
    );
    assert!(phase(&timeline, PhaseKind::Rest).is_some());
    assert!(timeline.remarks.is_empty(), "{:?}", timeline.remarks);
}

#[test]
fn a_run_down_cut_before_standstill_is_told() {
    let waveform = TestMotor {
        rows: 6_000,
        ..coasting()
    }
    .record();
    let timeline = find(&waveform, Role::RunDown);
    covers(&timeline, 6_000);
    assert!(timeline.first_time_of(EventKind::Standstill).is_none());
    assert_eq!(phase(&timeline, PhaseKind::Open).unwrap().1, 6_000);
    assert!(remarked(&timeline, "ends-before-standstill"));
}

#[test]
fn a_brake_has_flight_bounce_and_short() {
    let waveform = braking().record();
    let timeline = find(&waveform, Role::Brake);
    covers(&timeline, 12_000);
    near(timeline.first_time_of(EventKind::SwitchOff), -4e-3, 50e-6);
    near(timeline.first_time_of(EventKind::Short), 0.0, 20e-6);
    let (first, end) = phase(&timeline, PhaseKind::Open).unwrap();
    assert!(
        (600..612).contains(&first) && (990..=1000).contains(&end),
        "flight {first}..{end}"
    );
    let (first, _) = phase(&timeline, PhaseKind::Shorted).unwrap();
    assert!((1070..1080).contains(&first), "shorted from {first}");
    assert!(timeline.first_time_of(EventKind::Standstill).is_some());
}

#[test]
fn a_brake_is_found_from_the_current_alone() {
    let mut waveform = braking().record();
    waveform.voltage_v = None;
    let timeline = find(&waveform, Role::Brake);
    covers(&timeline, 12_000);
    near(timeline.first_time_of(EventKind::Short), 0.0, 60e-6);
    let (first, _) = phase(&timeline, PhaseKind::Shorted).unwrap();
    assert!((1070..1090).contains(&first), "shorted from {first}");
}

#[test]
fn a_clamped_turn_off_keeps_its_decay() {
    let waveform = TestMotor {
        held: true,
        current: 5.58,
        contacts: vec![(-1.0, Contact::Source), (0.0, Contact::Diode(0.7))],
        step_s: 1e-6,
        start_s: -1e-3,
        rows: 6_000,
        ..TestMotor::default()
    }
    .record();
    let timeline = find(&waveform, Role::TurnOff);
    covers(&timeline, 6_000);
    near(timeline.first_time_of(EventKind::SwitchOff), 0.0, 5e-6);
    let driven: Vec<_> = timeline
        .phases
        .iter()
        .filter(|p| p.kind == PhaseKind::Driven)
        .collect();
    assert_eq!(driven.len(), 2, "{:?}", timeline.phases);
    assert!(driven[1].end - driven[1].first > 500);
    let mut texts = timeline.remarks.iter().map(Remark::to_string);
    assert!(texts.any(|text| text.contains("clamp holds the terminals at -")));
}

#[test]
fn a_start_whose_end_is_released_becomes_two_events() {
    let mut motor = bouncing_start();
    motor.contacts.push((0.3, Contact::Open));
    motor.rows = 50_000;
    motor.step_s = 20e-6;
    let timeline = find(&motor.record(), Role::Start);
    covers(&timeline, 50_000);
    near(timeline.first_time_of(EventKind::SwitchOff), 0.3, 100e-6);
    assert!(phase(&timeline, PhaseKind::Open).is_some());
    assert!(timeline.first_time_of(EventKind::Standstill).is_some());
}

#[test]
fn a_turning_motor_at_the_make_is_told() {
    let mut motor = bouncing_start();
    motor.speed = 150.0;
    let timeline = find(&motor.record(), Role::Start);
    assert!(remarked(&timeline, "turning-at-start"), "{timeline:?}");
    assert_eq!(timeline.phases[0].kind, PhaseKind::Open);
}

#[test]
fn a_record_that_begins_driven_is_told() {
    let waveform = TestMotor {
        contacts: vec![(-1.0, Contact::Source)],
        rows: 3_000,
        ..TestMotor::default()
    }
    .running()
    .record();
    let timeline = find(&waveform, Role::Start);
    covers(&timeline, 3_000);
    assert!(remarked(&timeline, "no-switch-on") || remarked(&timeline, "no-event"));
}
