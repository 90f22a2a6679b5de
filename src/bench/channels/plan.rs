//! Which column of a record is the voltage and which the current, through which hardware, and with which factor.

use crate::bench::accuracy::Accuracy;
use crate::bench::error::{BenchError, Place};
use crate::bench::hardware::Hardware;
use crate::bench::sheet::{
    ChannelKeys, ChannelOverride, InstrumentKind, Measures, NameOrNumber, TypedChannel,
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

/// The plan of the voltage (or current) channel of a capture, whose table is at `place`; `None` where it was not recorded.
pub fn plan(
    over: Option<&ChannelOverride>,
    place: &Place,
    measures: Measures,
    channels: &[TypedChannel],
    hardware: &[Hardware],
) -> Result<Option<ChannelPlan>, BenchError> {
    if over.is_some_and(|o| !o.recorded) {
        return Ok(None);
    }
    let word = measures.word();
    let candidates = || channels.iter().filter(|c| c.measures == measures);
    let names = || candidates().map(|c| c.name.as_str());
    let place = over.map_or(place, |o| &o.place);
    let base = match over.and_then(|o| o.channel.as_ref()) {
        Some(name) => {
            let what = format!("{word} channel");
            let unknown = || BenchError::unknown(place, &what, name, names());
            Some(candidates().find(|c| c.name == *name).ok_or_else(unknown)?)
        }
        None if names().count() > 1 => {
            let text = format!(
                "the sheet has {} {word} channels ({}); say {word}.channel = \"…\" in this capture",
                names().count(),
                names().collect::<Vec<_>>().join(", ")
            );
            return Err(BenchError::at(place, text));
        }
        None => candidates().next(),
    };
    if base.is_none() && over.is_none() {
        return Ok(None);
    }
    let empty = ChannelKeys::default();
    let keys = merge(
        over.map_or(&empty, |o| &o.keys),
        base.map_or(&empty, |c| &c.keys),
    );
    let place = match (over, base) {
        (None, Some(base)) => &base.place,
        _ => place,
    };
    let name = base.map_or(word, |c| &c.name);
    resolve(name.to_owned(), place.clone(), measures, keys, hardware).map(Some)
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

/// Places of the named instruments in the hardware.
pub(super) fn indices(
    names: &[String],
    what: &str,
    place: &Place,
    hardware: &[Hardware],
) -> Result<Vec<usize>, BenchError> {
    let known = || hardware.iter().map(|h| h.instrument.name.as_str());
    let index = |wanted: &String| {
        let unknown = || BenchError::unknown(place, what, wanted, known());
        known().position(|k| k == wanted).ok_or_else(unknown)
    };
    names.iter().map(index).collect()
}

fn resolve(
    name: String,
    place: Place,
    measures: Measures,
    keys: ChannelKeys,
    hardware: &[Hardware],
) -> Result<ChannelPlan, BenchError> {
    let through = keys.through.unwrap_or_default();
    let through = indices(
        &through,
        "instrument a channel can pass through",
        &place,
        hardware,
    )?;
    let spans = match (&keys.spans, keys.spans_ohm) {
        (Some(shunt), _) => {
            let index = indices(std::slice::from_ref(shunt), "shunt", &place, hardware)?[0];
            let Some(ohm) = hardware[index].resistance_ohm else {
                let text = format!(
                    "`spans` names \"{shunt}\", which is no shunt; only a resistance can lie inside the voltage channel"
                );
                return Err(BenchError::at(&place, text));
            };
            Some((ohm, Some(index)))
        }
        (None, ohm) => ohm.map(|ohm| (ohm, None)),
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
            let text = format!(
                "channel \"{name}\" holds raw volts, but passes through {} shunts; name the one shunt in `through`",
                shunts.len()
            );
            return Err(BenchError::at(&place, text));
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
