//! A capture cut into phases, each under one terminal condition.

use super::phase::{Event, EventKind, Exclusion, Phase, PhaseKind};
use super::remarks::Remark;
use super::trace::view::View;
use crate::bench::CaptureWarning;

/// The phases of one capture in time order, without holes or overlaps.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Timeline {
    /// Phases in time order; together they cover all rows.
    pub phases: Vec<Phase>,
    /// Events found, in time order.
    pub events: Vec<Event>,
    /// What was found, with numbers, its effect and what to do.
    pub remarks: Vec<Remark>,
    /// What decides how far the capture can be used.
    pub capture_warnings: Vec<CaptureWarning>,
}

impl Timeline {
    /// True where a remark asks nothing of the reader: clipped rows that the fit does not use anyway, and a clamp that is in the model.
    pub fn is_note(&self, remark: &Remark) -> bool {
        let cut = PhaseKind::Excluded(Exclusion::Clipped);
        match remark {
            Remark::Clipped { .. } => self.phases.iter().all(|p| p.kind != cut),
            Remark::ClampedDecay { .. } => true,
            _ => false,
        }
    }

    /// Times of all events of a kind, s, in time order.
    pub fn times_of(&self, kind: EventKind) -> impl Iterator<Item = f64> + '_ {
        let events = self.events.iter().filter(move |e| e.kind == kind);
        events.map(|e| e.time_s)
    }

    /// Time of the first event of a kind, s.
    pub fn first_time_of(&self, kind: EventKind) -> Option<f64> {
        self.times_of(kind).next()
    }
}

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
