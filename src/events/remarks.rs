//! Remarks on one waveform, each with its text: what was found with numbers, what it does to the result, what to do.

use super::phase::EventKind;
use crate::quantity::engineering;
use serde::Serialize;
use std::fmt;

/// One of the two signals of a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// Voltage at the motor, V.
    Voltage,
    /// Current into the motor, A.
    Current,
}

impl Signal {
    fn unit(self) -> &'static str {
        match self {
            Signal::Voltage => "V",
            Signal::Current => "A",
        }
    }
}

impl fmt::Display for Signal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Signal::Voltage => "voltage",
            Signal::Current => "current",
        })
    }
}

/// What was found in a waveform; levels in V and A as their names say. Its text comes by `Display`, its code and its numbers by `Serialize`.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Remark {
    /// Fewer than 8 usable numbers.
    #[error(
        "the waveform has {rows} rows and fewer than 8 usable numbers: no event can be detected. Export the record again"
    )]
    NoSamples {
        /// Rows of the waveform.
        rows: usize,
    },
    /// Nothing leaves the noise.
    #[error(
        "no event above the noise: {}. The trigger was probably missed; nothing can be estimated from this record. Trigger on the current edge at about a tenth of the expected peak and record again",
        still(levels)
    )]
    NoEvent {
        /// Each signal that was recorded, its median and spread; V or A.
        levels: Vec<(Signal, f64, f64)>,
    },
    /// Negative voltage while the source drives the motor.
    #[error(
        "the voltage is {} while the source drives: probe reversed, or motor driven backwards. The phases were found with the sign turned; set the polarity of the voltage channel",
        volts(level_v)
    )]
    VoltageNegative {
        /// Driven voltage, V.
        level_v: f64,
    },
    /// Negative current while the source drives the motor.
    #[error("the current is negative while the source drives the motor ({}it reaches {}): the current probe is the wrong way round. The phases were found with the sign turned; flip the polarity of the current channel (`reversed = true` in a bench sheet, `--reverse-current` without one)", if *with_voltage { "with the voltage positive " } else { "" }, amperes(level_a))]
    CurrentReversed {
        /// Driven current, A.
        level_a: f64,
        /// True where a positive voltage was recorded, so that the sign is certain.
        with_voltage: bool,
    },
    /// Back-EMF before the contact closes: the rotor already turns.
    #[error(
        "the terminals show {} before the contact closes: the motor was already turning. The start does not begin at rest, so the first back-EMF is estimated too; let the rotor stop before the next shot",
        volts(level_v)
    )]
    TurningAtStart {
        /// Voltage before the contact closes, V.
        level_v: f64,
    },
    /// No contact closes: the record begins with the motor driven.
    #[error(
        "no contact closes in this record: it begins with the motor already driven, so neither rise nor peak is seen and inductance is not determined by it. Lengthen the pre-trigger"
    )]
    NoSwitchOn,
    /// No contact opens: the record begins in the run-down.
    #[error(
        "no opening of the lead was found: the record begins after it. The run-down is used from its first row; the driven level before it is unknown. Lengthen the pre-trigger to see it"
    )]
    NoSwitchOff,
    /// No short: the current never reverses.
    #[error(
        "no short was found: the current never turns against its driving direction. The record is treated as a run-down; check the role and the brake switch"
    )]
    NoShort,
    /// The current never falls to zero.
    #[error(
        "the current does not fall to zero in this record: no turn-off was found. Check the role and the trigger"
    )]
    NoTurnOff,
    /// Fewer than four periods of regular switching.
    #[error(
        "no regular switching of at least four periods was found in the voltage. Check the role and the time base"
    )]
    NoSwitching,
    /// A brake without a current channel.
    #[error(
        "the brake has no current channel: only the voltage before the short is known, resistance and inertia are not determined by it. Record the current"
    )]
    BrakeWithoutCurrent,
    /// A decay whose end is not in the record.
    #[error("the record ends at {} (it began the decay at {}) before the rotor stops: Coulomb friction and the zero of the channel are less certain. Record longer", engineering(*to, signal.unit()), engineering(*from, signal.unit()))]
    EndsBeforeStandstill {
        /// The signal that decays.
        signal: Signal,
        /// Level at the beginning of the decay, V or A.
        from: f64,
        /// Level at the end of the record, V or A.
        to: f64,
    },
    /// A diode or suppressor holds the terminals after the contact opens.
    #[error(
        "after the opening a clamp holds the terminals at {} for {rows} samples; the decay is used with this measured voltage",
        volts(level_v)
    )]
    ClampedDecay {
        /// Rows under the clamp.
        rows: usize,
        /// Voltage of the clamp, V.
        level_v: f64,
    },
    /// The run-down crosses zero: the voltage channel is AC-coupled.
    #[error(
        "the voltage is {} before the lead comes off, crosses zero and goes down to {} in the run-down although the motor only slows: AC coupling of the channel is suspected. The run-down is not usable for friction and inertia. Set the channel to DC coupling and record again",
        volts(before_v),
        volts(lowest_v)
    )]
    AcCoupled {
        /// Voltage before the contact opens, V.
        before_v: f64,
        /// Lowest voltage in the run-down, V.
        lowest_v: f64,
    },
    /// The current rises within a few samples.
    #[error("the rise to 63 % of the peak current takes {} of {}: the electrical time constant is below about {}, and the inductance cannot be determined from this record. Sample at {} or less", samples(*rows), seconds(step_s), seconds(&(*rows as f64 * step_s)), seconds(&(*rows as f64 * step_s / 20.0)))]
    RiseBetweenSamples {
        /// Rows from 10 % to 63 % of the peak current.
        rows: usize,
        /// Sampling interval, s.
        step_s: f64,
    },
    /// The current rises as behind a slow probe or a filter.
    #[error(
        "the current takes {} to the first tenth of its rise and {} to 63 %: a share of {share:.2}, where a winding gives 0.11. It begins flat, as behind a probe or filter whose own time constant is a tenth of L/R or more; the inductance then comes out too large by about that share. Use a faster probe or a shunt, or state its bandwidth_hz in the sheet, with which the lag is modelled",
        seconds(tenth_s),
        seconds(rise_s)
    )]
    SlowRise {
        /// Time from the closing of the contact to 10 % of the rise, s.
        tenth_s: f64,
        /// Time from the closing of the contact to 63 % of the rise, s.
        rise_s: f64,
        /// The first over the second.
        share: f64,
    },
    /// The supply limits its current.
    #[error(
        "the current stays at a plateau of {} for {} while the voltage sags to {} of {}: the supply limits its current. The voltage makes no step, so only a record with the voltage measured can be used; raise the limit above the stall current or use a battery",
        amperes(plateau_a),
        seconds(duration_s),
        volts(lowest_v),
        volts(supply_v)
    )]
    CurrentLimited {
        /// Level of the plateau, A.
        plateau_a: f64,
        /// Duration of the plateau, s.
        duration_s: f64,
        /// Lowest voltage during the plateau, V.
        lowest_v: f64,
        /// Upper level of the voltage in the record, V.
        supply_v: f64,
    },
    /// Values at the end of the converter's range.
    #[error("the {signal} clips{} for {}: {}. Use a larger scale per division", at(*range, signal.unit()), samples(*rows), effect_of_clipping(*signal))]
    Clipped {
        /// The signal that clips.
        signal: Signal,
        /// Number of clipped rows.
        rows: usize,
        /// Smallest and largest clipped value, V or A; `None` where all are overrange marks.
        range: Option<(f64, f64)>,
    },
    /// Too few samples in one switching period to resolve its edges.
    #[error("one switching period of {} holds {rows_per_period:.0} samples: edges are not resolved, and the inductance suffers. Sample at {} or less", seconds(period_s), seconds(&(period_s / 50.0)))]
    CoarseSwitching {
        /// Switching period, s.
        period_s: f64,
        /// Samples in one period.
        rows_per_period: f64,
    },
    /// A rotor that was said to be held turned.
    #[error("voltage over current {} from {} to {} (+{:.0} %) though the rotor is said to be held: it slipped in its clamp, and its back-EMF counts as resistance, which is then too large; only a winding warmed by {:.0} K within the record would do the same. Clamp the shaft harder and record again, for as short a time as shows the rise", how(*sudden, *at_s), engineering(*from_ohm, "Ω"), engineering(*to_ohm, "Ω"), 100.0 * (to_ohm / from_ohm - 1.0), (to_ohm / from_ohm - 1.0) / COPPER_PER_K)]
    Slipped {
        /// Voltage over current before the slip, Ω.
        from_ohm: f64,
        /// Voltage over current after it, Ω.
        to_ohm: f64,
        /// True for a jump, false for a slow rise.
        sudden: bool,
        /// Time of the jump, s, where it can be located.
        at_s: Option<f64>,
    },
    /// The sheet sets an event.
    #[error("set by hand (events_s in the sheet): {kind} at {}; {}", seconds(at_s), found_s.map_or("none was found in the waveform".to_owned(), |s| format!("the waveform shows it at {}", seconds(&s))))]
    EventByHand {
        /// What happens.
        kind: EventKind,
        /// As set, s.
        at_s: f64,
        /// As found, s; `None` where none was.
        found_s: Option<f64>,
    },
    /// The sheet cuts a stretch out.
    #[error(
        "set by hand (cuts_s in the sheet): {} to {} is left out",
        seconds(from_s),
        seconds(to_s)
    )]
    CutByHand {
        /// Beginning, s.
        from_s: f64,
        /// End, s.
        to_s: f64,
    },
}

/// Resistance of copper per kelvin near 25 °C (IEC 60034-1, 8.6.2: 1/(235 + 25)).
const COPPER_PER_K: f64 = 1.0 / 260.0;

fn volts(value: &f64) -> String {
    engineering(*value, "V")
}

fn amperes(value: &f64) -> String {
    engineering(*value, "A")
}

fn seconds(value: &f64) -> String {
    engineering(*value, "s")
}

fn samples(count: usize) -> String {
    let noun = if count == 1 { "sample" } else { "samples" };
    format!("{count} {noun}")
}

fn still(levels: &[(Signal, f64, f64)]) -> String {
    let each = levels.iter().map(|(signal, middle, spread)| {
        let value = |value| engineering(value, signal.unit());
        format!("{signal} stays at {} ± {}", value(*middle), value(*spread))
    });
    each.collect::<Vec<_>>().join(", ")
}

fn at(range: Option<(f64, f64)>, unit: &str) -> String {
    let value = |value| engineering(value, unit);
    match range {
        Some((low, high)) if low == high => format!(" at {}", value(high)),
        Some((low, high)) => format!(" at {} to {}", value(low), value(high)),
        None => " (overrange marks)".to_owned(),
    }
}

fn effect_of_clipping(signal: Signal) -> &'static str {
    match signal {
        Signal::Current => {
            "the true peak is higher, so resistance and inductance would come out too large; these samples are left out"
        }
        Signal::Voltage => {
            "inductive spikes and arcs beyond the screen are left out; a clipped supply level would bias every parameter"
        }
    }
}

fn how(sudden: bool, at_s: Option<f64>) -> String {
    let place = at_s.map_or(String::new(), |t| format!(" near {}", seconds(&t)));
    match sudden {
        true => format!("jumps{place}"),
        false => "creeps up".to_owned(),
    }
}

impl Remark {
    /// Takes in the same remark of another capture; false where the two are not the same.
    pub fn absorb(&mut self, other: &Remark) -> bool {
        match (&mut *self, other) {
            (
                Remark::Clipped {
                    signal,
                    rows,
                    range,
                },
                Remark::Clipped {
                    signal: of,
                    rows: more,
                    range: beside,
                },
            ) if signal == of && range.is_some() == beside.is_some() => {
                *rows += more;
                let both = range.zip(*beside);
                *range = both.map(|(a, b)| (a.0.min(b.0), a.1.max(b.1)));
                true
            }
            (
                Remark::CurrentReversed {
                    level_a,
                    with_voltage,
                },
                Remark::CurrentReversed {
                    level_a: beside,
                    with_voltage: also,
                },
            ) if with_voltage == also => {
                *level_a = level_a.min(*beside);
                true
            }
            (Remark::VoltageNegative { level_v }, Remark::VoltageNegative { level_v: beside }) => {
                *level_v = level_v.min(*beside);
                true
            }
            _ => self == other,
        }
    }
}
