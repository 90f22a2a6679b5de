//! Why a record cannot be read for ripple.

use thiserror::Error;

/// A record that gives no ripple analysis at all. A record that can be analysed but shows no line is no error: see
/// [`RippleResult::line`](super::RippleResult::line).
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Unreadable {
    #[error(
        "the record has {samples} usable samples in the stretch where the motor turns, at least {needed} are needed; record at a higher rate or a longer stretch"
    )]
    TooShort { samples: usize, needed: usize },
    #[error("{values} values against {times} times: both columns must be equally long")]
    Lengths { times: usize, values: usize },
    #[error(
        "time does not advance at row {row} of the stretch ({before_s} s, then {after_s} s); export the record again"
    )]
    TimeOrder {
        row: usize,
        before_s: f64,
        after_s: f64,
    },
    #[error("the sampling step is {step_s} s; it must be positive and finite")]
    Step { step_s: f64 },
    #[error(
        "{clipped} of {samples} samples sit at the end of the converter's range: the smooth part of the voltage is lost; record again with a larger vertical range"
    )]
    Clipped { clipped: usize, samples: usize },
    #[error(
        "the voltage goes from {start_v:.4} V to {end_v:.4} V though a motor that only slows cannot reverse its EMF: AC coupling suspected; record again with DC coupling"
    )]
    AcCoupled { start_v: f64, end_v: f64 },
    #[error(
        "the voltage does not fall as in a run-down: mean of its four quarters {quarters_v:?} V; give only the stretch with open terminals; if it is, the channel was AC coupled: record again with DC coupling"
    )]
    NotSlowing { quarters_v: [f64; 4] },
    #[error(
        "the voltage ({level_v:.4} V at the start of the stretch) does not stand out of its noise ({noise_v:.4} V): the motor does not turn or the channel is not connected"
    )]
    NoVoltage { level_v: f64, noise_v: f64 },
    #[error("option {name} is {value}: {expected}")]
    Option {
        name: &'static str,
        value: f64,
        expected: &'static str,
    },
    #[error(
        "the smooth part of the record could not be fitted (normal equations singular): fewer independent samples than its {terms} terms"
    )]
    Singular { terms: usize },
}
