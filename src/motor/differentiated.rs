//! The smooth step of numbers that carry derivatives: the step's own partial derivatives applied to theirs.

use super::bent_slopes::{INPUTS, Lanes, input};
use super::step_partials::{StepPartials, step_partials};
use super::{Advance, Constants, Dual, State};

/// Constants of the model.
const OWN: usize = INPUTS - input::CONSTANTS;
/// Place of the friction among them.
const FRICTION: usize = input::FRICTION - input::CONSTANTS;

/// As [`super::step::plain_step`] on the same arguments, to rounding; `sign`: that of the rotation, 0 for a still rotor.
#[inline]
pub(super) fn differentiated_step<const N: usize, const M: usize, const TURNING: bool>(
    c: &Constants<Dual<N>>,
    from: &State<Dual<N>>,
    v: &Dual<N>,
    h: f64,
    sign: f64,
) -> (Advance<Dual<N>>, f64) {
    any_step::<N, M, TURNING>(c, from, v, h, sign)
}

#[inline(always)]
fn any_step<const N: usize, const M: usize, const TURNING: bool>(
    c: &Constants<Dual<N>>,
    from: &State<Dual<N>>,
    v: &Dual<N>,
    h: f64,
    sign: f64,
) -> (Advance<Dual<N>>, f64) {
    let p: StepPartials =
        step_partials::<M, TURNING>(&c.values(), &from.values(), v.value, h, sign);
    let current = Dual {
        value: p.end.current,
        gradient: chain(&p.by[0], c, from, v),
    };
    let end = State {
        current,
        back_emf: Dual {
            value: p.end.back_emf,
            gradient: chain(&p.by[1], c, from, v),
        },
        eddy_current: if c.with_eddy {
            Dual {
                value: p.end.eddy_current,
                gradient: chain(&p.by[2], c, from, v),
            }
        } else {
            current
        },
    };
    let advance = Advance {
        steps: 1,
        end,
        mean_current: Dual {
            value: p.mean_current,
            gradient: chain(&p.by[3], c, from, v),
        },
        mean_back_emf: Dual {
            value: p.mean_back_emf,
            gradient: chain(&p.by[4], c, from, v),
        },
    };
    (advance, p.neglected)
}

// Indices are directions, of several numbers at a time.
#[allow(clippy::needless_range_loop)]
/// The derivatives of one output from those of every input.
#[inline(always)]
fn chain<const N: usize>(
    by: &Lanes,
    c: &Constants<Dual<N>>,
    from: &State<Dual<N>>,
    v: &Dual<N>,
) -> [f64; N] {
    let mut out = [0.0; N];
    for k in 0..N {
        out[k] = by[input::CURRENT] * from.current.gradient[k]
            + by[input::EMF] * from.back_emf.gradient[k]
            + by[input::EDDY] * from.eddy_current.gradient[k]
            + by[input::VOLTAGE] * v.gradient[k];
    }
    let constants: &[f64; OWN] = by[input::CONSTANTS..INPUTS]
        .try_into()
        .expect("as many constants as there are places for them");
    if c.own_directions {
        let each = c.each();
        for k in 0..OWN.min(N) {
            if k != FRICTION {
                out[k] += constants[k] * each[k].gradient[k];
            }
        }
        for k in 0..N {
            out[k] += constants[FRICTION] * c.friction_current.gradient[k];
        }
    } else {
        for (constant, partial) in c.each().into_iter().zip(constants) {
            for k in 0..N {
                out[k] += partial * constant.gradient[k];
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::state::slopes;
    use crate::motor::step::plain_step;
    use crate::motor::{Real, TerminalParameters};
    use proptest::prelude::*;

    const N: usize = 16;
    type Wide = Dual<N>;

    fn constants(own: [f64; 12], with_eddy: bool) -> Constants<Wide> {
        let p = TerminalParameters {
            windage_a_per_v2: 2e-5 * own[5],
            brush_drop_v: 0.7 * own[6],
            brush_scale_a: 0.3 * own[7],
            saturation_per_a: own[8] / 9.0,
            armature_reaction_per_a: 0.003 * own[9],
            eddy_share: 0.2 * own[10],
            eddy_resistance_ohm: 8.0 * own[11],
            ..TerminalParameters::plain(
                3.2 * own[0],
                2.3e-3 * own[1],
                3.7e-3 * own[2],
                0.13 * own[3],
                3e-3 * own[4],
            )
        };
        let mut c = Constants::<Wide>::new(&p);
        c.with_eddy = with_eddy;
        c.in_own_directions()
    }

    /// How many time constants of the electrical side the step spans, the screened current's among them.
    fn time_constants(c: &Constants<Wide>, from: &State<Wide>, v: Wide, h: f64, sign: f64) -> f64 {
        let s = slopes(&c.values(), &from.values(), v.value, sign);
        let largest = s.current_by_current.abs().max(s.current_by_eddy.abs());
        h * largest
            .max(s.eddy_by_eddy.abs())
            .max(s.eddy_by_current.abs())
    }

    /// To the rounding that the square of `A` leaves over many time constants: over 400 000 random steps up to 3e-15 of the value and
    /// 6e-12 of the largest derivative, times `growth`.
    fn agree(fast: Wide, plain: Wide, growth: f64) -> Result<(), TestCaseError> {
        let size = plain
            .gradient
            .iter()
            .fold(plain.value.abs(), |m, g| m.max(g.abs()));
        prop_assert!(
            (fast.value - plain.value).abs() <= 3e-14 * growth * size,
            "{growth:e}: {fast:?} {plain:?}"
        );
        for (a, b) in fast.gradient.iter().zip(&plain.gradient) {
            prop_assert!(
                (a - b).abs() <= 6e-11 * growth * size,
                "{growth:e}: {fast:?} {plain:?}"
            );
        }
        Ok(())
    }

    fn compare<const M: usize, const TURNING: bool>(
        c: &Constants<Wide>,
        from: &State<Wide>,
        v: Wide,
        h: f64,
        sign: f64,
    ) -> Result<(), TestCaseError> {
        let (fast, fast_left) = Wide::smooth_step::<M, TURNING>(c, from, v, h, sign);
        let (plain, plain_left) = plain_step::<Wide, M, TURNING>(c, from, v, h, sign);
        // Beyond what a number holds; both are halved.
        if plain_left > 1e100 {
            prop_assert!(fast_left > 1e99, "{fast_left}");
            return Ok(());
        }
        let growth = 1.0 + time_constants(c, from, v, h, sign).powi(2);
        agree(fast.end.current, plain.end.current, growth)?;
        agree(fast.end.back_emf, plain.end.back_emf, growth)?;
        agree(fast.end.eddy_current, plain.end.eddy_current, growth)?;
        agree(fast.mean_current, plain.mean_current, growth)?;
        agree(fast.mean_back_emf, plain.mean_back_emf, growth)?;
        // A difference of slopes that cancel.
        prop_assert!(
            (fast_left - plain_left).abs() <= 1e-11 * growth * (1.0 + plain_left),
            "{growth:e}: {fast_left} {plain_left}"
        );
        Ok(())
    }

    proptest! {
        /// The derivatives written out against forward differentiation of the plain step, at random states of random motors,
        /// whose constants, voltage and state all carry derivatives.
        #[test]
        fn written_derivatives_are_those_of_the_plain_step(
            own in proptest::array::uniform12(0.3f64..3.0),
            (i, e, d) in (-6.0f64..6.0, -20.0f64..20.0, -6.0f64..6.0),
            v in -24.0f64..24.0,
            h in 1e-6f64..3e-3,
            own_directions in any::<bool>(),
            mixed in proptest::array::uniform16(-1.0f64..1.0),
        ) {
            let number = |value: f64, first: usize| {
                let mut out = Wide::variable(value, first);
                for k in 0..N {
                    out.gradient[k] += mixed[(k + first) % N];
                }
                out
            };
            let from = State { current: number(i, 12), back_emf: number(e, 13), eddy_current: number(d, 14) };
            let v = number(v, 15);
            for with_eddy in [true, false] {
                let mut c = constants(own, with_eddy);
                if !own_directions {
                    c.own_directions = false;
                    c.resistance.gradient = mixed;
                    c.brush_scale.gradient = mixed;
                }
                let start = if with_eddy { from } else { State { eddy_current: from.current, ..from } };
                let sign = e.signum();
                if with_eddy {
                    compare::<3, true>(&c, &start, v, h, sign)?;
                    compare::<2, false>(&c, &start, v, h, 0.0)?;
                } else {
                    compare::<2, true>(&c, &start, v, h, sign)?;
                    compare::<1, false>(&c, &start, v, h, 0.0)?;
                }
            }
        }
    }
}
