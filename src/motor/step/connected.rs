//! The loop closed on a voltage: smooth steps, halved where they must be, between the instants at which friction changes.

use super::advance::Advance;
use super::simulated::Simulated;
use crate::motor::state::StateVariable;
use crate::motor::state_equation::{STILL_V, StateEquation, direction, torque_current};
use crate::motor::{Constants, State};

/// A step is halved at most this many times.
const MOST_HALVINGS: u32 = 12;

/// Advances the motor by `step_s` seconds on a constant voltage.
pub(super) fn step<S: Simulated>(
    c: &Constants<S>,
    from: State<S>,
    voltage: S,
    step_s: f64,
    held: bool,
) -> Advance<S> {
    Connected { c, voltage, held }.advance(from, step_s, 0)
}

/// What stays the same while a step is cut up.
struct Connected<'a, S> {
    c: &'a Constants<S>,
    voltage: S,
    held: bool,
}

impl<S: Simulated> Connected<'_, S> {
    /// `depth`: how often the step was cut.
    fn advance(&self, from: State<S>, h: f64, depth: u32) -> Advance<S> {
        let turning = if self.held {
            None
        } else {
            direction(&self.c.values(), &from.values())
        };
        let (mut next, error) = smooth_step(self.c, &from, self.voltage, h, turning);
        if depth < MOST_HALVINGS && error > self.c.tolerance {
            let half = 0.5 * h;
            let first = self.advance(from, half, depth + 1);
            let second = self.advance(first.end, half, depth + 1);
            let mut both = first.followed_by(half, second, half);
            both.steps += next.steps;
            return both;
        }
        let starts_still = turning.is_some() && from.back_emf.value().abs() <= STILL_V;
        if self.held
            || depth >= MOST_HALVINGS
            || self.margin(&next.end.values(), turning) >= 0.0
            || starts_still
        {
            return next;
        }
        let passed = self.instant(&from, h, turning, &mut next.steps);
        let mut at = smooth_step(self.c, &from, self.voltage, passed, turning).0;
        if let Some(sign) = turning {
            at.end.back_emf = self.turned_on(&at.end, sign);
        } else {
            // Just beyond the friction limit, so that the rotor moves on.
            let nudge = 1e-9 * self.c.friction_current.value().max(1e-12);
            at.end.current = at.end.current + nudge * at.end.current.value().signum();
        }
        let rest = self.advance(at.end, h - passed, depth + 2);
        at.steps = next.steps;
        at.followed_by(passed, rest, h - passed)
    }

    /// Negative once the rotor, turning in this direction or still, has stopped or broken away.
    fn margin(&self, state: &State<f64>, turning: Option<f64>) -> f64 {
        match turning {
            Some(sign) => state.back_emf * sign,
            None => {
                let c = self.c.values();
                c.friction_current - torque_current(&c, state.current).abs()
            }
        }
    }

    /// The instant within a step of `h` at which the rotor stops or breaks away, by bisection without derivatives; its steps are added to `steps`.
    fn instant(&self, from: &State<S>, h: f64, turning: Option<f64>, steps: &mut u32) -> f64 {
        let (mut low, mut high) = (0.0, h);
        let (c, start) = (self.c.values(), from.values());
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            *steps += 1;
            let at = smooth_step(&c, &start, self.voltage.value(), middle, turning).0;
            if self.margin(&at.end, turning) >= 0.0 {
                low = middle
            } else {
                high = middle
            }
            if high - low < 1e-9 * h {
                break;
            }
        }
        0.5 * (low + high)
    }

    /// The back-EMF, zero, at the instant in which the rotor comes to rest. Where a current turns it on at once the other way,
    /// friction changes sign there, and a shift of that instant shifts what follows by the ratio of the slopes after and before.
    fn turned_on(&self, at: &State<S>, sign: f64) -> S {
        let (c, state) = (self.c.values(), at.values());
        let still = State {
            back_emf: 0.0,
            ..state
        };
        let Some(onward) = direction(&c, &still) else {
            return 0.0.into();
        };
        let rate = |sign: f64| {
            StateEquation::new(&c, &state, self.voltage.value(), sign).rate(StateVariable::BackEmf)
        };
        (at.back_emf - state.back_emf) * (rate(onward) / rate(sign))
    }
}

/// The smooth step over the variables that move, with the relative size of the error left in it. `turning`: sign of rotation, `None` for a still rotor.
fn smooth_step<S: Simulated>(
    c: &Constants<S>,
    from: &State<S>,
    voltage: S,
    h: f64,
    turning: Option<f64>,
) -> (Advance<S>, f64) {
    match (turning, c.with_eddy) {
        (None, false) => S::smooth_step::<1, false>(c, from, voltage, h, 0.0),
        (None, true) => S::smooth_step::<2, false>(c, from, voltage, h, 0.0),
        (Some(sign), false) => S::smooth_step::<2, true>(c, from, voltage, h, sign),
        (Some(sign), true) => S::smooth_step::<3, true>(c, from, voltage, h, sign),
    }
}

#[cfg(test)]
mod tests {
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    fn bent() -> Constants<f64> {
        Constants::new(&TerminalParameters {
            windage_a_per_v2: 2e-5,
            brush_drop_v: 0.7,
            brush_scale_a: 0.07,
            saturation_per_a: 1.0 / 9.0,
            armature_reaction_per_a: 0.003,
            eddy_share: 0.2,
            eddy_resistance_ohm: 8.0,
            ..TerminalParameters::plain(3.2, 2.3e-3, 3.7e-3, 0.13, 3e-3)
        })
    }

    /// A start and a brake in steps a twentieth of L/R long agree with steps four hundred times shorter.
    #[test]
    fn coarse_steps_agree_with_fine_ones() {
        let c = bent();
        let run = |step: f64| {
            let mut s = State::rest();
            let mut charge = 0.0;
            let count = (0.02 / step).round() as usize;
            for k in 0..2 * count {
                let v = if k < count { 24.0 } else { 0.0 };
                let next = advance(&c, s, Condition::Voltage(v), step, false);
                charge += next.mean_current.abs() * step;
                s = next.end;
            }
            (s, charge)
        };
        let (coarse, coarse_charge) = run(4e-5);
        let (fine, fine_charge) = run(1e-7);
        assert_relative_eq!(coarse.current, fine.current, max_relative = 2e-5);
        assert_relative_eq!(coarse.back_emf, fine.back_emf, max_relative = 2e-5);
        assert_relative_eq!(coarse_charge, fine_charge, max_relative = 2e-5);
    }

    /// A short over two of L/R in which the current changes its sign. However small a bend is, the step follows it, so that a fit
    /// finds no ledge where halving sets in.
    #[test]
    fn a_bend_inside_one_step_is_followed_whatever_its_size() {
        for k in 0..60 {
            let size = 10f64.powf(-5.0 + 0.08 * f64::from(k));
            let plain = TerminalParameters::plain(11.4, 2.1e-4, 3.7e-3, 0.007, 1.2e-3);
            let bends = [
                TerminalParameters {
                    brush_drop_v: size,
                    brush_scale_a: 2.8e-3,
                    ..plain
                },
                TerminalParameters {
                    saturation_per_a: (2.0 * size).sqrt(),
                    ..plain
                },
            ];
            for p in bends {
                let c = Constants::new(&p);
                for first_a in [0.08, 0.1, 0.15] {
                    let run = |count: u32| {
                        let mut s = State::at(first_a, 1.4);
                        let mut mean = 0.0;
                        for _ in 0..count {
                            let step_s = 40e-6 / f64::from(count);
                            let next = advance(&c, s, Condition::Voltage(0.0), step_s, false);
                            mean += next.mean_current / f64::from(count);
                            s = next.end;
                        }
                        [s.current, mean]
                    };
                    for (coarse, fine) in run(1).into_iter().zip(run(400)) {
                        assert!(
                            (coarse - fine).abs() < 2e-6,
                            "{p:?}: {coarse} against {fine}"
                        );
                    }
                }
            }
        }
    }
}
