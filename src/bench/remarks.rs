//! What a bench sheet, its captures and a quick run leave to remark on: each a value with its numbers, worded here.

use crate::capture;
use serde::Serialize;
use std::fmt;

/// An accuracy that is not stated.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Assumption {
    /// Name of the instrument.
    pub instrument: String,
    /// Gain, zero or tolerance.
    pub what: &'static str,
    /// What is assumed.
    pub value: String,
}

/// A remark, and the capture that it is about.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct BenchRemark {
    /// Name of the capture; `None` where it concerns the sheet.
    pub capture: Option<String>,
    /// What was found.
    pub kind: BenchRemarkKind,
}

/// What was found; units stand in the names. The text comes by `Display`; code and numbers by `Serialize`.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
pub enum BenchRemarkKind {
    #[error(
        "line {line}: winding temperature {temperature_c} °C without an accuracy; assumed within {limit_k} K (rectangular). Add limit_k to replace the assumption"
    )]
    TemperatureWithoutAccuracy {
        line: u32,
        temperature_c: f64,
        limit_k: f64,
    },
    #[error(
        "line {line}: no accuracy of the speed stated; assumed a limit of 0.1 % and 1 rpm (rectangular)"
    )]
    SpeedWithoutAccuracy { line: u32 },
    #[error(
        "line {line}: no accuracy of the ohmmeter stated; assumed a limit of 1 % (rectangular)"
    )]
    ResistanceWithoutAccuracy { line: u32 },
    #[error(
        "line {line}: only the range of the ohmmeter readings is stated; it counts as {readings} readings spread evenly over it"
    )]
    RangeOnly { line: u32, readings: u32 },
    #[error("instrument \"{}\": no {} stated; assumed {} (rectangular). State it under [instruments.{}] to replace the assumption", .0.instrument, .0.what, .0.value, .0.instrument)]
    InstrumentAssumed(Assumption),
    #[error(
        "channel \"{channel}\": no {what} stated; assumed {value} (rectangular). State it under [channels.{channel}] to replace the assumption"
    )]
    ChannelAssumed {
        channel: String,
        what: &'static str,
        value: &'static str,
    },
    #[error(
        "without a bench sheet the accuracies are assumed (rectangular): {}. A sheet (rundown sheet FOLDER) replaces them by those of your instruments",
        listed(assumed)
    )]
    QuickAssumed { assumed: Vec<Assumption> },
    #[error("winding temperature {temperature_c} °C assumed within {limit_k} K (rectangular)")]
    QuickTemperature { temperature_c: f64, limit_k: f64 },
    #[error("speed {rpm:.1} rpm assumed within 0.1 % and 1 rpm (rectangular), read while running freely {}", match read_in { Some(name) => format!("as capture \"{name}\" shows it"), None => "at the supply voltage".to_owned() })]
    QuickSpeed { rpm: f64, read_in: Option<String> },
    #[error(
        "no winding temperature for {}: copper changes by 0.39 % a kelvin, so 10 K that nobody noted are 3.9 % of R, and nothing can be brought to 25 °C. State winding_temperature = {{ c = …, limit_k = … }} (--temperature without a sheet)", captures.join(", ")
    )]
    NoTemperature { captures: Vec<String> },
    #[error(
        "heat record \"{record}\": the resistance of the ohmmeter's leads is not stated (`leads`); none is subtracted"
    )]
    LeadsNotStated { record: String },
    #[error("capture \"{name}\" is not used (use = false)")]
    NotUsed { name: String },
    #[error("channel \"{channel}\": an accuracy is stated in divisions or of full scale and no vertical scale is given; estimated from {how}: {} a division", captures.iter().map(|(name, scale)| format!("{name} {scale}")).collect::<Vec<_>>().join(", "))]
    ScaleEstimated {
        channel: String,
        how: String,
        /// Each capture with its scale a division.
        captures: Vec<(String, String)>,
    },
    #[error(
        "the preamble says column \"{column}\" was AC coupled, the sheet says DC; the sheet is followed"
    )]
    CouplingContradicts { column: String },
    #[error(
        "column {column} \"{name}\" is used as the {used_as} and {expected} is expected, but its unit is {found}. {next}"
    )]
    UnitContradicts {
        column: usize,
        name: String,
        used_as: &'static str,
        expected: &'static str,
        found: String,
        #[serde(skip)]
        next: &'static str,
    },
    #[error(
        "the current channel was AC coupled: its zero is lost, and it contains no information about friction. Record it again with DC coupling"
    )]
    CurrentAcCoupled,
    #[error(
        "the voltage channel was AC coupled: its level is lost, the capture is left out, and friction cannot be determined from it. Record it again with DC coupling"
    )]
    VoltageAcCoupled,
    #[error("the voltage reaches about {} V, {} of the stated supply of {} V: the ratio of the probe was probably not set. Say apply_probe_ratio = {} for this channel, or correct the supply; otherwise R, L and K come out ten times too {}", two_digits(*seen_v), if seen_v < supply_v { "a tenth" } else { "ten times" }, short(*supply_v), if seen_v < supply_v { "10" } else { "0.1" }, if seen_v < supply_v { "small" } else { "large" })]
    ProbeRatio { seen_v: f64, supply_v: f64 },
    #[error("the current reaches {} A and the supply limits at {} A: no voltage step, usable only with the measured voltage", short(*peak_a), short(*limit_a))]
    CurrentLimited { peak_a: f64, limit_a: f64 },
    #[error(
        "channel \"{channel}\": column \"{column}\" jumps by nearly its whole range of {span}; it is read as a counter that begins again at {rollover}. State rollover = {rollover} under [channels.{channel}], or the right count"
    )]
    RolloverFound {
        channel: String,
        column: String,
        span: f64,
        rollover: f64,
    },
    #[error("a capacitor of {} nF lies across the motor: the ring after an opening is left out up to where the voltage has settled; the rest of these captures does not depend on it", short(1e9 * capacitance_f))]
    CapacitorHarmless { capacitance_f: f64 },
    #[error("a capacitor of {} nF lies across the motor, and captures depend on it ({}): a turn-off measures the inductance only where a clamp takes the current over at once, and edges of a PWM charge the capacitor through the current channel. Take it off for these, or leave them out (use = false)", short(1e9 * capacitance_f), captures.join(", "))]
    CapacitorMatters {
        capacitance_f: f64,
        captures: Vec<String>,
    },
    /// What was found while the file was read, with a code of its own.
    #[serde(untagged)]
    #[error("{0}")]
    Record(capture::Warning),
}

impl BenchRemarkKind {
    /// Of the sheet.
    pub(super) fn of_sheet(self) -> BenchRemark {
        BenchRemark {
            capture: None,
            kind: self,
        }
    }

    /// Of a capture.
    pub(super) fn of_capture(self, name: &str) -> BenchRemark {
        BenchRemark {
            capture: Some(name.to_owned()),
            kind: self,
        }
    }
}

impl fmt::Display for BenchRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.capture {
            Some(name) => write!(f, "capture \"{name}\": {}", self.kind),
            None => self.kind.fmt(f),
        }
    }
}

fn listed(assumed: &[Assumption]) -> String {
    let each = assumed.iter();
    let each = each.map(|a| format!("{} of the {} {}", a.what, a.instrument, a.value));
    each.collect::<Vec<_>>().join(", ")
}

/// Two significant digits, so that several captures read alike.
fn two_digits(value: f64) -> String {
    let rounded: f64 = format!("{value:.1e}").parse().unwrap_or(value);
    format!("{rounded}")
}

/// Three significant digits.
pub fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor() as i32;
    if (-4..5).contains(&magnitude) {
        let decimals = (2 - magnitude).max(0) as usize;
        format!("{value:.decimals$}")
    } else {
        format!("{value:.2e}")
    }
}

#[cfg(test)]
mod tests {
    use super::short;

    #[test]
    fn three_digits_are_shown() {
        assert_eq!(short(0.0390625), "0.0391");
        assert_eq!(short(12.345), "12.3");
        assert_eq!(short(1234.5), "1234");
        assert_eq!(short(1.5e-7), "1.50e-7");
        assert_eq!(short(0.0), "0");
    }
}
