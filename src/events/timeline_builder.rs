//! A timeline while it is being put together.

use super::timeline::{Phase, PhaseKind, Timeline};
use crate::bench::Doubt;
use crate::events::trace::view::View;

/// Phases laid down row by row from the left, so that no hole or overlap can arise.
#[derive(Debug, Default)]
pub(crate) struct Draft {
    phases: Vec<Phase>,
    instants: Vec<(&'static str, f64)>,
    pub remarks: Vec<String>,
    pub doubts: Vec<Doubt>,
}

impl Draft {
    /// Row where the next phase begins.
    pub fn at(&self) -> usize {
        self.phases.last().map_or(0, |p| p.end)
    }

    /// Continues with `kind` up to row `end`; nothing happens when that row is already covered.
    pub fn until(&mut self, kind: PhaseKind, end: usize) {
        let first = self.at();
        if end <= first {
            return;
        }
        match self.phases.last_mut() {
            Some(last) if last.kind == kind => last.end = end,
            _ => self.phases.push(Phase { kind, first, end }),
        }
    }

    /// Continues with a cut.
    pub fn cut(&mut self, reason: &str, end: usize) {
        self.until(PhaseKind::Cut(reason.to_owned()), end);
    }

    /// Notes a named instant at a fractional row.
    pub fn instant(&mut self, name: &'static str, row: f64) {
        self.instants.push((name, row));
    }

    /// Finishes: the phases must reach the end of the record by now.
    pub fn into_timeline(mut self, view: &View) -> Timeline {
        self.instants.sort_by(|a, b| a.1.total_cmp(&b.1));
        Timeline {
            phases: self.phases,
            instants: self
                .instants
                .into_iter()
                .filter_map(|(name, row)| Some((name.to_owned(), view.time_at(row)?)))
                .collect(),
            remarks: self.remarks,
            doubts: self.doubts,
        }
    }

    /// The phase laid last.
    pub fn last(&self) -> Option<&Phase> {
        self.phases.last()
    }

    pub fn phases_mut(&mut self) -> &mut Vec<Phase> {
        &mut self.phases
    }
}
