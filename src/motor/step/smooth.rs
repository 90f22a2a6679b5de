//! The smooth step: an exponential Rosenbrock step while friction keeps its sign.
//!
//! With the rates f of the moving variables y at the beginning, A = h F and the φ functions of [`crate::motor::propagator`]
//!
//! ```text
//! y(h)        = y + h φ₁(A) f + 2 h φ₃(A) g          g = f(y + h φ₁ f) − f(y) − F h φ₁ f
//! mean over h = y + h φ₂(A) f + ½ h φ₃(A) g
//! ```
//!
//! One code gives values and, over [`ByInputs`](crate::motor::state_equation::ByInputs), the partial derivatives by state, voltage and constants.

// Indices are rows and columns of the formulas.
#![allow(clippy::needless_range_loop)]

use super::advance::Advance;
use super::matrix_polynomial::StepMatrix;
use crate::motor::state::StateVariable;
use crate::motor::state_equation::{Input, StateEquation, StepNumber, is_nonlinear};
use crate::motor::{Constants, State};

/// What moves in a step: the current, the back-EMF of a turning rotor, and what is left of M variables is the screened current.
#[inline(always)]
fn moving<const M: usize, const TURNING: bool>() -> [StateVariable; M] {
    use StateVariable::{BackEmf, Current, EddyCurrent};
    std::array::from_fn(|k| match (k, TURNING) {
        (0, _) => Current,
        (1, true) => BackEmf,
        _ => EddyCurrent,
    })
}

/// One smooth step over M variables of the state, with the relative size of the error left in it. `sign`: that of the rotation, 0 unless `TURNING`.
#[inline(always)]
pub(super) fn smooth_step<T: StepNumber, const M: usize, const TURNING: bool>(
    c: &Constants<f64>,
    from: &State<f64>,
    voltage: f64,
    h: f64,
    sign: f64,
) -> (Advance<T>, f64) {
    let moving = moving::<M, TURNING>();
    let equation = StateEquation::new(c, from, voltage, sign);
    let (rates, jacobian) = (
        equation.rates_by_inputs::<T>(),
        equation.jacobian_by_inputs(),
    );
    let rates = moving.map(|variable| &rates[variable as usize]);
    let matrix = StepMatrix::new(&jacobian, moving, h);
    let phi = matrix.propagator();
    let moved = matrix.apply(&phi.phi1, &rates, h);
    let mean_moved = matrix.apply(&phi.phi2, &rates, h);
    let mut correction = moving.map(|_| T::from(0.0));
    let mut error = 0.0;
    let linear_end = linear_end(from, moving, &moved);
    if is_nonlinear(c, from.current, linear_end.current) {
        let there = StateEquation::new(c, &linear_end, voltage, sign);
        let (remainder, bend) = remainder(&there, moving, &matrix, &rates, &moved);
        correction = matrix.apply(&phi.phi3, &remainder.each_ref(), 2.0 * h);
        let by_bend = matrix.apply_values(&phi.phi3, &bend, 2.0 * h);
        let mut end = linear_end;
        for k in 0..M {
            *moving[k].of(&mut end) += correction[k].value();
            let scale = scale_of(moving[k], c, from, &end, voltage);
            let (by_rates, by_bend) = (correction[k].value() / scale, by_bend[k] / scale);
            // Of the current, which comes first; the screened part of a small share is far faster and only follows it.
            let time_constants = matrix.a[0][0].abs();
            error = f64::max(error, error_left(by_rates, by_bend, time_constants));
        }
    }
    let start = State {
        current: T::of_inputs(from.current, [(Input::Current, 1.0)]),
        back_emf: T::of_inputs(from.back_emf, [(Input::BackEmf, 1.0)]),
        eddy_current: T::of_inputs(from.eddy_current, [(Input::EddyCurrent, 1.0)]),
    };
    let (mut end, mut mean) = (start, start);
    for k in 0..M {
        moving[k]
            .of(&mut end)
            .add_in_turn(&moved[k], 1.0, &correction[k]);
        // The remainder grows as the square of time, so its effect on the mean is a quarter of that on the end.
        moving[k]
            .of(&mut mean)
            .add_in_turn(&mean_moved[k], 0.25, &correction[k]);
    }
    if !c.with_eddy {
        end.eddy_current = end.current;
    }
    let advance = Advance {
        end,
        mean_current: mean.current,
        mean_back_emf: mean.back_emf,
        steps: 1,
    };
    (advance, error)
}

/// Where the step without its correction ends.
#[inline(always)]
fn linear_end<T: StepNumber, const M: usize>(
    from: &State<f64>,
    moving: [StateVariable; M],
    moved: &[T; M],
) -> State<f64> {
    let mut end = *from;
    for k in 0..M {
        *moving[k].of(&mut end) += moved[k].value();
    }
    end
}

/// What the rates at the end of the linear step, `there`, are above those that the linear step expects, and half the change of the Jacobian matrix times
/// the step, which is the same to leading order.
#[inline(always)]
fn remainder<T: StepNumber, const M: usize>(
    there: &StateEquation<f64>,
    moving: [StateVariable; M],
    matrix: &StepMatrix<T, M>,
    rates: &[&T; M],
    moved: &[T; M],
) -> ([T; M], [f64; M]) {
    let rates_there = there.rates_by_inputs::<T>();
    let mut bend = [0.0; M];
    let mut remainder = moving.map(|_| T::from(0.0));
    for r in 0..M {
        let mut sum = rates_there[moving[r] as usize] - rates[r].value();
        for k in 0..M {
            let Some(entry) = matrix.entry(r, k) else {
                continue;
            };
            // The rate at the end moves with the state there: with that at the beginning and with what was added.
            let slope = there.slope(moving[r], moving[k]);
            sum.add_derivatives(slope, &moved[k]);
            bend[r] += 0.5 * (slope - entry.value()) * moved[k].value();
            sum = sum - entry.value() * moved[k].value();
            sum.add_derivatives(-entry.value(), &moved[k]);
            sum.add_derivatives(-moved[k].value(), entry);
        }
        sum.add_derivatives(-1.0, rates[r]);
        remainder[r] = sum;
    }
    (remainder, bend)
}

/// The size against which a correction of a variable is judged.
#[inline(always)]
fn scale_of(
    which: StateVariable,
    c: &Constants<f64>,
    from: &State<f64>,
    end: &State<f64>,
    voltage: f64,
) -> f64 {
    let larger = |a: f64, b: f64| a.abs().max(b.abs());
    match which {
        StateVariable::BackEmf => larger(from.back_emf, end.back_emf).max(voltage.abs()),
        _ => larger(from.current, end.current).max(c.friction_current),
    }
    .max(1e-9)
}

/// The error that a step's correction leaves. `by_bend`: the same correction from half the change of the Jacobian over the step, which agrees
/// with it to leading order; both relative to the state's scale. `time_constants`: how many of them the step spans.
///
/// The correction grows with the square of time. So do the rates' departures in a step that is short against the time constants and against the
/// bend itself, and what is left is then smaller by the correction's own size once more. In a step that spans a time constant, or the whole
/// bend of a contact drop, as much may be left as was corrected, and the correction may even vanish by chance: a fit then meets a
/// ledge where halving sets in, with other derivatives on its two sides, and stays there.
#[inline(always)]
fn error_left(correction: f64, by_bend: f64, time_constants: f64) -> f64 {
    let larger = correction.abs().max(by_bend.abs());
    let unresolved = (correction - by_bend)
        .abs()
        .max(larger * time_constants.min(1.0));
    let left = (larger * larger).max(unresolved);
    // A step that ran out of what a number holds, as an exponential of a slope that bends upwards does, is no step.
    if left.is_nan() { f64::INFINITY } else { left }
}
