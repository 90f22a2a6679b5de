//! Braking from running to standstill.

use super::numeric::{
    GROWTH, MOST_STEPS, bisect, constants, crossing, current_after, near_summit, square_integral,
    step_range_s,
};
use crate::motor::{Condition, State, TerminalParameters, advance};

/// A run to standstill.
#[derive(Clone, Copy, Debug)]
pub struct Stop {
    /// Greatest current against the running direction, A.
    pub peak_a: f64,
    pub peak_s: f64,
    /// Until the back-EMF stands at 5 % of its first value; `None` when that takes too long.
    pub slow_s: Option<f64>,
    /// Until the rotor stands still; `None` without friction.
    pub still_s: Option<f64>,
    /// ∫ i² dt, A²·s.
    pub square_a2s: f64,
    /// Energy that went back through the terminals against the imposed voltage, J, and its greatest power, W.
    pub returned_j: f64,
    pub returned_peak_w: f64,
}

/// Share of the first speed at which a brake is nearly done.
pub const SLOW_SHARE: f64 = 0.05;

/// Brakes from running on: the voltage falls in a straight line from `from_v` to 0 over `ramp_s` (0: at once), then
/// the loop stays closed on itself.
pub fn brake(p: &TerminalParameters, running: State<f64>, from_v: f64, ramp_s: f64) -> Stop {
    let c = constants(p);
    let (shortest, longest) = step_range_s(p);
    // Fine against the ramp, and against the time constant with which the back-EMF follows it.
    let pieces = (15.0 * ramp_s / p.mechanical_time_constant_s())
        .clamp(150.0, 2000.0)
        .ceil();
    let mut h = shortest;
    let (mut t, mut s) = (0.0, running);
    let mut stop = Stop {
        peak_a: 0.0,
        peak_s: 0.0,
        slow_s: None,
        still_s: None,
        square_a2s: 0.0,
        returned_j: 0.0,
        returned_peak_w: 0.0,
    };
    let slow_v = SLOW_SHARE * running.back_emf;
    let mut last = [(0.0, -running.current, running); 3];
    for _ in 0..MOST_STEPS {
        let mut voltage = 0.0;
        let mut left_s = f64::INFINITY;
        if t < ramp_s * (1.0 - 1e-9) {
            h = (ramp_s / pieces).min(ramp_s - t);
            voltage = from_v * (1.0 - (t + 0.5 * h) / ramp_s);
        } else {
            if t > 0.0 && ramp_s > 0.0 && h > longest {
                h = shortest;
            }
            left_s = time_left_s(p, s);
            if left_s < 3e-4 * t {
                stop.still_s = Some(t + left_s);
                break;
            }
        }
        // Not up to standstill, whose instant inside a step costs dozens of others.
        let step_s = h.min(0.8 * left_s);
        let at = |part: f64| advance(&c, s, Condition::Voltage(voltage), part, false);
        let next = at(step_s);
        if stop.slow_s.is_none() && next.end.back_emf <= slow_v {
            let part = crossing(step_s, |part| at(part).end.back_emf - slow_v);
            stop.slow_s = Some(t + part);
        }
        if next.end.back_emf <= 0.0 && voltage <= 0.0 {
            let part = bisect(0.0, step_s, |part| at(part).end.back_emf > 0.0);
            stop.still_s = Some(t + part);
        }
        stop.square_a2s += square_integral(s.current, &next, step_s);
        let returned_w = (-voltage * next.mean_current).max(0.0);
        stop.returned_j += returned_w * step_s;
        stop.returned_peak_w = stop.returned_peak_w.max(returned_w);
        t += step_s;
        // Under a ramp the mean over the step: its ends carry the teeth of the stepped voltage.
        let against = if voltage > 0.0 {
            -next.mean_current
        } else {
            -next.end.current
        };
        last = [last[1], last[2], (t, against, next.end)];
        if last[1].1 > stop.peak_a && last[2].1 < last[1].1 {
            let smooth = ramp_s == 0.0 && last[0].0 < last[1].0;
            let value = |time| -current_after(&c, last[0].2, 0.0, time - last[0].0);
            (stop.peak_s, stop.peak_a) = if smooth {
                near_summit(last.map(|(t, a, _)| (t, a)), value)
            } else {
                (last[1].0, last[1].1)
            };
        }
        s = next.end;
        // With friction it stands still soon, whatever small speed a step happens to end at.
        let dies_away = p.friction_current_a <= 0.0 && s.back_emf < 1e-5 * running.back_emf;
        if stop.still_s.is_some() || dies_away {
            break;
        }
        h = (h * GROWTH).min(longest);
    }
    stop
}

/// Time to standstill at the present rate, s; a loop closed on itself slows down less and less.
fn time_left_s(p: &TerminalParameters, s: State<f64>) -> f64 {
    let e = s.back_emf;
    let friction_a = p.friction_current_a + e * (p.viscous_conductance_s + p.windage_a_per_v2 * e);
    match friction_a - s.current {
        against_a if against_a > 0.0 => e * p.inertia_capacitance_f / against_a,
        _ => f64::INFINITY,
    }
}

/// Time after which a motor whose loop is closed on itself stands still, s; `None` where no friction stops it. In few steps, each of which
/// is as exact as a short one ([`advance`]) and ends before standstill: for a search that needs nothing else.
pub fn still_s(p: &TerminalParameters, running: State<f64>) -> Option<f64> {
    let c = constants(p);
    let mut h = 0.5 * p.electrical_time_constant_s();
    let longest = h.max(p.mechanical_time_constant_s() / 4.0);
    let (mut t, mut s) = (0.0, running);
    for _ in 0..MOST_STEPS {
        let left_s = time_left_s(p, s);
        if left_s < 1e-3 * t {
            return Some(t + left_s);
        }
        if s.back_emf < 1e-5 * running.back_emf && p.friction_current_a <= 0.0 {
            return None;
        }
        h = h.min(0.8 * left_s).min(longest);
        let at = |part: f64| advance(&c, s, Condition::Voltage(0.0), part, false).end;
        let end = at(h);
        // A winding that is slower than the rotor swings through.
        if end.back_emf <= 0.0 {
            return Some(t + bisect(0.0, h, |part| at(part).back_emf > 0.0));
        }
        s = end;
        t += h;
        h *= 1.5;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::circuit::start;
    use approx::assert_relative_eq;

    /// Turning without current.
    fn coasting(back_emf: f64) -> State<f64> {
        State {
            current: 0.0,
            back_emf,
            eddy_current: 0.0,
        }
    }

    /// G. K. Dubey, Fundamentals of Electrical Drives, ex. 5.9 (p. 84): 220 V, 175 A, 1000 r/min, armature 0.08 Ω and
    /// 0.12 H, 8 kg·m², braked from 1050 r/min into 0.538 Ω, load torque 15 % of rated. Peak −272.23 A at 0.44 s;
    /// recomputed 272.2294 A at 0.441859 s, standstill after 3.02362 s.
    #[test]
    fn val_dynamic_braking_of_the_textbook_machine() {
        let k = 206.0 / (1000.0 * std::f64::consts::PI / 30.0);
        let speed = 1050.0 * std::f64::consts::PI / 30.0;
        let p =
            TerminalParameters::plain(k * speed / 350.0, 0.12, 8.0 / (k * k), 0.15 * 175.0, 0.0);
        let running = coasting(k * speed);
        let stop = brake(&p, running, 0.0, 0.0);
        assert_relative_eq!(stop.peak_a, 272.2294, max_relative = 2e-4);
        assert_relative_eq!(stop.peak_s, 0.441859, max_relative = 2e-3);
        assert_relative_eq!(stop.still_s.expect("stops"), 3.02362, max_relative = 1e-4);
        let coarse = still_s(&p, running).expect("stops");
        assert_relative_eq!(coarse, 3.02362, max_relative = 1e-4);
    }

    /// Ideal run-up from a stiff source without load, L neglected: heat in the armature circuit J ω₀²/2 for a start
    /// and for dynamic braking (from memory, standard drives texts; exact).
    #[test]
    fn val_heat_of_a_start_and_of_a_brake() {
        let p = TerminalParameters::plain(2.0, 1e-7, 5e-3, 1e-9, 0.0);
        let start = start(&p, 24.0).expect("turns");
        let whole = 0.5 * p.inertia_capacitance_f * 24.0 * 24.0;
        // Up to 95 % of the speed the share 1 − 0.05² of the heat has come.
        assert_relative_eq!(
            2.0 * start.square_a2s,
            whole * (1.0 - 0.05 * 0.05),
            max_relative = 1e-3
        );
        assert_relative_eq!(start.run_up_s, 20f64.ln() * 2.0 * 5e-3, max_relative = 1e-3);
        let stop = brake(&p, start.end.into(), 0.0, 0.0);
        assert_relative_eq!(2.0 * stop.square_a2s, whole, max_relative = 2e-3);
    }

    /// Fast straight ramp, no friction: the rotor's energy is shared between supply and copper, none is left over.
    #[test]
    fn a_ramp_returns_what_the_copper_does_not_take() {
        let p = TerminalParameters::plain(1.0, 1e-6, 1e-2, 1e-7, 0.0);
        let running = coasting(24.0);
        // i = −C_m V/t_r but for the ends: heat R (C_m V)²/t_r.
        let stop = brake(&p, running, 24.0, 1.0);
        let kinetic = 0.5 * 1e-2 * 24.0 * 24.0;
        let heat = stop.square_a2s;
        assert_relative_eq!(stop.returned_j + heat, kinetic, max_relative = 5e-3);
        assert_relative_eq!(stop.peak_a, 0.24, max_relative = 1e-2);
    }
}
