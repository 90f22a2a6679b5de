//! The oscilloscope's screen: scale and position as a person sets them, and the converter.

use crate::bench::Trace;
use crate::chance::Dice;
use crate::series::series_above;

/// Divisions of the screen from bottom to top; the converter's codes cover them exactly.
const DIVISIONS: f64 = 10.0;

/// Vertical setting of one channel in one capture.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Vertical {
    /// Volts or amperes.
    pub per_division: f64,
    /// Value at the middle of the screen.
    pub middle: f64,
    /// Step between codes.
    pub step: f64,
    codes: f64,
}

impl Vertical {
    /// The smallest scale of the 1-2-5 series on which `low .. high` takes at most 8.5 of the ten divisions, placed to half a
    /// division.
    pub(crate) fn fit(low: f64, high: f64, bits: u32) -> Self {
        let span = (high - low).max(1e-9 * high.abs().max(1e-6));
        let per_division = series_above(span / 8.5, &[1.0, 2.0, 5.0]);
        let middle = (0.5 * (low + high) / (0.5 * per_division)).round() * 0.5 * per_division;
        let codes = f64::from(1_u32 << bits.min(31));
        Vertical {
            per_division,
            middle,
            step: DIVISIONS * per_division / codes,
            codes,
        }
    }

    fn bottom(&self) -> f64 {
        self.middle - 0.5 * DIVISIONS * self.per_division
    }

    /// Code and value shown for `value`.
    fn convert(&self, value: f64) -> (f64, bool) {
        let code = ((value - self.bottom()) / self.step).round();
        let clipped = code <= 0.0 || code >= self.codes - 1.0;
        let code = code.clamp(0.0, self.codes - 1.0);
        (self.bottom() + code * self.step, clipped)
    }

    /// The trace of `values` as the scope writes it, with `noise` (rms) added first.
    pub(crate) fn trace(&self, values: &[f64], noise: f64, dice: &mut Dice) -> Trace {
        let mut shown = Vec::with_capacity(values.len());
        let mut clipped = Vec::with_capacity(values.len());
        for value in values {
            let (value, at_end) = self.convert(value + noise * dice.normal());
            shown.push(value);
            clipped.push(at_end);
        }
        Trace {
            values: shown,
            step: self.step,
            clipped,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_are_those_a_person_would_set() {
        for (low, high, scale) in [(0.0, 24.5, 5.0), (-0.3, 0.1, 0.05), (0.0, 3.02, 0.5)] {
            let vertical = Vertical::fit(low, high, 8);
            assert_eq!(vertical.per_division, scale);
            assert!(vertical.bottom() < low && vertical.bottom() + 10.0 * scale > high);
            assert_eq!(vertical.step, 10.0 * scale / 256.0);
        }
    }

    #[test]
    fn every_shown_value_lies_on_a_code_and_ends_are_marked() {
        let vertical = Vertical::fit(0.0, 8.0, 8);
        let values: Vec<f64> = (-40..60).map(|k| 0.37 * f64::from(k)).collect();
        let trace = vertical.trace(&values, 0.02, &mut Dice::new(1, "x"));
        for (value, clipped) in trace.values.iter().zip(&trace.clipped) {
            let code = (value - vertical.bottom()) / vertical.step;
            assert!((code - code.round()).abs() < 1e-9);
            assert!((0.0..=255.0).contains(&code.round()));
            assert_eq!(*clipped, code.round() == 0.0 || code.round() == 255.0);
        }
        assert!(trace.clipped[0] && trace.clipped[99] && !trace.clipped[50]);
    }
}
