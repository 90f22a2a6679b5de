//! What a sizing says beside its numbers: each a value with its numbers, worded here.

use crate::drive::profile::Asked;
use serde::Serialize;

/// A note, an assumption or a warning. The text comes by `Display`, code and numbers by `Serialize`.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum Note {
    #[error("the ramp is made for {current_a:.3} A in the motor of the estimates, so that the worst of the motors that the file allows stays under the limit")]
    RampFor { current_a: f64 },
    #[error("where the ripple crosses zero within a period, the dead-time error is between the two signs: near no load the voltage is uncertain by twice that")]
    DeadTimeNearNoLoad,
    #[error("{name}: {}, {length_s:.4} s long; between its rows everything runs in straight lines. Where the acceleration jumps, the current takes about a time constant L/R to follow, which is not counted", match asked {
        Asked::Torque => "torque at the load's shaft",
        Asked::Current => "current",
        Asked::Motion => "speed, with the load of --load and --load-inertia",
    })]
    Profile { name: String, asked: Asked, length_s: f64 },
    #[error("room at {ambient_c} °C; temperatures are means over the winding, hot spots are hotter")]
    MeanTemperatures { ambient_c: f64 },
    #[error("room at {ambient_c} °C; the housing cools as it did in the heat run: a plate behind it, a fan or a box changes the numbers. Magnets and brushes may tolerate less than the winding")]
    CoolsAsInHeatRun { ambient_c: f64 },
    #[error("below about {frequency_hz:.0} Hz the period is longer than a fifth of the mechanical time constant: the speed itself pulsates and these figures do not hold")]
    SpeedPulsates { frequency_hz: f64 },
    #[error("each edge charges the capacitor across the motor through nothing but switch and leads: the switch carries that peak, and a current sensor in its path shows it; drive such a motor through a choke, or take the capacitor off")]
    CapacitorCharged,
    #[error("the voltage without a clamp is that of the circuit alone: an arc or a switch that breaks down ends it earlier and takes the energy")]
    WithoutClamp,
    #[error("mechanical and electrical time constant are less than a factor of 10 apart: rules that assume them far apart do not hold")]
    TimeConstantsNear,
    #[error("from {from_c} °C, without any heat given off: the true time is longer, and all the longer the slower it heats; the thermal mass has no bound here")]
    NothingGivenOff { from_c: f64 },
    #[error("a start may take {start_s:.2} s, and a stalled winding may be at its limit after {stalled_s:.2} s: no delay protects it; limit the current, or stop when the shaft does not turn")]
    Unprotected { start_s: f64, stalled_s: f64 },
    #[error("winding at {winding_c} °C, its resistance by the rule for copper; the magnets as at the captures")]
    WindingAt { winding_c: f64 },
    #[error("winding at {winding_c} °C as at the captures; a cold one draws more, a warm one less (--winding-temperature)")]
    WindingAsCaptured { winding_c: f64 },
    #[error("winding as at the captures, whose temperature the file does not state; held-rotor heating counts from 25 °C")]
    WindingUnknown,
    #[error("source and lead resistance zero where not given: the true currents are smaller (--source-resistance, --lead-resistance)")]
    NoSourceResistance,
    #[error("the fit behind this motor file did not converge ({reason}): nothing here is better than that")]
    NotConverged { reason: String },
    #[error("currents up to {peak_a:.3} A are computed, but the captures reach {largest_a:.3} A: beyond that saturation and armature reaction are extrapolated; record a start at this supply")]
    BeyondCurrents { peak_a: f64, largest_a: f64 },
    #[error("speeds up to a back-EMF of {emf_v:.4} V are computed, but the captures reach {largest_v:.4} V: beyond that friction and windage are extrapolated; record a start at this supply")]
    BeyondSpeeds { emf_v: f64, largest_v: f64 },
    #[error("a half bridge cannot drive it: it needs up to {middle_v:.1} V against the direction (worst case {worst_v:.1} V); take a full bridge (--bridge full), or brake more slowly")]
    Reversed { middle_v: f64, worst_v: f64 },
    /// Shares of a limit, of the motor of the estimates and in the worst case.
    #[error("{}", match (*middle > 1.0, *worst > 1.0) {
        (true, _) => format!("exceeds {limit}: takes {:.0} % of it (worst case {:.0} %)", 100.0 * middle, 100.0 * worst),
        (false, true) => format!("may exceed {limit}: takes {:.0} % of it, in the worst case {:.0} %", 100.0 * middle, 100.0 * worst),
        (false, false) => format!("within every limit; the nearest is {limit}: {:.0} % of it used (worst case {:.0} %)", 100.0 * middle, 100.0 * worst),
    })]
    NearestLimit { limit: &'static str, middle: f64, worst: f64 },
}
