//! Rates of the state's variables.

use super::{Input, StateEquation, StepNumber, drag};
use crate::motor::Real;
use crate::motor::state::StateVariable::{self, BackEmf, Current, EddyCurrent};

impl<S: Real> StateEquation<'_, S> {
    /// Time derivative of a state variable, A/s or V/s.
    #[inline(always)]
    pub fn rate(&self, of: StateVariable) -> S {
        match of {
            Current => self.push * self.per_inductance,
            BackEmf => {
                (self.i * self.linkage - drag(self.c, self.e, self.direction))
                    * self.per_capacitance
            }
            EddyCurrent => self.eddy_resistance * self.difference * self.per_saturated,
        }
    }
}

impl StateEquation<'_, f64> {
    /// [`StateEquation::rate`] of every variable with its partial derivatives, in the order of [`StateVariable`].
    #[inline(always)]
    pub fn rates_by_inputs<T: StepNumber>(&self) -> [T; 3] {
        [
            self.current_rate(),
            self.back_emf_rate(),
            if self.c.with_eddy {
                self.eddy_current_rate()
            } else {
                0.0.into()
            },
        ]
    }

    #[inline(always)]
    fn current_rate<T: StepNumber>(&self) -> T {
        let StateEquation { c, i, e, .. } = *self;
        let rate = self.rate(Current);
        let per_l = self.per_inductance;
        let contact_by_scale = self.contact_slope * i / c.brush_scale;
        T::of_inputs(
            rate,
            [
                (Input::Current, self.slope(Current, Current)),
                (Input::BackEmf, self.slope(Current, BackEmf)),
                (Input::EddyCurrent, self.slope(Current, EddyCurrent)),
                (Input::Voltage, per_l),
                (Input::Resistance, -i * per_l),
                (Input::Inductance, -rate / c.inductance),
                (Input::BrushDrop, -self.contact * per_l),
                (Input::BrushScale, contact_by_scale * per_l),
                (
                    Input::Saturation,
                    self.push * i * i / self.leading_inductance,
                ),
                (Input::Reaction, e * i * self.sign * per_l),
                (Input::EddyShare, rate * self.per_leading_share()),
                (Input::EddyResistance, -self.difference * per_l),
            ],
        )
    }

    #[inline(always)]
    fn back_emf_rate<T: StepNumber>(&self) -> T {
        let StateEquation { i, e, .. } = *self;
        let rate = self.rate(BackEmf);
        let per_c = self.per_capacitance;
        T::of_inputs(
            rate,
            [
                (Input::Current, self.slope(BackEmf, Current)),
                (Input::BackEmf, self.slope(BackEmf, BackEmf)),
                (Input::Capacitance, -rate * per_c),
                (Input::FrictionCurrent, -self.direction * per_c),
                (Input::ViscousConductance, -e * per_c),
                (Input::Windage, -e * e.abs() * per_c),
                (Input::Reaction, -i * i * self.sign * per_c),
            ],
        )
    }

    #[inline(always)]
    fn eddy_current_rate<T: StepNumber>(&self) -> T {
        let rate = self.rate(EddyCurrent);
        T::of_inputs(
            rate,
            [
                (Input::Current, self.slope(EddyCurrent, Current)),
                (Input::EddyCurrent, self.slope(EddyCurrent, EddyCurrent)),
                (Input::Inductance, -rate / self.c.inductance),
                (Input::EddyShare, -rate / self.c.eddy_share),
                (Input::EddyResistance, self.difference * self.per_saturated),
                (
                    Input::Saturation,
                    self.eddy_resistance * self.difference * self.saturates(),
                ),
            ],
        )
    }

    /// i_e²/(s L₀): what 1/I_s² adds to the reciprocal of the screened inductance.
    #[inline(always)]
    pub(super) fn saturates(&self) -> f64 {
        self.eddy_current * self.eddy_current * self.per_screened
    }
}
