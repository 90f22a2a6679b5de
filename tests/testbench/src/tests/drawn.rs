//! Drawn benches against what the bench promises.

use crate::chance::Dice;
use crate::motor::Commutation;
use crate::{Capture, CurrentSensor, DrawError, ErrorLaw, Instruments, ShotKind, draw, presets};
use approx::assert_relative_eq;
use sha2::{Digest, Sha256};

#[test]
fn the_same_seed_gives_the_same_bench_and_another_seed_another() {
    let scenario = presets::blind_winder();
    let first = draw(&scenario, 4).unwrap();
    assert_eq!(first, draw(&scenario, 4).unwrap());
    let other = draw(&scenario, 5).unwrap();
    assert_ne!(first.captures[0], other.captures[0]);
    assert_ne!(first.truth.instrument_errors, other.truth.instrument_errors);
}

#[test]
fn a_capture_more_changes_no_other_capture() {
    let scenario = presets::curd_stirrer();
    let few = scenario.with_plan(&[("start", ShotKind::Start)]);
    let more = scenario.with_plan(&[("held", ShotKind::Locked), ("start", ShotKind::Start)]);
    assert_eq!(
        draw(&few, 9).unwrap().captures[0],
        draw(&more, 9).unwrap().captures[1]
    );
}

#[test]
fn every_preset_gives_a_bench_that_fits_its_screen() {
    let mut segments: Vec<u32> = Vec::new();
    for scenario in presets::all() {
        segments.push(scenario.machine.commutator.segments);
        let name = scenario.facts.name.clone();
        assert_eq!(presets::named(&name).unwrap(), scenario);
        let drawn = draw(&scenario, 1).unwrap();
        assert!(drawn.captures.len() >= 4, "{name}");
        for capture in &drawn.captures {
            let rows = capture.waveform.rows();
            assert!((5_000..=10_000).contains(&rows), "{name}: {rows} rows");
            let current = &capture.waveform.current_a;
            assert!(!current.clipped.contains(&true), "{name} {}", capture.name);
            let step = current.step;
            let (low, high) = current
                .values
                .iter()
                .fold((f64::MAX, f64::MIN), |(a, b), &v| (a.min(v), b.max(v)));
            // A person fills more than a third of the screen, zero included.
            let span = high.max(0.0) - low.min(0.0);
            assert!(span > 85.0 * step, "{name} {}", capture.name);
        }
    }
    segments.sort_unstable();
    assert!(segments.first() == Some(&3) && segments.last() == Some(&24));
}

#[test]
fn shown_values_lie_on_the_converters_grid() {
    let drawn = draw(&presets::ramp_lift(), 2).unwrap();
    for (capture, truth) in drawn.captures.iter().zip(&drawn.truth.captures) {
        for (trace, vertical) in [
            (
                capture.waveform.voltage_v.as_ref().unwrap(),
                &truth.voltage_vertical,
            ),
            (&capture.waveform.current_a, &truth.current_vertical),
        ] {
            assert_eq!(trace.step, vertical.step);
            for value in &trace.values {
                let code = (value - vertical.middle) / vertical.step;
                assert!((code - code.round()).abs() < 1e-6, "{value}");
                assert!((-128.0..=127.0).contains(&code.round()));
            }
        }
    }
}

#[test]
fn gains_and_zeros_enter_as_the_truth_tells() {
    let mut scenario = presets::blind_winder().with_plan(&[("brake", ShotKind::Brake)]);
    scenario.instruments = Instruments {
        bits: 24,
        noise_div: 0.0,
        sensor_noise_a: 0.0,
        skew_limit_s: 0.0,
        time_base_limit: 0.0,
        ..scenario.instruments
    };
    let told = draw(&scenario, 8).unwrap();
    let mut exact = scenario.clone();
    exact.instruments.vertical_gain_limit = 0.0;
    exact.instruments.probe_gain_limit = 0.0;
    exact.instruments.zero_limit_div = 0.0;
    exact.rig.sensor = CurrentSensor::Clamp {
        gain_limit: 0.0,
        zero_limit_a: 0.0,
        bandwidth_hz: 100e3,
    };
    let exact = draw(&exact, 8).unwrap();
    let errors = &told.truth.instrument_errors;
    let truth = &told.truth.captures[0];
    assert!((errors.voltage_gain() - 1.0).abs() > 1e-4 && truth.current_zero_a.abs() > 1e-4);
    for (trace, reference, gain, zero) in [
        (
            told.captures[0].waveform.voltage_v.as_ref().unwrap(),
            exact.captures[0].waveform.voltage_v.as_ref().unwrap(),
            errors.voltage_gain(),
            truth.voltage_zero_v,
        ),
        (
            &told.captures[0].waveform.current_a,
            &exact.captures[0].waveform.current_a,
            errors.current_gain(),
            truth.current_zero_a,
        ),
    ] {
        let mut compared = 0;
        for row in 0..trace.values.len() {
            if !trace.clipped[row] && !reference.clipped[row] {
                let expected = reference.values[row] * gain + zero;
                assert!((trace.values[row] - expected).abs() < 1e-5, "row {row}");
                compared += 1;
            }
        }
        assert!(compared > 5_000);
    }
}

#[test]
fn instrument_errors_keep_within_their_limits_and_spread_as_stated() {
    for (law, spread) in [
        // A normal distribution cut off at two standard deviations keeps 0.880 of its spread.
        (ErrorLaw::TruncatedNormal, 0.880 * 0.01),
        (ErrorLaw::Rectangular, 0.02 / 3.0_f64.sqrt()),
    ] {
        let scenario = presets::blind_winder();
        let instruments = Instruments {
            law,
            ..scenario.instruments
        };
        let gains: Vec<f64> = (0..4000)
            .map(|seed| {
                let mut dice = Dice::new(seed, "instruments");
                instruments.draw(&scenario.rig, &mut dice).scope_gain_v - 1.0
            })
            .collect();
        assert!(gains.iter().all(|gain| gain.abs() <= 0.02));
        let variance = gains.iter().map(|g| g * g).sum::<f64>() / gains.len() as f64;
        assert_relative_eq!(variance.sqrt(), spread, max_relative = 0.05);
    }
}

#[test]
fn a_limited_supply_holds_its_limit() {
    let mut scenario = presets::blind_winder().with_plan(&[("held", ShotKind::LockedClean)]);
    scenario.rig.current_limit_a = Some(3.0);
    scenario.plan[0].span = 2.0;
    let drawn = draw(&scenario.clean(), 1).unwrap();
    let current = &drawn.captures[0].waveform.current_a;
    let last = *current.values.last().unwrap();
    assert!((last - 3.0).abs() < 0.1, "{last} A");
    assert!(drawn.truth.captures[0].peak_current_a > 3.02);
}

#[test]
fn a_clean_bench_is_the_plain_model_with_white_noise() {
    let scenario = presets::blind_winder().clean();
    assert!(Commutation::draw(&scenario.machine, &mut Dice::new(1, "x")).is_flat());
    let drawn = draw(&scenario, 3).unwrap();
    let errors = drawn.truth.instrument_errors;
    assert_eq!((errors.voltage_gain(), errors.current_gain()), (1.0, 1.0));
    // The stretch before the event of the start: noise of the stated size, white.
    let start = &drawn.captures[0];
    assert_eq!(start.kind, ShotKind::Start);
    let values = &start.waveform.current_a.values[..500];
    let vertical = drawn.truth.captures[0].current_vertical;
    let stated = (scenario.instruments.noise_div * vertical.per_division)
        .hypot(scenario.instruments.sensor_noise_a);
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let covariance = |lag: usize| {
        values[lag..]
            .iter()
            .zip(values)
            .map(|(a, b)| (a - mean) * (b - mean))
            .sum::<f64>()
            / count
    };
    assert_relative_eq!(covariance(0).sqrt(), stated, max_relative = 0.15);
    assert!((covariance(1) / covariance(0)).abs() < 0.2);
}

#[test]
fn a_plan_without_voltage_states_source_and_loop_resistance() {
    let mut scenario = presets::seed_spreader().with_plan(&[("start", ShotKind::Start)]);
    scenario.plan[0].voltage_recorded = false;
    let drawn = draw(&scenario, 1).unwrap();
    let capture = &drawn.captures[0];
    assert!(capture.waveform.voltage_v.is_none());
    let stated = capture.loop_resistance_ohm.unwrap();
    assert!((stated.value - 0.08).abs() < 5.0 * stated.standard_uncertainty);
    assert_eq!(capture.source_v.unwrap().value, 12.6);
}

#[test]
fn impossible_scenarios_are_told() {
    let mut scenario = presets::blind_winder();
    scenario.machine.coulomb_friction_nm = 0.5;
    scenario.machine.breakaway_nm = 0.6;
    let error = draw(&scenario, 1).unwrap_err();
    assert!(error.to_string().contains("does not start"), "{error}");

    let mut scenario = presets::blind_winder();
    scenario.machine.rotor_inertia_kg_m2 = f64::NAN;
    let error = draw(&scenario, 1).unwrap_err();
    assert_eq!(
        error.to_string(),
        "machine: rotor_inertia_kg_m2 is NaN; it must be a positive number"
    );

    let mut scenario = presets::blind_winder();
    scenario.plan[1].name = "start".to_owned();
    assert_eq!(
        draw(&scenario, 1).unwrap_err(),
        DrawError::SameName {
            name: "start".to_owned()
        }
    );
}

/// First half of the SHA-256 over the numbers shown.
fn fingerprint(capture: &Capture) -> String {
    let traces = [
        capture.waveform.voltage_v.as_ref().unwrap(),
        &capture.waveform.current_a,
    ];
    let mut hasher = Sha256::new();
    for value in traces.into_iter().flat_map(|trace| &trace.values) {
        hasher.update(value.to_le_bytes());
    }
    let digest = hasher.finalize();
    digest[..8]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

#[test]
fn regress_the_bytes_of_one_bench_are_the_same_on_every_machine() {
    // Fingerprints of the shown numbers on x86-64 with rand 0.9; a change of the simulation moves them.
    let drawn = draw(&presets::blind_winder(), 1).unwrap();
    let prints: Vec<String> = drawn.captures.iter().map(fingerprint).collect();
    assert_eq!(
        prints,
        [
            "5a206c02811b31ae",
            "dd973a14bfa56cdc",
            "ead5b3d6c34a3721",
            "52eff6d09ec23be7"
        ]
    );
}

#[test]
fn captures_on_one_range_share_its_gain_and_others_have_their_own() {
    let law = presets::Departure::RangeGains;
    let drawn = draw(&law.of(presets::label_peeler()), 3).unwrap();
    let limit = drawn.truth.instruments.range_gain_limit;
    let mut ranges: Vec<(u64, f64)> = Vec::new();
    for truth in &drawn.truth.captures {
        let gain = truth.range_gains[1];
        assert!((gain - 1.0).abs() <= limit && gain != 1.0);
        let range = truth.current_vertical.per_division.to_bits();
        match ranges.iter().find(|known| known.0 == range) {
            Some(known) => assert_eq!(known.1, gain),
            None => ranges.push((range, gain)),
        }
    }
    assert!(ranges.len() > 1, "one range only");
    ranges.dedup_by_key(|range| range.1.to_bits());
    assert!(ranges.len() > 1, "one gain on all ranges");
    let plain = draw(&presets::label_peeler(), 3).unwrap();
    assert!(
        plain
            .truth
            .captures
            .iter()
            .all(|t| t.range_gains == [1.0; 2])
    );
}
