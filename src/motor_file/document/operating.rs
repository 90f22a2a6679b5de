//! What the motor does at its supply voltage: no-load and stall values with intervals.

use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::{self, Quantity};
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// Steady states on one voltage, by Monte Carlo (JCGM 101:2008) over what the fit leaves possible. The winding is as warm as the
/// resistance's temperature says; a stalled one warms within seconds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OperatingPoints {
    /// Supply voltage, V.
    pub voltage_v: f64,
    /// Probability that an interval covers the true value.
    pub level: f64,
    /// Monte Carlo draws: as many as make every number stable to two digits of its standard uncertainty (JCGM 101:2008, 7.9), up to 30 000.
    pub trials: u64,
    /// Seed of the draws; absent in files of earlier versions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seed: Option<u64>,
    /// Digits of the standard uncertainties to which the numbers are stable: 2, 1, or 0 where not even one is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stable_digits: Option<u32>,
    /// Speed without load, rad/s; absent where K is not determined.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_load_speed: Option<OperatingPoint>,
    /// Current without load, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_load_current: Option<OperatingPoint>,
    /// Torque at standstill, N·m; absent where K is not determined.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stall_torque: Option<OperatingPoint>,
    /// Current at standstill, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stall_current: Option<OperatingPoint>,
}

/// One of them: mean, standard deviation and interval of the drawn values.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OperatingPoint {
    /// Mean of the drawn values.
    pub value: f64,
    /// UCUM code.
    pub unit: String,
    /// Standard deviation of the drawn values.
    pub standard_uncertainty: f64,
    /// Lower bound of the interval.
    pub lower: f64,
    /// Upper bound of the interval.
    pub upper: f64,
}

impl OperatingPoints {
    /// Those that are known, with words, kind and, where it differs, the common unit.
    pub fn known(
        &self,
    ) -> impl Iterator<
        Item = (
            &'static str,
            Quantity,
            Option<&'static str>,
            &OperatingPoint,
        ),
    > {
        [
            (
                "no-load speed",
                Quantity::Speed,
                Some("rpm"),
                &self.no_load_speed,
            ),
            (
                "no-load current",
                Quantity::Current,
                None,
                &self.no_load_current,
            ),
            ("stall torque", Quantity::Torque, None, &self.stall_torque),
            (
                "stall current",
                Quantity::Current,
                None,
                &self.stall_current,
            ),
        ]
        .into_iter()
        .filter_map(|(words, kind, trade, point)| Some((words, kind, trade, point.as_ref()?)))
    }

    /// How they were drawn.
    pub fn drawn(&self) -> String {
        let seed = self.seed.map(|seed| format!(", seed {seed}"));
        let digits = self.stable_digits.map(|digits| {
            let plural = if digits == 1 { "" } else { "s" };
            format!(", stable to {digits} digit{plural}")
        });
        format!(
            "{} Monte Carlo draws{}{}",
            self.trials,
            seed.unwrap_or_default(),
            digits.unwrap_or_default()
        )
    }

    /// One line a quantity, under a heading; empty where nothing is known. Ends in a line feed.
    pub fn words(&self) -> String {
        let mut text = String::new();
        for (words, kind, trade, at) in self.known() {
            if text.is_empty() {
                let _ = writeln!(
                    text,
                    "at {} V, at the winding temperature of R ({}):",
                    self.voltage_v,
                    self.drawn()
                );
            }
            let si = units::si(kind).text;
            let scale = if kind == Quantity::Speed {
                Scale::Plain
            } else {
                Scale::Prefix
            };
            let value = rounding::write(at.value, Some(at.standard_uncertainty), si, scale);
            let range = rounding::write_interval(at.lower, at.upper, si, scale);
            let percent = rounding::percent(self.level);
            let _ = write!(text, "  {words:<16} {value}, {range} ({percent} %)");
            if let Some(unit) = trade.and_then(|text| units::find(kind, text).ok()) {
                let number = unit.from_si(at.value);
                let uncertainty = unit.uncertainty_from_si(at.value, at.standard_uncertainty);
                let written = rounding::write(number, Some(uncertainty), unit.text, Scale::Plain);
                let _ = write!(text, "\n{:19}{written}", "");
            }
            text.push('\n');
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lines_hold_what_is_known_and_nothing_else() {
        let points = OperatingPoints {
            voltage_v: 24.0,
            level: 0.95,
            trials: 10_000,
            seed: Some(1),
            stable_digits: Some(2),
            no_load_speed: Some(OperatingPoint {
                value: 523.12,
                unit: "rad/s".into(),
                standard_uncertainty: 2.04,
                lower: 519.1,
                upper: 527.2,
            }),
            no_load_current: None,
            stall_torque: None,
            stall_current: Some(OperatingPoint {
                value: 7.512,
                unit: "A".into(),
                standard_uncertainty: 0.081,
                lower: 7.353,
                upper: 7.671,
            }),
        };
        let expected = "\
at 24 V, at the winding temperature of R (10000 Monte Carlo draws, seed 1, stable to 2 digits):
  no-load speed    523.1(2.0) rad/s, 519.1 to 527.2 rad/s (95 %)
                   4995(19) rpm
  stall current    7.512(81) A, 7.35 to 7.67 A (95 %)
";
        assert_eq!(points.words(), expected);
    }
}
