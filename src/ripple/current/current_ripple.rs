//! What the ripple of a current gives.

use super::remarks::CurrentRemark;
use crate::ripple::lines::foreign::ForeignLine;
use crate::ripple::result::SpeedPoint;

/// What the ripple of a current gives.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct CurrentRipple {
    /// Ripple frequency where the trajectory g is 1 (steady: the frequency; start: final; brake: initial) and its standard
    /// uncertainty, Hz; `None` where no line stands above the threshold.
    pub frequency_hz: Option<(f64, f64)>,
    /// Amplitude of the strongest line.
    pub amplitude_a: Option<f64>,
    /// Power over mean noise power in the detection spectrum.
    pub signal_to_noise: Option<f64>,
    /// Probability that noise alone gives such a line.
    pub false_alarm_probability: Option<f64>,
    /// Time constant of the trajectory found, s; `None` for a constant or given trajectory.
    pub time_constant_s: Option<f64>,
    /// Ripple cycles within the record.
    pub cycles_seen: Option<f64>,
    /// Frequencies that sampling cannot tell from the one found, Hz, up to four times the sampling rate; steady records only.
    pub aliases_hz: Vec<f64>,
    /// Share of the record in which the ripple is above the Nyquist frequency.
    pub aliased_share: f64,
    /// Trajectory of the ripple frequency, and of the speed where the cycles per revolution are known.
    pub speed: Vec<SpeedPoint>,
    /// Lines that are not taken for the speed.
    pub foreign_lines: Vec<ForeignLine>,
    /// What was found on the way.
    pub remarks: Vec<CurrentRemark>,
}

impl CurrentRipple {
    /// Nothing found.
    pub(crate) fn without_line(
        foreign_lines: Vec<ForeignLine>,
        remarks: Vec<CurrentRemark>,
    ) -> Self {
        CurrentRipple {
            frequency_hz: None,
            amplitude_a: None,
            signal_to_noise: None,
            false_alarm_probability: None,
            time_constant_s: None,
            cycles_seen: None,
            aliases_hz: Vec::new(),
            aliased_share: 0.0,
            speed: Vec::new(),
            foreign_lines,
            remarks,
        }
    }
}
