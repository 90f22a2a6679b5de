//! What a channel holds, by its unit, its name and its numbers, where that is neither a voltage nor a current.

use super::ground::OtherGround;
use super::kind::ColumnKind;
use crate::capture::{Channel, name_words};
use crate::quantity::is_listed;

/// A channel that is neither voltage nor current, and what shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherColumn {
    /// Index into [`Record::channels`](crate::capture::Record::channels).
    pub index: usize,
    /// What it holds.
    pub kind: ColumnKind,
    /// What shows it.
    pub why: OtherGround,
}

const CURRENT: &str = "current curr strom courant corrente corriente stroom ampere amperes amps amp \
    shunt clamp i ia im imot imotor iarm isense \u{7535}\u{6d41} \u{96fb}\u{6d41}";
const VOLTAGE: &str = "voltage volt volts spannung tension tensione voltaje spanning u v ua um va \
    vm vmot vmotor varm vbus emf bemf \u{7535}\u{538b} \u{96fb}\u{5727} \u{96fb}\u{58d3}";
/// Kinds that a name shows, also where the unit is that of a voltage.
const SHAFT: [(ColumnKind, &str); 3] = [
    (
        ColumnKind::Speed,
        "tachogenerator tachometre speed rpm velocity vel omega drehzahl geschwindigkeit vitesse \
         velocidad tacho tach tachometer gyro",
    ),
    (
        ColumnKind::Position,
        "encoder enc position pos angle theta winkel ticks tick count counts counter odometer \
         revolutions turns",
    ),
    (
        ColumnKind::Pulses,
        "hall pulse pulses edge edges opto marks",
    ),
];
const COMMAND: &str = "command cmd duty dutycycle pwm setpoint target throttle demand reference";
/// Kinds that a name shows where nothing says volt or ampere.
const REST: [(ColumnKind, &str); 3] = [
    (ColumnKind::Command, COMMAND),
    (
        ColumnKind::State,
        "mode state status flag flags error err fault id enable enabled dir direction trigger \
         trig logic digital bit bits",
    ),
    (
        ColumnKind::Other,
        "lux light brightness illuminance accuracy temperature temp torque force load weight \
         pressure humidity power energy efficiency resistance frequency freq latitude longitude \
         altitude heading acceleration acc mag accel accelerometer vibration distance height \
         flow sound phase gain percent",
    ),
];

/// The kind and what shows it; `None` where the channel may be a voltage or a current.
///
/// A stated volt or ampere outweighs the name, but for a tachogenerator, an encoder or a Hall sensor, which are recorded in volts.
pub(super) fn other_kind(channel: &Channel) -> Option<(ColumnKind, OtherGround)> {
    let has = has_word_of(channel);
    let by_name = || OtherGround::Name {
        name: channel.name.clone(),
    };
    if let Some(found) = by_unit(channel) {
        return Some(found);
    }
    if let Some((kind, _)) = SHAFT.into_iter().find(|(_, list)| has(list)) {
        // The track of an encoder as it was recorded.
        let is_track = kind == ColumnKind::Position && pulses(&channel.values).is_some();
        return Some(match is_track {
            true => (ColumnKind::Pulses, by_name()),
            false => (kind, by_name()),
        });
    }
    let electrical = matches!(channel.unit.as_deref(), Some("V" | "A"));
    if electrical || (has(CURRENT) || has(VOLTAGE)) && !has(COMMAND) {
        return None;
    }
    match REST.into_iter().find(|(_, list)| has(list)) {
        Some((kind, _)) => Some((kind, by_name())),
        None => by_numbers(&channel.values),
    }
}

/// Whether the name, without the unit that stands in it, has one of the words of a list.
fn has_word_of(channel: &Channel) -> impl Fn(&str) -> bool {
    let name = &channel.name;
    let words = name_words(name.split(['(', '[', '/', '`']).next().unwrap_or(name));
    move |list| words.iter().any(|word| is_listed(list, word))
}

/// By a unit that is stated and is neither volt nor ampere.
fn by_unit(channel: &Channel) -> Option<(ColumnKind, OtherGround)> {
    let text = channel.unit_text.as_deref()?;
    let kind = match channel.unit.as_deref() {
        Some("V" | "A") => return None,
        Some("rad/s") => ColumnKind::Speed,
        Some(_) => ColumnKind::Other,
        None => match text.trim().to_lowercase().as_str() {
            "deg/s" | "\u{b0}/s" | "rev/s" | "1/s" | "rps" | "m/s" | "km/h" | "counts/s" => {
                ColumnKind::Speed
            }
            "deg" | "\u{b0}" | "rad" | "rev" | "turn" | "turns" | "count" | "counts" | "ticks"
            | "mm" => ColumnKind::Position,
            _ => ColumnKind::Other,
        },
    };
    let unit = text.to_owned();
    Some((kind, OtherGround::Unit { unit }))
}

/// By numbers that no waveform of a motor has, where neither name nor unit says anything.
fn by_numbers(values: &[f64]) -> Option<(ColumnKind, OtherGround)> {
    let mut numbers = values.iter().copied().filter(|v| v.is_finite());
    let first = numbers.next()?;
    let whole = values.iter().all(|v| v.is_nan() || v.fract() == 0.0);
    let within = |low: f64, high: f64| values.iter().all(|v| v.is_nan() || *v == low || *v == high);
    if within(first, first) {
        return Some((ColumnKind::Constant, OtherGround::Constant { value: first }));
    }
    if within(0.0, 1.0) {
        let rises = pulses(values);
        let kind = rises.map_or(ColumnKind::State, |_| ColumnKind::Pulses);
        return Some((kind, OtherGround::Binary { rises }));
    }
    let pairs = || {
        values
            .windows(2)
            .filter(|w| w[0].is_finite() && w[1].is_finite())
    };
    let grows = pairs().all(|w| w[1] >= w[0]) || pairs().all(|w| w[1] <= w[0]);
    if whole && grows && values.len() >= 8 && distinct_at_least(values, 8) {
        return Some((ColumnKind::Position, OtherGround::Counts));
    }
    None
}

fn distinct_at_least(values: &[f64], count: usize) -> bool {
    values.windows(2).filter(|w| w[0] != w[1]).count() + 1 >= count
}

/// The pulses of a channel that was taken neither for voltage nor for current.
pub(super) fn pulses_by_shape(channel: &Channel) -> Option<(ColumnKind, OtherGround)> {
    let rises = pulses(&channel.values)?;
    Some((ColumnKind::Pulses, OtherGround::TwoLevels { rises }))
}

/// What unit and name say: above 0 for current, below 0 for voltage.
pub(super) fn stated(channel: &Channel) -> f64 {
    let unit = match channel.unit.as_deref() {
        Some("A") => 6.0,
        Some("V") => -0.5,
        _ => 0.0,
    };
    let has = has_word_of(channel);
    if has(CURRENT) {
        unit + 3.0
    } else if has(VOLTAGE) {
        unit - 3.0
    } else {
        unit
    }
}

/// Fewest pulses that show a pickup.
const FEWEST: usize = 6;
/// Share of the samples that lie near one of two levels, and how near, relative to their distance (common practice, no source).
const AT_LEVELS: f64 = 0.9;
const NEAR: f64 = 0.2;

/// How often a signal rises from the lower of its two levels to the upper one; `None` where it has no two levels, or rises too
/// seldom to show a shaft that turns.
pub(super) fn pulses(values: &[f64]) -> Option<usize> {
    let finite = || values.iter().copied().filter(|v| v.is_finite());
    let (low, high) = finite().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    let near = NEAR * (high - low);
    if !(near > 0.0 && near.is_finite()) {
        return None;
    }
    let (mut at_levels, mut all, mut rises, mut is_high) = (0usize, 0usize, 0usize, None);
    for value in finite() {
        all += 1;
        let level = if value >= high - near {
            true
        } else if value <= low + near {
            false
        } else {
            continue;
        };
        at_levels += 1;
        rises += usize::from(level && is_high == Some(false));
        is_high = Some(level);
    }
    (at_levels as f64 >= AT_LEVELS * all as f64 && rises >= FEWEST).then_some(rises)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{ReadOptions, read_from};
    use std::path::Path;

    /// The only channel beside time, with this name and these numbers.
    fn channel(name: &str, value: fn(usize) -> f64) -> Channel {
        let rows: String = (0..40)
            .map(|k| format!("{},{}\n", k as f64 * 1e-3, value(k)))
            .collect();
        let text = format!("Time (s),{name}\n{rows}");
        let record = read_from(Path::new("a.csv"), text.as_bytes(), &ReadOptions::default());
        record.expect("a record").channels.swap_remove(0)
    }

    fn wave(k: usize) -> f64 {
        (k as f64 * 0.3).sin()
    }

    #[test]
    fn names_and_units_part_other_quantities_from_voltage_and_current() {
        for (name, kind) in [
            ("leftEncoder", ColumnKind::Position),
            ("motorCommand", ColumnKind::Command),
            ("Lux", ColumnKind::Other),
            ("Accuracy", ColumnKind::Other),
            ("Speed (rpm)", ColumnKind::Speed),
            ("Tacho (V)", ColumnKind::Speed),
            ("y (deg/s)", ColumnKind::Speed),
            ("Hall A (V)", ColumnKind::Pulses),
            ("leftMode", ColumnKind::State),
        ] {
            let found = other_kind(&channel(name, wave)).map(|(kind, _)| kind);
            assert_eq!(found, Some(kind), "{name}");
        }
        for name in [
            "Ampl",
            "Amplitude (V)",
            "CH1",
            "PWM (V)",
            "motor current",
            "i_a",
            "Battery voltage",
        ] {
            assert_eq!(other_kind(&channel(name, wave)), None, "{name}");
        }
    }

    #[test]
    fn numbers_of_a_counter_a_switch_or_a_pickup_show_it() {
        let of = |value| other_kind(&channel("CH1", value)).map(|(kind, _)| kind);
        assert_eq!(of(|k| (k / 20) as f64), Some(ColumnKind::State));
        assert_eq!(of(|k| (k % 2) as f64), Some(ColumnKind::Pulses));
        assert_eq!(of(|k| (k * k) as f64), Some(ColumnKind::Position));
        assert_eq!(of(|_| 3.0), Some(ColumnKind::Constant));
    }

    #[test]
    fn an_amplitude_is_no_ampere() {
        for (name, sign) in [
            ("CH2 (V)", -0.5),
            ("Ampl", 0.0),
            ("Amplitude", 0.0),
            ("motorCurrent", 3.0),
            // A unit in place of a name says it outright.
            ("Amp", 9.0),
            ("U", -3.0),
        ] {
            assert_eq!(stated(&channel(name, wave)), sign, "{name}");
        }
    }

    #[test]
    fn two_levels_with_many_edges_are_pulses_and_a_wave_is_none() {
        let square: Vec<f64> = (0..400)
            .map(|k| if k % 30 < 9 { 5.0 } else { 0.1 })
            .collect();
        assert_eq!(pulses(&square), Some(13));
        let wave: Vec<f64> = (0..400).map(|k| f64::from(k).sin()).collect();
        assert_eq!(pulses(&wave), None);
        let step: Vec<f64> = (0..400).map(|k| if k < 90 { 0.0 } else { 12.0 }).collect();
        assert_eq!(pulses(&step), None);
    }
}
