//! Events and cuts that a person set, put over those found.

use super::find::find;
use super::phase::{Event, EventKind, Exclusion, Phase, PhaseKind};
use super::phases::exclusions;
use super::remarks::Remark;
use super::timeline::Timeline;
use crate::bench::{Capture, HandEvent};
use crate::capture::TimeAxis;

/// Rows on either side of an event that was set where none was found.
const MARGIN: usize = 2;

/// The timeline of a capture: as found, then with what its sheet sets by hand. Each of these is remarked.
pub fn find_in_capture(capture: &Capture) -> Timeline {
    let mut timeline = find(&capture.waveform, capture.role);
    let time = &capture.waveform.time;
    for &(event, at_s) in &capture.by_hand.events_s {
        set_event(&mut timeline, time, event, at_s);
    }
    for &(from_s, to_s) in &capture.by_hand.cuts_s {
        let rows = (row_at(time, from_s), row_after(time, to_s));
        exclusions::cut(&mut timeline.phases, rows, Exclusion::ByHand);
        timeline.remarks.push(Remark::CutByHand { from_s, to_s });
    }
    timeline
}

/// Kind of the event, why rows around it are left out, and the conditions before and after it.
fn meaning(event: HandEvent) -> (EventKind, &'static [Exclusion], PhaseKind, PhaseKind) {
    use PhaseKind::{Driven, Open, Rest, Shorted};
    match event {
        HandEvent::SwitchOn => (
            EventKind::SwitchOn,
            &[Exclusion::SwitchOn, Exclusion::Bounce],
            Rest,
            Driven,
        ),
        HandEvent::SwitchOff => (EventKind::SwitchOff, &[Exclusion::Arc], Driven, Open),
        HandEvent::Arc => (EventKind::Arc, &[Exclusion::Arc], Driven, Open),
        HandEvent::Short => (EventKind::Short, &[Exclusion::Short], Driven, Shorted),
        HandEvent::Standstill => (EventKind::Standstill, &[Exclusion::Standstill], Open, Rest),
    }
}

fn set_event(timeline: &mut Timeline, time: &TimeAxis, event: HandEvent, at_s: f64) {
    let (kind, reasons, before, after) = meaning(event);
    let rows = time.len();
    let row = row_at(time, at_s).min(rows);
    let found = timeline.first_time_of(kind);
    timeline.remarks.push(Remark::EventByHand {
        kind,
        at_s,
        found_s: found,
    });
    let Some(found_s) = found else {
        timeline.events.push(Event { kind, time_s: at_s });
        sort(timeline);
        for phase in split_at(&mut timeline.phases, row) {
            let excluded =
                matches!(phase.kind, PhaseKind::Excluded(reason) if reason != Exclusion::NoEvent);
            if !excluded {
                phase.kind = if phase.end <= row { before } else { after };
            }
        }
        let around = (row.saturating_sub(MARGIN), (row + MARGIN).min(rows));
        exclusions::cut(&mut timeline.phases, around, reasons[0]);
        return;
    };
    if let Some(first) = timeline.events.iter_mut().find(|e| e.kind == kind) {
        first.time_s = at_s;
    }
    sort(timeline);
    let old = row_at(time, found_s);
    let moved = move_boundaries(
        &timeline.phases,
        reasons,
        (old, row),
        event == HandEvent::Arc,
    );
    timeline.phases = moved;
}

/// The phases with the boundaries of an event moved as far as the event: those of the rows left out around it, else the nearest one.
fn move_boundaries(
    phases: &[Phase],
    reasons: &[Exclusion],
    (old, new): (usize, usize),
    end_only: bool,
) -> Vec<Phase> {
    let Some(last) = phases.last() else {
        return Vec::new();
    };
    let rows = last.end;
    let mut ends: Vec<usize> = phases.iter().map(|p| p.end).collect();
    let distance = |p: &Phase| old.saturating_sub(p.end).max(p.first.saturating_sub(old));
    let around = (0..phases.len())
        .filter(|&k| matches!(phases[k].kind, PhaseKind::Excluded(r) if reasons.contains(&r)))
        .min_by_key(|&k| distance(&phases[k]));
    let shift = |end: usize| (end + new).saturating_sub(old).min(rows);
    let first_moved = match around {
        // The end of an arc moves alone: its beginning is the opening of the contact.
        Some(k) if end_only || k == 0 => {
            ends[k] = shift(ends[k]);
            k
        }
        Some(k) => {
            ends[k - 1] = shift(ends[k - 1]);
            ends[k] = shift(ends[k]);
            k - 1
        }
        None => {
            let inner = 0..ends.len().saturating_sub(1);
            let Some(k) = inner.min_by_key(|&k| ends[k].abs_diff(old)) else {
                return phases.to_vec();
            };
            ends[k] = shift(ends[k]);
            k
        }
    };
    let least = ends[first_moved];
    for end in &mut ends[..first_moved] {
        *end = (*end).min(least);
    }
    for k in first_moved + 1..ends.len() {
        ends[k] = ends[k].max(ends[k - 1]);
    }
    if let Some(end) = ends.last_mut() {
        *end = rows;
    }
    let mut first = 0;
    let mut out = Vec::with_capacity(phases.len());
    for (phase, end) in phases.iter().zip(ends) {
        if end > first {
            out.push(Phase {
                kind: phase.kind,
                first,
                end,
            });
            first = end;
        }
    }
    out
}

fn split_at(phases: &mut Vec<Phase>, row: usize) -> &mut Vec<Phase> {
    if let Some(k) = phases.iter().position(|p| p.first < row && row < p.end) {
        let mut second = phases[k].clone();
        phases[k].end = row;
        second.first = row;
        phases.insert(k + 1, second);
    }
    phases
}

fn sort(timeline: &mut Timeline) {
    timeline
        .events
        .sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
}

/// First row at or after a time.
fn row_at(time: &TimeAxis, at_s: f64) -> usize {
    first_row(time, |t| t >= at_s)
}

/// First row after a time.
fn row_after(time: &TimeAxis, at_s: f64) -> usize {
    first_row(time, |t| t > at_s)
}

fn first_row(time: &TimeAxis, reached: impl Fn(f64) -> bool) -> usize {
    let (mut low, mut high) = (0, time.len());
    while low < high {
        let middle = (low + high) / 2;
        if time.at(middle).is_some_and(&reached) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    fn phases(list: &[(PhaseKind, usize)]) -> Vec<Phase> {
        let mut first = 0;
        let phase = |&(kind, end): &(PhaseKind, usize)| {
            let phase = Phase { kind, first, end };
            first = end;
            phase
        };
        list.iter().map(phase).collect()
    }

    #[test]
    fn a_moved_event_takes_the_rows_left_out_around_it_along_and_covers_all_rows() {
        use PhaseKind::{Driven, Excluded, Rest};
        let bounce = Excluded(Exclusion::Bounce);
        let found = phases(&[(Rest, 100), (bounce, 140), (Driven, 1000)]);
        let moved = |new| move_boundaries(&found, &[Exclusion::Bounce], (100, new), false);
        assert_eq!(
            moved(150),
            phases(&[(Rest, 150), (bounce, 190), (Driven, 1000)])
        );
        // To the very ends: what has no room left falls away.
        assert_eq!(moved(0), phases(&[(bounce, 40), (Driven, 1000)]));
        assert_eq!(moved(1000), phases(&[(Rest, 1000)]));
    }

    #[test]
    fn without_rows_left_out_the_nearest_boundary_moves() {
        use PhaseKind::{Driven, Open};
        let found = phases(&[(Driven, 300), (Open, 900)]);
        assert_eq!(
            move_boundaries(&found, &[Exclusion::Arc], (310, 350), false),
            phases(&[(Driven, 340), (Open, 900)])
        );
    }
}
