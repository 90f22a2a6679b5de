//! Remarks on the ripple of a current: what was found with numbers, and what to do.

use crate::ripple::remarks::SampleRemark;
use std::fmt;

/// What was found on the way from a current to its speed.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum CurrentRemark {
    /// A remark on the samples.
    Samples(SampleRemark),
    /// The strongest line is as sharp in time as under a changing speed.
    NoSharperThanInTime {
        /// Frequency of the line.
        frequency_hz: f64,
    },
    /// No line is above the noise.
    NoLine {
        /// Stated rate of false alarms.
        false_alarm_rate: f64,
    },
    /// No course of the speed follows the line.
    NoTrajectory {
        /// Frequency of the line.
        frequency_hz: f64,
    },
    /// The line is aliased, and an expected speed gives its true frequency.
    AliasResolved {
        /// Frequency at which the line appears.
        seen_hz: f64,
        /// Value and standard uncertainty.
        expected_hz: (f64, f64),
        /// Frequency that the line has.
        true_hz: f64,
        /// Sampling rate.
        sampling_hz: f64,
    },
    /// At constant speed the line may be an alias of others.
    AliasOpen {
        /// Frequency of the line.
        frequency_hz: f64,
        /// Frequencies that would appear at the same place.
        aliases_hz: Vec<f64>,
    },
    /// Part of a record with changing speed in which the ripple lies above the Nyquist frequency.
    AliasedShare {
        /// Rows in which the line is above the Nyquist frequency.
        aliased_rows: usize,
        /// Rows concerned.
        rows: usize,
        /// Highest frequency.
        most_hz: f64,
        /// Half the sampling rate.
        nyquist_hz: f64,
    },
    /// Nothing foreseen tells the commutation line from unevenness.
    TakenForCommutation,
    /// The line is at a multiple of the mains frequency.
    MultipleOfMains {
        /// Frequency of the line.
        frequency_hz: f64,
    },
}

impl fmt::Display for CurrentRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CurrentRemark::Samples(remark) => remark.fmt(f),
            CurrentRemark::NoSharperThanInTime { frequency_hz } => write!(
                f,
                "the strongest line of the current, {frequency_hz:.1} Hz, is no sharper under a changing speed than in time: hum or switching ripple cannot be excluded, so it is not used as speed"
            ),
            CurrentRemark::NoLine { false_alarm_rate } => write!(
                f,
                "no ripple line of the current rises above its noise (false-alarm rate {} %); it gives no speed",
                100.0 * false_alarm_rate
            ),
            CurrentRemark::NoTrajectory { frequency_hz } => write!(
                f,
                "the current has a clear line at {frequency_hz:.1} Hz, but no course of the speed follows it to its end; it gives no speed"
            ),
            CurrentRemark::AliasResolved {
                seen_hz,
                expected_hz: (expected, sd),
                true_hz,
                sampling_hz,
            } => write!(
                f,
                "the ripple is aliased: it appears at {seen_hz:.2} Hz, is expected at {expected:.2} ± {sd:.2} Hz, so its frequency is {true_hz:.2} Hz (sampling rate {sampling_hz:.0} Hz)"
            ),
            CurrentRemark::AliasOpen {
                frequency_hz,
                aliases_hz,
            } => {
                let aliases = aliases_hz.iter().take(2).map(|a| format!("{a:.2} Hz"));
                write!(
                    f,
                    "at constant speed sampling cannot distinguish {frequency_hz:.2} Hz from {}; a run-down or an expected speed would decide it",
                    aliases.collect::<Vec<_>>().join(" or ")
                )
            }
            CurrentRemark::AliasedShare {
                aliased_rows,
                rows,
                most_hz,
                nyquist_hz,
            } => write!(
                f,
                "the ripple is aliased in {:.0} % of the record (up to {most_hz:.0} Hz against a Nyquist frequency of {nyquist_hz:.0} Hz); its true frequency is known because the speed changes",
                100.0 * *aliased_rows as f64 / *rows as f64
            ),
            CurrentRemark::TakenForCommutation => f.write_str(
                "the strongest line of the current is assumed to be the commutation line; in a current it can also be unevenness, once or twice a revolution. A frequency expected from the run-down would decide it",
            ),
            CurrentRemark::MultipleOfMains { frequency_hz } => write!(
                f,
                "the line of the steady current at {frequency_hz:.2} Hz is a multiple of a mains frequency: at constant speed ripple and hum look alike, so it is not used as speed"
            ),
        }
    }
}
