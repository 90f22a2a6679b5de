//! Half bridge: braking that comes by itself, and what dead time does to the mean voltage (`docs/drive.md`, section 6).

use super::pwm;
use crate::drive::Note;
use crate::drive::circuit::brake;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why, given};
use crate::drive::setting::Setting;
use crate::motor::State;

/// Mean voltage lost to dead time at a current in the running direction, V: `−f t_d (V + 2 V_d)`. The diode of the low
/// switch carries the current in both dead times: once instead of the high switch (loses V + V_d), once instead of the
/// low switch (loses V_d). Against the running direction the sign turns.
pub fn dead_time_v(supply_v: f64, diode_v: f64, frequency_hz: f64, dead_time_s: f64) -> f64 {
    frequency_hz * dead_time_s * (supply_v + 2.0 * diode_v)
}

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let settled = pwm::settled(setting, m, true);
    out.row(
        "half_bridge_speed",
        settled.and_then(|(_, emf_v)| m.speed_rad_s(emf_v)),
    );
    let running = settled.and_then(|(chopper, emf_v)| {
        if emf_v <= 0.0 {
            return Err(pwm::HELD);
        }
        let current = chopper.cycle(emf_v).mean_a;
        Ok(State::at(current, emf_v))
    });
    braking(setting, m, out, running);
    dead_time(setting, m, out);
    out.remark(|| Note::DeadTimeNearNoLoad);
}

/// Resistance of the loop outside the motor while a switch conducts, Ω.
fn series_ohm(setting: &Setting) -> f64 {
    let switch = setting.order.switch_resistance_ohm.unwrap_or(0.0);
    setting.order.lead_resistance_ohm + switch
}

/// Braking through the low switch from a running state.
fn braking(setting: &Setting, m: &Sample, out: &mut Section, running: Known<State<f64>>) {
    let order = &setting.order;
    let stopped =
        running.and_then(|from| Ok(brake(&m.machine(series_ohm(setting))?, from, 0.0, 0.0)));
    out.row("low_switch_brake_peak", stopped.map(|stop| stop.peak_a));
    out.row(
        "low_switch_brake_slow",
        stopped.and_then(|stop| stop.slow_s.ok_or(Why::Moot("it does not slow down so far"))),
    );
    out.row(
        "duty_step",
        given(order.current_limit_a, "--current-limit").and_then(|limit| {
            let from = running?;
            let r = m.resistance_ohm?
                + order.lead_resistance_ohm
                + order.switch_resistance_ohm.unwrap_or(0.0);
            // From +I to −limit: d falls by R (I + limit)/V, the brush drop turning too.
            let step = (r * (from.current + limit) + 2.0 * m.brush_drop_v?) / order.supply_v;
            Ok(step.min(order.duty))
        }),
    );
}

/// What dead time does to voltage, duty and speed.
fn dead_time(setting: &Setting, m: &Sample, out: &mut Section) {
    let order = &setting.order;
    let lost = given(order.dead_time_s, "--dead-time").map(|dead_time| {
        dead_time_v(
            order.supply_v,
            order.diode_drop_v,
            order.frequency_hz,
            dead_time,
        )
    });
    out.row("dead_time_voltage", lost);
    out.row(
        "dead_time_duty",
        lost.map(|lost| lost / (order.supply_v * order.duty)),
    );
    out.row(
        "dead_time_speed",
        lost.and_then(|lost| {
            let with = |lost: f64| -> Known {
                let mean = order.duty * order.supply_v - lost;
                let p = m.machine(series_ohm(setting))?;
                Ok(p.no_load(mean).map_or(0.0, |at| at.back_emf_v))
            };
            m.speed_rad_s(with(0.0)? - with(lost)?)
        }),
    );
    out.row(
        "least_duty",
        given(order.dead_time_s, "--dead-time").map(|dead_time| dead_time * order.frequency_hz),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::{Condition, Constants, TerminalParameters, advance};
    use approx::assert_relative_eq;

    /// A held rotor switched with dead time, both diodes modelled: the mean voltage at the terminals, both directions.
    #[test]
    fn dead_time_agrees_with_the_simulation() {
        let (supply, diode, frequency, dead, duty) = (24.0, 0.9, 20e3, 5e-7, 0.5);
        let c = Constants::<f64>::new(&TerminalParameters::plain(3.2, 2.4e-3, 1e9, 0.0, 0.0));
        for (emf, sign) in [(2.0, 1.0), (22.0, -1.0)] {
            let mut s = State::at(0.0, emf);
            let (period, steps) = (1.0 / frequency, 1000);
            let h = period / f64::from(steps);
            let (mut mean, cycles) = (0.0, 400);
            for cycle in 0..cycles {
                for step in 0..steps {
                    let t = (f64::from(step) + 0.5) * h;
                    let on = duty * period;
                    let floating = if s.current > 0.0 {
                        -diode
                    } else {
                        supply + diode
                    };
                    let v = match t {
                        t if t < dead => floating,
                        t if t < on => supply,
                        t if t < on + dead => floating,
                        _ => 0.0,
                    };
                    if cycle >= cycles - 100 {
                        mean += v * h * frequency / 100.0;
                    }
                    s = advance(&c, s, Condition::Voltage(v), h, true).end;
                }
            }
            let lost = sign * dead_time_v(supply, diode, frequency, dead);
            assert_relative_eq!(duty * supply - mean, lost, max_relative = 1e-2);
        }
    }
}
