//! Which column of a record is the voltage and which the current, through which hardware, and with which factor.

use crate::bench::accuracy::Accuracy;
use crate::bench::error::{BenchError, Place};
use crate::bench::hardware::Hardware;
use crate::bench::sheet::{
    ChannelKeys, ChannelOverride, InstrumentKind, Measures, NameOrNumber, TypedCapture,
    TypedChannel, unknown_name,
};

/// One trace of one capture, all names looked up.
#[derive(Clone, Debug)]
pub struct ChannelPlan {
    /// Scope channel; the gain of the oscilloscope is one number a name.
    pub name: String,
    pub place: Option<Place>,
    pub measures: Measures,
    /// Columns to look for, the first found is taken; empty: by the channel's name, else by unit.
    pub columns: Vec<NameOrNumber>,
    /// Indices into the hardware.
    pub through: Vec<usize>,
    /// Resistance inside the voltage channel, and the shunt it belongs to.
    pub spans: Option<(f64, Option<usize>)>,
    /// From the column's SI unit to volts or amperes at the motor, sign included.
    pub factor: f64,
    /// The column holds volts across the shunt in `through`.
    pub raw_volts: bool,
    /// True where the sheet says something of scale, so that a unit that contradicts the role is explained.
    pub scale_stated: bool,
    pub ac_coupled: Option<bool>,
    /// As typed, in the column's SI unit per division.
    pub per_division: Option<f64>,
    /// Replaces the zeros of the hardware.
    pub zero: Option<Accuracy>,
}

/// The plan of the voltage (or current) channel of a capture; `None` where it was not recorded.
pub fn plan(
    capture: &TypedCapture,
    measures: Measures,
    channels: &[TypedChannel],
    hardware: &[Hardware],
) -> Result<Option<ChannelPlan>, BenchError> {
    let over: Option<&ChannelOverride> = match measures {
        Measures::Voltage => capture.voltage.as_ref(),
        Measures::Current => capture.current.as_ref(),
    };
    if over.is_some_and(|o| !o.recorded) {
        return Ok(None);
    }
    let word = measures.word();
    let candidates: Vec<&TypedChannel> =
        channels.iter().filter(|c| c.measures == measures).collect();
    let base = match over.and_then(|o| o.channel.as_ref()) {
        Some(name) => {
            let known: Vec<&str> = candidates.iter().map(|c| c.name.as_str()).collect();
            let place = over.map_or(&capture.place, |o| &o.place).clone();
            Some(
                *candidates
                    .iter()
                    .find(|c| &c.name == name)
                    .ok_or_else(|| unknown_name(place, &format!("{word} channel"), name, &known))?,
            )
        }
        None if candidates.len() > 1 => {
            return Err(BenchError::Invalid {
                place: over.map_or(&capture.place, |o| &o.place).clone(),
                text: format!(
                    "the sheet has {} {word} channels ({}); say {word}.channel = \"…\" in this capture",
                    candidates.len(),
                    candidates
                        .iter()
                        .map(|c| c.name.as_str())
                        .collect::<Vec<_>>()
                        .join(", ")
                ),
            });
        }
        None => candidates.first().copied(),
    };
    if base.is_none() && over.is_none() {
        return Ok(None);
    }
    let empty = ChannelKeys::default();
    let keys = merge(
        over.map_or(&empty, |o| &o.keys),
        base.map_or(&empty, |c| &c.keys),
    );
    let place = over
        .map(|o| o.place.clone())
        .or_else(|| base.map(|c| c.place.clone()))
        .unwrap_or_else(|| capture.place.clone());
    let name = base.map_or_else(|| word.to_string(), |c| c.name.clone());
    resolve(name, place, measures, keys, hardware).map(Some)
}

impl Measures {
    pub fn word(self) -> &'static str {
        match self {
            Measures::Voltage => "voltage",
            Measures::Current => "current",
        }
    }

    pub fn unit(self) -> &'static str {
        match self {
            Measures::Voltage => "V",
            Measures::Current => "A",
        }
    }
}

fn merge(first: &ChannelKeys, second: &ChannelKeys) -> ChannelKeys {
    let spans_given = first.spans.is_some() || first.spans_ohm.is_some();
    let spans_of = if spans_given { first } else { second };
    ChannelKeys {
        column: first.column.clone().or_else(|| second.column.clone()),
        through: first.through.clone().or_else(|| second.through.clone()),
        spans: spans_of.spans.clone(),
        spans_ohm: spans_of.spans_ohm,
        raw_volts: first.raw_volts.or(second.raw_volts),
        scale: first.scale.or(second.scale),
        apply_probe_ratio: first.apply_probe_ratio.or(second.apply_probe_ratio),
        reversed: first.reversed.or(second.reversed),
        ac_coupled: first.ac_coupled.or(second.ac_coupled),
        per_division: first.per_division.or(second.per_division),
        zero: first.zero.or(second.zero),
    }
}

fn resolve(
    name: String,
    place: Place,
    measures: Measures,
    keys: ChannelKeys,
    hardware: &[Hardware],
) -> Result<ChannelPlan, BenchError> {
    let known: Vec<&str> = hardware
        .iter()
        .map(|h| h.instrument.name.as_str())
        .collect();
    let find = |wanted: &str, what: &str| -> Result<usize, BenchError> {
        known
            .iter()
            .position(|k| *k == wanted)
            .ok_or_else(|| unknown_name(place.clone(), what, wanted, &known))
    };
    let through = keys
        .through
        .unwrap_or_default()
        .iter()
        .map(|wanted| find(wanted, "instrument a channel can pass through"))
        .collect::<Result<Vec<_>, _>>()?;
    let spans = match (&keys.spans, keys.spans_ohm) {
        (Some(shunt), _) => {
            let index = find(shunt, "shunt")?;
            match hardware[index].resistance_ohm {
                Some(ohm) => Some((ohm, Some(index))),
                None => {
                    return Err(BenchError::Invalid {
                        place,
                        text: format!(
                            "`spans` names \"{shunt}\", which is no shunt; only a resistance can lie inside the voltage channel"
                        ),
                    });
                }
            }
        }
        (None, Some(ohm)) => Some((ohm, None)),
        (None, None) => None,
    };
    let raw_volts = keys.raw_volts.unwrap_or(false);
    let mut factor = keys.scale.unwrap_or(1.0) * keys.apply_probe_ratio.unwrap_or(1.0);
    if raw_volts {
        let shunts: Vec<f64> = through
            .iter()
            .filter(|i| hardware[**i].kind == InstrumentKind::Shunt)
            .filter_map(|i| hardware[*i].resistance_ohm)
            .collect();
        let [ohm] = shunts.as_slice() else {
            return Err(BenchError::Invalid {
                place,
                text: format!(
                    "channel \"{name}\" holds raw volts, but passes through {} shunts; name the one shunt in `through`",
                    shunts.len()
                ),
            });
        };
        factor /= ohm;
    }
    if keys.reversed.unwrap_or(false) {
        factor = -factor;
    }
    Ok(ChannelPlan {
        name,
        place: Some(place),
        measures,
        columns: keys.column.unwrap_or_default(),
        through,
        spans,
        factor,
        raw_volts,
        scale_stated: keys.scale.is_some() || raw_volts,
        ac_coupled: keys.ac_coupled,
        per_division: keys.per_division,
        zero: keys.zero,
    })
}
