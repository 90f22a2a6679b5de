//! A start from rest at a constant voltage.

use super::numeric::{
    GROWTH, MOST_STEPS, constants, crossing, current_after, near_summit, square_integral,
    step_range_s,
};
use crate::motor::{Condition, OperatingPoint, State, TerminalParameters, advance};

/// A start from rest.
#[derive(Clone, Copy, Debug)]
pub struct Start {
    pub peak_a: f64,
    pub peak_s: f64,
    /// Until the back-EMF stands at 95 % of its final value.
    pub run_up_s: f64,
    /// ∫ i² dt until then.
    pub square_a2s: f64,
    pub end: OperatingPoint,
}

/// Share of the final speed at which a start counts as done.
pub const RUN_UP_SHARE: f64 = 0.95;

/// Starts the motor at a constant voltage; `None` when it does not turn.
pub fn start(p: &TerminalParameters, voltage_v: f64) -> Option<Start> {
    let end = p.no_load(voltage_v)?;
    let goal = RUN_UP_SHARE * end.back_emf_v;
    let c = constants(p);
    let (mut h, longest) = step_range_s(p);
    let (mut t, mut s) = (0.0, State::rest());
    let mut last = [(0.0, 0.0, s); 3];
    let mut peak = None;
    let mut square_a2s = 0.0;
    let at = |s, part| advance(&c, s, Condition::Voltage(voltage_v), part, false);
    for _ in 0..MOST_STEPS {
        let next = at(s, h);
        let passed = next.end.back_emf >= goal;
        if passed {
            h = crossing(h, |part| at(s, part).end.back_emf - goal);
        }
        let next = if passed { at(s, h) } else { next };
        square_a2s += square_integral(s.current, &next, h);
        t += h;
        last = [last[1], last[2], (t, next.end.current, next.end)];
        if peak.is_none() && last[2].1 < last[1].1 {
            let value = |time| current_after(&c, last[0].2, voltage_v, time - last[0].0);
            peak = Some(near_summit(last.map(|(t, a, _)| (t, a)), value));
        }
        if passed {
            let (peak_s, peak_a) = peak.unwrap_or((t, next.end.current));
            return Some(Start {
                peak_a,
                peak_s,
                run_up_s: t,
                square_a2s,
                end,
            });
        }
        s = next.end;
        h = (h * GROWTH).min(longest);
    }
    None
}

/// States at given rising times after a start from rest.
pub fn start_at(p: &TerminalParameters, voltage_v: f64, times_s: &[f64]) -> Vec<State<f64>> {
    let c = constants(p);
    let (mut t, mut s) = (0.0, State::rest());
    let longest = p
        .electrical_time_constant_s()
        .max(p.mechanical_time_constant_s() / 10.0);
    times_s
        .iter()
        .map(|until| {
            let pieces = ((until - t) / longest).ceil().clamp(1.0, 50.0) as usize;
            let h = (until - t) / pieces as f64;
            for _ in 0..pieces {
                s = advance(&c, s, Condition::Voltage(voltage_v), h, false).end;
            }
            t = *until;
            s
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Control Tutorials, DC motor speed example (R 1, L 0.5, K 0.01, J 0.01, b 0.1): speed at 1 s after a step of 1 V
    /// 0.08303711 rad/s, end 0.0999000999 rad/s, recomputed from the published equations.
    #[test]
    fn val_control_tutorial_start() {
        let k = 0.01;
        let p = TerminalParameters::plain(1.0, 0.5, 0.01 / (k * k), 0.0, 0.1 / (k * k));
        let at = start_at(&p, 1.0, &[0.25, 1.0]);
        assert_relative_eq!(at[1].back_emf / k, 0.083_037_11, max_relative = 1e-6);
        let end = p.no_load(1.0).expect("turns");
        assert_relative_eq!(end.speed_rad_s(k), 0.099_900_099_9, max_relative = 1e-6);
    }

    #[test]
    fn a_motor_that_friction_holds_does_not_start() {
        let p = TerminalParameters::plain(10.0, 1e-3, 1e-3, 3.0, 0.0);
        assert!(start(&p, 24.0).is_none());
    }
}
