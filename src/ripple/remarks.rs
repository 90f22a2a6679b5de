//! Remarks worded for the person, all in one place.

use super::result::{Candidate, ForeignLine, LineKind, RippleSpectrum};
use crate::ripple::harmonics::refine::Harmonics;
use crate::ripple::run_down::prepare::Prepared;

pub(crate) fn clipped(clipped: usize, samples: usize) -> String {
    format!(
        "{clipped} of {samples} samples sit at the end of the converter's range and were left out"
    )
}

pub(crate) fn missing(missing: usize, samples: usize) -> String {
    format!("{missing} of {samples} samples are missing and were left out")
}

pub(crate) fn averaged(group: usize, samples: usize) -> String {
    format!(
        "{samples} samples averaged in groups of {group}; lines above the new Nyquist frequency are weakened"
    )
}

pub(crate) fn reversed(start_v: f64) -> String {
    format!(
        "the voltage is negative ({start_v:.3} V at the start): probe reversed or rotation in the other sense; sign turned, speed is given as positive"
    )
}

pub(crate) fn standstill(at_s: f64, rows: usize) -> String {
    format!(
        "the motor stands from {at_s:.4} s on; the {rows} rows after it are not used for ripple, they fix the zero of the channel"
    )
}

pub(crate) fn zero_unknown(sd_v: f64) -> String {
    format!(
        "the record ends before standstill, so the channel's zero is not seen: taken as 0 ± {sd_v:.3} V (one standard deviation) and fitted from the ripple. Recording on to standstill would fix it"
    )
}

fn foreign_line(line: &ForeignLine) -> String {
    match line.kind {
        LineKind::Time => format!(
            "a line at {:.2} Hz (amplitude {:.2e}) is stationary in time, not in angle: mains hum or switching ripple{}; removed, not taken for speed",
            line.frequency,
            line.amplitude,
            mains(line.frequency)
        ),
        LineKind::Code => format!(
            "a line follows the converter code (harmonic {:.0} of the code step, amplitude {:.2e}): quantisation of a slow voltage; removed, not taken for speed",
            line.frequency, line.amplitude
        ),
        LineKind::Undecided | LineKind::Angle => format!(
            "a line near {:.2} Hz (amplitude {:.2e}) is about as sharp in time as in angle, because the speed changes little while it is seen: not taken for speed",
            line.frequency, line.amplitude
        ),
    }
}

/// Said of every K that comes from ripple alone.
pub const RELATIVE_TO_GAIN: &str =
    "K from ripple is relative to the gain of the voltage channel: its accuracy is to be added";

/// All foreign lines; a crowd of undecided ones in one sentence.
fn foreign_lines(remarks: &mut Vec<String>, lines: &[ForeignLine]) {
    let undecided: Vec<f64> = lines
        .iter()
        .filter(|l| l.kind == LineKind::Undecided)
        .map(|l| l.frequency)
        .collect();
    let crowd = undecided.len() > 3;
    remarks.extend(
        lines
            .iter()
            .filter(|l| !(crowd && l.kind == LineKind::Undecided))
            .map(foreign_line),
    );
    if crowd {
        let (least, most) = undecided
            .iter()
            .fold((f64::MAX, f64::MIN), |(a, b), f| (a.min(*f), b.max(*f)));
        remarks.push(format!(
            "{} lines between {least:.1} and {most:.1} Hz are about as sharp in time as in angle: something sweeps slowly there; not taken for speed",
            undecided.len()
        ));
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

pub(crate) fn no_line(
    remarks: &mut Vec<String>,
    rate: f64,
    spectrum: &RippleSpectrum,
    foreign: &[ForeignLine],
) {
    foreign_lines(remarks, foreign);
    let mut thresholds = spectrum.threshold.clone();
    let middle = match thresholds.len() {
        0 => f64::NAN,
        count => {
            *thresholds
                .select_nth_unstable_by(count / 2, f64::total_cmp)
                .1
        }
    };
    remarks.push(format!(
        "no ripple line stands above the noise at a false-alarm rate of {rate:.0e}; a line of {:.3} % of the EMF would have been seen. No speed is taken from this record. A smaller vertical range, averaging or 12 bits would lower that limit",
        100.0 * middle
    ));
}

/// What the findings are told from.
pub(crate) struct Findings<'a> {
    pub prepared: &'a Prepared,
    pub harmonics: &'a Harmonics,
    pub candidates: &'a [Candidate],
    pub strongest: u32,
    pub foreign: &'a [ForeignLine],
}

pub(crate) fn findings(remarks: &mut Vec<String>, found: &Findings) {
    foreign_lines(remarks, found.foreign);
    if !found.harmonics.fit.converged {
        remarks.push("the least-squares fit of the ripple did not settle in 25 rounds: its frequency may be off by many of its uncertainties, so its constant is not used. Ripple of a fifth of the EMF and more does that; a speed reading settles it".to_string());
    }
    let n = found.prepared.time_s.len();
    let nyquist_hz = 0.5 / found.prepared.interval_s;
    let commutation = found.harmonics.fit.frequency
        * found.candidates.first().map_or(1.0, |c| {
            f64::from(c.cycles_per_revolution) / f64::from(found.strongest)
        });
    let over = found
        .harmonics
        .emf_v
        .iter()
        .take_while(|e| commutation * *e > nyquist_hz)
        .count();
    if over > 0 {
        remarks.push(format!(
            "the commutation ripple is aliased until {:.4} s: {:.0} Hz at the start of the stretch against a Nyquist frequency of {nyquist_hz:.0} Hz. It is read at its true place because the speed falls; {:.0} % of the record is affected",
            found.prepared.time_s[over.min(n - 1)],
            commutation * found.harmonics.emf_v[0],
            100.0 * over as f64 / n as f64
        ));
    }
    counts(remarks, found);
    let (zero, sd) = (found.harmonics.fit.zero_v, found.harmonics.fit.zero_sd_v);
    let (prior, prior_sd) = found.prepared.zero_prior_v;
    if (zero - prior).abs() > 4.0 * prior_sd.hypot(sd) {
        remarks.push(format!(
            "the ripple wants a zero offset of {zero:.4} ± {sd:.4} V where {prior:.4} ± {prior_sd:.4} V was expected: {:.1} standard deviations apart. Offset or linearity of the channel should be looked at",
            (zero - prior).abs() / prior_sd.hypot(sd)
        ));
    }
    remarks.push(RELATIVE_TO_GAIN.to_string());
}

fn counts(remarks: &mut Vec<String>, found: &Findings) {
    let Some(first) = found.candidates.first() else {
        return;
    };
    let same =
        |c: &Candidate| c.back_emf_constant_v_s_per_rad == first.back_emf_constant_v_s_per_rad;
    let twins: Vec<String> = found
        .candidates
        .iter()
        .filter(|c| {
            same(c)
                && c.cycles_per_revolution == first.cycles_per_revolution
                && c.segments != first.segments
                && c.probability > 0.01
        })
        .map(|c| c.segments.to_string())
        .collect();
    if !twins.is_empty() {
        remarks.push(format!(
            "{} and {} segments make the same number of ripple cycles per revolution, so K is the same for both; the count itself can only be seen on the commutator",
            first.segments,
            twins.join(", ")
        ));
    }
    if let Some(rival) = found
        .candidates
        .iter()
        .find(|c| !same(c) && c.constant_probability > 0.02)
    {
        remarks.push(format!(
            "{} segments (K = {:.6} V·s/rad, probability {:.3}) and {} segments (K = {:.6} V·s/rad, probability {:.3}) both fit the comb. A look at the commutator, one tachometer reading good to 10 %, or a longer run-down at a finer vertical range would settle it",
            first.segments,
            first.back_emf_constant_v_s_per_rad,
            first.constant_probability,
            rival.segments,
            rival.back_emf_constant_v_s_per_rad,
            rival.constant_probability
        ));
    }
    if found.strongest < first.cycles_per_revolution
        && 2 * found.strongest != first.cycles_per_revolution
    {
        remarks.push(format!(
            "the strongest line is unevenness, {} per revolution, not commutation ripple; K follows from it directly, whatever the segment count",
            found.strongest
        ));
    }
}
