//! One step of the motor under one terminal condition.
//!
//! Each step is an exponential Rosenbrock-Euler step ([`super::propagator`]): exact while the system is linear and the
//! voltage constant over the step, second order in what is not (brush drop near zero current, saturation,
//! windage, armature reaction), halved until the neglected part is below [`TOLERANCE`]. Coulomb friction changes sign, the rotor stops
//! and breaks away at instants found inside the step, never smoothed.

use super::propagator::Propagator;
use super::state::slopes;
use super::{Constants, Real, State};

/// Largest neglected part of a step, relative to the state's scale.
const TOLERANCE: f64 = 2e-6;
/// A step is halved at most this many times.
const MOST_HALVINGS: u32 = 12;
/// Back-EMF below which the rotor counts as still, V; only to decide direction, far below any converter's step.
const STILL_V: f64 = 1e-12;

/// What holds at the terminals during a step.
#[derive(Clone, Copy, Debug)]
pub enum Condition<S> {
    /// The loop is closed on this voltage, V, constant over the step.
    Voltage(S),
    /// The current is imposed, A, constant over the step.
    Current(S),
    /// No current.
    Open,
}

/// State at the end of a step and means over it.
#[derive(Clone, Copy, Debug)]
pub struct Advance<S> {
    pub end: State<S>,
    pub mean_current: S,
    pub mean_back_emf: S,
}

/// Advances the motor by `step_s` seconds; `held` clamps the rotor.
pub fn advance<S: Real>(
    constants: &Constants<S>,
    from: State<S>,
    condition: Condition<S>,
    step_s: f64,
    held: bool,
) -> Advance<S> {
    match condition {
        Condition::Voltage(voltage) => connected(constants, from, voltage, step_s, held, 0),
        Condition::Current(current) => imposed(constants, from, current, step_s, held),
        Condition::Open => imposed(constants, from, 0.0.into(), step_s, held),
    }
}

/// Joins two steps that follow each other.
fn joined<S: Real>(
    first: Advance<S>,
    first_s: f64,
    second: Advance<S>,
    second_s: f64,
) -> Advance<S> {
    let share = first_s / (first_s + second_s);
    Advance {
        end: second.end,
        mean_current: first.mean_current * share + second.mean_current * (1.0 - share),
        mean_back_emf: first.mean_back_emf * share + second.mean_back_emf * (1.0 - share),
    }
}

/// Direction in which the rotor turns or is about to turn; `None` when friction holds it.
fn direction<S: Real>(c: &Constants<S>, s: &State<S>) -> Option<f64> {
    let e = s.back_emf.value();
    if e.abs() > STILL_V {
        return Some(e.signum());
    }
    let i = s.current.value();
    let torque = i * (1.0 - c.reaction.value() * i.abs());
    (torque.abs() > c.friction_current.value()).then(|| torque.signum())
}

fn connected<S: Real>(
    c: &Constants<S>,
    from: State<S>,
    v: S,
    h: f64,
    held: bool,
    depth: u32,
) -> Advance<S> {
    let turning = if held { None } else { direction(c, &from) };
    let (next, neglected) = match turning {
        Some(sign) => exponential_step(c, &from, v, h, Some(sign)),
        None => exponential_step(c, &from, v, h, None),
    };
    if depth < MOST_HALVINGS && neglected > TOLERANCE {
        let half = 0.5 * h;
        let first = connected(c, from, v, half, held, depth + 1);
        let second = connected(c, first.end, v, half, held, depth + 1);
        return joined(first, half, second, half);
    }
    if held || depth >= MOST_HALVINGS {
        return next;
    }
    // Did the rotor stop, or break away, inside this step?
    let event = |s: &State<S>| match turning {
        Some(sign) => s.back_emf.value() * sign,
        None => {
            let i = s.current.value();
            c.friction_current.value() - (i * (1.0 - c.reaction.value() * i.abs())).abs()
        }
    };
    if event(&next.end) >= 0.0 || (turning.is_some() && from.back_emf.value().abs() <= STILL_V) {
        return next;
    }
    let (mut low, mut high) = (0.0, h);
    let mut at = next;
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        at = exponential_step(c, &from, v, middle, turning).0;
        if event(&at.end) >= 0.0 {
            low = middle
        } else {
            high = middle
        }
        if high - low < 1e-9 * h {
            break;
        }
    }
    let passed = 0.5 * (low + high);
    if turning.is_some() {
        at.end.back_emf = S::from(0.0);
    } else {
        // Just beyond the friction limit, so that the rotor moves on.
        let nudge = 1e-9 * c.friction_current.value().max(1e-12);
        at.end.current = at.end.current + nudge * at.end.current.value().signum();
    }
    let rest = connected(c, at.end, v, h - passed, held, depth + 2);
    joined(at, passed, rest, h - passed)
}

/// The step itself and the relative size of what it neglects. `turning`: sign of rotation, `None` for a still rotor.
fn exponential_step<S: Real>(
    c: &Constants<S>,
    from: &State<S>,
    v: S,
    h: f64,
    turning: Option<f64>,
) -> (Advance<S>, f64) {
    let s = slopes(c, from, v, turning.unwrap_or(0.0));
    let zero: S = 0.0.into();
    let (mut end, mut mean) = (*from, *from);
    match (turning.is_some(), c.with_eddy) {
        (false, false) => {
            let ([di], [mi]) = increments([[s.current_by_current * h]], [s.current], h);
            end.current += di;
            mean.current += mi;
        }
        (false, true) => {
            let a = [
                [s.current_by_current * h, s.current_by_eddy * h],
                [s.eddy_by_current * h, s.eddy_by_eddy * h],
            ];
            let ([di, dx], [mi, mx]) = increments(a, [s.current, s.eddy], h);
            end.current += di;
            end.eddy_current += dx;
            mean.current += mi;
            mean.eddy_current += mx;
        }
        (true, false) => {
            let a = [
                [s.current_by_current * h, s.current_by_emf * h],
                [s.emf_by_current * h, s.emf_by_emf * h],
            ];
            let ([di, de], [mi, me]) = increments(a, [s.current, s.back_emf], h);
            end.current += di;
            end.back_emf += de;
            mean.current += mi;
            mean.back_emf += me;
        }
        (true, true) => {
            let a = [
                [
                    s.current_by_current * h,
                    s.current_by_emf * h,
                    s.current_by_eddy * h,
                ],
                [s.emf_by_current * h, s.emf_by_emf * h, zero],
                [s.eddy_by_current * h, zero, s.eddy_by_eddy * h],
            ];
            let ([di, de, dx], [mi, me, mx]) = increments(a, [s.current, s.back_emf, s.eddy], h);
            end.current += di;
            end.back_emf += de;
            end.eddy_current += dx;
            mean.current += mi;
            mean.back_emf += me;
            mean.eddy_current += mx;
        }
    }
    if !c.with_eddy {
        end.eddy_current = end.current;
        mean.eddy_current = mean.current;
    }
    let neglected = neglected_part(c, from, &end, v, h, turning, &s);
    (
        Advance {
            end,
            mean_current: mean.current,
            mean_back_emf: mean.back_emf,
        },
        neglected,
    )
}

/// `h φ₁(A) f` and `h φ₂(A) f`.
fn increments<S: Real, const M: usize>(a: [[S; M]; M], f: [S; M], h: f64) -> ([S; M], [S; M]) {
    let characteristic = characteristic(&a);
    let p = Propagator::<M>::new(characteristic.map(Real::value));
    let mut power = f;
    let zero: S = 0.0.into();
    let (mut end, mut mean) = ([zero; M], [zero; M]);
    for k in 0..M {
        if k > 0 {
            let mut next = [zero; M];
            for (row, out) in next.iter_mut().enumerate() {
                for column in 0..M {
                    *out += a[row][column] * power[column];
                }
            }
            power = next;
        }
        let c1 = S::chain(p.phi1[k], p.phi1_partial[k], characteristic);
        let c2 = S::chain(p.phi2[k], p.phi2_partial[k], characteristic);
        for row in 0..M {
            end[row] += c1 * power[row] * h;
            mean[row] += c2 * power[row] * h;
        }
    }
    (end, mean)
}

/// Coefficients of `A^M = Σ p_j A^j`.
fn characteristic<S: Real, const M: usize>(a: &[[S; M]; M]) -> [S; M] {
    let minor = |i: usize, j: usize| a[i][i] * a[j][j] - a[i][j] * a[j][i];
    std::array::from_fn(|k| match (M, k) {
        (1, 0) => a[0][0],
        (2, 0) => -minor(0, 1),
        (2, 1) => a[0][0] + a[1][1],
        (3, 0) => {
            a[0][0] * minor(1, 2) - a[0][1] * (a[1][0] * a[2][2] - a[1][2] * a[2][0])
                + a[0][2] * (a[1][0] * a[2][1] - a[1][1] * a[2][0])
        }
        (3, 1) => -(minor(0, 1) + minor(0, 2) + minor(1, 2)),
        (3, 2) => a[0][0] + a[1][1] + a[2][2],
        _ => unreachable!("the state has one to three components"),
    })
}

/// Relative size of the part of `f(y_end)` that the frozen Jacobian does not hold, carried over half the step.
fn neglected_part<S: Real>(
    c: &Constants<S>,
    from: &State<S>,
    end: &State<S>,
    v: S,
    h: f64,
    turning: Option<f64>,
    s: &super::state::Slopes<S>,
) -> f64 {
    let nonlinear = c.saturation.value() != 0.0
        || c.windage.value() != 0.0
        || c.reaction.value() != 0.0
        || (c.brush_drop.value() != 0.0
            && from.current.value().abs().min(end.current.value().abs())
                < 12.0 * c.brush_scale.value());
    if !nonlinear {
        return 0.0;
    }
    let plain = |x: &State<S>| State {
        current: x.current.value(),
        back_emf: x.back_emf.value(),
        eddy_current: x.eddy_current.value(),
    };
    let (a, b) = (plain(from), plain(end));
    let constants = plain_constants(c);
    let at_end = slopes(&constants, &b, v.value(), turning.unwrap_or(0.0));
    let (di, de, dx) = (
        b.current - a.current,
        b.back_emf - a.back_emf,
        b.eddy_current - a.eddy_current,
    );
    let g_current = at_end.current
        - s.current.value()
        - s.current_by_current.value() * di
        - s.current_by_emf.value() * de
        - s.current_by_eddy.value() * dx;
    let g_emf = at_end.back_emf
        - s.back_emf.value()
        - s.emf_by_current.value() * di
        - s.emf_by_emf.value() * de;
    // φ₂ damps the stiff direction: h φ₂(h λ) ≤ min(h/2, 1/|λ|).
    let reach = (0.5 * h).min(1.0 / s.current_by_current.value().abs().max(1e-300));
    let current_scale = a
        .current
        .abs()
        .max(b.current.abs())
        .max(c.friction_current.value())
        .max(1e-9);
    let emf_scale = a
        .back_emf
        .abs()
        .max(b.back_emf.abs())
        .max(v.value().abs())
        .max(1e-9);
    let emf_part = if turning.is_some() {
        (0.5 * h * g_emf).abs() / emf_scale
    } else {
        0.0
    };
    ((reach * g_current).abs() / current_scale).max(emf_part)
}

fn plain_constants<S: Real>(c: &Constants<S>) -> Constants<f64> {
    Constants {
        resistance: c.resistance.value(),
        inductance: c.inductance.value(),
        capacitance: c.capacitance.value(),
        friction_current: c.friction_current.value(),
        viscous_conductance: c.viscous_conductance.value(),
        windage: c.windage.value(),
        brush_drop: c.brush_drop.value(),
        brush_scale: c.brush_scale.value(),
        saturation: c.saturation.value(),
        reaction: c.reaction.value(),
        eddy_share: c.eddy_share.value(),
        eddy_resistance: c.eddy_resistance.value(),
        with_eddy: c.with_eddy,
    }
}

/// The mechanical side alone, under an imposed constant current.
fn imposed<S: Real>(
    c: &Constants<S>,
    from: State<S>,
    current: S,
    h: f64,
    held: bool,
) -> Advance<S> {
    let mut state = State {
        current,
        eddy_current: current,
        ..from
    };
    let still = |state: State<S>| Advance {
        end: state,
        mean_current: current,
        mean_back_emf: state.back_emf,
    };
    if held {
        return still(state);
    }
    let Some(sign) = direction(c, &state) else {
        state.back_emf = 0.0.into();
        return still(state);
    };
    let torque_current = current * (-(c.reaction * current.abs()) + 1.0);
    let by_capacitance = S::from(1.0) / c.capacitance;
    let slope_at = |e: S| {
        let drag = c.friction_current * sign + c.viscous_conductance * e + c.windage * e * e.abs();
        (
            (torque_current - drag) * by_capacitance,
            -(c.viscous_conductance + c.windage * e.abs() * 2.0) * by_capacitance,
        )
    };
    // Windage makes the equation quadratic: split so that its slope changes little within a piece.
    let change = 2.0 * c.windage.value() / c.capacitance.value()
        * h
        * (slope_at(state.back_emf).0.value() * h).abs();
    let pieces = (change / 1e-4).sqrt().ceil().clamp(1.0, 256.0) as usize;
    let piece_s = h / pieces as f64;
    let mut mean: S = 0.0.into();
    for k in 0..pieces {
        let (f, slope) = slope_at(state.back_emf);
        let ([de], [me]) = increments([[slope * piece_s]], [f], piece_s);
        let next = state.back_emf + de;
        if next.value() * sign < 0.0 {
            // Stops inside this piece; friction holds it unless the current turns it the other way.
            let part = state.back_emf.value() / (state.back_emf.value() - next.value());
            mean += state.back_emf * (0.5 * part / pieces as f64);
            state.back_emf = 0.0.into();
            let left = piece_s * (1.0 - part) + piece_s * (pieces - 1 - k) as f64;
            if direction(c, &state).is_some() && left > 0.0 {
                let rest = imposed(c, state, current, left, held);
                mean += rest.mean_back_emf * (left / h);
                state = rest.end;
            }
            return Advance {
                end: state,
                mean_current: current,
                mean_back_emf: mean,
            };
        }
        mean += (state.back_emf + me) * (1.0 / pieces as f64);
        state.back_emf = next;
    }
    Advance {
        end: state,
        mean_current: current,
        mean_back_emf: mean,
    }
}
