//! Numbers in which the motor is simulated: plain ones, or ones that carry derivatives.
//!
//! A step of numbers with derivatives is the plain step with its own partial derivatives by state, voltage and constants
//! ([`super::smooth`]), applied to theirs by the chain rule.

use super::advance::Advance;
use super::smooth::smooth_step;
use crate::motor::constants::CONSTANTS;
use crate::motor::state_equation::{ByInputs, Input};
use crate::motor::{Constants, Dual, Real, State};

/// A number in which the motor is simulated.
pub trait Simulated: Real {
    /// One smooth step over M variables of the state, with the relative size of the error left in it. `sign`: that of the rotation, 0 unless
    /// `TURNING`.
    fn smooth_step<const M: usize, const TURNING: bool>(
        c: &Constants<Self>,
        from: &State<Self>,
        voltage: Self,
        h: f64,
        sign: f64,
    ) -> (Advance<Self>, f64);
}

impl Simulated for f64 {
    fn smooth_step<const M: usize, const TURNING: bool>(
        c: &Constants<f64>,
        from: &State<f64>,
        voltage: f64,
        h: f64,
        sign: f64,
    ) -> (Advance<f64>, f64) {
        smooth_step::<f64, M, TURNING>(c, from, voltage, h, sign)
    }
}

impl<const N: usize> Simulated for Dual<N> {
    fn smooth_step<const M: usize, const TURNING: bool>(
        c: &Constants<Self>,
        from: &State<Self>,
        voltage: Self,
        h: f64,
        sign: f64,
    ) -> (Advance<Self>, f64) {
        let (plain, error) = smooth_step::<ByInputs, M, TURNING>(
            &c.values(),
            &from.values(),
            voltage.value,
            h,
            sign,
        );
        let inputs = Inputs::new(c, from, &voltage);
        let mut out = (
            Advance {
                end: State {
                    current: plain.end.current.value.into(),
                    back_emf: plain.end.back_emf.value.into(),
                    eddy_current: plain.end.eddy_current.value.into(),
                },
                mean_current: plain.mean_current.value.into(),
                mean_back_emf: plain.mean_back_emf.value.into(),
                steps: plain.steps,
            },
            error,
        );
        inputs.chain(&plain.end.current, &mut out.0.end.current);
        inputs.chain(&plain.end.back_emf, &mut out.0.end.back_emf);
        if c.with_eddy {
            inputs.chain(&plain.end.eddy_current, &mut out.0.end.eddy_current);
        } else {
            out.0.end.eddy_current = out.0.end.current;
        }
        inputs.chain(&plain.mean_current, &mut out.0.mean_current);
        inputs.chain(&plain.mean_back_emf, &mut out.0.mean_back_emf);
        out
    }
}

/// Components of a gradient that are worked on together: most captures leave whole blocks of them at zero.
const WIDTH: usize = 4;

/// The inputs of a step with their derivatives.
struct Inputs<'a, const N: usize> {
    c: &'a Constants<Dual<N>>,
    from: &'a State<Dual<N>>,
    voltage: &'a Dual<N>,
    /// Whether state or voltage move with anything in a block.
    used: [bool; N],
    /// Whether the friction moves with its own independent variable alone, as the other constants do.
    own_friction: bool,
}

const FRICTION: usize = Input::FrictionCurrent as usize - Input::FIRST_CONSTANT;

impl<'a, const N: usize> Inputs<'a, N> {
    #[inline(always)]
    fn new(c: &'a Constants<Dual<N>>, from: &'a State<Dual<N>>, voltage: &'a Dual<N>) -> Self {
        const { assert!(N.is_multiple_of(WIDTH)) };
        let numbers = [&from.current, &from.back_emf, &from.eddy_current, voltage];
        let mut used = [false; N];
        for (block, used) in used.iter_mut().enumerate().take(N / WIDTH) {
            // All bits of a block at once, but for the signs: faster than to compare one number after the other.
            let mut bits = 0;
            for k in block * WIDTH..(block + 1) * WIDTH {
                for number in numbers {
                    bits |= number.gradient[k].to_bits();
                }
            }
            *used = bits << 1 != 0;
        }
        let mut friction = c.friction_current.gradient;
        friction[FRICTION] = 0.0;
        let bits = friction.iter().fold(0, |bits, by| bits | by.to_bits());
        let own_friction = c.independent && bits << 1 == 0;
        Inputs {
            c,
            from,
            voltage,
            used,
            own_friction,
        }
    }

    /// Adds to the gradient of `sum` that of an output of the step, by what the inputs depend on.
    // Indices are independent variables.
    #[allow(clippy::needless_range_loop)]
    #[inline(always)]
    fn chain(&self, output: &ByInputs, sum: &mut Dual<N>) {
        let by = |input: Input| output.gradient[input as usize];
        let Inputs {
            c, from, voltage, ..
        } = *self;
        let gradient = &mut sum.gradient;
        for block in (0..N / WIDTH).filter(|block| self.used[*block]) {
            for k in block * WIDTH..(block + 1) * WIDTH {
                gradient[k] = by(Input::Current) * from.current.gradient[k]
                    + by(Input::BackEmf) * from.back_emf.gradient[k]
                    + by(Input::EddyCurrent) * from.eddy_current.gradient[k]
                    + by(Input::Voltage) * voltage.gradient[k];
            }
        }
        let by_constants: &[f64; CONSTANTS] = output
            .gradient
            .last_chunk()
            .expect("the constants are the last inputs");
        let constants = c.each();
        if c.independent {
            for number in 0..CONSTANTS {
                if number != FRICTION {
                    gradient[number] += by_constants[number] * constants[number].gradient[number];
                }
            }
            if self.own_friction {
                gradient[FRICTION] +=
                    by_constants[FRICTION] * constants[FRICTION].gradient[FRICTION];
            } else {
                for k in 0..N {
                    gradient[k] += by_constants[FRICTION] * constants[FRICTION].gradient[k];
                }
            }
        } else {
            for (constant, partial) in constants.into_iter().zip(by_constants) {
                for k in 0..N {
                    gradient[k] += partial * constant.gradient[k];
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::TerminalParameters;
    use crate::motor::state::StateVariable::{Current, EddyCurrent};
    use crate::motor::state_equation::StateEquation;
    use proptest::prelude::*;

    const N: usize = 16;
    type Wide = Dual<N>;

    /// A start of a step, of which every number moves with N independent variables.
    struct Start<S> {
        c: Constants<S>,
        from: State<S>,
        voltage: S,
    }

    fn parameters(own: [f64; 12]) -> TerminalParameters {
        TerminalParameters {
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
        }
    }

    impl Start<Wide> {
        /// With the constants as independent variables of their own, or with a gradient in every variable; relative to their size.
        fn new(
            own: [f64; 12],
            [i, e, d, v]: [f64; 4],
            mixed: [f64; N],
            independent: bool,
            with_eddy: bool,
        ) -> Self {
            let number = |value: f64, first: usize| {
                let gradient = std::array::from_fn(|k| value * mixed[(k + first) % N]);
                Wide { value, gradient }
            };
            let mut c = Constants::<f64>::new(&parameters(own));
            c.with_eddy = with_eddy;
            let constant = |k: usize, value: &f64| {
                let mut wide = number(*value, k);
                if independent {
                    wide.gradient = Wide::variable(0.0, k).gradient.map(|one| one * value);
                }
                wide
            };
            let c = c.with(constant, independent);
            let current = number(i, 12);
            let from = State {
                current,
                back_emf: number(e, 13),
                eddy_current: if with_eddy { number(d, 14) } else { current },
            };
            Start {
                c,
                from,
                voltage: number(v, 15),
            }
        }

        /// The plain start after a move along independent variable `k`.
        fn moved(&self, k: usize, by: f64) -> Start<f64> {
            let at = |number: &Wide| number.value + by * number.gradient[k];
            Start {
                c: self.c.with(|_, constant| at(constant), false),
                from: State {
                    current: at(&self.from.current),
                    back_emf: at(&self.from.back_emf),
                    eddy_current: at(&self.from.eddy_current),
                },
                voltage: at(&self.voltage),
            }
        }
    }

    impl<S: Simulated> Start<S> {
        fn step<const M: usize, const TURNING: bool>(&self, h: f64, sign: f64) -> ([S; 5], f64) {
            let (a, error) =
                S::smooth_step::<M, TURNING>(&self.c, &self.from, self.voltage, h, sign);
            let end = a.end;
            let outputs = [
                end.current,
                end.back_emf,
                end.eddy_current,
                a.mean_current,
                a.mean_back_emf,
            ];
            (outputs, error)
        }
    }

    /// How many time constants of the electrical side the step spans, the screened current's among them.
    fn time_constants(start: &Start<f64>, h: f64, sign: f64) -> f64 {
        let equation = StateEquation::new(&start.c, &start.from, start.voltage, sign);
        let pairs = [
            (Current, Current),
            (Current, EddyCurrent),
            (EddyCurrent, EddyCurrent),
        ];
        let slopes = pairs.map(|(row, column)| equation.slope(row, column).abs());
        h * slopes.into_iter().fold(0.0, f64::max)
    }

    /// Values to rounding, derivatives to what differences of fourth order show.
    fn compare<const M: usize, const TURNING: bool>(
        start: &Start<Wide>,
        h: f64,
        sign: f64,
    ) -> Result<(), TestCaseError> {
        let (wide, error) = start.step::<M, TURNING>(h, sign);
        let here = start.moved(0, 0.0);
        let (plain, plain_error) = here.step::<M, TURNING>(h, sign);
        // Beyond what a number holds; both are halved.
        if plain_error > 1e100 {
            prop_assert!(error > 1e99, "{error}");
            return Ok(());
        }
        let growth = 1.0 + time_constants(&here, h, sign).powi(2);
        // A difference of rates that cancel.
        prop_assert!(
            (error - plain_error).abs() <= 1e-11 * growth * (1.0 + plain_error),
            "{growth:e}: {error} {plain_error}"
        );
        for (wide, plain) in wide.iter().zip(&plain) {
            let size = wide
                .gradient
                .iter()
                .fold(plain.abs(), |m, g| m.max(g.abs()));
            prop_assert!((wide.value - plain).abs() <= 3e-14 * growth * size);
        }
        // Beyond that a step is halved time and again, and a difference shows nothing.
        if error > 1e-2 {
            return Ok(());
        }
        for k in 0..N {
            let difference = |size: f64| {
                let at = |by: f64| start.moved(k, by * size).step::<M, TURNING>(h, sign).0;
                let [left2, left, right, right2] = [-2.0, -1.0, 1.0, 2.0].map(at);
                std::array::from_fn::<f64, 5, _>(|f| {
                    (left2[f] - right2[f] + 8.0 * (right[f] - left[f])) / (12.0 * size)
                })
            };
            let (coarse, fine) = (difference(2e-5), difference(1e-5));
            for f in 0..5 {
                let size = wide[f]
                    .gradient
                    .iter()
                    .fold(plain[f].abs(), |m, g| m.max(g.abs()));
                // A kink, where a sign changes within the difference, shows as two that disagree.
                if (coarse[f] - fine[f]).abs() > 1e-8 * growth * size {
                    continue;
                }
                let wide = wide[f].gradient[k];
                prop_assert!(
                    (wide - fine[f]).abs() <= 1e-8 * growth * size,
                    "{k} {f} {growth:e}: {wide} {fine:?} {size}"
                );
            }
        }
        Ok(())
    }

    proptest! {
        /// The derivatives of a step against differences of the plain step, at random states of random motors, whose constants, voltage and
        /// state all carry derivatives.
        #[test]
        fn derivatives_of_a_step_are_those_of_its_value(
            own in proptest::array::uniform12(0.3f64..3.0),
            (i, e, d) in (-6.0f64..6.0, -20.0f64..20.0, -6.0f64..6.0),
            v in -24.0f64..24.0,
            h in 1e-6f64..3e-3,
            independent in any::<bool>(),
            mixed in proptest::array::uniform16(-1.0f64..1.0),
        ) {
            let sign = e.signum();
            let start = Start::new(own, [i, e, d, v], mixed, independent, true);
            compare::<3, true>(&start, h, sign)?;
            compare::<2, false>(&start, h, 0.0)?;
            let start = Start::new(own, [i, e, d, v], mixed, independent, false);
            compare::<2, true>(&start, h, sign)?;
            compare::<1, false>(&start, h, 0.0)?;
        }
    }
}
