use super::*;
use crate::drive::order::Order;
use crate::drive::sample::tests::plain;
use crate::motor::TerminalParameters;
use crate::motor::temperature::copper_ratio;
use crate::motor::thermal::tests::NETWORK;
use approx::assert_relative_eq;

fn setting() -> Setting {
    let mut order = Order::usual(24.0);
    order.winding_limit_c = Some(130.0);
    order.ambient_c = 40.0;
    let mut setting = Setting::of(order);
    setting.winding_c = Some(25.0);
    setting
}

fn motor() -> Sample {
    Sample {
        thermal: Some(NETWORK),
        ..plain(
            TerminalParameters {
                brush_drop_v: 0.7,
                brush_scale_a: 0.01,
                ..TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 0.0)
            },
            0.042,
        )
    }
}

/// Heat in a winding at 130 °C, W.
fn heat_w(current_a: f64) -> f64 {
    current_a * (current_a * 3.2 * copper_ratio(25.0, 130.0) + 0.7)
}

/// Peak rise of the winding under heat that is on for `on_s` of every `cycle_s`, by small steps of the two equations.
fn peak_k(heat_w: f64, on_s: f64, cycle_s: f64, cycles: usize) -> f64 {
    let (mut winding, mut housing, mut peak) = (0.0f64, 0.0f64, 0.0f64);
    let h = 0.1;
    for step in 0..(cycles as f64 * cycle_s / h) as usize {
        let power = if (step as f64 * h) % cycle_s < on_s {
            heat_w
        } else {
            0.0
        };
        let across = (winding - housing) / 9.0;
        winding += h * (power - across) / 14.0;
        housing += h * (across - housing / 14.0) / 176.0;
        peak = peak.max(winding);
    }
    peak
}

#[test]
fn every_duty_ends_at_the_limit() {
    let (setting, motor) = (setting(), motor());
    let rated = Rated::new(&setting, &motor).expect("known");
    let steady = rated.current_a(rated.continuous_w(0.0));
    assert_relative_eq!(heat_w(steady) * 23.0, 90.0, max_relative = 1e-9);
    for minutes in SHORT_TIMES_MIN {
        let current = rated.current_a(rated.short_time_w(60.0 * minutes, 0.0));
        let peak = peak_k(heat_w(current), 60.0 * minutes, 60.0 * minutes, 1);
        assert_relative_eq!(peak, 90.0, max_relative = 1e-3);
        assert!(current > steady);
    }
    for factor in DUTY_FACTORS {
        let current = rated.current_a(rated.intermittent_w(factor));
        let peak = peak_k(heat_w(current), factor * CYCLE_S, CYCLE_S, 60);
        assert_relative_eq!(peak, 90.0, max_relative = 2e-3);
    }
}

#[test]
fn a_held_rotor_reaches_the_limit_when_a_simulation_does() {
    let (setting, motor) = (setting(), motor());
    let rated = Rated::new(&setting, &motor).expect("known");
    let (mut winding, mut housing, mut time) = (0.0f64, 0.0f64, 0.0);
    let h = 1e-3;
    while winding < 90.0 {
        let r = 3.2 * copper_ratio(25.0, 40.0 + winding);
        let current = 23.3 / r;
        let across = (winding - housing) / 9.0;
        winding += h * (24.0 * current - across) / 14.0;
        housing += h * (across - housing / 14.0) / 176.0;
        time += h;
    }
    assert_relative_eq!(
        rated.held_s(24.0, 0.0, Rise::default()),
        time,
        max_relative = 3e-3
    );
    // At a voltage at which it gives off all its heat below the limit.
    assert!(rated.held_s(3.0, 0.0, Rise::default()).is_infinite());
}

#[test]
fn without_a_heat_run_there_is_no_number() {
    let mut out = Section::default();
    let motor = Sample {
        thermal: None,
        ..motor()
    };
    fill(&setting(), &motor, &mut out);
    assert!(out.values.iter().all(Result::is_err));
}
