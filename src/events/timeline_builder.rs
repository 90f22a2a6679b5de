//! A timeline while it is being put together.

use super::remarks::Remark;
use super::timeline::{Event, EventKind, Exclusion, Phase, PhaseKind, Timeline};
use super::trace::view::View;
use crate::bench::CaptureWarning;

/// Phases pushed from the left, each up to its last row, so that no hole or overlap can arise.
#[derive(Debug, Default)]
pub(crate) struct TimelineBuilder {
    phases: Vec<Phase>,
    /// Kind and fractional row.
    events: Vec<(EventKind, f64)>,
    pub remarks: Vec<Remark>,
    pub capture_warnings: Vec<CaptureWarning>,
}

impl TimelineBuilder {
    /// Row where the next phase begins.
    pub fn next_row(&self) -> usize {
        self.phases.last().map_or(0, |p| p.end)
    }

    /// Continues with `kind` up to row `end`; nothing happens when that row is already covered.
    pub fn push_phase(&mut self, kind: PhaseKind, end: usize) {
        let first = self.next_row();
        if end <= first {
            return;
        }
        match self.phases.last_mut() {
            Some(last) if last.kind == kind => last.end = end,
            _ => self.phases.push(Phase { kind, first, end }),
        }
    }

    /// Continues with rows that the fit does not use.
    pub fn exclude(&mut self, reason: Exclusion, end: usize) {
        self.push_phase(PhaseKind::Excluded(reason), end);
    }

    /// Notes an event at a fractional row.
    pub fn push_event(&mut self, kind: EventKind, row: f64) {
        self.events.push((kind, row));
    }

    /// Finishes: the phases must reach the end of the record by now.
    pub fn build(mut self, view: &View) -> Timeline {
        self.events.sort_by(|a, b| a.1.total_cmp(&b.1));
        let event = |(kind, row)| {
            let time_s = view.time_at(row)?;
            Some(Event { kind, time_s })
        };
        Timeline {
            phases: self.phases,
            events: self.events.into_iter().filter_map(event).collect(),
            remarks: self.remarks,
            capture_warnings: self.capture_warnings,
        }
    }

    pub fn phases(&self) -> &[Phase] {
        &self.phases
    }

    pub fn phases_mut(&mut self) -> &mut Vec<Phase> {
        &mut self.phases
    }
}
