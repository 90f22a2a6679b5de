//! One smooth step: nothing stops, breaks away or changes its sign of friction in it.
//!
//! The exponential Rosenbrock step of [`super::step`] over the components that move, with a measure of the error it leaves.

use super::propagator::Propagator;
use super::state::{Slopes, slopes};
use super::{Advance, Constants, Real, State};

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
pub(super) fn polynomial<S: Real, const M: usize>(
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
