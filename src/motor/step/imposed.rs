//! The mechanical side alone, under an imposed constant current.

use super::advance::Advance;
use crate::motor::propagator::Phi;
use crate::motor::state_equation::{direction, drag, drag_slope, torque_current};
use crate::motor::{Constants, Real, State};

/// Advances the motor by `step_s` seconds under a constant current.
pub(super) fn advance<S: Real>(
    c: &Constants<S>,
    from: State<S>,
    current: S,
    step_s: f64,
    held: bool,
) -> Advance<S> {
    let mut out = step(c, from, current, step_s, held);
    if c.with_eddy {
        // The screened current relaxes to the imposed one; that its inductance saturates is left out.
        let exponent = -(c.eddy_resistance / (c.inductance * c.eddy_share)) * step_s;
        let kept = exponent.value().exp();
        let kept = S::chain(kept, [kept], [exponent]);
        out.end.eddy_current = current + (from.eddy_current - current) * kept;
    }
    out
}

/// The mechanical side alone.
fn step<S: Real>(
    c: &Constants<S>,
    from: State<S>,
    current: S,
    step_s: f64,
    held: bool,
) -> Advance<S> {
    let mut state = State {
        current,
        eddy_current: current,
        ..from
    };
    let turning = direction(&c.values(), &state.values()).filter(|_| !held);
    let Some(sign) = turning else {
        if !held {
            state.back_emf = 0.0.into();
        }
        return Advance {
            end: state,
            mean_current: current,
            mean_back_emf: state.back_emf,
            steps: 1,
        };
    };
    let rotor = Rotor {
        c,
        torque_current: torque_current(c, current),
        per_capacitance: S::from(1.0) / c.capacitance,
        sign,
    };
    let pieces = rotor.pieces(state.back_emf, step_s);
    let piece_s = step_s / pieces as f64;
    let mut mean: S = 0.0.into();
    for k in 0..pieces {
        let (moved, mean_moved) = rotor.moved(state.back_emf, piece_s);
        let next = state.back_emf + moved;
        if next.value() * sign < 0.0 {
            // Stops inside this piece; friction holds it unless the current turns it the other way.
            let part = state.back_emf.value() / (state.back_emf.value() - next.value());
            mean += state.back_emf * (0.5 * part / pieces as f64);
            let left_s = piece_s * (1.0 - part) + piece_s * (pieces - 1 - k) as f64;
            let arrived = (next - next.value()) * part
                + (state.back_emf - state.back_emf.value()) * (1.0 - part);
            let before = rotor.rate(state.back_emf).value();
            state.back_emf = 0.0.into();
            if let Some(onward) = direction(&c.values(), &state.values())
                && left_s > 0.0
            {
                let after = (rotor.torque_current - c.friction_current * onward).value()
                    / c.capacitance.value();
                state.back_emf = arrived * (after / before);
                let rest = step(c, state, current, left_s, held);
                mean += rest.mean_back_emf * (left_s / step_s);
                state = rest.end;
            }
            break;
        }
        mean += (state.back_emf + mean_moved) * (1.0 / pieces as f64);
        state.back_emf = next;
    }
    Advance {
        end: state,
        mean_current: current,
        mean_back_emf: mean,
        steps: pieces as u32,
    }
}

/// A turning rotor under a constant torque.
struct Rotor<'a, S> {
    c: &'a Constants<S>,
    torque_current: S,
    per_capacitance: S,
    /// Sign of the rotation.
    sign: f64,
}

impl<S: Real> Rotor<'_, S> {
    /// de/dt, V/s.
    fn rate(&self, back_emf: S) -> S {
        (self.torque_current - drag(self.c, back_emf, self.sign)) * self.per_capacitance
    }

    /// Pieces of a step: windage makes the equation quadratic, and its slope is to change little within a piece.
    fn pieces(&self, back_emf: S, step_s: f64) -> usize {
        let change = 2.0 * self.c.windage.value() / self.c.capacitance.value()
            * step_s
            * (self.rate(back_emf).value() * step_s).abs();
        (change / 1e-4).sqrt().ceil().clamp(1.0, 256.0) as usize
    }

    /// What a piece adds to the back-EMF, and what the mean over it is above that at its beginning.
    fn moved(&self, back_emf: S, piece_s: f64) -> (S, S) {
        let rate = self.rate(back_emf);
        let a = -drag_slope(self.c, back_emf) * self.per_capacitance * piece_s;
        let phi = Phi::new(a.value());
        let [by_end, by_mean] =
            [0, 1].map(|f| S::chain(phi.at[f], [phi.slope[f]], [a]) * piece_s * rate);
        (by_end, by_mean)
    }
}
