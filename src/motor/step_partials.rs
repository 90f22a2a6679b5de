//! One smooth step with its partial derivatives with respect to state, voltage and constants.
//!
//! The step of [`super::step`], differentiated by hand where it is a chain of small matrices: the derivatives of the matrix
//! polynomials are formed once and then applied to all inputs together. Exact, as forward differentiation of the same step is, which
//! its tests hold it against, at a fraction of the work.

// Indices are rows and columns of the formulas.
#![allow(clippy::needless_range_loop)]

use super::bent_slopes::{Bent, BentJacobian, INPUTS, Lanes, Place, input};
use super::propagator::Propagator;
use super::step::{Component, error_left, is_nonlinear, moving, scale_of};
use super::{Constants, State};

/// Values and partial derivatives of a step's outputs.
pub(super) struct StepPartials {
    pub end: State<f64>,
    pub mean_current: f64,
    pub mean_back_emf: f64,
    /// Of current, back-EMF and screened current (which stays as it was without that branch) at the end, then of the means of current and back-EMF.
    pub by: [Lanes; 5],
    /// Relative size of the error left in the step.
    pub neglected: f64,
}

/// A polynomial `factor · (Σ c_k A^k) f` with its partial derivatives with respect to `f` and to the entries of `A`.
struct Applied<const M: usize> {
    value: [f64; M],
    by_f: [[f64; M]; M],
    /// `by_a[r][p][q]`: of row r, with respect to `A[p][q]`.
    by_a: [[[f64; M]; M]; M],
}

/// Partial derivatives of the coefficients of `A^M = Σ p_j A^j`: `out[j][p][q]` with respect to `A[p][q]`.
#[inline(always)]
fn characteristic_partials<const M: usize>(a: &[[f64; M]; M]) -> [[[f64; M]; M]; M] {
    let mut out = [[[0.0; M]; M]; M];
    match M {
        1 => out[0][0][0] = 1.0,
        2 => {
            out[0] = std::array::from_fn(|p| {
                std::array::from_fn(|q| if p == q { -a[1 - p][1 - p] } else { a[q][p] })
            });
            out[1] = identity();
        }
        _ => {
            for p in 0..M {
                for q in 0..M {
                    // The cofactor, by the cyclic rule.
                    let (r1, r2) = ((p + 1) % 3, (p + 2) % 3);
                    let (c1, c2) = ((q + 1) % 3, (q + 2) % 3);
                    out[0][p][q] = a[r1][c1] * a[r2][c2] - a[r1][c2] * a[r2][c1];
                    out[1][p][q] = if p == q {
                        -(a[r1][r1] + a[r2][r2])
                    } else {
                        a[q][p]
                    };
                }
            }
            out[2] = identity();
        }
    }
    out
}

#[inline(always)]
fn identity<const M: usize>() -> [[f64; M]; M] {
    std::array::from_fn(|p| std::array::from_fn(|q| f64::from(u8::from(p == q))))
}

#[inline(always)]
fn times<const M: usize>(a: &[[f64; M]; M], f: &[f64; M]) -> [f64; M] {
    std::array::from_fn(|r| (0..M).map(|k| a[r][k] * f[k]).sum())
}

#[inline(always)]
fn apply<const M: usize>(
    a: &[[f64; M]; M],
    square: &[[f64; M]; M],
    characteristic_by: &[[[f64; M]; M]; M],
    coefficients: &[f64; M],
    partials: &[[f64; M]; M],
    f: &[f64; M],
    factor: f64,
) -> Applied<M> {
    let c: [f64; M] = coefficients.map(|c| c * factor);
    // f, A f and A² f.
    let mut powers = [[0.0; M]; M];
    powers[0] = *f;
    for k in 1..M {
        powers[k] = times(a, &powers[k - 1]);
    }
    let by_f: [[f64; M]; M] = std::array::from_fn(|r| {
        std::array::from_fn(|k| {
            let mut sum = if r == k { c[0] } else { 0.0 };
            if M > 1 {
                sum += c[1] * a[r][k];
            }
            if M > 2 {
                sum += c[2] * square[r][k];
            }
            sum
        })
    });
    let value = std::array::from_fn(|r| (0..M).map(|k| c[k] * powers[k][r]).sum());
    // With respect to the characteristic coefficients.
    let by_p: [[f64; M]; M] = std::array::from_fn(|j| {
        std::array::from_fn(|r| factor * (0..M).map(|k| partials[k][j] * powers[k][r]).sum::<f64>())
    });
    let mut by_a = [[[0.0; M]; M]; M];
    for r in 0..M {
        for p in 0..M {
            for q in 0..M {
                let mut sum = 0.0;
                for j in 0..M {
                    sum += by_p[j][r] * characteristic_by[j][p][q];
                }
                if M > 1 && r == p {
                    sum += c[1] * powers[0][q];
                }
                if M > 2 {
                    sum += c[2] * a[r][p] * powers[0][q];
                    if r == p {
                        sum += c[2] * powers[1][q];
                    }
                }
                by_a[r][p][q] = sum;
            }
        }
    }
    Applied { value, by_f, by_a }
}

/// `sum += factor · lanes`.
#[inline(always)]
fn add(sum: &mut Lanes, factor: f64, lanes: &Lanes) {
    for k in 0..INPUTS {
        sum[k] += factor * lanes[k];
    }
}

#[inline(always)]
fn place_of(component: Component) -> usize {
    match component {
        Component::Current => input::CURRENT,
        Component::Emf => input::EMF,
        Component::Eddy => input::EDDY,
    }
}

#[inline(always)]
fn jacobian_entry(j: &BentJacobian, row: Component, column: Component) -> Option<&Bent> {
    use Component::{Current, Eddy, Emf};
    match (row, column) {
        (Current, Current) => Some(&j.current_by_current),
        (Current, Emf) => Some(&j.current_by_emf),
        (Current, Eddy) => Some(&j.current_by_eddy),
        (Emf, Current) => Some(&j.emf_by_current),
        (Emf, Emf) => Some(&j.emf_by_emf),
        (Eddy, Current) => Some(&j.eddy_by_current),
        (Eddy, Eddy) => Some(&j.eddy_by_eddy),
        (Emf, Eddy) | (Eddy, Emf) => None,
    }
}

/// What a polynomial makes of `f` and `A` in row `r`, in every input.
#[inline(always)]
fn gather<const M: usize>(
    applied: &Applied<M>,
    f_by: &[Lanes; M],
    jacobian: &BentJacobian,
    h: f64,
    r: usize,
    which: [Component; M],
) -> Lanes {
    let mut out = [0.0; INPUTS];
    for k in 0..M {
        add(&mut out, applied.by_f[r][k], &f_by[k]);
    }
    for row in 0..M {
        for column in 0..M {
            if let Some(entry) = jacobian_entry(jacobian, which[row], which[column]) {
                add(&mut out, applied.by_a[r][row][column] * h, &entry.by);
            }
        }
    }
    out
}

#[inline(always)]
fn moved_on<const M: usize>(
    from: &State<f64>,
    start: &[f64; M],
    moved: &[f64; M],
    which: [Component; M],
) -> State<f64> {
    let mut end = *from;
    for k in 0..M {
        *which[k].of(&mut end) = start[k] + moved[k];
    }
    end
}

/// The step over M components; `sign` is that of the rotation, 0 for a still rotor.
#[inline(always)]
pub(super) fn step_partials<const M: usize, const TURNING: bool>(
    c: &Constants<f64>,
    from: &State<f64>,
    v: f64,
    h: f64,
    sign: f64,
) -> StepPartials {
    let which = moving::<M, TURNING>();
    let place = Place::new(c, from, v, sign);
    let slopes = place.slopes();
    let jacobian = place.jacobian();
    let mut a = [[0.0; M]; M];
    for r in 0..M {
        for k in 0..M {
            if let Some(entry) = jacobian_entry(&jacobian, which[r], which[k]) {
                a[r][k] = entry.value * h;
            }
        }
    }
    let f: [f64; M] = which.map(|w| slopes[place_of(w)].value);
    let characteristic = super::step::characteristic(&a);
    let by_entries = characteristic_partials(&a);
    let mut square = [[0.0; M]; M];
    if M > 2 {
        for r in 0..M {
            for k in 0..M {
                square[r][k] = (0..M).map(|j| a[r][j] * a[j][k]).sum();
            }
        }
    }
    let p = Propagator::<M>::new(characteristic);
    let one = apply(&a, &square, &by_entries, &p.phi1, &p.phi1_partial, &f, h);
    let two = apply(&a, &square, &by_entries, &p.phi2, &p.phi2_partial, &f, h);
    let f_by: [Lanes; M] = which.map(|w| slopes[place_of(w)].by);
    let mut moved_by = [[0.0; INPUTS]; M];
    let mut mean_by = [[0.0; INPUTS]; M];
    for r in 0..M {
        moved_by[r] = gather(&one, &f_by, &jacobian, h, r, which);
        if which[r] != Component::Eddy {
            mean_by[r] = gather(&two, &f_by, &jacobian, h, r, which);
        }
    }
    let mut moved = one.value;
    let mut mean_moved = two.value;
    let start = which.map(|w| match w {
        Component::Current => from.current,
        Component::Emf => from.back_emf,
        Component::Eddy => from.eddy_current,
    });
    let mut neglected = 0.0;
    let end = moved_on(from, &start, &moved, which);
    if is_nonlinear(c, from, &end) {
        let there = Place::new(c, &end, v, sign).slopes();
        let mut remainder = [0.0; M];
        let mut remainder_by = [[0.0; INPUTS]; M];
        let mut bend = [0.0; M];
        for r in 0..M {
            let slope = &there[place_of(which[r])];
            let mut value = slope.value - f[r];
            // The slope at the end moves with the state there: with that at the beginning and with what was added.
            let mut by = slope.by;
            for k in 0..M {
                let by_state = slope.by[place_of(which[k])];
                add(&mut by, by_state, &moved_by[k]);
                if let Some(entry) = jacobian_entry(&jacobian, which[r], which[k]) {
                    bend[r] += 0.5 * (by_state - entry.value) * one.value[k];
                    value -= entry.value * one.value[k];
                    add(&mut by, -entry.value, &moved_by[k]);
                    add(&mut by, -one.value[k], &entry.by);
                }
            }
            add(&mut by, -1.0, &f_by[r]);
            remainder[r] = value;
            remainder_by[r] = by;
        }
        let three = apply(
            &a,
            &square,
            &by_entries,
            &p.phi3,
            &p.phi3_partial,
            &remainder,
            2.0 * h,
        );
        let by_bend = times(&three.by_f, &bend);
        for k in 0..M {
            let by = gather(&three, &remainder_by, &jacobian, h, k, which);
            add(&mut moved_by[k], 1.0, &by);
            moved[k] += three.value[k];
            // The remainder grows as the square of time, so its effect on the mean is a quarter of that on the end.
            add(&mut mean_by[k], 0.25, &by);
            mean_moved[k] += 0.25 * three.value[k];
            let scale = scale_of(which[k], c, from, &moved_on(from, &start, &moved, which), v);
            let left = error_left(three.value[k] / scale, by_bend[k] / scale, a[0][0].abs());
            neglected = f64::max(neglected, left);
        }
    }
    let end = moved_on(from, &start, &moved, which);
    let (mut mean_current, mut mean_back_emf) = (from.current, from.back_emf);
    let mut by = [[0.0; INPUTS]; 5];
    // What does not move stays as it was.
    for (row, place) in [
        input::CURRENT,
        input::EMF,
        input::EDDY,
        input::CURRENT,
        input::EMF,
    ]
    .into_iter()
    .enumerate()
    {
        by[row][place] = 1.0;
    }
    for k in 0..M {
        let place = place_of(which[k]);
        add(&mut by[place], 1.0, &moved_by[k]);
        match which[k] {
            Component::Current => {
                mean_current += mean_moved[k];
                add(&mut by[3], 1.0, &mean_by[k]);
            }
            Component::Emf => {
                mean_back_emf += mean_moved[k];
                add(&mut by[4], 1.0, &mean_by[k]);
            }
            Component::Eddy => {}
        }
    }
    StepPartials {
        end,
        mean_current,
        mean_back_emf,
        by,
        neglected,
    }
}
