//! One capture.

use super::bridge::{TypedBridge, read_bridge};
use super::by_hand::read_by_hand;
use super::channel::{ChannelOverride, Measures, read_override};
use super::import_keys::read_import;
use super::quantity::{
    INERTIA, Quantity, RESISTANCE, SPEED, TEMPERATURE, TORQUE, VOLTAGE, quantity_at, size_at,
};
use super::speed_channel::{SpeedOverride, read_speed_override};
use super::table::Table;
use crate::bench::by_hand::ByHand;
use crate::bench::error::{BenchError, Place};
use crate::bench::setup::Role;
use crate::capture::ReadOptions;
use crate::quantity::one_line;
use std::borrow::Cow;

/// Names of the roles in a sheet.
pub(in crate::bench) const ROLES: [(&str, Role); 9] = [
    ("start", Role::Start),
    ("run-down", Role::RunDown),
    ("brake", Role::Brake),
    ("locked-rotor", Role::LockedRotor),
    ("turn-off", Role::TurnOff),
    ("pwm", Role::Pwm),
    ("pwm-locked", Role::PwmLocked),
    ("steady", Role::Steady),
    ("driven", Role::Driven),
];

#[derive(Clone, Debug)]
pub(in crate::bench) struct TypedCapture {
    pub place: Place,
    pub file: String,
    /// Further files of the same event, with the other channels.
    pub further: Vec<String>,
    pub file_place: Place,
    pub name: Option<String>,
    pub role: Role,
    pub voltage: Option<ChannelOverride>,
    pub current: Option<ChannelOverride>,
    pub speed: Option<SpeedOverride>,
    pub winding_temperature: Option<Quantity>,
    /// Drop of a diode inside the measured voltage.
    pub series_diode: Option<Quantity>,
    pub loop_resistance: Option<Quantity>,
    pub source: Option<Quantity>,
    /// What switches the source, where the voltage was not recorded.
    pub bridge: Option<TypedBridge>,
    pub added_inertia: Option<Quantity>,
    pub load_torque: Option<Quantity>,
    pub driven_speed: Option<Quantity>,
    pub by_hand: ByHand,
    /// `use = false` leaves the capture out.
    pub used: bool,
    pub import: ReadOptions,
}

pub(super) fn read_capture(
    table: &Table<'_>,
    base: &ReadOptions,
) -> Result<TypedCapture, BenchError> {
    let mut files = files(table)?.into_iter();
    let file = files.next();
    let name = table.text("name")?;
    let role = table.choice("role", "role", &ROLES)?;
    let voltage = read_override(table, "voltage", Measures::Voltage)?;
    let current = read_override(table, "current", Measures::Current)?;
    let speed = read_speed_override(table)?;
    let winding_temperature = quantity_at(table, "winding_temperature", TEMPERATURE)?;
    let series_diode = size_at(table, "series_diode", VOLTAGE)?;
    let loop_resistance = size_at(table, "loop_resistance", RESISTANCE)?;
    let source = quantity_at(table, "source", VOLTAGE)?;
    let bridge = read_bridge(table)?;
    let added_inertia = size_at(table, "added_inertia", INERTIA)?;
    let load_torque = quantity_at(table, "load_torque", TORQUE)?;
    let driven_speed = size_at(table, "driven_speed", SPEED)?;
    let by_hand = read_by_hand(table)?;
    let used = table.flag("use")?.unwrap_or(true);
    let import = read_import(table, base)?;
    table.free_text("note")?;
    table.finish()?;
    if series_diode.is_some()
        && !matches!(
            role,
            None | Some(Role::Start | Role::Steady | Role::LockedRotor)
        )
    {
        return table.invalid(
            "series_diode",
            "a diode inside the measured voltage hides the back-EMF as soon as no current flows, and lets none flow backwards: record this role with the probe at the motor's tabs, and leave the key out",
        );
    }
    match (role, &driven_speed) {
        (Some(Role::Driven), None) => {
            return Err(table.missing(
                "driven_speed",
                "the speed at which the shaft was driven, e.g. driven_speed = { rpm = 1500, limit_rpm = 2 }",
            ));
        }
        (Some(other), Some(_)) if other != Role::Driven => {
            return table.invalid(
                "driven_speed",
                "belongs to a capture of role \"driven\" (terminals open, shaft turned from outside); a speed read while the motor ran by itself is a [[readings]] of kind \"tachometer\"",
            );
        }
        _ => {}
    }
    let roles: Vec<&str> = ROLES.iter().map(|(name, _)| *name).collect();
    Ok(TypedCapture {
        place: table.place(),
        file: table.require("file", file, "the file name of the capture")?,
        further: files.collect(),
        file_place: table.place_of("file"),
        name,
        role: table.require("role", role, &format!("one of {}", roles.join(", ")))?,
        voltage,
        current,
        speed,
        winding_temperature,
        series_diode,
        loop_resistance,
        source,
        bridge,
        added_inertia,
        load_torque,
        driven_speed,
        by_hand,
        used,
        import,
    })
}

/// One file, or the files of one event with a channel each.
fn files(table: &Table<'_>) -> Result<Vec<String>, BenchError> {
    let files = table.texts("file")?.unwrap_or_default();
    if let Some(bad) = files.iter().find(|f| matches!(one_line(f), Cow::Owned(_))) {
        return table.invalid(
            "file",
            format!(
                "`file` is \"{}\", expected one line without invisible characters",
                one_line(bad)
            ),
        );
    }
    if files.len() > 1
        && files
            .iter()
            .enumerate()
            .any(|(at, f)| files[..at].contains(f))
    {
        return table.invalid("file", "names a file twice; give each channel's file once");
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_role_has_its_name() {
        for (name, role) in ROLES {
            assert_eq!(role.name(), name);
        }
    }
}
