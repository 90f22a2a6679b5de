//! Whether a waveform can show what it is said to show.

use super::guess::guess_role;
use super::role_guess::RoleGuess;
use crate::bench::{Role, Waveform};

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
