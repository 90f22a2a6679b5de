//! One step of the motor under one terminal condition.
//!
//! Each step is an exponential Rosenbrock step ([`super::propagator`]): exact while the system is linear and the
//! voltage constant over the step, third order in what is not (brush drop near zero current, saturation,
//! windage, armature reaction), halved until what its last correction leaves is below a tolerance. Coulomb friction changes sign, the rotor stops
//! and breaks away at instants found inside the step, never smoothed.

use super::propagator::Propagator;
use super::state::{Slopes, slopes};
use super::{Constants, Real, State};

/// Largest error of a step, relative to the state's scale.
const TOLERANCE: f64 = 1e-5;
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
    /// Steps that were computed for it, those of halvings included.
    pub steps: u32,
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
        steps: first.steps + second.steps,
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
    let (mut next, neglected) = match turning {
        Some(sign) => exponential_step(c, &from, v, h, Some(sign)),
        None => exponential_step(c, &from, v, h, None),
    };
    if depth < MOST_HALVINGS && neglected > TOLERANCE {
        let half = 0.5 * h;
        let first = connected(c, from, v, half, held, depth + 1);
        let second = connected(c, first.end, v, half, held, depth + 1);
        let mut both = joined(first, half, second, half);
        both.steps += next.steps;
        return both;
    }
    if held || depth >= MOST_HALVINGS {
        return next;
    }
    // Did the rotor stop, or break away, inside this step?
    let event = |s: &State<f64>| match turning {
        Some(sign) => s.back_emf * sign,
        None => {
            let i = s.current;
            c.friction_current.value() - (i * (1.0 - c.reaction.value() * i.abs())).abs()
        }
    };
    if event(&next.end.values()) >= 0.0
        || (turning.is_some() && from.back_emf.value().abs() <= STILL_V)
    {
        return next;
    }
    let (mut low, mut high) = (0.0, h);
    // The instant is sought without derivatives.
    let (plain, start) = (c.values(), from.values());
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        next.steps += 1;
        let at = exponential_step(&plain, &start, v.value(), middle, turning).0;
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
    let mut at = exponential_step(c, &from, v, passed, turning).0;
    if let Some(sign) = turning {
        at.end.back_emf = moved_on(c, &at.end, v, sign);
    } else {
        // Just beyond the friction limit, so that the rotor moves on.
        let nudge = 1e-9 * c.friction_current.value().max(1e-12);
        at.end.current = at.end.current + nudge * at.end.current.value().signum();
    }
    let rest = connected(c, at.end, v, h - passed, held, depth + 2);
    at.steps = next.steps;
    joined(at, passed, rest, h - passed)
}

/// The back-EMF, zero, at the instant in which the rotor comes to rest. Where a current turns it on at once the other way,
/// friction changes sign there, and a shift of that instant shifts what follows by the ratio of the slopes after and before.
fn moved_on<S: Real>(c: &Constants<S>, at: &State<S>, v: S, sign: f64) -> S {
    let still = State {
        back_emf: 0.0.into(),
        ..*at
    };
    let Some(onward) = direction(c, &still) else {
        return 0.0.into();
    };
    let before = slopes(c, at, v, sign).back_emf.value();
    let after = slopes(c, at, v, onward).back_emf.value();
    (at.back_emf - at.back_emf.value()) * (after / before)
}

/// A component of the state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Component {
    Current,
    Emf,
    Eddy,
}

impl Component {
    fn slope<S: Real>(self, s: &Slopes<S>) -> S {
        match self {
            Component::Current => s.current,
            Component::Emf => s.back_emf,
            Component::Eddy => s.eddy,
        }
    }

    /// That component of a state.
    #[inline(always)]
    pub(super) fn of<S: Copy>(self, state: &mut State<S>) -> &mut S {
        match self {
            Component::Current => &mut state.current,
            Component::Emf => &mut state.back_emf,
            Component::Eddy => &mut state.eddy_current,
        }
    }
}

/// What moves in a step: the current, the back-EMF of a turning rotor, and what is left of M components is the screened current.
#[inline(always)]
pub(super) fn moving<const M: usize, const TURNING: bool>() -> [Component; M] {
    use Component::{Current, Eddy, Emf};
    std::array::from_fn(|k| match (k, TURNING) {
        (0, _) => Current,
        (1, true) => Emf,
        _ => Eddy,
    })
}

/// Entry of the Jacobian: derivative of the slope of `row` with respect to `column`.
fn entry<S: Real>(s: &Slopes<S>, row: Component, column: Component) -> S {
    use Component::{Current, Eddy, Emf};
    match (row, column) {
        (Current, Current) => s.current_by_current,
        (Current, Emf) => s.current_by_emf,
        (Current, Eddy) => s.current_by_eddy,
        (Emf, Current) => s.emf_by_current,
        (Emf, Emf) => s.emf_by_emf,
        (Eddy, Current) => s.eddy_by_current,
        (Eddy, Eddy) => s.eddy_by_eddy,
        (Emf, Eddy) | (Eddy, Emf) => 0.0.into(),
    }
}

/// The step itself and the relative size of the error left in it. `turning`: sign of rotation, `None` for a still rotor.
fn exponential_step<S: Real>(
    c: &Constants<S>,
    from: &State<S>,
    v: S,
    h: f64,
    turning: Option<f64>,
) -> (Advance<S>, f64) {
    let sign = turning.unwrap_or(0.0);
    match (turning.is_some(), c.with_eddy) {
        (false, false) => S::smooth_step::<1, false>(c, from, v, h, 0.0),
        (false, true) => S::smooth_step::<2, false>(c, from, v, h, 0.0),
        (true, false) => S::smooth_step::<2, true>(c, from, v, h, sign),
        (true, true) => S::smooth_step::<3, true>(c, from, v, h, sign),
    }
}

/// The step in the arithmetic of `S`, derivatives and all.
pub(super) fn plain_step<S: Real, const M: usize, const TURNING: bool>(
    c: &Constants<S>,
    from: &State<S>,
    v: S,
    h: f64,
    sign: f64,
) -> (Advance<S>, f64) {
    let which = moving::<M, TURNING>();
    let s = slopes(c, from, v, sign);
    let f = which.map(|component| component.slope(&s));
    let a: [[S; M]; M] =
        std::array::from_fn(|r| std::array::from_fn(|k| entry(&s, which[r], which[k]) * h));
    let characteristic = characteristic(&a);
    let values = characteristic.map(Real::value);
    let p = if S::DIFFERENTIATED {
        Propagator::<M>::new(values)
    } else {
        Propagator::<M>::values(values)
    };
    let one = polynomial(&a, &characteristic, &p.phi1, &p.phi1_partial, f, h);
    let two = polynomial(&a, &characteristic, &p.phi2, &p.phi2_partial, f, h);
    let (mut end, mut mean) = (*from, *from);
    for k in 0..M {
        *which[k].of(&mut end) += one[k];
        *which[k].of(&mut mean) += two[k];
    }
    let mut error = 0.0;
    if is_nonlinear(c, from, &end) {
        let at_end = slopes(c, &end, v, sign);
        let remainder: [S; M] = std::array::from_fn(|r| {
            let mut g = which[r].slope(&at_end) - f[r];
            for k in 0..M {
                g += -(entry(&s, which[r], which[k]) * one[k]);
            }
            g
        });
        let bend: [f64; M] = std::array::from_fn(|r| {
            let change = |k: usize| {
                let (row, column) = (which[r], which[k]);
                entry(&at_end, row, column).value() - entry(&s, row, column).value()
            };
            (0..M).map(|k| 0.5 * change(k) * one[k].value()).sum()
        });
        let correction = polynomial(
            &a,
            &characteristic,
            &p.phi3,
            &p.phi3_partial,
            remainder,
            2.0 * h,
        );
        let a = a.map(|row| row.map(Real::value));
        let by_bend = polynomial(
            &a,
            &characteristic.map(Real::value),
            &p.phi3,
            &p.phi3_partial,
            bend,
            2.0 * h,
        );
        // Of the current, which comes first; the screened part of a small share is far faster and only follows it.
        let time_constants = a[0][0].abs();
        for k in 0..M {
            *which[k].of(&mut end) += correction[k];
            // The remainder grows as the square of time, so its effect on the mean is a quarter of that on the end.
            *which[k].of(&mut mean) += correction[k] * 0.25;
            let scale = scale_of(which[k], c, from, &end, v);
            let (by_slopes, by_bend) = (correction[k].value() / scale, by_bend[k] / scale);
            error = f64::max(error, error_left(by_slopes, by_bend, time_constants));
        }
    }
    if !c.with_eddy {
        end.eddy_current = end.current;
    }
    (
        Advance {
            end,
            mean_current: mean.current,
            mean_back_emf: mean.back_emf,
            steps: 1,
        },
        error,
    )
}

/// The error that a step's correction leaves. `by_bend`: the same correction from half the change of the Jacobian over the step, which agrees
/// with it to leading order; both relative to the state's scale. `time_constants`: how many of them the step spans.
///
/// The correction grows with the square of time. So do the slopes' departures in a step that is short against the time constants and against the
/// bend itself, and what is left is then smaller by the correction's own size once more. In a step that spans a time constant, or the whole
/// bend of a contact drop, as much may be left as was corrected, and the correction may even vanish by chance: a fit then meets a
/// ledge where halving sets in, with other derivatives on its two sides, and stays there.
#[inline(always)]
pub(super) fn error_left(correction: f64, by_bend: f64, time_constants: f64) -> f64 {
    let larger = correction.abs().max(by_bend.abs());
    let unresolved = (correction - by_bend)
        .abs()
        .max(larger * time_constants.min(1.0));
    let left = (larger * larger).max(unresolved);
    // A step that ran out of what a number holds, as an exponential of a slope that bends upwards does, is no step.
    if left.is_nan() { f64::INFINITY } else { left }
}

/// `factor · (Σ c_k A^k) f`.
fn polynomial<S: Real, const M: usize>(
    a: &[[S; M]; M],
    characteristic: &[S; M],
    coefficients: &[f64; M],
    partials: &[[f64; M]; M],
    f: [S; M],
    factor: f64,
) -> [S; M] {
    let zero: S = 0.0.into();
    let mut power = f;
    let mut out = [zero; M];
    for k in 0..M {
        if k > 0 {
            let mut next = [zero; M];
            for (row, sum) in next.iter_mut().enumerate() {
                for column in 0..M {
                    *sum += a[row][column] * power[column];
                }
            }
            power = next;
        }
        let c = S::chain(coefficients[k], partials[k], *characteristic) * factor;
        for row in 0..M {
            out[row] += c * power[row];
        }
    }
    out
}

/// Coefficients of `A^M = Σ p_j A^j`.
#[inline(always)]
pub(super) fn characteristic<S: Real, const M: usize>(a: &[[S; M]; M]) -> [S; M] {
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

/// Whether the slopes bend anywhere near this step.
#[inline(always)]
pub(super) fn is_nonlinear<S: Real>(c: &Constants<S>, from: &State<S>, end: &State<S>) -> bool {
    let (before, after) = (from.current.value(), end.current.value());
    let least = if before * after <= 0.0 {
        0.0
    } else {
        before.abs().min(after.abs())
    };
    c.saturation.value() != 0.0
        || c.windage.value() != 0.0
        || c.reaction.value() != 0.0
        || (c.brush_drop.value() != 0.0 && least < 12.0 * c.brush_scale.value())
}

/// The size against which a correction of a component is judged.
#[inline(always)]
pub(super) fn scale_of<S: Real>(
    which: Component,
    c: &Constants<S>,
    from: &State<S>,
    end: &State<S>,
    v: S,
) -> f64 {
    let larger = |a: S, b: S| a.value().abs().max(b.value().abs());
    match which {
        Component::Emf => larger(from.back_emf, end.back_emf)
            .max(v.value().abs())
            .max(1e-9),
        _ => larger(from.current, end.current)
            .max(c.friction_current.value())
            .max(1e-9),
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
        steps: 1,
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
        let a = [[slope * piece_s]];
        let p = Propagator::<1>::new([a[0][0].value()]);
        let [de] = polynomial(&a, &[a[0][0]], &p.phi1, &p.phi1_partial, [f], piece_s);
        let [me] = polynomial(&a, &[a[0][0]], &p.phi2, &p.phi2_partial, [f], piece_s);
        let next = state.back_emf + de;
        if next.value() * sign < 0.0 {
            // Stops inside this piece; friction holds it unless the current turns it the other way.
            let part = state.back_emf.value() / (state.back_emf.value() - next.value());
            mean += state.back_emf * (0.5 * part / pieces as f64);
            let before = slope_at(state.back_emf).0.value();
            let arrived = (next - next.value()) * part
                + (state.back_emf - state.back_emf.value()) * (1.0 - part);
            state.back_emf = 0.0.into();
            let left = piece_s * (1.0 - part) + piece_s * (pieces - 1 - k) as f64;
            if let Some(onward) = direction(c, &state)
                && left > 0.0
            {
                let after =
                    (torque_current - c.friction_current * onward).value() / c.capacitance.value();
                state.back_emf = arrived * (after / before);
                let rest = imposed(c, state, current, left, held);
                mean += rest.mean_back_emf * (left / h);
                state = rest.end;
            }
            return Advance {
                end: state,
                mean_current: current,
                mean_back_emf: mean,
                steps: pieces as u32,
            };
        }
        mean += (state.back_emf + me) * (1.0 / pieces as f64);
        state.back_emf = next;
    }
    Advance {
        end: state,
        mean_current: current,
        mean_back_emf: mean,
        steps: pieces as u32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::TerminalParameters;
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
                        let mut s = State {
                            current: first_a,
                            back_emf: 1.4,
                            eddy_current: first_a,
                        };
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
