//! One scope channel, as a default for all captures or as one capture differs.

use super::quantity::{CURRENT, VOLTAGE, accuracy_at};
use super::speed_channel::{TypedSpeedChannel, read_speed_channel};
use super::table::{NameOrNumber, Table};
use crate::bench::accuracy::Accuracy;
use crate::bench::capture::SpeedSignal;
use crate::bench::error::{BenchError, Place};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measures {
    Voltage,
    Current,
}

/// Everything that may be said of a scope channel, as a default or for one capture.
#[derive(Clone, Debug, Default)]
pub struct ChannelKeys {
    pub column: Option<Vec<NameOrNumber>>,
    pub through: Option<Vec<String>>,
    pub spans: Option<String>,
    pub spans_ohm: Option<f64>,
    pub raw_volts: Option<bool>,
    pub scale: Option<f64>,
    pub apply_probe_ratio: Option<f64>,
    pub reversed: Option<bool>,
    pub ac_coupled: Option<bool>,
    pub per_division: Option<f64>,
    pub zero: Option<Accuracy>,
}

#[derive(Clone, Debug)]
pub struct TypedChannel {
    pub name: String,
    pub place: Place,
    pub measures: Measures,
    pub keys: ChannelKeys,
}

/// What a capture says of its voltage or current channel.
#[derive(Clone, Debug)]
pub struct ChannelOverride {
    pub place: Place,
    pub recorded: bool,
    pub channel: Option<String>,
    pub keys: ChannelKeys,
}

fn read_channel_keys(table: &Table<'_>, measures: Measures) -> Result<ChannelKeys, BenchError> {
    let mut keys = ChannelKeys {
        column: table.columns("column")?,
        through: table.texts("through")?,
        scale: table.number("scale")?,
        reversed: table.flag("reversed")?,
        per_division: table.positive("per_division")?,
        ac_coupled: table.choice("coupling", "coupling", &[("dc", false), ("ac", true)])?,
        ..ChannelKeys::default()
    };
    match measures {
        Measures::Voltage => {
            keys.spans = table.text("spans")?;
            keys.spans_ohm = table.positive("spans_ohm")?;
            keys.apply_probe_ratio = table.positive("apply_probe_ratio")?;
            keys.zero = accuracy_at(table, "zero", VOLTAGE, true)?;
        }
        Measures::Current => {
            keys.raw_volts = table.flag("raw_volts")?;
            keys.zero = accuracy_at(table, "zero", CURRENT, true)?;
        }
    }
    table.free_text("note")?;
    Ok(keys)
}

fn check_channel_keys(table: &Table<'_>, keys: &ChannelKeys) -> Result<(), BenchError> {
    if keys.scale == Some(0.0) {
        return table.invalid("scale", "a scale of 0 leaves nothing of the channel");
    }
    if keys.spans.is_some() && keys.spans_ohm.is_some() {
        return table.invalid(
            "spans_ohm",
            format!(
                "{} gives both `spans` and `spans_ohm`; keep the one that states the resistance inside the voltage channel",
                table.name
            ),
        );
    }
    Ok(())
}

/// A channel of voltage or current, or of the shaft.
enum AnyChannel {
    Electrical(Box<TypedChannel>),
    Shaft(Box<TypedSpeedChannel>),
}

fn read_channel(name: &str, table: &Table<'_>) -> Result<AnyChannel, BenchError> {
    use SpeedSignal::{Position, Pulses, Speed};
    let measures = table.choice(
        "measures",
        "quantity of a channel",
        &[
            ("voltage", Ok(Measures::Voltage)),
            ("current", Ok(Measures::Current)),
            (Speed.name(), Err(Speed)),
            (Position.name(), Err(Position)),
            (Pulses.name(), Err(Pulses)),
        ],
    )?;
    let expected = "\"voltage\", \"current\", \"speed\", \"position\" or \"pulses\"";
    Ok(match table.require("measures", measures, expected)? {
        Ok(measures) => {
            let keys = read_channel_keys(table, measures)?;
            table.finish()?;
            check_channel_keys(table, &keys)?;
            AnyChannel::Electrical(Box::new(TypedChannel {
                name: name.to_string(),
                place: table.place(),
                measures,
                keys,
            }))
        }
        Err(signal) => AnyChannel::Shaft(Box::new(read_speed_channel(name, signal, table)?)),
    })
}

/// The electrical channels, and those of the shaft.
pub fn read_channels(
    tables: &[(String, Table<'_>)],
) -> Result<(Vec<TypedChannel>, Vec<TypedSpeedChannel>), BenchError> {
    let (mut electrical, mut of_shaft) = (Vec::new(), Vec::new());
    for (name, table) in tables {
        match read_channel(name, table)? {
            AnyChannel::Electrical(channel) => electrical.push(*channel),
            AnyChannel::Shaft(channel) => of_shaft.push(*channel),
        }
    }
    Ok((electrical, of_shaft))
}

pub fn read_override(
    parent: &Table<'_>,
    key: &str,
    measures: Measures,
) -> Result<Option<ChannelOverride>, BenchError> {
    let Some(table) = parent.table(key)? else {
        return Ok(None);
    };
    let recorded = table.flag("recorded")?.unwrap_or(true);
    let channel = table.text("channel")?;
    let keys = read_channel_keys(&table, measures)?;
    table.finish()?;
    check_channel_keys(&table, &keys)?;
    Ok(Some(ChannelOverride {
        place: parent.place_of(key),
        recorded,
        channel,
        keys,
    }))
}
