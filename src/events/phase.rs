//! The phases of a capture, each under one terminal condition, and its events.

use std::fmt;

/// Terminal condition of a phase.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhaseKind {
    /// Rotor still, no voltage, no current.
    Rest,
    /// Connected to a source; current flows.
    Driven,
    /// Terminals open, rotor turning.
    Open,
    /// Terminals shorted, directly or through a resistor, rotor turning.
    Shorted,
    /// Not used by the fit, and why.
    Excluded(Exclusion),
}

/// Why rows are not used by the fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Exclusion {
    /// The edge of a contact that closes once, with its ringing.
    SwitchOn,
    /// A contact that closes and opens several times.
    Bounce,
    /// The edge of a short, with its ringing.
    Short,
    /// Arc and inductive voltage spike of a contact that opens.
    Arc,
    /// The end of a decay, where the instant of standstill is not known to a row.
    Standstill,
    /// Values at the end of the converter's range.
    Clipped,
    /// Rows without a number.
    Missing,
    /// A gap in the times.
    Gap,
    /// A run-down seen through a coupling capacitor.
    AcCoupled,
    /// Nothing leaves the noise.
    NoEvent,
    /// Too few usable rows.
    NoSamples,
    /// Cut out by a person.
    ByHand,
}

impl fmt::Display for Exclusion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Exclusion::SwitchOn => "switch-on",
            Exclusion::Bounce => "bounce",
            Exclusion::Short => "short",
            Exclusion::Arc => "arc",
            Exclusion::Standstill => "standstill",
            Exclusion::Clipped => "clipped",
            Exclusion::Missing => "missing",
            Exclusion::Gap => "gap",
            Exclusion::AcCoupled => "AC-coupled",
            Exclusion::NoEvent => "no event",
            Exclusion::NoSamples => "no samples",
            Exclusion::ByHand => "by hand",
        })
    }
}

/// Rows `first .. end` (half-open) of a waveform.
#[derive(Clone, Debug, PartialEq)]
pub struct Phase {
    /// Terminal condition.
    pub kind: PhaseKind,
    /// First row.
    pub first: usize,
    /// Row after the last one.
    pub end: usize,
}

/// What happens at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum EventKind {
    /// The contact closes for the first time.
    SwitchOn,
    /// The contact closes again after a bounce.
    Bounce,
    /// The contact opens.
    SwitchOff,
    /// End of the arc of an opened contact.
    Arc,
    /// The terminals are shorted.
    Short,
    /// The rotor comes to rest.
    Standstill,
    /// A diode or suppressor begins to hold the terminals.
    Clamp,
    /// First rising edge of a switched supply.
    FirstEdge,
    /// Last rising edge of a switched supply.
    LastEdge,
}

impl fmt::Display for EventKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            EventKind::SwitchOn => "switch-on",
            EventKind::Bounce => "bounce",
            EventKind::SwitchOff => "switch-off",
            EventKind::Arc => "arc",
            EventKind::Short => "short",
            EventKind::Standstill => "standstill",
            EventKind::Clamp => "clamp",
            EventKind::FirstEdge => "first edge",
            EventKind::LastEdge => "last edge",
        })
    }
}

/// Something that happens at one instant of a capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// What happens.
    pub kind: EventKind,
    /// On the capture's time axis, s.
    pub time_s: f64,
}
