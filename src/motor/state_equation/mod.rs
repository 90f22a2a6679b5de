//! The state equation: how fast the state changes, the Jacobian matrix of that, and the partial derivatives of both.
//!
//! ```text
//! L₀(1 − s)/(1 + (i/I_s)²) di/dt = v − R i − V_b tanh(i/I_b) − e (1 − a|i|) − R_e (i − i_e)
//!                      C_m de/dt = i (1 − a|i|) − I_c sgn e − G_v e − W e|e|
//!  s L₀/(1 + (i_e/I_s)²) di_e/dt = R_e (i − i_e)
//! ```
//! with the symbols of [`TerminalParameters`](super::TerminalParameters), the share s = `eddy_share`, R_e = `eddy_resistance_ohm` and the
//! current i_e of the screened share (`docs/theory.md`, section 3).
//!
//! A rate or an entry of the Jacobian matrix is one function here: [`StateEquation::rate`] and [`StateEquation::slope`] give its value,
//! [`StateEquation::rates_by_inputs`] and [`StateEquation::jacobian_by_inputs`] add to the same value its partial derivatives, written out for speed. The tests hold
//! these against forward differentiation of the value.

mod inputs;
mod rates;
mod slopes;

pub use inputs::{ByInputs, Input, StepNumber};
pub use slopes::Jacobian;

use super::{Constants, Real, State};

/// Back-EMF below which the rotor counts as still, V; only to decide direction, far below any converter's step.
pub const STILL_V: f64 = 1e-12;

/// Share of the back-EMF constant that armature reaction takes at a current: a|i|.
#[inline(always)]
fn reaction_share<S: Real>(c: &Constants<S>, current: S) -> S {
    c.reaction * current.abs()
}

/// Torque of a current over K, A: i (1 − a|i|).
#[inline(always)]
pub fn torque_current<S: Real>(c: &Constants<S>, current: S) -> S {
    current * (-reaction_share(c, current) + 1.0)
}

/// Direction in which the rotor turns or is about to turn; `None` when friction holds it.
pub fn direction(c: &Constants<f64>, state: &State<f64>) -> Option<f64> {
    if state.back_emf.abs() > STILL_V {
        return Some(state.back_emf.signum());
    }
    let torque = torque_current(c, state.current);
    (torque.abs() > c.friction_current).then(|| torque.signum())
}

/// Friction torque over K of a rotor that turns in this direction, A: I_c sgn e + G_v e + W e|e|.
#[inline(always)]
pub fn drag<S: Real>(c: &Constants<S>, back_emf: S, direction: f64) -> S {
    c.friction_current * direction
        + c.viscous_conductance * back_emf
        + c.windage * back_emf * back_emf.abs()
}

/// Derivative of [`drag`] by the back-EMF, S.
#[inline(always)]
pub fn drag_slope<S: Real>(c: &Constants<S>, back_emf: S) -> S {
    c.viscous_conductance + c.windage * back_emf.abs() * 2.0
}

/// Whether the equation bends anywhere between two currents.
#[inline(always)]
pub fn is_nonlinear(c: &Constants<f64>, before_a: f64, after_a: f64) -> bool {
    let least = if before_a * after_a <= 0.0 {
        0.0
    } else {
        before_a.abs().min(after_a.abs())
    };
    c.saturation != 0.0
        || c.windage != 0.0
        || c.reaction != 0.0
        || (c.brush_drop != 0.0 && least < 12.0 * c.brush_scale)
}

/// The equation at one state: what its rates and their slopes share.
pub struct StateEquation<'a, S> {
    c: &'a Constants<S>,
    /// i, A.
    i: S,
    /// e, V.
    e: S,
    /// Sign of the rotation, 0 for a still rotor: that of Coulomb friction over a step.
    direction: f64,
    /// Sign of the current.
    sign: f64,
    /// a|i| and what it leaves of 1.
    reaction_share: S,
    linkage: S,
    /// tanh(i/I_b), and the derivative by i of V_b times that.
    contact: S,
    contact_slope: S,
    /// i_e, i − i_e and R_e; the last two 0 without an eddy branch.
    eddy_current: S,
    difference: S,
    eddy_resistance: S,
    /// 1/(s L₀), 1/H; 0 without an eddy branch.
    per_screened: S,
    /// The same over the saturated inductance, and its derivative by i_e.
    per_saturated: S,
    per_saturated_slope: S,
    /// L₀(1 − s), H: what limits the current's rate.
    leading_inductance: S,
    /// Voltage at that inductance, and the derivative by i of all that drops before it.
    push: S,
    drop_slope: S,
    /// 1/L at this current, and its derivative by i.
    per_inductance: S,
    per_inductance_slope: S,
    per_capacitance: S,
}

impl<'a, S: Real> StateEquation<'a, S> {
    /// `direction`: sign of rotation, 0 for a still rotor.
    #[inline(always)]
    pub fn new(c: &'a Constants<S>, state: &State<S>, voltage: S, direction: f64) -> Self {
        let (i, e) = (state.current, state.back_emf);
        let sign = if i.value() < 0.0 { -1.0 } else { 1.0 };
        let reaction_share = reaction_share(c, i);
        let linkage = -reaction_share + 1.0;
        let contact = (i / c.brush_scale).tanh();
        let contact_slope = c.brush_drop / c.brush_scale * (-(contact * contact) + 1.0);
        let mut drop = c.resistance * i + c.brush_drop * contact + e * linkage;
        let mut drop_slope = c.resistance + contact_slope - e * c.reaction * sign;
        let mut leading_inductance = c.inductance;
        let mut per_screened: S = 0.0.into();
        let eddy_current = state.eddy_current;
        let (mut difference, mut eddy_resistance) = (0.0.into(), 0.0.into());
        if c.with_eddy {
            leading_inductance = c.inductance * (-c.eddy_share + 1.0);
            per_screened = S::from(1.0) / (c.inductance * c.eddy_share);
            difference = i - eddy_current;
            eddy_resistance = c.eddy_resistance;
            drop += eddy_resistance * difference;
            drop_slope += eddy_resistance;
        }
        StateEquation {
            c,
            i,
            e,
            direction,
            sign,
            reaction_share,
            linkage,
            contact,
            contact_slope,
            eddy_current,
            difference,
            eddy_resistance,
            per_screened,
            per_saturated: (eddy_current * eddy_current * c.saturation + 1.0) * per_screened,
            per_saturated_slope: eddy_current * c.saturation * 2.0 * per_screened,
            leading_inductance,
            push: voltage - drop,
            drop_slope,
            per_inductance: (i * i * c.saturation + 1.0) / leading_inductance,
            per_inductance_slope: i * c.saturation * 2.0 / leading_inductance,
            per_capacitance: S::from(1.0) / c.capacitance,
        }
    }
}

impl StateEquation<'_, f64> {
    /// 1/(1 − s), 0 without an eddy branch.
    #[inline(always)]
    fn per_leading_share(&self) -> f64 {
        if self.c.with_eddy {
            1.0 / (1.0 - self.c.eddy_share)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::state::StateVariable::{self, BackEmf, Current, EddyCurrent};
    use crate::motor::{Dual, TerminalParameters};
    use proptest::prelude::*;

    const VARIABLES: [StateVariable; 3] = [Current, BackEmf, EddyCurrent];

    /// Partial derivatives written out against those of forward differentiation, to the rounding of terms that cancel.
    fn agree(written: ByInputs, forward: ByInputs, plain: f64) -> Result<(), TestCaseError> {
        prop_assert_eq!(written.value.to_bits(), plain.to_bits());
        // Forward differentiation divides by multiplying with a reciprocal.
        prop_assert!((forward.value - plain).abs() <= 1e-9 * plain.abs());
        for (k, (a, b)) in written.gradient.iter().zip(&forward.gradient).enumerate() {
            prop_assert!((a - b).abs() <= 1e-9 * (a.abs() + b.abs()), "{k}: {a} {b}");
        }
        Ok(())
    }

    /// The derivatives in the order of [`Input`], from one with the constants first.
    fn in_order(constants_first: ByInputs) -> ByInputs {
        let mut out = constants_first;
        out.gradient.rotate_right(Input::FIRST_CONSTANT);
        out
    }

    proptest! {
        #[test]
        fn written_partial_derivatives_are_those_of_the_value(
            own in proptest::array::uniform12(0.3f64..3.0),
            (i, e, d) in (-6.0f64..6.0, -20.0f64..20.0, -6.0f64..6.0),
            v in -24.0f64..24.0,
        ) {
            let p = TerminalParameters {
                windage_a_per_v2: 2e-2 * own[5],
                brush_drop_v: 0.7 * own[6],
                brush_scale_a: 0.9 * own[7],
                saturation_per_a: own[8] / 4.0,
                armature_reaction_per_a: 0.03 * own[9],
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
            for with_eddy in [true, false] {
                let mut c = Constants::<ByInputs>::new(&p);
                c.with_eddy = with_eddy;
                let c = c.as_independent::<{ Input::COUNT }>();
                let state = State {
                    current: Dual::variable(i, 12),
                    back_emf: Dual::variable(e, 13),
                    eddy_current: Dual::variable(d, 14),
                };
                let sign = e.signum();
                let forward = StateEquation::new(&c, &state, Dual::variable(v, 15), sign);
                let (c, state) = (c.values(), state.values());
                let plain = StateEquation::new(&c, &state, v, sign);
                let (rates, jacobian) = (plain.rates_by_inputs(), plain.jacobian_by_inputs());
                let moving = if with_eddy { &VARIABLES[..] } else { &VARIABLES[..2] };
                for &row in moving {
                    let rate = in_order(forward.rate(row));
                    agree(rates[row as usize], rate, plain.rate(row))?;
                    for &column in moving {
                        // The slope is the derivative of the rate.
                        let (slope, of_rate) = (plain.slope(row, column), rate.gradient[column as usize]);
                        prop_assert!((slope - of_rate).abs() <= 1e-9 * slope.abs(), "{slope} {of_rate}");
                        let forward = in_order(forward.slope(row, column));
                        let written = jacobian.entry(row, column).copied().unwrap_or(0.0.into());
                        agree(written, forward, slope)?;
                    }
                }
            }
        }
    }
}
