//! Why a record cannot be read for ripple.

use thiserror::Error;

/// A record that gives no ripple analysis at all. A record that can be analysed but shows no line is no error: see
/// [`RippleResult::line`](super::RippleResult::line).
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum Unreadable {
    /// Too few usable samples while the rotor turns.
    #[error(
        "the record has {samples} usable samples in the stretch where the motor turns, at least {needed} are needed; record at a higher rate or a longer stretch"
    )]
    TooShort {
        /// Usable samples.
        samples: usize,
        /// Samples needed.
        needed: usize,
    },
    /// Columns of different length.
    #[error("{values} values against {times} times: both columns must be equally long")]
    Lengths {
        /// Number of times.
        times: usize,
        /// Number of values.
        values: usize,
    },
    /// A time that is not later than the one before it.
    #[error(
        "time does not advance at row {row} of the stretch ({before_s} s, then {after_s} s); export the record again"
    )]
    TimeOrder {
        /// Row within the stretch, from 0.
        row: usize,
        /// Time of the row before it, s.
        before_s: f64,
        /// Time of this row, s.
        after_s: f64,
    },
    /// Too many clipped samples.
    #[error(
        "{clipped} of {samples} samples sit at the end of the converter's range: the smooth part of the voltage is lost; record again with a larger vertical range"
    )]
    Clipped {
        /// Clipped samples.
        clipped: usize,
        /// All samples.
        samples: usize,
    },
    /// The voltage changes sign, as behind a coupling capacitor.
    #[error(
        "the voltage goes from {start_v:.4} V to {end_v:.4} V though a motor that only slows cannot reverse its EMF: AC coupling suspected; record again with DC coupling"
    )]
    AcCoupled {
        /// Voltage at the start of the stretch, V.
        start_v: f64,
        /// Voltage at its end or, where the start is near zero, at its largest excursion, V.
        end_v: f64,
    },
    /// The voltage does not fall as in a run-down.
    #[error(
        "the voltage does not fall as in a run-down: mean of its four quarters {quarters_v:?} V; give only the stretch with open terminals; if it is, the channel was AC coupled: record again with DC coupling"
    )]
    NotSlowing {
        /// Mean voltage of the four quarters of the stretch, V.
        quarters_v: [f64; 4],
    },
    /// No voltage above the noise.
    #[error(
        "the voltage ({level_v:.4} V at the start of the stretch) does not rise above its noise ({noise_v:.4} V): the motor does not turn or the channel is not connected"
    )]
    NoVoltage {
        /// Voltage at the start of the stretch, V.
        level_v: f64,
        /// Standard deviation of the noise, V.
        noise_v: f64,
    },
    /// An option outside its range.
    #[error("option {name} is {value}: {expected}")]
    Option {
        /// Field of [`RippleOptions`](super::RippleOptions).
        name: &'static str,
        /// The value given.
        value: f64,
        /// The allowed range.
        expected: &'static str,
    },
    /// The normal equations of the smooth part are singular.
    #[error(
        "the smooth part of the record could not be fitted (normal equations singular): fewer independent samples than its {terms} terms"
    )]
    Singular {
        /// Terms of the smooth part.
        terms: usize,
    },
}
