//! What a ripple analysis returns.

use super::harmonics::candidate::{Candidate, rivals};
use super::lines::foreign::ForeignLine;
use super::run_down::remarks::RunDownRemark;

/// The strongest line stationary in angle.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct RippleLine {
    /// Line frequency in x = ∫ e dt, cycles per V·s: N/(2πK) for the commutation line.
    pub cycles_per_volt_second: f64,
    /// One standard deviation: noise, zero offset and uneven converter codes in, channel gain not.
    pub standard_uncertainty: f64,
    /// The part of it that the least-squares covariance gives: noise, smooth part and zero offset.
    pub noise_uncertainty: f64,
    /// Which harmonic of one revolution this line is, under the most probable candidate: N for the commutation line.
    pub harmonic_of_revolution: u32,
    /// Amplitude as a fraction of the EMF.
    pub relative_amplitude: f64,
    /// Peak power over the mean power of noise at that place in the detection spectrum (power ratio, not dB).
    pub signal_to_noise: f64,
    /// Cycles of this line within the stretch used.
    pub cycles_seen: f64,
    /// Chance that noise alone makes such a peak anywhere in the searched band.
    pub false_alarm_probability: f64,
}

/// Angle-domain spectrum for the report.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct RippleSpectrum {
    /// Cycles per V·s.
    pub frequency_cycles_per_v_s: Vec<f64>,
    /// Amplitude as a fraction of the EMF (Hann window).
    pub relative_amplitude: Vec<f64>,
    /// Amplitude whose power is the mean power of noise at that place.
    pub floor: Vec<f64>,
    /// Amplitude a line must exceed to be told at the stated false-alarm rate.
    pub threshold: Vec<f64>,
    /// Comb of the most probable candidate: (cycles per revolution, cycles per V·s, relative amplitude), lines fitted jointly.
    pub comb: Vec<(f64, f64, f64)>,
}

/// Speed at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct SpeedPoint {
    /// On the time axis of the record, s.
    pub time_s: f64,
    /// Smooth back-EMF with the fitted zero offset taken off, V; `None` for analyses of current.
    pub emf_v: Option<f64>,
    /// Ripple frequency, Hz.
    pub ripple_frequency_hz: f64,
    /// Under the most probable candidate.
    pub speed_rad_per_s: Option<f64>,
    /// Standard uncertainty of `speed_rad_per_s`, rad/s.
    pub standard_uncertainty_rad_per_s: Option<f64>,
}

/// Result of a run-down analysis.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct RippleResult {
    /// `None` where no line stands above the threshold.
    pub line: Option<RippleLine>,
    /// Most probable K first, and of its commutators the most probable; empty without a line.
    pub candidates: Vec<Candidate>,
    /// Revolutions within the stretch used, under the most probable candidate.
    pub revolutions: Option<f64>,
    /// Zero offset left in the channel as the ripple sees it (value, standard uncertainty), V.
    pub zero_offset_v: Option<(f64, f64)>,
    /// First and last time used, s.
    pub stretch_s: (f64, f64),
    /// Standstill, where it lies inside the record, s.
    pub standstill_s: Option<f64>,
    /// False-alarm rate of the detection threshold over the whole searched band.
    pub false_alarm_rate: f64,
    /// Lines found that are not ripple, removed before the fit.
    pub foreign_lines: Vec<ForeignLine>,
    /// Angle-domain spectrum with its detection threshold.
    pub spectrum: RippleSpectrum,
    /// Speed along the stretch.
    pub speed: Vec<SpeedPoint>,
    /// Standard deviation of what no smooth part and no line explains, V.
    pub residual_v: f64,
    /// False where the least squares had not settled: the frequency may then be off by many of its uncertainties.
    pub fit_settled: bool,
    /// What was found; on a stated count see [`RippleResult::stated_count`].
    pub remarks: Vec<RunDownRemark>,
}

impl RippleResult {
    /// The candidate of the most probable K when that is at least this probable and the fit of its line settled.
    pub fn settled(&self, least_probability: f64) -> Option<&Candidate> {
        self.candidates
            .first()
            .filter(|c| self.fit_settled && c.constant_probability >= least_probability)
    }

    /// The most probable commutator of each constant that is not out of the question, most probable constant first.
    pub fn rivals(&self) -> Vec<Candidate> {
        rivals(&self.candidates)
    }
}
