//! A bridge that coasts in the off time: the mean over a switching period of what drives the motor, with the current flowing all the time
//! or dying in the off time.
//!
//! With the duty D, the period T, the source's voltage V and the voltage U against the current in the off time (V and two diodes, or one diode
//! alone), the mean voltage is
//!
//! ```text
//! v = D V − (1 − D) U
//! ```
//!
//! while the current flows. The mean current is never below that of a period which begins without current. With e the back-EMF and the
//! brushes' drop, τ = L/R and L at the switching frequency,
//!
//! ```text
//! i_p = (V − e)/R (1 − exp(−D T/τ))                 peak
//! t_f = τ ln(1 + R i_p/(U + e))                     from the peak to zero
//! i_0 = (D (V − e) − min(t_f/T, 1 − D) (U + e) − L i_end/T)/R
//! ```
//!
//! with the current i_end that the period ends with, zero where t_f is over before. So a motor whose current flows follows the mean voltage, and
//! one whose current would fall below i_0 has i_0: the current of one period depends on nothing before it (discontinuous conduction; the
//! balance of voltage over a period, e.g. Erickson & Maksimović, *Fundamentals of Power Electronics*, chapter 5). The changes within one period
//! are none of this: a bin holds whole periods.

use super::gradient::Number;
use crate::bench::CoastingBridge;
use crate::motor::{Advance, Condition, Constants, Real, State, advance};
use std::f64::consts::TAU;

/// A bridge that coasts, in the numbers of a prediction.
pub struct Coasting<S> {
    /// Size of the source's voltage, V, and its sign.
    source_v: S,
    sign: f64,
    duty: S,
    /// Voltage against the current in the off time, V.
    against_v: S,
    period_s: f64,
    /// Mean voltage while the current flows all the time, V.
    pub flowing_v: S,
    /// Whether the current died in the period before.
    dies: bool,
}

impl<S: Number> Coasting<S> {
    /// `source_v`: with its sign; `gain`: of the duty.
    pub fn new(bridge: &CoastingBridge, source_v: S, gain: S) -> Self {
        let sign = source_v.value().signum();
        let size = source_v * sign;
        let against_v = if bridge.into_source { size } else { 0.0.into() } + bridge.diode_drop_v;
        let duty = gain * bridge.duty;
        Coasting {
            source_v: size,
            sign,
            duty,
            against_v,
            period_s: bridge.period_s,
            flowing_v: (duty * size - (-duty + 1.0) * against_v) * sign,
            dies: false,
        }
    }

    /// A step on `voltage`: [`Coasting::flowing_v`] with what else acts as a voltage, V.
    pub fn step(
        &mut self,
        constants: &Constants<S>,
        from: State<S>,
        (voltage, step_s, held): (S, f64, bool),
    ) -> Advance<S> {
        let flowing = || advance(constants, from, Condition::Voltage(voltage), step_s, held);
        let lift = voltage - self.flowing_v;
        let dying = |back_emf: S| {
            let current = self.least_current(constants, back_emf - lift)?;
            let condition = Condition::Current(current);
            Some(advance(constants, from, condition, step_s, held))
        };
        let Some(dying) = dying(from.back_emf).and_then(|first| dying(first.mean_back_emf)) else {
            return flowing();
        };
        let least = dying.end.current.value() * self.sign;
        // A current that has died once, and that the mean voltage would drive below the least, does so until the back-EMF falls: without the
        // steps through zero that the voltage alone would take.
        let c = constants.values();
        let drop = c.brush_drop * (least / c.brush_scale).tanh();
        let driven = (voltage - dying.mean_back_emf).value() * self.sign - drop;
        self.dies |= from.current.value() * self.sign <= least;
        if self.dies && driven < least * c.resistance {
            return dying;
        }
        let mut flowing = flowing();
        flowing.steps += dying.steps;
        let ends_above = (flowing.end.current - dying.end.current) * self.sign;
        self.dies = ends_above.value() < 0.0;
        if !self.dies {
            return flowing;
        }
        // The current meets the least within the step: both have their share of it.
        let at_first = self.least_current(constants, from.back_emf - lift);
        let above = at_first.map(|least| (from.current - least) * self.sign);
        let Some(above) = above.filter(|above| above.value() > 0.0) else {
            return dying;
        };
        let share = above / (above - ends_above);
        let both = |flowing: S, dying: S| dying + (flowing - dying) * share;
        Advance {
            end: State {
                current: dying.end.current,
                back_emf: both(flowing.end.back_emf, dying.end.back_emf),
                eddy_current: both(flowing.end.eddy_current, dying.end.eddy_current),
            },
            mean_current: both(flowing.mean_current, dying.mean_current),
            mean_back_emf: both(flowing.mean_back_emf, dying.mean_back_emf),
            steps: flowing.steps,
        }
    }

    /// Mean current of a period that begins without any, A; none where nothing makes it fall.
    fn least_current(&self, c: &Constants<S>, back_emf: S) -> Option<S> {
        let emf = back_emf * self.sign;
        if (self.source_v - emf).value() <= 0.0 {
            return Some(0.0.into());
        }
        // Half the peak without resistance: what the brushes' drop and the iron see.
        let usual = (self.source_v - emf) * self.duty * (0.5 * self.period_s) / c.inductance;
        let emf = emf + c.brush_drop * (usual / c.brush_scale).tanh();
        let (push, pull) = (self.source_v - emf, self.against_v + emf);
        if push.value() <= 0.0 {
            return Some(0.0.into());
        }
        if pull.value() <= 0.0 {
            return None;
        }
        let inductance = self.inductance(c) / (usual * usual * c.saturation + 1.0);
        let per_period = c.resistance * self.period_s / inductance;
        let peak = push / c.resistance * (-exp(-(per_period * self.duty)) + 1.0);
        let fall = ln(peak * c.resistance / pull + 1.0) / per_period;
        let off = -self.duty + 1.0;
        let driven = self.duty * push;
        if fall.value() < off.value() {
            return Some((driven - fall * pull) / c.resistance * self.sign);
        }
        let limit = pull / c.resistance;
        let end = (peak + limit) * exp(-(per_period * off)) - limit;
        Some((driven - off * pull - end * c.resistance / per_period) / c.resistance * self.sign)
    }

    /// Inductance at the switching frequency: what the screened share leaves there, H.
    fn inductance(&self, c: &Constants<S>) -> S {
        if !c.with_eddy {
            return c.inductance;
        }
        let screened = c.inductance * c.eddy_share;
        let ratio = screened * (TAU / self.period_s) / c.eddy_resistance;
        c.inductance - screened + screened / (ratio * ratio + 1.0)
    }
}

fn exp<S: Real>(x: S) -> S {
    let value = x.value().exp();
    S::chain(value, [value], [x])
}

fn ln<S: Real>(x: S) -> S {
    S::chain(x.value().ln(), [1.0 / x.value()], [x])
}
