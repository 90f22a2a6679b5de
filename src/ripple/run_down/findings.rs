//! What a run-down's lines, harmonics and candidates give to remark.

use super::prepare::Prepared;
use super::remarks::RunDownRemark;
use crate::ripple::harmonics::candidate::{Candidate, rivals};
use crate::ripple::harmonics::refine::Harmonics;
use crate::ripple::lines::foreign::{ForeignLine, LineKind};
use crate::ripple::result::RippleSpectrum;

/// Undecided lines beyond which they are one remark.
const MOST_UNDECIDED: usize = 3;

/// All foreign lines; many undecided ones in one remark.
fn foreign_lines(lines: &[ForeignLine]) -> Vec<RunDownRemark> {
    let undecided: Vec<f64> = lines
        .iter()
        .filter(|l| l.kind == LineKind::Undecided)
        .map(|l| l.frequency)
        .collect();
    let many = undecided.len() > MOST_UNDECIDED;
    let mut remarks: Vec<RunDownRemark> = lines
        .iter()
        .filter(|l| !(many && l.kind == LineKind::Undecided))
        .cloned()
        .map(RunDownRemark::Foreign)
        .collect();
    if many {
        let (least_hz, most_hz) = undecided
            .iter()
            .fold((f64::MAX, f64::MIN), |(a, b), f| (a.min(*f), b.max(*f)));
        remarks.push(RunDownRemark::ManyUndecided {
            count: undecided.len(),
            least_hz,
            most_hz,
        });
    }
    remarks
}

/// Remarks on a record without a line of ripple.
pub(crate) fn without_line(
    false_alarm_rate: f64,
    spectrum: &RippleSpectrum,
    foreign: &[ForeignLine],
) -> Vec<RunDownRemark> {
    let mut remarks = foreign_lines(foreign);
    let mut thresholds = spectrum.threshold.clone();
    let threshold = match thresholds.len() {
        0 => f64::NAN,
        count => {
            *thresholds
                .select_nth_unstable_by(count / 2, f64::total_cmp)
                .1
        }
    };
    remarks.push(RunDownRemark::NoLine {
        false_alarm_rate,
        threshold,
    });
    remarks
}

/// What the remarks on a record with a line follow from.
pub(crate) struct Findings<'a> {
    pub prepared: &'a Prepared,
    pub harmonics: &'a Harmonics,
    pub candidates: &'a [Candidate],
    /// Harmonic of one revolution that the strongest line is.
    pub strongest: u32,
    pub foreign: &'a [ForeignLine],
}

impl Findings<'_> {
    /// All remarks on a record with a line.
    pub fn remarks(&self) -> Vec<RunDownRemark> {
        let mut remarks = foreign_lines(self.foreign);
        if !self.harmonics.fit.converged {
            remarks.push(RunDownRemark::NotSettled);
        }
        remarks.extend(self.aliased());
        remarks.extend(self.counts());
        remarks.extend(self.zero_offset());
        remarks.push(RunDownRemark::RelativeToGain);
        remarks
    }

    fn aliased(&self) -> Option<RunDownRemark> {
        let (time_s, emf_v) = (&self.prepared.time_s, &self.harmonics.emf_v);
        let nyquist_hz = 0.5 / self.prepared.interval_s;
        let commutation = self.harmonics.fit.frequency
            * self.candidates.first().map_or(1.0, |c| {
                f64::from(c.cycles_per_revolution) / f64::from(self.strongest)
            });
        let over = emf_v
            .iter()
            .take_while(|e| commutation * *e > nyquist_hz)
            .count();
        (over > 0).then(|| RunDownRemark::AliasedUntil {
            time_s: time_s[over.min(time_s.len() - 1)],
            start_hz: commutation * emf_v[0],
            nyquist_hz,
            aliased_rows: over,
            rows: time_s.len(),
        })
    }

    fn counts(&self) -> Vec<RunDownRemark> {
        let Some(first) = self.candidates.first() else {
            return Vec::new();
        };
        let mut remarks = Vec::new();
        let others: Vec<u32> = self
            .candidates
            .iter()
            .filter(|c| {
                c.harmonic == first.harmonic
                    && c.cycles_per_revolution == first.cycles_per_revolution
                    && c.commutator.poles == first.commutator.poles
                    && c.commutator.brushes == first.commutator.brushes
                    && c.commutator.segments != first.commutator.segments
                    && c.probability > 0.01
            })
            .map(|c| c.commutator.segments)
            .collect();
        if !others.is_empty() {
            remarks.push(RunDownRemark::SameCycles {
                segments: first.commutator.segments,
                others,
            });
        }
        let rivals = rivals(self.candidates);
        if rivals.len() > 1 {
            remarks.push(RunDownRemark::Rivals { candidates: rivals });
        }
        if self.strongest < first.cycles_per_revolution
            && 2 * self.strongest != first.cycles_per_revolution
        {
            remarks.push(RunDownRemark::StrongestIsUnevenness {
                per_revolution: self.strongest,
            });
        }
        remarks
    }

    fn zero_offset(&self) -> Option<RunDownRemark> {
        let fit = &self.harmonics.fit;
        let fitted_v = (fit.zero_v, fit.zero_sd_v);
        let expected_v = self.prepared.zero_prior_v;
        let apart = (fitted_v.0 - expected_v.0).abs() > 4.0 * expected_v.1.hypot(fitted_v.1);
        apart.then_some(RunDownRemark::ZeroOffset {
            fitted_v,
            expected_v,
        })
    }
}
