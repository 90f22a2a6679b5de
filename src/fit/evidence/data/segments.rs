//! A capture cut into segments of bin averages: what the model is driven with and what it is compared with.
//!
//! Bins follow the events: single samples right after a make or a short, then growing with the time since, so that a record of
//! any length costs a few hundred model steps. A bin's mean is compared with the model's mean over the same time, so
//! nothing is lost while the model is linear over a bin.

use super::bin::Bin;
use super::binning::{growing, mark_dead_current, open_turns, steady_turns, uniform};
use super::driving_voltage::{smooth, straighten};
use super::sample_noise::{current_ripple, first_current, sample_noise_v};
use crate::bench::{Capture, CaptureWarning, Role, Waveform};
use crate::events::{Exclusion, Phase, PhaseKind, Timeline};
use std::ops::Range;

/// Terminal condition of a segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SegmentKind {
    /// Rotor still, nothing applied: shows the zeros of both channels.
    Rest,
    /// Closed on a voltage; the current is compared. `fresh`: the current begins at an unknown value.
    Connected,
    /// Open; the back-EMF is compared with the voltage.
    Open,
    /// Not compared; the recorded current carries the back-EMF on.
    Carried,
    /// Not compared and not to be followed: the back-EMF afterwards is unknown.
    Lost,
}

/// Consecutive bins under one terminal condition.
#[derive(Clone, Debug)]
pub struct Segment {
    /// Its terminal condition.
    pub kind: SegmentKind,
    /// In time order.
    pub bins: Vec<Bin>,
    /// Bins from here on are simulated but not compared.
    pub compared: usize,
    /// Standard deviation of the current's ripple near the end of the segment, A; 0 where it is not known or not wanted.
    pub current_ripple_a: f64,
}

impl Segment {
    /// All bins compared, no ripple.
    fn new(kind: SegmentKind, bins: Vec<Bin>) -> Self {
        Segment {
            kind,
            compared: bins.len(),
            bins,
            current_ripple_a: 0.0,
        }
    }
}

/// Share of its first value below which a slowing rotor is no longer compared: friction near standstill (stiction,
/// the rise of friction at creeping speed) is none of the model's terms. Common practice, no source.
const SLOWEST_SHARE: f64 = 0.15;

/// Most bins of a switched (PWM) record, and least of one piece of it.
const MOST_SWITCHED_BINS: usize = 600;
const LEAST_SWITCHED_BINS: usize = 40;

/// Switching periods, and rows, for which a current has to rest before it begins.
const REST_PERIODS: f64 = 3.0;
const REST_ROWS: usize = 16;

/// Most bins of a motor that has been running steadily since before the record began.
const MOST_STEADY_BINS: usize = 80;

/// Most bins of a rest, and of a record that is no segment of the model.
const MOST_REST_BINS: usize = 20;
const MOST_LOST_BINS: usize = 200;

/// Most bins of a stretch whose recorded current carries the back-EMF on: that follows the charge, whatever its course.
const MOST_CARRIED_BINS: usize = 60;

/// Most bins of an open stretch: of a run-down, and of what a brake shows before the short.
const MOST_OPEN_BINS: usize = 250;
const MOST_BINS_BEFORE_SHORT: usize = 80;

/// Cuts a capture into segments. `turn_v_s`: volt-seconds of back-EMF in a turn of the rotor, where the ripple gives it. Bins are
/// then whole turns where they can be, over which commutator segments, poles and all else that repeats with the turn average out.
pub fn segments(capture: &Capture, timeline: &Timeline, turn_v_s: Option<f64>) -> Vec<Segment> {
    let waveform = &capture.waveform;
    // The level of an AC-coupled voltage is lost, and with it what drives every segment. A driven shaft obeys something else than the motor's own
    // friction: no segment of the model, but a term of its own.
    let ac_coupled = capture.ac_coupled
        || timeline
            .capture_warnings
            .contains(&CaptureWarning::AcCoupled);
    if ac_coupled || capture.role == Role::Driven {
        let bins = uniform(waveform, &(0..waveform.time.len()), MOST_LOST_BINS);
        return vec![Segment::new(SegmentKind::Lost, bins)];
    }
    let cutter = Cutter {
        waveform,
        role: capture.role,
        turn_v_s,
        period_s: capture.coasting.map(|bridge| bridge.period_s),
    };
    let mut out: Vec<Segment> = Vec::new();
    let phases = cutter.with_rest(&timeline.phases);
    for stretch in cutter.stretches(&phases) {
        out.push(cutter.segment(&stretch, out.is_empty()));
    }
    out
}

/// A phase with what belongs to it, though its current is not compared.
struct Stretch {
    phase: Phase,
    /// Rows whose current is left out: the edge of a clean closing, a needle that clips.
    without_current: Vec<Range<usize>>,
}

/// Cuts the phases of one capture into bins.
struct Cutter<'a> {
    waveform: &'a Waveform,
    role: Role,
    turn_v_s: Option<f64>,
    /// Switching period of a bridge whose voltage was not recorded, s.
    period_s: Option<f64>,
}

impl Cutter<'_> {
    /// The phases, with what need not cut them: the edge of one clean closing belongs to what it closes on, and a current that clips or is
    /// missing for a while to what goes on behind it.
    fn stretches(&self, phases: &[Phase]) -> Vec<Stretch> {
        let phases: Vec<&Phase> = phases.iter().filter(|p| p.end > p.first).collect();
        let mut out: Vec<Stretch> = Vec::new();
        let mut k = 0;
        while let Some(phase) = phases.get(k) {
            let after = phases.get(k + 1);
            let before = out.last().map(|s| s.phase.kind);
            match after {
                Some(after) if self.is_gap_of_current(before, phase, after) => {
                    if let Some(going_on) = out.last_mut() {
                        going_on.phase.end = after.end;
                        going_on.without_current.push(phase.first..phase.end);
                    }
                    k += 2;
                }
                Some(after) if self.is_clean_edge(before, phase, after) => {
                    out.push(Stretch {
                        phase: Phase {
                            first: phase.first,
                            ..(*after).clone()
                        },
                        without_current: std::iter::once(phase.first..phase.end).collect(),
                    });
                    k += 2;
                }
                _ => {
                    out.push(Stretch {
                        phase: (*phase).clone(),
                        without_current: Vec::new(),
                    });
                    k += 1;
                }
            }
        }
        out
    }

    /// The phases, with the rest before the first current of a bridge whose voltage was not recorded: no edge of a voltage shows it.
    fn with_rest(&self, phases: &[Phase]) -> Vec<Phase> {
        let mut out = phases.to_vec();
        let (Some(period_s), Some(first)) = (self.period_s, phases.first()) else {
            return out;
        };
        let rows = first.first..first.end;
        let periods = rows.clone().take_while(|&row| {
            let (at, begin) = (
                self.waveform.time.at(row),
                self.waveform.time.at(rows.start),
            );
            at.zip(begin)
                .is_some_and(|(at, begin)| at - begin < REST_PERIODS * period_s)
        });
        let rest_rows = periods.count().max(REST_ROWS);
        if first.kind == PhaseKind::Driven
            && let Some(row) = first_current(self.waveform, &rows, rest_rows)
        {
            let rest = Phase {
                kind: PhaseKind::Rest,
                end: row,
                ..first.clone()
            };
            out[0].first = row;
            out.insert(0, rest);
        }
        out
    }

    /// Whether the same goes on behind a phase in which only the current is at fault.
    fn is_gap_of_current(&self, before: Option<PhaseKind>, gap: &Phase, after: &Phase) -> bool {
        matches!(
            gap.kind,
            PhaseKind::Excluded(Exclusion::Clipped | Exclusion::Missing)
        ) && before == Some(after.kind)
            && matches!(
                after.kind,
                PhaseKind::Open | PhaseKind::Driven | PhaseKind::Shorted
            )
            && self.voltage_is_whole(gap)
    }

    /// Whether a phase is the edge of one clean closing from a still current. The current then begins at zero, and the recorded voltage
    /// drives it through the edge.
    fn is_clean_edge(&self, before: Option<PhaseKind>, edge: &Phase, after: &Phase) -> bool {
        matches!(before, Some(PhaseKind::Rest | PhaseKind::Open))
            && matches!(
                edge.kind,
                PhaseKind::Excluded(Exclusion::SwitchOn | Exclusion::Short)
            )
            && matches!(after.kind, PhaseKind::Driven | PhaseKind::Shorted)
            && self.voltage_is_whole(edge)
    }

    /// Whether every row of a phase has a voltage within the converter's range.
    fn voltage_is_whole(&self, phase: &Phase) -> bool {
        let rows = phase.first..phase.end;
        self.waveform.voltage_v.as_ref().is_some_and(|t| {
            !t.clipped
                .get(rows.clone())
                .is_some_and(|c| c.contains(&true))
                && t.values[rows.clone()].iter().all(|v| v.is_finite())
        })
    }

    fn segment(&self, stretch: &Stretch, is_first: bool) -> Segment {
        let phase = &stretch.phase;
        let waveform = self.waveform;
        let rows = phase.first..phase.end;
        let mut segment = match phase.kind {
            PhaseKind::Rest => {
                Segment::new(SegmentKind::Rest, uniform(waveform, &rows, MOST_REST_BINS))
            }
            PhaseKind::Driven => {
                let bins = self.closed(&rows, is_first);
                let mut segment = Segment::new(SegmentKind::Connected, bins);
                if !self.is_switched() {
                    segment.current_ripple_a = current_ripple(waveform, &rows);
                }
                segment
            }
            PhaseKind::Shorted => {
                let bins = self.closed(&rows, false);
                let mut segment = Segment::new(SegmentKind::Connected, bins);
                segment.compared = before_fading(&segment.bins, |b| b.current_a.abs());
                segment
            }
            PhaseKind::Open => {
                let mut segment = Segment::new(SegmentKind::Open, self.open(&rows));
                segment.compared = before_fading(&segment.bins, |b| b.voltage_v.abs());
                segment
            }
            PhaseKind::Excluded(reason) => {
                let kind = if reason == Exclusion::Standstill || self.current_is_lost(&rows) {
                    SegmentKind::Lost
                } else {
                    SegmentKind::Carried
                };
                Segment::new(kind, uniform(waveform, &rows, MOST_CARRIED_BINS))
            }
        };
        for rows in &stretch.without_current {
            self.leave_current_out(&mut segment.bins, rows);
        }
        segment
    }

    /// Marks the bins that meet some rows as without a current to be compared.
    fn leave_current_out(&self, bins: &mut [Bin], rows: &Range<usize>) {
        let at = |row: usize| self.waveform.time.at(row);
        let (Some(first_s), Some(last_s)) = (at(rows.start), at(rows.end - 1)) else {
            return;
        };
        for bin in bins {
            let reach = 0.5 * bin.width_s;
            if bin.time_s + reach > first_s && bin.time_s - reach < last_s {
                bin.current_a = f64::NAN;
            }
        }
    }

    fn is_switched(&self) -> bool {
        matches!(self.role, Role::Pwm | Role::PwmLocked) || self.period_s.is_some()
    }

    /// About as many bins of whole switching periods, over which the current's ripple averages out.
    fn whole_periods(&self, rows: &Range<usize>, period_s: f64, count: usize) -> Vec<Bin> {
        let time = &self.waveform.time;
        let span_s = match (time.at(rows.start), time.at(rows.end - 1)) {
            (Some(first), Some(last)) => last - first,
            _ => 0.0,
        };
        let periods = (span_s / period_s).floor().max(1.0);
        let each = (periods / count as f64).ceil();
        uniform(self.waveform, rows, (periods / each) as usize)
    }

    /// Bins of a closed stretch. `steady`: running since before the record began.
    fn closed(&self, rows: &Range<usize>, steady: bool) -> Vec<Bin> {
        let waveform = self.waveform;
        if self.is_switched() {
            // The record's bins are shared out over its pieces.
            let share = rows.len() as f64 / waveform.time.len() as f64;
            let count = (share * MOST_SWITCHED_BINS as f64).ceil() as usize;
            let count = count.max(LEAST_SWITCHED_BINS);
            if let Some(period_s) = self.period_s {
                return self.whole_periods(rows, period_s, count);
            }
            let mut bins = uniform(waveform, rows, count);
            // Without a recorded voltage its mean drives the motor, and a current near zero is no open circuit.
            if waveform.voltage_v.is_some() {
                mark_dead_current(&mut bins);
            }
            bins
        } else if steady {
            let mut bins = self
                .turn_v_s
                .and_then(|turn| steady_turns(waveform, rows, turn, MOST_STEADY_BINS))
                .unwrap_or_else(|| uniform(waveform, rows, MOST_STEADY_BINS));
            straighten(&mut bins);
            bins
        } else {
            let mut bins = growing(waveform, rows);
            smooth(&mut bins, sample_noise_v(waveform, rows));
            bins
        }
    }

    /// Bins of an open stretch.
    fn open(&self, rows: &Range<usize>) -> Vec<Bin> {
        let most = if self.role == Role::Brake {
            MOST_BINS_BEFORE_SHORT
        } else {
            MOST_OPEN_BINS
        };
        self.turn_v_s
            .and_then(|turn| open_turns(self.waveform, rows, turn, most))
            .unwrap_or_else(|| uniform(self.waveform, rows, most))
    }

    /// Whether the current clips or is missing, or was not recorded, so that it carries nothing on.
    fn current_is_lost(&self, rows: &Range<usize>) -> bool {
        self.waveform.current_a.as_ref().is_none_or(|t| {
            t.clipped
                .get(rows.clone())
                .is_some_and(|c| c.contains(&true))
                || t.values[rows.clone()].iter().any(|v| v.is_nan())
        })
    }
}

/// Number of leading bins before the size has fallen below [`SLOWEST_SHARE`] of its largest early value for good.
fn before_fading(bins: &[Bin], size: impl Fn(&Bin) -> f64) -> usize {
    let peak = bins
        .iter()
        .map(&size)
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max);
    let peak_at = bins
        .iter()
        .position(|b| size(b) >= 0.98 * peak)
        .unwrap_or(0);
    bins.iter()
        .skip(peak_at)
        .position(|b| size(b) < SLOWEST_SHARE * peak)
        .map_or(bins.len(), |k| k + peak_at)
}
