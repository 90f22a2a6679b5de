//! Bench mistakes that one waveform shows: what the person is told.

use rundown::bench::{CaptureWarning, Role, Trace, Waveform};
use rundown::capture::{self, ReadOptions, Record};
use rundown::events::{Exclusion, PhaseKind, Timeline, find, guess_columns, guess_role};
use std::path::Path;

fn record(name: &str) -> Record {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/faulty")
        .join(name);
    capture::read(&path, &ReadOptions::default()).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Voltage and current columns as they stand in these files.
fn waveform(record: &Record) -> Waveform {
    let trace = |unit: &str, step: f64| {
        let channel = record
            .channels
            .iter()
            .find(|c| c.unit.as_deref() == Some(unit))?;
        Some(Trace {
            values: channel.values.clone(),
            quantisation_step: Some(step),
            clipped: vec![false; channel.values.len()],
        })
    };
    Waveform {
        time: record.time.clone(),
        voltage_v: trace("V", 0.0625),
        current_a: trace("A", 0.0156),
    }
}

fn told(name: &str, role: Role) -> Timeline {
    let record = record(name);
    find(&waveform(&record), role)
}

#[track_caller]
fn says(timeline: &Timeline, words: &[&str]) {
    let all: Vec<String> = timeline.remarks.iter().map(ToString::to_string).collect();
    let all = all.join("\n");
    for word in words {
        assert!(all.contains(word), "`{word}` is missing in: {all}");
    }
}

#[test]
fn a_clipped_peak_is_counted_and_its_effect_told() {
    let timeline = told("clipped_current.csv", Role::Start);
    says(
        &timeline,
        &[
            "the current clips at 1.01 A for 183 samples",
            "1.01 A",
            "resistance",
            "inductance",
            "larger scale",
        ],
    );
    let clipped: usize = timeline
        .phases
        .iter()
        .filter(|p| p.kind == PhaseKind::Excluded(Exclusion::Clipped))
        .map(|p| p.end - p.first)
        .sum();
    assert!(clipped >= 160, "{:?}", timeline.phases);
}

#[test]
fn an_ac_coupled_run_down_is_not_used() {
    let timeline = told("ac_coupled_rundown.csv", Role::RunDown);
    says(
        &timeline,
        &[
            "AC coupling",
            "crosses zero",
            "not usable for friction",
            "DC coupling",
        ],
    );
    assert!(!timeline.phases.iter().any(|p| p.kind == PhaseKind::Open));
}

#[test]
fn a_current_limited_supply_is_told() {
    let timeline = told("current_limited_start.csv", Role::Start);
    says(
        &timeline,
        &[
            "plateau",
            "sags",
            "makes no step",
            "only a record with the voltage measured",
        ],
    );
}

#[test]
fn a_reversed_current_probe_is_told() {
    let timeline = told("current_reversed.csv", Role::Start);
    says(
        &timeline,
        &[
            "current is negative while the source drives",
            "flip the polarity",
        ],
    );
    let guess = guess_columns(&record("current_reversed.csv"));
    assert!(
        guess.current_reversed && !guess.voltage_reversed,
        "{guess:?}"
    );
}

#[test]
fn an_undersampled_rise_is_told_with_the_interval_needed() {
    let timeline = told("rise_undersampled.csv", Role::Start);
    says(
        &timeline,
        &[
            "inductance cannot be determined",
            "1.00 ms",
            "Sample at 50.0 µs or less",
        ],
    );
}

#[test]
fn a_missed_trigger_is_told() {
    let timeline = told("trigger_missed.csv", Role::Start);
    says(
        &timeline,
        &["no event above the noise", "trigger was probably missed"],
    );
    assert!(
        timeline
            .phases
            .iter()
            .all(|p| matches!(p.kind, PhaseKind::Excluded(_)))
    );
}

#[test]
fn a_gap_in_time_is_cut() {
    let timeline = told("gap_in_time.csv", Role::Start);
    assert!(
        timeline
            .phases
            .iter()
            .any(|p| p.kind == PhaseKind::Excluded(Exclusion::Gap)),
        "{:?}",
        timeline.phases
    );
}

#[test]
fn a_blank_voltage_leaves_the_current_usable() {
    let timeline = told("all_blank.csv", Role::Start);
    assert!(
        timeline.phases.iter().any(|p| p.kind == PhaseKind::Driven),
        "{:?}",
        timeline.phases
    );
    let guess = guess_columns(&record("all_blank.csv"));
    assert_eq!((guess.voltage, guess.current.is_some()), (None, true));
}

#[test]
fn faulty_captures_still_show_their_role() {
    for (name, role) in [
        ("ac_coupled_rundown.csv", Role::RunDown),
        ("all_blank.csv", Role::Start),
        ("clipped_current.csv", Role::Start),
        ("current_limited_start.csv", Role::Start),
        ("current_reversed.csv", Role::Start),
        ("gap_in_time.csv", Role::Start),
        ("rise_undersampled.csv", Role::Start),
    ] {
        let record = record(name);
        let guess = guess_role(&waveform(&record));
        assert_eq!(guess.role, role, "{name}: {guess:?}");
    }
}

#[test]
fn a_record_that_begins_with_current_flowing_is_no_reversed_probe() {
    // The tail of a start: the current only falls, towards what friction takes.
    let record = record("gap_in_time.csv");
    let mut tail = waveform(&record);
    let from = 500;
    tail.time = rundown::capture::TimeAxis::Uniform {
        start_s: 0.0,
        step_s: 8e-5,
        len: tail.time.len() - from,
    };
    for trace in [&mut tail.voltage_v, &mut tail.current_a]
        .into_iter()
        .flatten()
    {
        trace.values.drain(..from);
        trace.clipped.drain(..from);
    }
    let timeline = find(&tail, Role::Start);
    assert_eq!(timeline.capture_warnings, [], "{:?}", timeline.remarks);
    for trace in tail.current_a.iter_mut() {
        trace.values.iter_mut().for_each(|i| *i = -*i);
    }
    assert_eq!(
        find(&tail, Role::Start).capture_warnings,
        [CaptureWarning::WrongPolarity]
    );
}

#[test]
fn each_mistake_leaves_its_doubt() {
    for (name, role, capture_warnings) in [
        (
            "ac_coupled_rundown.csv",
            Role::RunDown,
            &[CaptureWarning::AcCoupled][..],
        ),
        (
            "current_reversed.csv",
            Role::Start,
            &[CaptureWarning::WrongPolarity],
        ),
        (
            "rise_undersampled.csv",
            Role::Start,
            &[CaptureWarning::RiseBetweenSamples],
        ),
        (
            "trigger_missed.csv",
            Role::Start,
            &[CaptureWarning::NoEvent],
        ),
        ("current_limited_start.csv", Role::Start, &[]),
        ("clipped_current.csv", Role::Start, &[]),
        ("gap_in_time.csv", Role::Start, &[]),
        ("all_blank.csv", Role::Start, &[]),
    ] {
        assert_eq!(
            told(name, role).capture_warnings,
            capture_warnings,
            "{name}"
        );
    }
}
