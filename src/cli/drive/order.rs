//! From the options to the conditions of a sizing, SI units.

use super::DriveArguments;
use crate::cli::flags::si;
use anyhow::Context;
use rundown::drive::{Load, Order, order as conditions};
use rundown::motor_file::{MotorFile, ThermalName};
use rundown::quantity::units::Quantity;

/// Joule per kelvin: an energy with `/K` or `/°C` behind it.
fn heat_capacity(text: &Option<String>) -> anyhow::Result<Option<f64>> {
    let Some(text) = text else { return Ok(None) };
    let energy = ["/K", "/°C"]
        .into_iter()
        .find_map(|end| text.trim().strip_suffix(end))
        .with_context(|| {
            format!(
                "--thermal-mass {text}: expected a heat capacity, e.g. --thermal-mass \"15 J/K\""
            )
        })?;
    si("--thermal-mass", Some(&energy.to_owned()), Quantity::Energy)
}

/// The load, as torque or as current.
fn load(a: &DriveArguments) -> anyhow::Result<Load> {
    use Quantity as Q;
    Ok(
        match (
            si("--load", a.load.as_ref(), Q::Torque)?,
            si("--load-current", a.load_current.as_ref(), Q::Current)?,
        ) {
            (Some(torque), _) => Load::Torque(torque),
            (None, Some(current)) => Load::Current(current),
            (None, None) => Load::None,
        },
    )
}

/// The conditions that the options state.
pub fn order(arguments: &DriveArguments, file: &MotorFile) -> anyhow::Result<Order> {
    use Quantity as Q;
    let a = arguments;
    let supply_v = si("--supply", a.supply.as_ref(), Q::Voltage)?
        .or_else(|| file.motor.as_ref()?.supply_v)
        .context("the motor file states no supply voltage; give it, e.g. --supply 24V")?;
    Ok(Order {
        supply_v,
        source_resistance_ohm: si(
            "--source-resistance",
            a.source_resistance.as_ref(),
            Q::Resistance,
        )?
        .unwrap_or(0.0),
        lead_resistance_ohm: si(
            "--lead-resistance",
            a.lead_resistance.as_ref(),
            Q::Resistance,
        )?
        .unwrap_or(0.0),
        load: load(a)?,
        load_inertia_kg_m2: si("--load-inertia", a.load_inertia.as_ref(), Q::Inertia)?,
        gear: si("--gear", a.gear.as_ref(), Q::Ratio)?,
        gear_efficiency: si("--gear-efficiency", a.gear_efficiency.as_ref(), Q::Ratio)?,
        current_limit_a: si("--current-limit", a.current_limit.as_ref(), Q::Current)?,
        frequency_hz: si("--frequency", a.frequency.as_ref(), Q::Frequency)?
            .unwrap_or(conditions::USUAL_FREQUENCY_HZ),
        duty: si("--duty", a.duty.as_ref(), Q::Ratio)?.unwrap_or(conditions::USUAL_DUTY),
        ripple_share: si("--ripple-share", a.ripple_share.as_ref(), Q::Ratio)?
            .unwrap_or(conditions::USUAL_RIPPLE_SHARE),
        switch_resistance_ohm: si(
            "--switch-resistance",
            a.switch_resistance.as_ref(),
            Q::Resistance,
        )?,
        diode_drop_v: si("--diode-drop", a.diode_drop.as_ref(), Q::Voltage)?
            .unwrap_or(conditions::USUAL_DIODE_DROP_V),
        diode_resistance_ohm: si(
            "--diode-resistance",
            a.diode_resistance.as_ref(),
            Q::Resistance,
        )?
        .unwrap_or(0.0),
        dead_time_s: si("--dead-time", a.dead_time.as_ref(), Q::Time)?,
        clamp_voltage_v: si("--clamp-voltage", a.clamp_voltage.as_ref(), Q::Voltage)?,
        stray_capacitance_f: si(
            "--stray-capacitance",
            a.stray_capacitance.as_ref(),
            Q::Capacitance,
        )?,
        brake_resistor_ohm: si("--brake-resistor", a.brake_resistor.as_ref(), Q::Resistance)?,
        brake_ramp_s: si("--brake-ramp", a.brake_ramp.as_ref(), Q::Time)?,
        bus_capacitance_f: si(
            "--bus-capacitance",
            a.bus_capacitance.as_ref(),
            Q::Capacitance,
        )?,
        bus_limit_v: si("--bus-limit", a.bus_limit.as_ref(), Q::Voltage)?,
        stop_time_s: si("--stop-time", a.stop_time.as_ref(), Q::Time)?,
        thermal_mass_j_per_k: heat_capacity(&a.thermal_mass)?.or_else(|| {
            let thermal = file.thermal.as_ref()?;
            thermal
                .parameters
                .get(&ThermalName::WindingHeatCapacity)?
                .value
        }),
        winding_limit_c: si("--winding-limit", a.winding_limit.as_ref(), Q::Temperature)?,
        ambient_c: si("--ambient", a.ambient.as_ref(), Q::Temperature)?
            .unwrap_or(conditions::USUAL_AMBIENT_C),
        winding_temperature_c: si(
            "--winding-temperature",
            a.winding_temperature.as_ref(),
            Q::Temperature,
        )?,
    })
}
