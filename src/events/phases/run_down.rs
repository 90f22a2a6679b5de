//! Run-down: driven, opening with arc and kick, open terminals until the rotor stands.

use super::opening::{Release, release};
use super::standstill::standstill;
use crate::events::remarks;
use crate::events::timeline::PhaseKind;
use crate::events::timeline_builder::Draft;
use crate::events::trace::view::View;

/// Lays a run-down from the draft's end to row `end`.
pub(crate) fn lay(view: &View, draft: &mut Draft, end: usize) {
    match release(view, draft.at(), end) {
        Some(found) => lay_after(view, draft, found, end),
        None => {
            draft.remarks.push(remarks::no_release());
            lay_open(view, draft, end);
        }
    }
}

/// Lays driven, arc and open phases around a known opening.
pub(crate) fn lay_after(view: &View, draft: &mut Draft, found: Release, end: usize) {
    draft.until(PhaseKind::Driven, found.arc_from);
    draft.instant("release", found.row as f64);
    draft.cut("arc", found.open_from);
    draft.instant("arc", found.open_from.saturating_sub(3) as f64);
    lay_open(view, draft, end);
}

/// Lays open terminals up to standstill and what follows.
fn lay_open(view: &View, draft: &mut Draft, end: usize) {
    let first = draft.at();
    let Some(v) = &view.v else {
        draft.until(PhaseKind::Open, end);
        return;
    };
    if remarks::about_open(view, draft, first, end) {
        draft.cut("AC-coupled", end);
        return;
    }
    match standstill(v, first, end, 3.0, None) {
        Some(stop) => {
            draft.until(PhaseKind::Open, stop.clear_until);
            draft.instant("standstill", stop.row as f64);
            draft.cut("standstill", stop.quiet_from);
            draft.until(PhaseKind::Rest, end);
        }
        None => {
            draft.until(PhaseKind::Open, end);
            if let (Some(from), Some(to)) = (
                v.median(first, first + 50),
                v.median(end.saturating_sub(50), end),
            ) {
                draft
                    .remarks
                    .push(remarks::cut_before_standstill(from, to, "V"));
            }
        }
    }
}
