//! The fits of a run-down's harmonic set, from the line first seen to the order of the smooth part that the record asks for.

use super::prepare::SMOOTH_ORDER;
use crate::ripple::error::Unreadable;
use crate::ripple::harmonics::model::Frame;
use crate::ripple::harmonics::pattern::{Weighed, weigh};
use crate::ripple::harmonics::pick_lines::{pick_lines, visible_ratios};
use crate::ripple::harmonics::refine::{Fit, Harmonics, Start, refine};
use crate::ripple::lines::classify_lines::{AngleLine, Search};
use crate::ripple::lines::foreign::ForeignLine;
use crate::ripple::options::RippleOptions;

/// Orders of the smooth part tried in the final fit, besides [`SMOOTH_ORDER`].
const OTHER_ORDERS: [usize; 2] = [4, 9];
/// Steps of the frequency, in standard deviations, at which fits end: those of which only the criterion is wanted, the first, those
/// whose phase or residual is looked at, and the last.
const LOOSE: f64 = 1.0;
const ROUGH: f64 = 0.1;
const CLEAN: f64 = 0.01;
const FINE: f64 = 1e-3;
/// Ratios of the lines fitted before the pattern is read.
const FIRST_RATIOS: [f64; 4] = [1.0, 2.0, 3.0, 0.5];

/// A run-down's voltage while its lines are fitted.
pub(crate) struct Fitting<'a> {
    pub frame: Frame,
    /// With the lines taken out that are no ripple, V.
    pub voltage_v: Vec<f64>,
    pub interval_s: f64,
    pub options: &'a RippleOptions,
}

impl Fitting<'_> {
    fn fit(
        &self,
        order: usize,
        ratios: &[f64],
        start: Start,
        tolerance: f64,
    ) -> Result<Fit, Unreadable> {
        refine(
            &self.frame,
            &self.voltage_v,
            order,
            ratios,
            start,
            tolerance,
        )
        .ok_or(Unreadable::Singular { terms: order + 1 })
    }

    /// A fit whose phase or residual is looked at.
    fn clean(&self, ratios: &[f64], start: Start) -> Result<Harmonics, Unreadable> {
        let fit = self.fit(SMOOTH_ORDER, ratios, start, CLEAN)?;
        Ok(fit.laid_out(&self.frame, &self.voltage_v))
    }

    /// Every hypothesis of the harmonic pattern weighed, and the ratios of the lines that stand out under the best one.
    pub fn pattern(&self, base: &Harmonics) -> (Vec<Weighed>, Vec<f64>) {
        let (frequency, options) = (base.fit.frequency, self.options);
        let lines = pick_lines(base, self.interval_s);
        let weighed = weigh(&lines, frequency, &options.counted, options.most_segments);
        let ratios = visible_ratios(&lines, frequency, &weighed[0]);
        (weighed, ratios)
    }

    /// The phase of the ripple: from the lines seen so far, then with the whole pattern read at that phase. Lines in time that the
    /// ripple had hidden leave the voltage.
    pub fn phase(
        &mut self,
        seen: &AngleLine,
        search: &Search,
        foreign: &mut Vec<ForeignLine>,
    ) -> Result<Harmonics, Unreadable> {
        let start = Start::Seen(seen.frequency, seen.zero_v);
        let first = self.fit(SMOOTH_ORDER, &[1.0], start, ROUGH)?;
        let base = self.clean(&FIRST_RATIOS, Start::From(&first))?;
        let (_, ratios) = self.pattern(&base);
        let base = self.clean(&ratios, Start::From(&base.fit))?;
        let mut residual = base.residual_v.clone();
        if !search.remove_time_lines(&mut residual, foreign) {
            return Ok(base);
        }
        let removed = base.residual_v.iter().zip(&residual);
        for (v, (before, after)) in self.voltage_v.iter_mut().zip(removed) {
            *v -= before - after;
        }
        self.clean(&ratios, Start::From(&base.fit))
    }

    /// The last fit, with the order of the smooth part that has the best criterion.
    pub fn finest(&self, base: &Fit, ratios: &[f64]) -> Result<Harmonics, Unreadable> {
        let mut best = self.fit(SMOOTH_ORDER, ratios, Start::From(base), FINE)?;
        for order in OTHER_ORDERS {
            // Terms worth many times what the criterion charges for them need no fit without them.
            let charge = (self.voltage_v.len() as f64).ln() * (SMOOTH_ORDER as f64 - order as f64);
            if order < SMOOTH_ORDER && best.worth_above(order).is_some_and(|w| w > 5.0 * charge) {
                continue;
            }
            let fitted = self.fit(order, ratios, Start::From(&best), LOOSE)?;
            // One step gives the criterion to a fraction of one, which decides unless the two are close.
            if fitted.criterion < best.criterion + 3.0 {
                let fitted = self.fit(order, ratios, Start::From(&fitted), FINE)?;
                if fitted.criterion < best.criterion {
                    best = fitted;
                }
            }
        }
        Ok(best.laid_out(&self.frame, &self.voltage_v))
    }
}
