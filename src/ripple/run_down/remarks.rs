//! Remarks on the ripple of a run-down: what was found with numbers, and what to do.

use crate::quantity::engineering;
use crate::ripple::harmonics::candidate::Candidate;
use crate::ripple::lines::foreign::{ForeignLine, LineKind};
use crate::ripple::remarks::SampleRemark;
use std::fmt;

/// What was found on the way from a run-down to its speed.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum RunDownRemark {
    /// A remark on the samples.
    Samples(SampleRemark),
    /// The voltage is negative.
    Reversed {
        /// Voltage at the beginning.
        start_v: f64,
    },
    /// The motor stands still before the record ends.
    Standstill {
        /// Time at which the motor stands still.
        at_s: f64,
        /// Rows concerned.
        rows: usize,
    },
    /// The record ends before standstill, so the zero of the channel is not seen.
    ZeroUnknown {
        /// Standard uncertainty of the zero.
        standard_uncertainty_v: f64,
    },
    /// A line that is not taken for speed.
    Foreign(ForeignLine),
    /// Many lines are about as sharp in time as in angle.
    ManyUndecided {
        /// Number of lines.
        count: usize,
        /// Lowest frequency.
        least_hz: f64,
        /// Highest frequency.
        most_hz: f64,
    },
    /// No line is above the noise.
    NoLine {
        /// Stated rate of false alarms.
        false_alarm_rate: f64,
        /// Amplitude that would have been seen, as a fraction of the EMF.
        threshold: f64,
    },
    /// The fit of the lines did not settle.
    NotSettled,
    /// The commutation line lies above the Nyquist frequency until some time.
    AliasedUntil {
        /// Time until which the line is aliased.
        time_s: f64,
        /// Frequency at the beginning of the stretch.
        start_hz: f64,
        /// Half the sampling rate.
        nyquist_hz: f64,
        /// Rows in which the line is above the Nyquist frequency.
        aliased_rows: usize,
        /// Rows concerned.
        rows: usize,
    },
    /// Other counts of segments that make as many cycles a revolution.
    SameCycles {
        /// The stated segment count.
        segments: u32,
        /// Other segment counts with as many cycles a revolution.
        others: Vec<u32>,
    },
    /// The most probable commutators, each with another constant, where the pattern does not settle it.
    Rivals {
        /// The most probable first.
        candidates: Vec<Candidate>,
    },
    /// The strongest line is one of unevenness, not of commutation.
    StrongestIsUnevenness {
        /// Periods a revolution.
        per_revolution: u32,
    },
    /// Value and standard uncertainty of the zero offset, fitted and expected, V.
    ZeroOffset {
        /// Fitted value and its standard uncertainty.
        fitted_v: (f64, f64),
        /// Expected value and its standard uncertainty.
        expected_v: (f64, f64),
    },
    /// True of every K that comes from ripple alone.
    RelativeToGain,
}

impl fmt::Display for RunDownRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RunDownRemark::Samples(remark) => remark.fmt(f),
            RunDownRemark::Reversed { start_v } => write!(
                f,
                "the voltage is negative ({start_v:.3} V at the start): probe reversed or rotation in the other sense; the sign is reversed here, and the speed is given as positive"
            ),
            RunDownRemark::Standstill { at_s, rows } => write!(
                f,
                "the motor is at rest from {at_s:.4} s on; the {rows} rows after it are not used for ripple, they give the zero of the channel"
            ),
            RunDownRemark::ZeroUnknown {
                standard_uncertainty_v,
            } => write!(
                f,
                "the record ends before standstill, so it does not show the channel's zero: 0 ± {standard_uncertainty_v:.3} V (one standard deviation) is assumed and fitted from the ripple. Record until standstill"
            ),
            RunDownRemark::Foreign(line) => foreign_line(f, line),
            RunDownRemark::ManyUndecided {
                count,
                least_hz,
                most_hz,
            } => write!(
                f,
                "{count} lines between {least_hz:.1} and {most_hz:.1} Hz are about as sharp in time as in angle: something sweeps slowly there; they are not used as speed"
            ),
            RunDownRemark::NoLine {
                false_alarm_rate,
                threshold,
            } => no_line(f, *false_alarm_rate, *threshold),
            RunDownRemark::NotSettled => f.write_str(NOT_SETTLED),
            RunDownRemark::AliasedUntil {
                time_s,
                start_hz,
                nyquist_hz,
                aliased_rows,
                rows,
            } => write!(
                f,
                "the commutation ripple is aliased until {time_s:.4} s: {start_hz:.0} Hz at the start of the stretch against a Nyquist frequency of {nyquist_hz:.0} Hz. Its true frequency is known because the speed falls; {:.0} % of the record is affected",
                100.0 * *aliased_rows as f64 / *rows as f64
            ),
            RunDownRemark::SameCycles { segments, others } => same_cycles(f, *segments, others),
            RunDownRemark::Rivals { candidates } => rivals(f, candidates),
            RunDownRemark::StrongestIsUnevenness { per_revolution } => write!(
                f,
                "the strongest line is unevenness, {per_revolution} per revolution, not commutation ripple; K follows from it directly, whatever the segment count"
            ),
            RunDownRemark::ZeroOffset {
                fitted_v,
                expected_v,
            } => zero_offset(f, *fitted_v, *expected_v),
            RunDownRemark::RelativeToGain => f.write_str(RELATIVE_TO_GAIN),
        }
    }
}

const NOT_SETTLED: &str = "the least-squares fit of the ripple did not converge in 25 rounds: its frequency may be wrong by many of its uncertainties, so its constant is not used. Ripple of a fifth of the EMF or more causes this; a speed reading gives the constant";

const RELATIVE_TO_GAIN: &str =
    "K from ripple is relative to the gain of the voltage channel: add its accuracy";

fn foreign_line(f: &mut fmt::Formatter<'_>, line: &ForeignLine) -> fmt::Result {
    match line.kind {
        LineKind::Time => write!(
            f,
            "a line at {:.2} Hz ({}) is stationary in time, not in angle: mains hum or switching ripple{}; removed, not used as speed",
            line.frequency,
            engineering(line.amplitude, "V"),
            mains(line.frequency)
        ),
        LineKind::Code => write!(
            f,
            "a line follows the converter code (harmonic {:.0} of the code step, {}): quantisation of a slow voltage; removed, not used as speed",
            line.frequency,
            engineering(line.amplitude, "V")
        ),
        LineKind::Undecided => write!(
            f,
            "a line near {:.2} Hz ({}) is about as sharp in time as in angle, because the speed changes little while it appears: not used as speed",
            line.frequency,
            engineering(line.amplitude, "V")
        ),
    }
}

/// Names a multiple of the two mains frequencies within 1 %, which is what a short record can tell.
fn mains(frequency_hz: f64) -> String {
    for mains_hz in [50.0, 60.0] {
        let order = (frequency_hz / mains_hz).round();
        if (1.0..=20.0).contains(&order) && (frequency_hz / (order * mains_hz) - 1.0).abs() < 0.01 {
            return format!(" ({order:.0} × {mains_hz:.0} Hz)");
        }
    }
    String::new()
}

fn no_line(f: &mut fmt::Formatter<'_>, rate: f64, threshold: f64) -> fmt::Result {
    write!(
        f,
        "no ripple line rises above the noise (false-alarm rate {} %); a line of {:.3} % of the EMF would have been detected. This record gives no speed. A smaller vertical range, averaging or 12 bits would lower that limit",
        100.0 * rate,
        100.0 * threshold
    )
}

fn same_cycles(f: &mut fmt::Formatter<'_>, segments: u32, others: &[u32]) -> fmt::Result {
    let others: Vec<String> = others.iter().map(u32::to_string).collect();
    write!(
        f,
        "{segments} and {} segments make the same number of ripple cycles per revolution, so K is the same for both; the count itself can only be seen on the commutator",
        others.join(", ")
    )
}

fn rivals(f: &mut fmt::Formatter<'_>, all: &[Candidate]) -> fmt::Result {
    let each = all.iter().map(|c| {
        format!(
            "{:.6} V·s/rad ({}, {} cycles per revolution, probability {:.3})",
            c.back_emf_constant_v_s_per_rad,
            c.commutator,
            c.cycles_per_revolution,
            c.constant_probability
        )
    });
    write!(
        f,
        "the harmonic pattern of the ripple leaves several K: {}. A look at the commutator (count segments, poles and brushes) or one speed reading within {:.0} % decides it",
        each.collect::<Vec<_>>().join("; "),
        reading_percent(all)
    )
}

/// Accuracy, at most 20 %, of a speed reading that separates the constants of neighbours.
fn reading_percent(all: &[Candidate]) -> f64 {
    let mut constants: Vec<f64> = all
        .iter()
        .map(|c| c.back_emf_constant_v_s_per_rad)
        .collect();
    constants.sort_by(f64::total_cmp);
    let ratios = constants.windows(2).map(|k| k[1] / k[0]);
    let least = ratios.fold(f64::INFINITY, f64::min);
    (100.0 * (least - 1.0) / (least + 1.0))
        .clamp(1.0, 20.0)
        .floor()
}

fn zero_offset(
    f: &mut fmt::Formatter<'_>,
    (zero, sd): (f64, f64),
    (expected, expected_sd): (f64, f64),
) -> fmt::Result {
    write!(
        f,
        "the ripple gives a zero offset of {zero:.4} ± {sd:.4} V where {expected:.4} ± {expected_sd:.4} V was expected: {:.1} standard deviations apart. Check offset and linearity of the channel",
        (zero - expected).abs() / expected_sd.hypot(sd)
    )
}
