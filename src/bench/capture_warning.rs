//! Warnings that decide whether a capture, or what is estimated from it, may be trusted.

/// A mistake met in a capture. Each also stands in words among the warnings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum CaptureWarning {
    /// Nothing leaves the noise.
    NoEvent,
    /// One of voltage and current is the wrong way round: the source seems to be driven by the motor.
    WrongPolarity,
    /// The level of the voltage is lost behind a coupling capacitor.
    AcCoupled,
    /// The rise of the current falls between two samples.
    RiseBetweenSamples,
    /// The voltage contradicts the supply by the ratio of a probe.
    ProbeRatio,
    /// A rotor that was said to be held turned.
    Slipped,
    /// The times of a capture contradict the others', or any motor's, by a factor of a thousand or so.
    TimeBase,
    /// A meter contradicts the captures by a factor of ten.
    TenTimesOff,
    /// The unit of a column contradicts what it is used as.
    Unit,
    /// The importer read the record only by an assumption, or only in part.
    Record,
}

impl CaptureWarning {
    /// True when the capture cannot be taken as it stands.
    pub fn spoils_capture(self) -> bool {
        self != CaptureWarning::RiseBetweenSamples
    }

    /// True when no estimate that used the capture should be trusted. A capture without an event or without its level is
    /// left out of the estimate, and one without its rise only leaves the inductance open: neither spoils the rest.
    pub fn spoils_estimate(self) -> bool {
        matches!(
            self,
            CaptureWarning::WrongPolarity
                | CaptureWarning::ProbeRatio
                | CaptureWarning::Slipped
                | CaptureWarning::TimeBase
                | CaptureWarning::TenTimesOff
                | CaptureWarning::Unit
                | CaptureWarning::Record
        )
    }
}
