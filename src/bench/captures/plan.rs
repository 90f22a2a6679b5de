//! A capture as it is to be read: its table of the sheet with every name looked up, its file not yet opened.

use super::bridge::{read_bridge, switched};
use crate::bench::accuracy::Stated;
use crate::bench::capture::{ByHand, CoastingBridge, HandEvent, Role};
use crate::bench::channels::{ChannelPlan, SpeedPlan, plan, speed_plans};
use crate::bench::error::{BenchError, Place};
use crate::bench::hardware::Hardware;
use crate::bench::remarks::{BenchRemark, BenchRemarkKind};
use crate::bench::sheet::{
    INERTIA, Measures, Quantity, RESISTANCE, SPEED, TEMPERATURE, TORQUE, Table, TypedChannel,
    TypedSpeedChannel, VOLTAGE, quantity_at, read_import, read_override, read_speed_override,
    size_at, speed, stated, winding_temperature,
};
use crate::capture::ReadOptions;
use crate::files::is_inside;
use crate::quantity::one_line;
use std::borrow::Cow;
use std::path::{Path, PathBuf};

/// A capture with every name looked up, its file not yet opened.
#[derive(Clone, Debug)]
pub struct CapturePlan {
    pub name: String,
    /// Where the sheet names the file; absent for a quick run.
    pub place: Option<Place>,
    pub path: PathBuf,
    /// Further files of the same event, with the other channels.
    pub further: Vec<PathBuf>,
    pub role: Role,
    pub voltage: Option<ChannelPlan>,
    pub current: Option<ChannelPlan>,
    /// Speed channels that its file may hold.
    pub speed: Vec<SpeedPlan>,
    pub winding_temperature_c: Option<Stated>,
    /// Drop of a diode inside the measured voltage, V.
    pub series_diode_v: Option<Stated>,
    pub loop_resistance_ohm: Option<Stated>,
    pub source_v: Option<Stated>,
    pub coasting: Option<CoastingBridge>,
    pub added_inertia_kg_m2: Option<Stated>,
    pub load_torque_nm: Option<Stated>,
    pub driven_speed_rad_s: Option<Stated>,
    pub by_hand: ByHand,
    /// `use = false` leaves the capture out.
    pub used: bool,
    pub import: ReadOptions,
}

/// What a sheet says of all its captures.
pub struct Common<'a> {
    pub files: Files<'a>,
    pub hardware: &'a [Hardware],
    pub channels: &'a [TypedChannel],
    pub speed_channels: &'a [TypedSpeedChannel],
    pub winding_temperature: Option<&'a Quantity>,
    pub supply_voltage: Option<&'a Quantity>,
    pub import: &'a ReadOptions,
}

/// All captures, each under a name of its own.
pub fn read_captures(
    tables: &[Table<'_>],
    common: &Common,
    warnings: &mut Vec<BenchRemark>,
) -> Result<Vec<CapturePlan>, BenchError> {
    let mut plans: Vec<CapturePlan> = Vec::with_capacity(tables.len());
    for table in tables {
        let plan = read_capture(table, common, warnings)?;
        if plans.iter().any(|known| known.name == plan.name) {
            let name = &plan.name;
            let text = format!("two captures are called \"{name}\"; give each its own `name`");
            return Err(BenchError::at(&table.place(), text));
        }
        plans.push(plan);
    }
    Ok(plans)
}

/// Reads a table of `[[captures]]`.
fn read_capture(
    table: &Table<'_>,
    common: &Common,
    warnings: &mut Vec<BenchRemark>,
) -> Result<CapturePlan, BenchError> {
    let files = files(table)?;
    let name = table.text("name")?;
    let role = table.choice("role", "role", &Role::ALL.map(|role| (role.name(), role)))?;
    let voltage = read_override(table, "voltage", Measures::Voltage)?;
    let current = read_override(table, "current", Measures::Current)?;
    let speed_override = read_speed_override(table)?;
    let temperature = quantity_at(table, "winding_temperature", TEMPERATURE)?;
    let series_diode = size_at(table, "series_diode", VOLTAGE)?;
    let loop_resistance = size_at(table, "loop_resistance", RESISTANCE)?;
    let source = quantity_at(table, "source", VOLTAGE)?;
    let bridge = read_bridge(table)?;
    let added_inertia = size_at(table, "added_inertia", INERTIA)?;
    let load_torque = quantity_at(table, "load_torque", TORQUE)?;
    let driven_speed = size_at(table, "driven_speed", SPEED)?;
    let by_hand = read_by_hand(table)?;
    let used = table.flag("use")?.unwrap_or(true);
    let import = read_import(table, common.import)?;
    table.free_text("note")?;
    table.finish()?;
    let known = || format!("one of {}", Role::ALL.map(Role::name).join(", "));
    let role = role.ok_or_else(|| table.missing("role", &known()))?;
    let [file, further @ ..] = files.as_slice() else {
        return Err(table.missing("file", "the file name of the capture"));
    };
    check_role(
        table,
        role,
        (series_diode.is_some(), driven_speed.is_some()),
    )?;
    let (place, file_place) = (table.place(), table.place_of("file"));
    let name = name.unwrap_or_else(|| stem(file));
    let channel = |over, measures| plan(over, &place, measures, common.channels, common.hardware);
    let voltage = channel(voltage.as_ref(), Measures::Voltage)?;
    let current = channel(current.as_ref(), Measures::Current)?;
    if voltage.is_none() && current.is_none() {
        return Err(no_channel(&name, &place));
    }
    let source_v = match (&source, &voltage, common.supply_voltage) {
        (Some(source), ..) => Some(source.stated("source")?),
        (None, None, Some(supply)) => Some(supply.stated("voltage")?),
        (None, ..) => None,
    };
    let (source_v, coasting) =
        switched(bridge.as_ref(), (role, &place), voltage.is_some(), source_v)?;
    let temperature = temperature.as_ref().or(common.winding_temperature);
    let temperature = temperature.map(|t| winding_temperature(t, warnings));
    let path = |file: &String| common.files.path(&file_place, file);
    Ok(CapturePlan {
        path: path(file)?,
        further: further.iter().map(path).collect::<Result<_, _>>()?,
        role,
        voltage,
        current,
        speed: speed_plans(
            speed_override.as_ref(),
            common.speed_channels,
            common.hardware,
        )?,
        winding_temperature_c: temperature.transpose()?,
        series_diode_v: stated(&series_diode, "series_diode")?,
        loop_resistance_ohm: stated(&loop_resistance, "loop_resistance")?,
        source_v,
        coasting,
        added_inertia_kg_m2: stated(&added_inertia, "added_inertia")?,
        load_torque_nm: stated(&load_torque, "load_torque")?,
        driven_speed_rad_s: driven_speed
            .map(|driven| speed(&driven, None, driven.place.line, warnings)),
        by_hand,
        used,
        import,
        place: Some(file_place),
        name,
    })
}

/// A capture that nothing was recorded in.
fn no_channel(name: &str, place: &Place) -> BenchError {
    let text = format!(
        "capture \"{name}\" has neither a voltage nor a current channel; describe them under [channels.…] with measures = \"voltage\" and \"current\""
    );
    BenchError::at(place, text)
}

/// That a diode and a driven speed belong to the role.
fn check_role(
    table: &Table<'_>,
    role: Role,
    (has_diode, is_driven): (bool, bool),
) -> Result<(), BenchError> {
    if has_diode && !matches!(role, Role::Start | Role::Steady | Role::LockedRotor) {
        return table.invalid(
            "series_diode",
            "a diode inside the measured voltage hides the back-EMF as soon as no current flows, and lets none flow backwards: record this role with the probe at the motor's tabs, and leave the key out",
        );
    }
    match (role, is_driven) {
        (Role::Driven, false) => Err(table.missing(
                "driven_speed",
                "the speed at which the shaft was driven, e.g. driven_speed = { rpm = 1500, limit_rpm = 2 }",
        )),
        (role, true) if role != Role::Driven => table.invalid(
                "driven_speed",
                "belongs to a capture of role \"driven\" (terminals open, shaft turned from outside); a speed read while the motor ran by itself is a [[readings]] of kind \"tachometer\"",
        ),
        _ => Ok(()),
    }
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
    let mut numbered = files.iter().enumerate();
    if numbered.any(|(at, file)| files[..at].contains(file)) {
        return table.invalid("file", "names a file twice; give each channel's file once");
    }
    Ok(files)
}

/// Where the files of a sheet lie.
#[derive(Clone, Copy)]
pub struct Files<'a> {
    pub folder: &'a Path,
    /// A sheet may name files outside its own folder.
    pub allow_outside: bool,
}

impl Files<'_> {
    /// The path of a record or table. Links are followed before it is judged, so that none leads out of the folder unseen.
    pub fn path(&self, place: &Place, file: &str) -> Result<PathBuf, BenchError> {
        if self.allow_outside || is_inside(self.folder, Path::new(file)) {
            return Ok(self.folder.join(file));
        }
        let text = format!(
            "`{file}` is outside the folder of the bench sheet ({}). Put the capture beside the sheet, or allow files outside with --allow-outside",
            self.folder.display()
        );
        Err(BenchError::at(place, text))
    }
}

/// Events and cuts that were set by hand: `events_s = { switch-on = 0.0012 }`, `cuts_s = [[0.01, 0.02]]`.
fn read_by_hand(table: &Table<'_>) -> Result<ByHand, BenchError> {
    let mut by_hand = ByHand::default();
    if let Some(events) = table.table("events_s")? {
        for (key, event) in HandEvent::KEYS {
            if let Some(at_s) = events.number(key)? {
                by_hand.events_s.push((event, at_s));
            }
        }
        events.finish()?;
    }
    by_hand.cuts_s = table.pairs("cuts_s")?.unwrap_or_default();
    match by_hand.cuts_s.iter().find(|(from, to)| from >= to) {
        Some((from, to)) => table.invalid(
            "cuts_s",
            format!(
                "`cuts_s` has a stretch from {from} to {to} s, expected an end after its beginning"
            ),
        ),
        None => Ok(by_hand),
    }
}

/// File name without its extensions, e.g. `steady.csv.gz` gives `steady`.
pub fn stem(file: &str) -> String {
    let name = Path::new(file)
        .file_name()
        .map_or_else(|| file.to_string(), |n| n.to_string_lossy().into_owned());
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    match name.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem.to_string(),
        _ => name.to_string(),
    }
}

/// A warning that names the captures without a winding temperature.
pub fn temperature_missing(plans: &[CapturePlan]) -> Option<BenchRemark> {
    let without = plans.iter().filter(|p| p.winding_temperature_c.is_none());
    let captures: Vec<String> = without.map(|p| p.name.clone()).collect();
    (!captures.is_empty()).then(|| BenchRemarkKind::NoTemperature { captures }.of_sheet())
}
