//! The text of a remark: what was found with numbers, what it does to the result, what to do.

use super::{EventKind, Remark, Signal};
use crate::quantity::engineering;
use std::fmt;

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Remark::NoSamples { rows } => write!(
                f,
                "the waveform has {rows} rows and fewer than 8 usable numbers: no event can be detected. Export the record again"
            ),
            Remark::NoEvent { ref levels } => no_event(f, levels),
            Remark::VoltageNegative { level_v } => voltage_negative(f, level_v),
            Remark::CurrentReversed {
                level_a,
                with_voltage,
            } => current_reversed(f, level_a, with_voltage),
            Remark::TurningAtStart { level_v } => turning_at_start(f, level_v),
            Remark::NoSwitchOn => f.write_str(NO_SWITCH_ON),
            Remark::NoSwitchOff => f.write_str(NO_SWITCH_OFF),
            Remark::NoShort => f.write_str(NO_SHORT),
            Remark::NoTurnOff => f.write_str(NO_TURN_OFF),
            Remark::NoSwitching => f.write_str(NO_SWITCHING),
            Remark::BrakeWithoutCurrent => f.write_str(BRAKE_WITHOUT_CURRENT),
            Remark::EndsBeforeStandstill { signal, from, to } => {
                ends_before_standstill(f, signal.unit(), from, to)
            }
            Remark::ClampedDecay { rows, level_v } => write!(
                f,
                "after the opening a clamp holds the terminals at {} for {rows} samples; the decay is used with this measured voltage",
                engineering(level_v, "V")
            ),
            Remark::AcCoupled { before_v, lowest_v } => ac_coupled(f, before_v, lowest_v),
            Remark::RiseBetweenSamples { rows, step_s } => rise_between_samples(f, rows, step_s),
            Remark::SlowRise {
                tenth_s,
                rise_s,
                share,
            } => slow_rise(f, tenth_s, rise_s, share),
            Remark::CurrentLimited {
                plateau_a,
                duration_s,
                lowest_v,
                supply_v,
            } => current_limited(f, plateau_a, duration_s, (lowest_v, supply_v)),
            Remark::Clipped {
                signal,
                rows,
                range,
            } => clipped(f, signal, rows, range),
            Remark::CoarseSwitching {
                period_s,
                rows_per_period,
            } => write!(
                f,
                "one switching period of {} holds {rows_per_period:.0} samples: edges are not resolved, and the inductance suffers. Sample at {} or less",
                engineering(period_s, "s"),
                engineering(period_s / 50.0, "s"),
            ),
            Remark::Slipped {
                from_ohm,
                to_ohm,
                sudden,
                at_s,
            } => slipped(f, (from_ohm, to_ohm), sudden, at_s),
            Remark::EventByHand {
                kind,
                at_s,
                found_s,
            } => event_by_hand(f, kind, at_s, found_s),
            Remark::CutByHand { from_s, to_s } => write!(
                f,
                "set by hand (cuts_s in the sheet): {} to {} is left out",
                engineering(from_s, "s"),
                engineering(to_s, "s")
            ),
        }
    }
}

const NO_SWITCH_ON: &str = "no contact closes in this record: it begins with the motor already driven, so neither rise nor peak is seen and \
    inductance is not determined by it. Lengthen the pre-trigger";

const NO_SWITCH_OFF: &str = "no opening of the lead was found: the record begins after it. The run-down is used from its first row; the driven level \
    before it is unknown. Lengthen the pre-trigger to see it";

const NO_SHORT: &str = "no short was found: the current never turns against its driving direction. The record is treated as a run-down; check \
    the role and the brake switch";

const NO_TURN_OFF: &str = "the current does not fall to zero in this record: no turn-off was found. Check the role and the trigger";

const NO_SWITCHING: &str = "no regular switching of at least four periods was found in the voltage. Check the role and the time base";

const BRAKE_WITHOUT_CURRENT: &str = "the brake has no current channel: only the voltage before the short is known, resistance and inertia are not determined by \
    it. Record the current";

/// Resistance of copper per kelvin near 25 °C (IEC 60034-1, 8.6.2: 1/(235 + 25)).
const COPPER_PER_K: f64 = 1.0 / 260.0;

fn voltage_negative(f: &mut fmt::Formatter<'_>, level_v: f64) -> fmt::Result {
    write!(
        f,
        "the voltage is {} while the source drives: probe reversed, or motor driven backwards. The phases were found with the \
         sign turned; set the polarity of the voltage channel",
        engineering(level_v, "V")
    )
}

fn current_reversed(f: &mut fmt::Formatter<'_>, level_a: f64, with_voltage: bool) -> fmt::Result {
    let against = if with_voltage {
        "with the voltage positive "
    } else {
        ""
    };
    write!(
        f,
        "the current is negative while the source drives the motor ({against}it reaches {}): the current probe is the wrong way \
         round. The phases were found with the sign turned; flip the polarity of the current channel (`reversed = true` in a bench \
         sheet, `--reverse-current` without one)",
        engineering(level_a, "A")
    )
}

fn turning_at_start(f: &mut fmt::Formatter<'_>, level_v: f64) -> fmt::Result {
    write!(
        f,
        "the terminals show {} before the contact closes: the motor was already turning. The start does not begin at rest, so \
         the first back-EMF is estimated too; let the rotor stand before the next shot",
        engineering(level_v, "V")
    )
}

fn ends_before_standstill(
    f: &mut fmt::Formatter<'_>,
    unit: &str,
    from: f64,
    to: f64,
) -> fmt::Result {
    write!(
        f,
        "the record ends at {} (it began the decay at {}) before the rotor stops: Coulomb friction and the zero of the channel \
         are less certain. Record longer",
        engineering(to, unit),
        engineering(from, unit)
    )
}

fn ac_coupled(f: &mut fmt::Formatter<'_>, before_v: f64, lowest_v: f64) -> fmt::Result {
    write!(
        f,
        "the voltage is {} before the lead comes off, crosses zero and goes down to {} in the run-down although the motor only \
         slows: AC coupling of the channel is suspected. The run-down is not usable for friction and inertia. Set the channel \
         to DC coupling and record again",
        engineering(before_v, "V"),
        engineering(lowest_v, "V")
    )
}

fn rise_between_samples(f: &mut fmt::Formatter<'_>, rows: usize, step_s: f64) -> fmt::Result {
    let bound_s = rows as f64 * step_s;
    write!(
        f,
        "the rise to 63 % of the peak current takes {rows} {} of {}: the electrical time constant is below about {}, and the \
         inductance cannot be determined from this record. Sample at {} or less",
        if rows == 1 { "sample" } else { "samples" },
        engineering(step_s, "s"),
        engineering(bound_s, "s"),
        engineering(bound_s / 20.0, "s"),
    )
}

fn slow_rise(f: &mut fmt::Formatter<'_>, tenth_s: f64, rise_s: f64, share: f64) -> fmt::Result {
    write!(
        f,
        "the current takes {} to the first tenth of its rise and {} to 63 %: a share of {share:.2}, where a winding gives 0.11. It begins \
         flat, as behind a probe or filter whose own time constant is a tenth of L/R or more; the inductance then comes out too \
         large by about that share. Use a faster probe or a shunt, or state its bandwidth_hz in the sheet, with which the lag is modelled",
        engineering(tenth_s, "s"),
        engineering(rise_s, "s"),
    )
}

fn current_limited(
    f: &mut fmt::Formatter<'_>,
    plateau_a: f64,
    duration_s: f64,
    (lowest_v, supply_v): (f64, f64),
) -> fmt::Result {
    write!(
        f,
        "the current stays at a plateau of {} for {} while the voltage sags to {} of {}: the supply limits its current. The voltage \
         makes no step, so only a record with the voltage measured can be used; raise the limit above the stall \
         current or use a battery",
        engineering(plateau_a, "A"),
        engineering(duration_s, "s"),
        engineering(lowest_v, "V"),
        engineering(supply_v, "V"),
    )
}

fn no_event(f: &mut fmt::Formatter<'_>, levels: &[(Signal, f64, f64)]) -> fmt::Result {
    let levels: Vec<String> = levels
        .iter()
        .map(|(signal, middle, spread)| {
            format!(
                "{signal} stays at {} ± {}",
                engineering(*middle, signal.unit()),
                engineering(*spread, signal.unit())
            )
        })
        .collect();
    write!(
        f,
        "no event above the noise: {}. The trigger was probably missed; nothing can be estimated from this record. Trigger on \
         the current edge at about a tenth of the expected peak and record again",
        levels.join(", ")
    )
}

fn clipped(
    f: &mut fmt::Formatter<'_>,
    signal: Signal,
    rows: usize,
    range: Option<(f64, f64)>,
) -> fmt::Result {
    let effect = match signal {
        Signal::Current => {
            "the true peak is higher, so resistance and inductance would come out too large; these samples are left out"
        }
        Signal::Voltage => {
            "inductive spikes and arcs beyond the screen are left out; a clipped supply level would bias every parameter"
        }
    };
    let unit = signal.unit();
    let place = match range {
        Some((low, high)) if low == high => format!(" at {}", engineering(high, unit)),
        Some((low, high)) => format!(
            " at {} to {}",
            engineering(low, unit),
            engineering(high, unit)
        ),
        None => " (overrange marks)".to_owned(),
    };
    write!(
        f,
        "the {signal} clips{place} for {rows} {}: {effect}. Use a larger scale per division",
        if rows == 1 { "sample" } else { "samples" }
    )
}

fn event_by_hand(
    f: &mut fmt::Formatter<'_>,
    kind: EventKind,
    at_s: f64,
    found_s: Option<f64>,
) -> fmt::Result {
    let at = engineering(at_s, "s");
    write!(f, "set by hand (events_s in the sheet): {kind} at {at}; ")?;
    match found_s {
        Some(found_s) => write!(f, "the waveform shows it at {}", engineering(found_s, "s")),
        None => f.write_str("none was found in the waveform"),
    }
}

fn slipped(
    f: &mut fmt::Formatter<'_>,
    (from_ohm, to_ohm): (f64, f64),
    sudden: bool,
    at_s: Option<f64>,
) -> fmt::Result {
    let share = to_ohm / from_ohm - 1.0;
    let place = at_s.map_or(String::new(), |t| format!(" near {}", engineering(t, "s")));
    let how = if sudden {
        format!("jumps{place}")
    } else {
        "creeps up".to_owned()
    };
    write!(
        f,
        "voltage over current {how} from {} to {} (+{:.0} %) though the rotor is said to be held: it slipped in its clamp, and its \
         back-EMF is taken for resistance, which comes out too large; only a winding warmed by {:.0} K within the record would do the \
         same. Clamp the shaft harder and record again, for as short a time as shows the rise",
        engineering(from_ohm, "Ω"),
        engineering(to_ohm, "Ω"),
        100.0 * share,
        share / COPPER_PER_K
    )
}
