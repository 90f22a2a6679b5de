//! A capture cut into phases, by its role.

use super::phases::{brake, exclusions, held, run_down, start, switching, turn_off};
use super::timeline::{PhaseKind, Timeline};
use super::timeline_builder::Draft;
use super::{polarity, remarks};
use crate::bench::{Doubt, Role, Waveform};
use crate::events::trace::view::View;

/// Cuts a waveform of known role into phases, finds its instants and says what looks wrong.
///
/// Rows run from 0 to the length of the time axis; the phases cover all of them in order. Works with voltage and current,
/// or either alone. Linear in the number of rows.
pub fn find(waveform: &Waveform, role: Role) -> Timeline {
    find_in(View::new(waveform), role)
}

/// As [`find`], from what is prepared already.
pub(super) fn find_in(mut view: View, role: Role) -> Timeline {
    let mut draft = Draft::default();
    let end = view.len();
    if end < 8 {
        draft.cut("no samples", view.rows);
        draft.remarks.push(remarks::no_samples(view.rows));
        draft.doubts.push(Doubt::NoEvent);
        return draft.into_timeline(&view);
    }
    if polarity::nothing_happens(&view, role) {
        draft.cut("no event", view.rows);
        draft.remarks.push(remarks::no_event(&view));
        draft.doubts.push(Doubt::NoEvent);
        return draft.into_timeline(&view);
    }
    polarity::upright(&mut view, role, &mut draft);
    remarks::about_clipping(&view, &mut draft.remarks);
    match role {
        Role::Start | Role::LockedRotor => {
            if !start::lay(&view, &mut draft, end) {
                draft.remarks.push(remarks::no_make());
                draft.until(PhaseKind::Driven, end);
            }
            if role == Role::LockedRotor {
                held::about_held(&view, &mut draft);
            }
        }
        Role::RunDown => {
            // The record may begin before the start whose end it shows.
            if !(polarity::begins_at_rest(&view) && start::lay(&view, &mut draft, end)) {
                run_down::lay(&view, &mut draft, end);
            }
        }
        Role::Brake => {
            if !brake::lay(&view, &mut draft, end) {
                draft.remarks.push(remarks::no_short());
                run_down::lay(&view, &mut draft, end);
            }
        }
        Role::TurnOff => {
            if !turn_off::lay(&view, &mut draft, end) {
                draft.remarks.push(remarks::no_turn_off());
                draft.until(PhaseKind::Driven, end);
            }
        }
        Role::Pwm | Role::PwmLocked => {
            match switching::in_view(&view) {
                Some(pattern) => {
                    for (name, edge) in [
                        ("first edge", pattern.rising.first()),
                        ("last edge", pattern.rising.last()),
                    ] {
                        if let Some(&row) = edge {
                            draft.instant(name, row as f64);
                        }
                    }
                    draft
                        .remarks
                        .extend(remarks::about_switching(&view, &pattern));
                }
                None => draft.remarks.push(remarks::no_switching()),
            }
            draft.until(PhaseKind::Driven, end);
        }
        Role::Steady => draft.until(PhaseKind::Driven, end),
        Role::Driven => draft.until(PhaseKind::Open, end),
    }
    draft.cut("missing", view.rows);
    exclusions::apply(&view, draft.phases_mut());
    draft.into_timeline(&view)
}
