use rand::{SeedableRng, rngs::StdRng};
use rand_distr::{Distribution, Normal};
use rundown::ripple::{CurrentRemark, LineKind, RippleOptions, SpeedShape, analyse_current};
use std::f64::consts::PI;

/// Current of a start seen from after its peak: exponential fall, ripple of `cycles` a revolution, noise.
fn start(final_hz: f64, tau: f64, ripple_a: f64, hum_a: f64) -> (Vec<f64>, Vec<f64>) {
    let mut random = StdRng::seed_from_u64(3);
    let noise = Normal::new(0.0, 0.01).expect("finite");
    (0..6000)
        .map(|k| {
            let t = 0.005 + f64::from(k) * 2e-5;
            let x = t - tau * (1.0 - (-t / tau).exp());
            let i = 0.2
                + 5.0 * (-t / tau).exp()
                + ripple_a * (2.0 * PI * final_hz * x).cos()
                + hum_a * (2.0 * PI * 700.0 * t).sin();
            (t, i + noise.sample(&mut random))
        })
        .unzip()
}

#[test]
fn speed_of_a_start_is_followed() {
    let (t, i) = start(1200.0, 0.02, 0.02, 0.0);
    let found = analyse_current(
        &t,
        &i,
        SpeedShape::RiseFromRest {
            start_s: 0.0,
            like: None,
        },
        None,
        Some(14),
        &RippleOptions::default(),
    )
    .expect("readable");
    let mut checked = 0;
    for point in &found.speed {
        if point.time_s > 0.015 && point.time_s < 0.115 {
            let truth = 2.0 * PI * 1200.0 / 14.0 * (1.0 - (-point.time_s / 0.02).exp());
            let speed = point.speed_rad_per_s.expect("a speed");
            let sd = point.standard_uncertainty_rad_per_s.expect("a bound");
            assert!(
                (speed - truth).abs() < (5.0 * sd).max(0.003 * truth),
                "{speed} ± {sd} against {truth} at {}",
                point.time_s
            );
            checked += 1;
        }
    }
    assert!(checked > 50);
}

#[test]
fn hum_in_a_start_is_not_taken_for_speed() {
    let (t, i) = start(1200.0, 0.03, 0.0, 0.05);
    let found = analyse_current(
        &t,
        &i,
        SpeedShape::RiseFromRest {
            start_s: 0.0,
            like: None,
        },
        None,
        Some(14),
        &RippleOptions::default(),
    )
    .expect("readable");
    assert!(found.frequency_hz.is_none() && found.speed.is_empty());
    assert!(!found.foreign_lines.is_empty());
}

#[test]
fn the_course_of_speed_may_be_given() {
    let (t, i) = start(1200.0, 0.02, 0.02, 0.0);
    let g: Vec<f64> = t.iter().map(|t| 7.0 * (1.0 - (-t / 0.02).exp())).collect();
    let found = analyse_current(
        &t,
        &i,
        SpeedShape::Given(&g),
        None,
        None,
        &RippleOptions::default(),
    )
    .expect("readable");
    let (hz, sd) = found.frequency_hz.expect("a line");
    let end = 1200.0 * g[g.len() - 1] / 7.0;
    assert!(
        (hz - end).abs() < 5.0 * sd + 1.0,
        "{hz} ± {sd} against {end}"
    );
    assert!(
        analyse_current(
            &t,
            &i,
            SpeedShape::Given(&g[1..]),
            None,
            None,
            &RippleOptions::default()
        )
        .is_err()
    );
}

fn steady(hz: f64) -> (Vec<f64>, Vec<f64>) {
    let mut random = StdRng::seed_from_u64(5);
    let noise = Normal::new(0.0, 0.01).expect("finite");
    (0..8000)
        .map(|k| {
            let t = f64::from(k) * 1e-4;
            (
                t,
                0.2 + 0.02 * (2.0 * PI * hz * t + 0.4).cos() + noise.sample(&mut random),
            )
        })
        .unzip()
}

#[test]
fn steady_frequency_is_within_its_bound_and_aliases_are_named() {
    let (t, i) = steady(1234.5);
    let found = analyse_current(
        &t,
        &i,
        SpeedShape::Constant,
        None,
        Some(10),
        &RippleOptions::default(),
    )
    .expect("readable");
    let (hz, sd) = found.frequency_hz.expect("a line");
    assert!((hz - 1234.5).abs() < 4.0 * sd && sd < 0.05, "{hz} ± {sd}");
    assert!((found.aliases_hz[0] - 8765.5).abs() < 0.5);
    assert!(
        found
            .remarks
            .iter()
            .any(|r| matches!(r, CurrentRemark::AliasOpen { .. })),
        "{:?}",
        found.remarks
    );
}

#[test]
fn aliased_steady_ripple_is_placed_by_the_speed_foreseen() {
    // 8.2 kHz sampled at 10 kHz shows at 1.8 kHz.
    let (t, i) = steady(8200.0);
    let found = analyse_current(
        &t,
        &i,
        SpeedShape::Constant,
        Some((8150.0, 80.0)),
        Some(46),
        &RippleOptions::default(),
    )
    .expect("readable");
    let (hz, _) = found.frequency_hz.expect("a line");
    assert!((hz - 8200.0).abs() < 0.5, "{hz}");
    assert!(
        found
            .remarks
            .iter()
            .any(|r| r.to_string().contains("aliased")),
        "{:?}",
        found.remarks
    );
}

#[test]
fn steady_mains_hum_is_left_alone() {
    let (t, i) = steady(100.0);
    let found = analyse_current(
        &t,
        &i,
        SpeedShape::Constant,
        None,
        Some(14),
        &RippleOptions::default(),
    )
    .expect("readable");
    assert!(found.frequency_hz.is_none(), "{:?}", found.frequency_hz);
    assert!(
        found
            .foreign_lines
            .iter()
            .any(|l| l.kind == LineKind::Undecided),
        "{:?}",
        found.foreign_lines
    );
}
