//! Derivatives of the rates by the state's variables: the Jacobian matrix.

use super::{Input, StateEquation, StepNumber, drag_slope};
use crate::motor::Real;
use crate::motor::state::StateVariable::{self, BackEmf, Current, EddyCurrent};

/// The entries of the Jacobian matrix that are not zero everywhere.
pub struct Jacobian<T> {
    current_by_current: T,
    current_by_back_emf: T,
    current_by_eddy_current: T,
    back_emf_by_current: T,
    back_emf_by_back_emf: T,
    eddy_current_by_current: T,
    eddy_current_by_eddy_current: T,
}

impl<T> Jacobian<T> {
    /// The entry of a row and a column; `None` where it is zero everywhere.
    #[inline(always)]
    pub fn entry(&self, row: StateVariable, column: StateVariable) -> Option<&T> {
        match (row, column) {
            (Current, Current) => Some(&self.current_by_current),
            (Current, BackEmf) => Some(&self.current_by_back_emf),
            (Current, EddyCurrent) => Some(&self.current_by_eddy_current),
            (BackEmf, Current) => Some(&self.back_emf_by_current),
            (BackEmf, BackEmf) => Some(&self.back_emf_by_back_emf),
            (EddyCurrent, Current) => Some(&self.eddy_current_by_current),
            (EddyCurrent, EddyCurrent) => Some(&self.eddy_current_by_eddy_current),
            (BackEmf, EddyCurrent) | (EddyCurrent, BackEmf) => None,
        }
    }
}

impl<S: Real> StateEquation<'_, S> {
    /// Derivative of the rate of `row` by the variable `column`: an entry of the Jacobian matrix.
    #[inline(always)]
    pub fn slope(&self, row: StateVariable, column: StateVariable) -> S {
        match (row, column) {
            (Current, Current) => {
                self.push * self.per_inductance_slope - self.drop_slope * self.per_inductance
            }
            (Current, BackEmf) => -(self.linkage * self.per_inductance),
            (Current, EddyCurrent) => self.eddy_resistance * self.per_inductance,
            (BackEmf, Current) => (self.linkage - self.reaction_share) * self.per_capacitance,
            (BackEmf, BackEmf) => -drag_slope(self.c, self.e) * self.per_capacitance,
            (EddyCurrent, Current) => self.eddy_resistance * self.per_saturated,
            (EddyCurrent, EddyCurrent) => {
                self.eddy_resistance
                    * (self.difference * self.per_saturated_slope - self.per_saturated)
            }
            (BackEmf, EddyCurrent) | (EddyCurrent, BackEmf) => 0.0.into(),
        }
    }
}

impl StateEquation<'_, f64> {
    /// [`StateEquation::slope`] with its partial derivatives, where it is not zero everywhere.
    #[inline(always)]
    pub fn jacobian_by_inputs<T: StepNumber>(&self) -> Jacobian<T> {
        let [by_current, by_eddy_current] = if self.c.with_eddy {
            [
                self.eddy_current_by_current(),
                self.eddy_current_by_eddy_current(),
            ]
        } else {
            [0.0.into(), 0.0.into()]
        };
        Jacobian {
            current_by_current: self.current_by_current(),
            current_by_back_emf: self.current_by_back_emf(),
            current_by_eddy_current: self.current_by_eddy_current(),
            back_emf_by_current: self.back_emf_by_current(),
            back_emf_by_back_emf: self.back_emf_by_back_emf(),
            eddy_current_by_current: by_current,
            eddy_current_by_eddy_current: by_eddy_current,
        }
    }

    #[inline(always)]
    fn current_by_current<T: StepNumber>(&self) -> T {
        let StateEquation { c, i, e, push, .. } = *self;
        let StateEquation {
            contact,
            contact_slope,
            drop_slope,
            sign,
            ..
        } = *self;
        let slope = self.slope(Current, Current);
        let (per_l, per_l_slope) = (self.per_inductance, self.per_inductance_slope);
        let per_leading = 1.0 / self.leading_inductance;
        let per_scale = 1.0 / c.brush_scale;
        // Derivative of the contact's slope by the current.
        let contact_bend = -2.0 * contact * contact_slope * per_scale;
        let by_drop = (1.0 - contact * contact) * per_scale;
        let by_current = -2.0 * drop_slope * per_l_slope + 2.0 * push * c.saturation * per_leading
            - contact_bend * per_l;
        let by_scale = per_scale
            * (contact_slope * i * per_l_slope + (contact_slope + contact_bend * i) * per_l);
        let by_eddy_resistance = if c.with_eddy {
            -self.difference * per_l_slope - per_l
        } else {
            0.0
        };
        T::of_inputs(
            slope,
            [
                (Input::Current, by_current),
                (
                    Input::BackEmf,
                    -self.linkage * per_l_slope + c.reaction * sign * per_l,
                ),
                (Input::EddyCurrent, self.eddy_resistance * per_l_slope),
                (Input::Voltage, per_l_slope),
                (Input::Resistance, -i * per_l_slope - per_l),
                (Input::Inductance, -slope * (1.0 / c.inductance)),
                (Input::BrushDrop, -contact * per_l_slope - by_drop * per_l),
                (Input::BrushScale, by_scale),
                (
                    Input::Saturation,
                    (2.0 * push * i - drop_slope * i * i) * per_leading,
                ),
                (Input::Reaction, e * sign * (i * per_l_slope + per_l)),
                (Input::EddyShare, slope * self.per_leading_share()),
                (Input::EddyResistance, by_eddy_resistance),
            ],
        )
    }

    #[inline(always)]
    fn current_by_back_emf<T: StepNumber>(&self) -> T {
        let StateEquation { c, i, .. } = *self;
        let slope = self.slope(Current, BackEmf);
        let (per_l, per_l_slope) = (self.per_inductance, self.per_inductance_slope);
        let per_leading = 1.0 / self.leading_inductance;
        T::of_inputs(
            slope,
            [
                (
                    Input::Current,
                    c.reaction * self.sign * per_l - self.linkage * per_l_slope,
                ),
                (Input::Inductance, -slope * (1.0 / c.inductance)),
                (Input::Saturation, -self.linkage * i * i * per_leading),
                (Input::Reaction, i * self.sign * per_l),
                (Input::EddyShare, slope * self.per_leading_share()),
            ],
        )
    }

    #[inline(always)]
    fn current_by_eddy_current<T: StepNumber>(&self) -> T {
        let StateEquation { c, i, .. } = *self;
        let slope = self.slope(Current, EddyCurrent);
        let (per_l, per_l_slope) = (self.per_inductance, self.per_inductance_slope);
        let per_leading = 1.0 / self.leading_inductance;
        T::of_inputs(
            slope,
            [
                (Input::Current, self.eddy_resistance * per_l_slope),
                (Input::Inductance, -slope * (1.0 / c.inductance)),
                (
                    Input::Saturation,
                    self.eddy_resistance * i * i * per_leading,
                ),
                (Input::EddyShare, slope * self.per_leading_share()),
                (Input::EddyResistance, per_l),
            ],
        )
    }

    #[inline(always)]
    fn back_emf_by_current<T: StepNumber>(&self) -> T {
        let slope = self.slope(BackEmf, Current);
        let per_c = self.per_capacitance;
        T::of_inputs(
            slope,
            [
                (Input::Current, -2.0 * self.c.reaction * self.sign * per_c),
                (Input::Capacitance, -slope * per_c),
                (Input::Reaction, -2.0 * self.i * self.sign * per_c),
            ],
        )
    }

    #[inline(always)]
    fn back_emf_by_back_emf<T: StepNumber>(&self) -> T {
        let StateEquation { c, e, .. } = *self;
        let slope = self.slope(BackEmf, BackEmf);
        let per_c = self.per_capacitance;
        T::of_inputs(
            slope,
            [
                (
                    Input::BackEmf,
                    if e < 0.0 { 2.0 } else { -2.0 } * c.windage * per_c,
                ),
                (Input::Capacitance, -slope * per_c),
                (Input::ViscousConductance, -per_c),
                (Input::Windage, -2.0 * e.abs() * per_c),
            ],
        )
    }

    #[inline(always)]
    fn eddy_current_by_current<T: StepNumber>(&self) -> T {
        let slope = self.slope(EddyCurrent, Current);
        let resistance = self.eddy_resistance;
        T::of_inputs(
            slope,
            [
                (Input::EddyCurrent, resistance * self.per_saturated_slope),
                (Input::Inductance, -slope * (1.0 / self.c.inductance)),
                (Input::EddyShare, -slope / self.c.eddy_share),
                (Input::EddyResistance, self.per_saturated),
                (Input::Saturation, resistance * self.saturates()),
            ],
        )
    }

    #[inline(always)]
    fn eddy_current_by_eddy_current<T: StepNumber>(&self) -> T {
        let slope = self.slope(EddyCurrent, EddyCurrent);
        let resistance = self.eddy_resistance;
        let (difference, per_screened) = (self.difference, self.per_screened);
        let bend = 2.0 * self.c.saturation * per_screened;
        let by_eddy_current = resistance * (difference * bend - 2.0 * self.per_saturated_slope);
        let by_saturation =
            resistance * (2.0 * difference * self.eddy_current * per_screened - self.saturates());
        T::of_inputs(
            slope,
            [
                (Input::Current, resistance * self.per_saturated_slope),
                (Input::EddyCurrent, by_eddy_current),
                (Input::Inductance, -slope * (1.0 / self.c.inductance)),
                (Input::EddyShare, -slope / self.c.eddy_share),
                (
                    Input::EddyResistance,
                    difference * self.per_saturated_slope - self.per_saturated,
                ),
                (Input::Saturation, by_saturation),
            ],
        )
    }
}
