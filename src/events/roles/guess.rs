//! The role of a capture, from its waveform alone, and whether that agrees with what was stated.

use super::both_channels::with_both;
use super::ground::Ground;
use super::quiet::quiet;
use super::role_guess::RoleGuess;
use super::single_channel::{current_only, voltage_only};
use super::stepped::switched;
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
        return RoleGuess::new(Role::Steady, 0.0, Ground::TooFewRows { rows: view.len() });
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
        (None, None) => RoleGuess::new(Role::Steady, 0.0, Ground::NoNumbers),
    }
}

/// From this confidence on a guess stands against what was stated.
const SURE: f64 = 0.9;

/// What the waveform surely shows, where that is something from which the stated role cannot be fitted: the model then
/// follows a voltage and a current that belong to another state of the motor, for a long time and to no end.
///
/// `None` where the guess is unsure, agrees, or where both can be meant: a start cut short looks like a held rotor, a long
/// run-down like a turn-off, a locked-rotor record may end in its turn-off, a start may be switched.
fn stands_against(guess: RoleGuess, stated: Role) -> Option<RoleGuess> {
    use Role::{Brake, Driven, LockedRotor, Pwm, PwmLocked, RunDown, Start, Steady, TurnOff};
    let against: &[Role] = match guess.role {
        Start => &[RunDown, Brake, TurnOff, Steady, Pwm, PwmLocked, Driven],
        RunDown => &[Start, Brake, LockedRotor, Steady, Pwm, PwmLocked, Driven],
        Brake => &[Start, RunDown, LockedRotor, Steady, Pwm, PwmLocked, Driven],
        LockedRotor => &[RunDown, Brake, TurnOff, Steady, Pwm, PwmLocked, Driven],
        TurnOff => &[Start, Steady, Pwm, PwmLocked, Driven],
        Pwm | PwmLocked => &[RunDown, Brake, TurnOff, Driven],
        // A voltage that stays may as well be that of a driven shaft.
        Steady => &[Start, RunDown, Brake, LockedRotor, TurnOff, Pwm, PwmLocked],
        Driven => &[Start, RunDown, Brake, LockedRotor, TurnOff, Pwm, PwmLocked],
    };
    (guess.confidence >= SURE && against.contains(&stated)).then_some(guess)
}

/// Why a waveform cannot be fitted as what it is said to show.
#[derive(Clone, Debug, PartialEq)]
pub enum Mismatch {
    /// Voltage and current seem to stand in each other's place: as it is the waveform does not show the stated role, and with the two
    /// exchanged it surely does.
    Swapped,
    /// It surely shows another role, from which the stated one cannot be fitted.
    Shows(RoleGuess),
}

/// Why `waveform` cannot be fitted as `stated`, if it cannot.
pub fn mismatch(waveform: &Waveform, stated: Role) -> Option<Mismatch> {
    let guess = guess_role(waveform);
    if swapped(waveform, &guess, stated) {
        return Some(Mismatch::Swapped);
    }
    // Without a voltage nothing distinguishes a switched record from one on a steady voltage.
    let switched = matches!(stated, Role::Pwm | Role::PwmLocked);
    if switched
        && waveform.voltage_v.is_none()
        && matches!(guess.role, Role::Start | Role::Steady | Role::LockedRotor)
    {
        return None;
    }
    stands_against(guess, stated).map(Mismatch::Shows)
}

fn swapped(waveform: &Waveform, guess: &RoleGuess, stated: Role) -> bool {
    if waveform.voltage_v.is_none() || waveform.current_a.is_none() || guess.role == stated {
        return false;
    }
    let exchanged = Waveform {
        time: waveform.time.clone(),
        voltage_v: waveform.current_a.clone(),
        current_a: waveform.voltage_v.clone(),
    };
    let guess = guess_role(&exchanged);
    guess.role == stated && guess.confidence >= SURE
}
