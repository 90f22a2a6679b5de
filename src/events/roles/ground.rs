//! What a waveform shows of its role, worded here; V, A and counts as the names say.

use crate::quantity::engineering;
use serde::Serialize;

/// What shows a role. The text comes by `Display`, code and numbers by `Serialize`; shares of 1.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum Ground {
    #[error("only {rows} usable rows: they contain no information")]
    TooFewRows { rows: usize },
    #[error("no channel has numbers")]
    NoNumbers,
    #[error("no event above the noise, {} ± {} throughout; the trigger was probably missed", engineering(*level, unit), engineering(*noise, unit))]
    NoEvent { level: f64, noise: f64, unit: &'static str },
    #[error("the voltage stays at {level_v:.3} V within its noise of {}{}", engineering(*noise_v, "V"), match no_current {
        true => " and no current is detected: a motor that runs on less than the probe's noise, or the open terminals of a shaft that something drives",
        false => ", and the current repeats itself",
    })]
    VoltageStays { level_v: f64, noise_v: f64, no_current: bool },
    #[error("voltage near {level_v:.3} V throughout")]
    VoltageNear { level_v: f64 },
    #[error("the current stays around {} from the first row to the last", amperes(level_a))]
    CurrentStays { level_a: f64 },
    #[error("the current ripples by {} from the first row to the last, about {}", amperes(ripple_a), match about_zero {
        true => "zero, as behind a coupling capacitor",
        false => "one level",
    })]
    CurrentRipples { ripple_a: f64, about_zero: bool },
    #[error("voltage near {} throughout, current from {} to {}{}", volts(level_v), amperes(from_a), amperes(to_a), match end_of_start {
        true => ": the end of a start, recorded after the contact closed",
        false => "",
    })]
    VoltageHeld { level_v: f64, from_a: f64, to_a: f64, end_of_start: bool },
    #[error("the voltage falls from {} to {} while the current goes to {}{} and comes back to zero: a short at speed", volts(from_v), volts(to_v), amperes(peak_a), match against {
        true => ", against its driving direction,",
        false => "",
    })]
    Shorted { from_v: f64, to_v: f64, peak_a: f64, against: bool },
    #[error("the current of {} ends at once while the voltage, near zero before, leaves it: a run-down seen through AC coupling", amperes(current_a))]
    OpenedBehindCapacitor { current_a: f64 },
    #[error("a current of {} ends within {samples} samples and the terminals fall to {:.0} % of the driven level at once: turned off with the rotor still", amperes(current_a), 100.0 * kept)]
    TurnedOff { current_a: f64, samples: usize, kept: f64 },
    #[error("the current of {} decays over {samples} of {of} samples while the back-EMF hardly changes: the time base is that of a turn-off", amperes(current_a))]
    SlowDecay { current_a: f64, samples: usize, of: usize },
    #[error("the current of {} ends and stays away while the voltage keeps {:.0} % of its level and falls by {} until the end: terminals open, rotor turning", amperes(current_a), 100.0 * kept, volts(falls_v))]
    Opened { current_a: f64, kept: f64, falls_v: f64 },
    #[error("the voltage leaves zero and comes back: a run-down seen through AC coupling, perhaps")]
    VoltageReturns,
    #[error("a voltage step that {}", if *recovers { "sags and recovers" } else { "does not recover from its sag" })]
    VoltageStep { recovers: bool },
    #[error("the voltage falls from {from_v:.3} V to {to_v:.3} V, {samples} of {of} samples on the way")]
    VoltageFalls { from_v: f64, to_v: f64, samples: usize, of: usize },
    #[error("the current goes from {} to {} and stays, {samples} of {of} samples on the way", amperes(from_a), amperes(to_a))]
    CurrentFalls { from_a: f64, to_a: f64, samples: usize, of: usize },
    #[error("the current turns from {} to {}, against its direction before, and comes back to zero", amperes(from_a), amperes(peak_a))]
    CurrentTurns { from_a: f64, peak_a: f64 },
    #[error("the current goes from {} over {} to {}, {}", amperes(from_a), amperes(peak_a), amperes(to_a), match brakes {
        true => "against its direction before, and comes back to zero",
        false => "that of a running motor",
    })]
    CurrentOver { from_a: f64, peak_a: f64, to_a: f64, brakes: bool },
    #[error("the current of {} ripples by {} and goes to {} {}", amperes(from_a), amperes(ripple_a), amperes(to_a), match at_once {
        true => "at once: a turning rotor let go",
        false => "gradually: a start recorded after its contact had closed",
    })]
    RippleEnds { from_a: f64, ripple_a: f64, to_a: f64, at_once: bool },
    #[error("the current is still before it rises to {} and ripples by {} at the end: a rotor that was at rest and turns", amperes(peak_a), amperes(ripple_a))]
    RippleBegins { peak_a: f64, ripple_a: f64 },
    #[error("the current falls from {} to {} and ripples to the last row: a start recorded after its contact had closed", amperes(from_a), amperes(to_a))]
    FallsRippling { from_a: f64, to_a: f64 },
    #[error("{pulses} regular pulses of current, {:.0} % of the time at rest between them", 100.0 * at_rest)]
    Pulses { pulses: usize, at_rest: f64 },
    #[error("no switch-on, switch-off, short or switching was recognised")]
    NothingKnown,
    #[error("a voltage step without a current")]
    StepAlone,
    #[error("contact closes and the current rises to {}; at the end {} is at {:.0} % of its largest value: the rotor {}{}", amperes(peak_a), if *per_volt { "current per volt" } else { "the current" }, 100.0 * kept, if *held { "is held" } else { "runs up" }, match none_left {
        true => ", or brakes: no current is left at the end and the peak is negative",
        false => "",
    })]
    Step { peak_a: f64, per_volt: bool, kept: f64, held: bool, none_left: bool },
    #[error("{edges} regular voltage edges; whether the rotor turns cannot be decided")]
    EdgesAlone { edges: usize },
    #[error("{edges} regular voltage edges, duty {duty:.2}; {} {:.0} % of the upper level", match at_rest {
        true => "while the current rests between pulses the terminals show",
        false => "slopes of the current at different currents give a back-EMF of",
    }, 100.0 * back_emf)]
    Edges { edges: usize, duty: f64, at_rest: bool, back_emf: f64 },
}

fn volts(value: &f64) -> String {
    engineering(*value, "V")
}

fn amperes(value: &f64) -> String {
    engineering(*value, "A")
}
