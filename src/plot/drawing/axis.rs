//! Scales of a picture: from values to shares of a side, with round ticks and their labels.

use crate::quantity::prefix;

/// A scale.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::plot) struct Axis {
    pub from: f64,
    pub to: f64,
    /// Powers of ten instead of equal steps.
    pub log: bool,
    pub unit: String,
}

/// Units that take an engineering prefix.
const PREFIXED: [&str; 6] = ["V", "A", "s", "W", "Hz", "Ω"];

impl Axis {
    /// From the least to the greatest of the values with a margin; something wide where they are all alike or none is.
    pub fn around(values: impl IntoIterator<Item = f64>, unit: &str) -> Axis {
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.into_iter().filter(|v| v.is_finite()) {
            least = least.min(value);
            most = most.max(value);
        }
        if least > most {
            (least, most) = (0.0, 1.0);
        }
        let span = most - least;
        let margin = if span > 0.0 {
            0.05 * span
        } else {
            (0.1 * most.abs()).max(1e-9)
        };
        Axis::linear(least - margin, most + margin, unit)
    }

    pub fn linear(from: f64, to: f64, unit: &str) -> Axis {
        Axis {
            from,
            to,
            log: false,
            unit: unit.to_owned(),
        }
    }

    /// From the power of ten at or below to the one above; `None` for ends that are not above zero.
    pub fn decades(least: f64, most: f64, unit: &str) -> Option<Axis> {
        (least > 0.0 && most >= least && most.is_finite()).then(|| Axis {
            from: 10f64.powf(least.log10().floor()),
            to: 10f64.powf((1.6 * most).log10().ceil()),
            log: true,
            unit: unit.to_owned(),
        })
    }

    /// Share of the side, 0 at `from`; not a number where a logarithm does not exist.
    pub fn share(&self, value: f64) -> f64 {
        if self.log {
            (value.log10() - self.from.log10()) / (self.to.log10() - self.from.log10())
        } else {
            (value - self.from) / (self.to - self.from)
        }
    }

    /// At most `most` round values within, each with its label.
    pub fn ticks(&self, most: usize) -> Vec<(f64, String)> {
        if self.log {
            let (first, last) = (self.from.log10().round(), self.to.log10().round());
            return (first as i32..=last as i32)
                .map(|power| 10f64.powi(power))
                .map(|value| (value, self.decade_label(value)))
                .collect();
        }
        let span = self.to - self.from;
        if !(span > 0.0 && span.is_finite()) || most == 0 {
            return Vec::new();
        }
        let rough = span / most as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|m| m * power)
            .find(|step| *step >= rough * (1.0 - 1e-9))
            .unwrap_or(10.0 * power);
        let (first, last) = (
            (self.from / step - 1e-9).ceil() as i64,
            (self.to / step + 1e-9).floor() as i64,
        );
        let exponent = self.exponent();
        let prefix = prefix::symbol(exponent).unwrap_or_default();
        let places = (-(step / 10f64.powi(exponent)).log10() - 1e-9)
            .ceil()
            .max(0.0) as usize;
        (first..=last)
            .map(|k| {
                let value = k as f64 * step;
                let number = format!("{:.places$}", value / 10f64.powi(exponent)).replace('-', "−");
                let label = if self.unit.is_empty() {
                    number
                } else {
                    format!("{number} {prefix}{}", self.unit)
                };
                (value, label)
            })
            .collect()
    }

    /// Power of ten of the prefix for all ticks.
    fn exponent(&self) -> i32 {
        let largest = self.from.abs().max(self.to.abs());
        if !PREFIXED.contains(&self.unit.as_str()) || largest <= 0.0 {
            return 0;
        }
        let power = (largest * (1.0 + 1e-9)).log10().floor() as i32;
        (3 * power.div_euclid(3)).clamp(-12, 6)
    }

    fn decade_label(&self, value: f64) -> String {
        let value = if self.unit == "%" {
            100.0 * value
        } else {
            value
        };
        let places = (-value.log10() - 1e-9).ceil().clamp(0.0, 12.0) as usize;
        format!("{value:.places$} {}", self.unit)
            .trim_end()
            .to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis, most: usize) -> Vec<String> {
        axis.ticks(most).into_iter().map(|t| t.1).collect()
    }

    #[test]
    fn ticks_are_round_and_share_one_prefix() {
        assert_eq!(
            labels(&Axis::linear(-0.0129, 0.117, "s"), 8),
            ["0 ms", "20 ms", "40 ms", "60 ms", "80 ms", "100 ms"]
        );
        assert_eq!(
            labels(&Axis::linear(-1.2, 0.3, "A"), 4),
            ["−1.0 A", "−0.5 A", "0.0 A"]
        );
        assert_eq!(
            labels(&Axis::linear(0.0, 5.2, ""), 6),
            ["0", "1", "2", "3", "4", "5"]
        );
    }

    #[test]
    fn decades_have_a_tick_at_each_power_of_ten() {
        let axis = Axis::decades(3e-4, 0.04, "%").expect("above zero");
        assert_eq!(labels(&axis, 5), ["0.01 %", "0.1 %", "1 %", "10 %"]);
        assert!((axis.share(1e-3) - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(Axis::decades(0.0, 1.0, "%"), None);
    }

    #[test]
    fn values_that_are_all_alike_still_have_a_scale() {
        let axis = Axis::around([3.0, 3.0, f64::NAN], "V");
        assert!(axis.from < 3.0 && axis.to > 3.0);
        assert!(Axis::around([], "V").to > 0.0);
    }
}
