//! The role of a capture, from its waveform alone.

use super::both_channels::with_both;
use super::quiet::quiet;
use super::role_guess::RoleGuess;
use super::single_channel::{current_only, voltage_only};
use super::switched::switched;
use crate::bench::{Role, Waveform};
use crate::events::phases::switching;
use crate::events::trace::shape::Shape;
use crate::events::trace::view::View;

/// Guesses what a capture shows. Works with voltage and current or either alone, in any polarity; linear in the rows.
pub fn guess_role(waveform: &Waveform) -> RoleGuess {
    guess_role_in(View::new(waveform))
}

/// As [`guess_role`], from what is prepared already.
pub(crate) fn guess_role_in(mut view: View) -> RoleGuess {
    if view.len() < 40 {
        let text = format!(
            "only {} usable rows: nothing can be told from them",
            view.len()
        );
        return RoleGuess::new(Role::Steady, 0.0, text);
    }
    if let Some(guess) = quiet(&view) {
        return guess;
    }
    let upside_down = view.v.as_ref().is_some_and(switching::upside_down);
    if upside_down {
        view.turn_voltage();
        view.turn_current();
    }
    if let Some(pattern) = switching::in_view(&view) {
        return switched(&view, &pattern);
    }
    if upside_down {
        view.turn_voltage();
        view.turn_current();
    }
    let mut v = view.v.as_ref().map(Shape::of);
    // The sign of the current may be anything.
    if v.as_ref().is_some_and(Shape::negative) {
        view.turn_voltage();
        v = view.v.as_ref().map(Shape::of);
    }
    match (v, view.i.as_ref().map(Shape::of)) {
        (Some(v), Some(i)) => with_both(view, v, i),
        (Some(v), None) => voltage_only(view, v),
        (None, Some(i)) => current_only(view, i),
        (None, None) => RoleGuess::new(Role::Steady, 0.0, "no channel has numbers".to_owned()),
    }
}
