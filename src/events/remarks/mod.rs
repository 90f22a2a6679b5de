//! Remarks on one waveform, as values; their text is in `wording`.

mod wording;

use super::timeline::EventKind;
use std::fmt;

/// One of the two signals of a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// Voltage at the motor, V.
    Voltage,
    /// Current into the motor, A.
    Current,
}

impl Signal {
    fn unit(self) -> &'static str {
        match self {
            Signal::Voltage => "V",
            Signal::Current => "A",
        }
    }
}

impl fmt::Display for Signal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Signal::Voltage => "voltage",
            Signal::Current => "current",
        })
    }
}

/// What was found in a waveform; levels in V and A as their names say.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Remark {
    /// Fewer than 8 usable numbers.
    NoSamples {
        /// Rows of the waveform.
        rows: usize,
    },
    /// Median and spread of each signal that was recorded.
    NoEvent {
        /// Signal, median and spread; V or A.
        levels: Vec<(Signal, f64, f64)>,
    },
    /// Negative voltage while the source drives the motor.
    VoltageNegative {
        /// Driven voltage, V.
        level_v: f64,
    },
    /// Negative current while the source drives the motor.
    CurrentReversed {
        /// Driven current, A.
        level_a: f64,
        /// True where a positive voltage was recorded, so that the sign is certain.
        with_voltage: bool,
    },
    /// Back-EMF before the contact closes: the rotor already turns.
    TurningAtStart {
        /// Voltage before the contact closes, V.
        level_v: f64,
    },
    /// No contact closes: the record begins with the motor driven.
    NoSwitchOn,
    /// No contact opens: the record begins in the run-down.
    NoSwitchOff,
    /// No short: the current never reverses.
    NoShort,
    /// The current never falls to zero.
    NoTurnOff,
    /// Fewer than four periods of regular switching.
    NoSwitching,
    /// A brake without a current channel.
    BrakeWithoutCurrent,
    /// Level at the beginning of the decay and where the record ends.
    EndsBeforeStandstill {
        /// The signal that decays.
        signal: Signal,
        /// Level at the beginning of the decay, V or A.
        from: f64,
        /// Level at the end of the record, V or A.
        to: f64,
    },
    /// A diode or suppressor holds the terminals after the contact opens.
    ClampedDecay {
        /// Rows under the clamp.
        rows: usize,
        /// Voltage of the clamp, V.
        level_v: f64,
    },
    /// The run-down crosses zero: the voltage channel is AC-coupled.
    AcCoupled {
        /// Voltage before the contact opens, V.
        before_v: f64,
        /// Lowest voltage in the run-down, V.
        lowest_v: f64,
    },
    /// Rows from 10 % to 63 % of the peak current.
    RiseBetweenSamples {
        /// Rows of the rise.
        rows: usize,
        /// Sampling interval, s.
        step_s: f64,
    },
    /// The current rises as behind a slow probe or a filter.
    SlowRise {
        /// Time from the closing of the contact to 10 % of the rise, s.
        tenth_s: f64,
        /// Time from the closing of the contact to 63 % of the rise, s.
        rise_s: f64,
        /// The first over the second.
        share: f64,
    },
    /// The supply limits its current.
    CurrentLimited {
        /// Level of the plateau, A.
        plateau_a: f64,
        /// Duration of the plateau, s.
        duration_s: f64,
        /// Lowest voltage during the plateau, V.
        lowest_v: f64,
        /// Upper level of the voltage in the record, V.
        supply_v: f64,
    },
    /// Smallest and largest value among the clipped rows, where they hold any.
    Clipped {
        /// The signal that clips.
        signal: Signal,
        /// Number of clipped rows.
        rows: usize,
        /// Smallest and largest clipped value, V or A; `None` where all are overrange marks.
        range: Option<(f64, f64)>,
    },
    /// Too few samples in one switching period to resolve its edges.
    CoarseSwitching {
        /// Switching period, s.
        period_s: f64,
        /// Samples in one period.
        rows_per_period: f64,
    },
    /// Voltage over current before and after the slip.
    Slipped {
        /// Voltage over current before the slip, Ω.
        from_ohm: f64,
        /// Voltage over current after it, Ω.
        to_ohm: f64,
        /// True for a jump, false for a slow rise.
        sudden: bool,
        /// Time of the jump, s, where it can be located.
        at_s: Option<f64>,
    },
    /// The sheet sets an event.
    EventByHand {
        /// What happens.
        kind: EventKind,
        /// As set, s.
        at_s: f64,
        /// As found, s; `None` where none was.
        found_s: Option<f64>,
    },
    /// The sheet cuts a stretch out.
    CutByHand {
        /// Beginning, s.
        from_s: f64,
        /// End, s.
        to_s: f64,
    },
}

impl Remark {
    /// Stable short name, e.g. `clipped`.
    pub fn code(&self) -> &'static str {
        match self {
            Remark::NoSamples { .. } => "no-samples",
            Remark::NoEvent { .. } => "no-event",
            Remark::VoltageNegative { .. } => "voltage-negative",
            Remark::CurrentReversed { .. } => "current-reversed",
            Remark::TurningAtStart { .. } => "turning-at-start",
            Remark::NoSwitchOn => "no-switch-on",
            Remark::NoSwitchOff => "no-switch-off",
            Remark::NoShort => "no-short",
            Remark::NoTurnOff => "no-turn-off",
            Remark::NoSwitching => "no-switching",
            Remark::BrakeWithoutCurrent => "brake-without-current",
            Remark::EndsBeforeStandstill { .. } => "ends-before-standstill",
            Remark::ClampedDecay { .. } => "clamped-decay",
            Remark::AcCoupled { .. } => "ac-coupled",
            Remark::RiseBetweenSamples { .. } => "rise-between-samples",
            Remark::SlowRise { .. } => "slow-rise",
            Remark::CurrentLimited { .. } => "current-limited",
            Remark::Clipped { .. } => "clipped",
            Remark::CoarseSwitching { .. } => "coarse-switching",
            Remark::Slipped { .. } => "slipped",
            Remark::EventByHand { .. } => "event-by-hand",
            Remark::CutByHand { .. } => "cut-by-hand",
        }
    }
}
