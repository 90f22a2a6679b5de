//! The conditions of a sizing as options, and in SI units.

use crate::cli::flags::{si, signed};
use anyhow::Context;
use clap::{Args, ValueEnum};
use rundown::drive::{Load, Order};
use rundown::motor_file::{MotorFile, ThermalName};
use rundown::quantity::units::Quantity;
use std::path::PathBuf;

/// What the drive is to be sized for. A value below zero gets the sizing's own refusal, so each may begin with a minus.
#[derive(Debug, Args)]
#[command(mut_args = signed)]
pub struct Conditions {
    /// Supply voltage, e.g. 24V; default: that in the motor file
    #[arg(long, value_name = "VOLTAGE", value_parser = si(Quantity::Voltage))]
    supply: Option<f64>,
    #[command(flatten)]
    source: SourceFlags,
    #[command(flatten)]
    load: LoadFlags,
    #[command(flatten)]
    bridge: BridgeFlags,
    #[command(flatten)]
    off: OffFlags,
    #[command(flatten)]
    heat: HeatFlags,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Supply")]
struct SourceFlags {
    /// Resistance of the source, e.g. 0.2Ohm
    #[arg(long, value_name = "RESISTANCE", value_parser = si(Quantity::Resistance))]
    source_resistance: Option<f64>,
    /// Resistance of both leads together
    #[arg(long, value_name = "RESISTANCE", value_parser = si(Quantity::Resistance))]
    lead_resistance: Option<f64>,
    /// Largest current of supply and switches; gives a soft-start ramp
    #[arg(long, value_name = "CURRENT", value_parser = si(Quantity::Current))]
    current_limit: Option<f64>,
    /// Capacitance across the supply that takes up braking energy
    #[arg(long, value_name = "CAPACITANCE", value_parser = si(Quantity::Capacitance))]
    bus_capacitance: Option<f64>,
    /// Voltage that the supply must not pass while the motor brakes, e.g. 30V
    #[arg(long, value_name = "VOLTAGE", value_parser = si(Quantity::Voltage))]
    bus_limit: Option<f64>,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Load")]
struct LoadFlags {
    /// Load torque at the shaft, e.g. "20 mN·m"; opposes motion
    #[arg(long, value_name = "TORQUE", value_parser = si(Quantity::Torque), conflicts_with = "load_current")]
    load: Option<f64>,
    /// The same as the current that it costs, for a motor file without a speed reference
    #[arg(long, value_name = "CURRENT", value_parser = si(Quantity::Current))]
    load_current: Option<f64>,
    /// Inertia that turns with the shaft, beside the rotor's
    #[arg(long, value_name = "INERTIA", value_parser = si(Quantity::Inertia))]
    load_inertia: Option<f64>,
    /// Move or duty: table of time with speed or position, torque or current (CSV)
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Turns of the motor a turn of the load, e.g. 20; load and inertia are at the load's shaft then
    #[arg(long, value_name = "RATIO", value_parser = si(Quantity::Ratio))]
    gear: Option<f64>,
    /// Share of the power that the gear passes on, e.g. "80 %"
    #[arg(long, value_name = "SHARE", value_parser = si(Quantity::Ratio))]
    gear_efficiency: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, ValueEnum)]
enum Bridge {
    Full,
    Half,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "PWM and bridge")]
struct BridgeFlags {
    /// PWM frequency [default: 20kHz]
    #[arg(long, value_name = "FREQUENCY", value_parser = si(Quantity::Frequency))]
    frequency: Option<f64>,
    /// PWM duty, 0.5 or "50 %" [default: 0.5, the greatest ripple]
    #[arg(long, value_name = "SHARE", value_parser = si(Quantity::Ratio))]
    duty: Option<f64>,
    /// Ripple wanted, peak to peak as a share of the load's current [default: 10 %]
    #[arg(long, value_name = "SHARE", value_parser = si(Quantity::Ratio))]
    ripple_share: Option<f64>,
    /// Bridge that drives a --profile: a half bridge cannot reverse the voltage
    #[arg(long, value_enum, default_value = "full")]
    bridge: Bridge,
    /// On-resistance of one switch
    #[arg(long, value_name = "RESISTANCE", value_parser = si(Quantity::Resistance))]
    switch_resistance: Option<f64>,
    /// Voltage across a conducting diode [default: 1V]
    #[arg(long, value_name = "VOLTAGE", value_parser = si(Quantity::Voltage))]
    diode_drop: Option<f64>,
    /// Slope resistance of the diode
    #[arg(long, value_name = "RESISTANCE", value_parser = si(Quantity::Resistance))]
    diode_resistance: Option<f64>,
    /// Capacitor across the motor, e.g. 47nF; the PWM charges it at every edge
    #[arg(long, value_name = "CAPACITANCE", value_parser = si(Quantity::Capacitance))]
    motor_capacitor: Option<f64>,
    /// Dead time of the half bridge, e.g. 500ns
    #[arg(long, value_name = "TIME", value_parser = si(Quantity::Time))]
    dead_time: Option<f64>,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Switching off and braking")]
struct OffFlags {
    /// Zener clamp: voltage across the motor while it clamps
    #[arg(long, value_name = "VOLTAGE", value_parser = si(Quantity::Voltage))]
    clamp_voltage: Option<f64>,
    /// Stray capacitance across the opening switch when nothing clamps, e.g. 200pF
    #[arg(long, value_name = "CAPACITANCE", value_parser = si(Quantity::Capacitance))]
    stray_capacitance: Option<f64>,
    /// Braking resistor
    #[arg(long, value_name = "RESISTANCE", value_parser = si(Quantity::Resistance))]
    brake_resistor: Option<f64>,
    /// Time in which the duty is ramped down to brake, e.g. 100ms
    #[arg(long, value_name = "TIME", value_parser = si(Quantity::Time))]
    brake_ramp: Option<f64>,
    /// Time in which a braking resistor has to stop the motor, e.g. 100ms
    #[arg(long, value_name = "TIME", value_parser = si(Quantity::Time))]
    stop_time: Option<f64>,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Heat")]
struct HeatFlags {
    /// Thermal mass of the winding, e.g. "15 J/K"
    #[arg(long, value_name = "HEAT CAPACITY", value_parser = heat_capacity)]
    thermal_mass: Option<f64>,
    /// Highest winding temperature, e.g. 120°C, or the thermal class of its insulation, e.g. "class 130" or "class B"
    #[arg(long, value_name = "TEMPERATURE", value_parser = winding_limit)]
    winding_limit: Option<f64>,
    /// Temperature of the room; default: 40°C
    #[arg(long, value_name = "TEMPERATURE", value_parser = si(Quantity::Temperature))]
    ambient: Option<f64>,
    /// Winding temperature; default: that of the captures
    #[arg(long, value_name = "TEMPERATURE", value_parser = si(Quantity::Temperature))]
    winding_temperature: Option<f64>,
}

/// A temperature, or that of a thermal class by number or letter (IEC 60085: 105, 120, 130, 155, 180, 200, 220, 250 °C).
fn winding_limit(text: &str) -> Result<f64, String> {
    const CLASSES: [(&str, f64); 8] = [
        ("A", 105.0),
        ("E", 120.0),
        ("B", 130.0),
        ("F", 155.0),
        ("H", 180.0),
        ("N", 200.0),
        ("R", 220.0),
        ("250", 250.0),
    ];
    let lower = text.trim().to_lowercase();
    let Some(class) = lower.strip_prefix("class") else {
        return si(Quantity::Temperature)(text);
    };
    let class = class.trim();
    let by_name = |(name, celsius): &(&str, f64)| {
        (name.eq_ignore_ascii_case(class) || class == celsius.to_string()).then_some(*celsius)
    };
    CLASSES.iter().find_map(by_name).ok_or_else(|| {
        format!(
            "\"{text}\" is no thermal class; expected class 105 (A), 120 (E), 130 (B), 155 (F), 180 (H), 200 (N), 220 (R) or 250, or a temperature"
        )
    })
}

/// Joule per kelvin: an energy with `/K` or `/°C` behind it.
fn heat_capacity(text: &str) -> Result<f64, String> {
    let mut ends = ["/K", "/°C"].into_iter();
    let energy = ends.find_map(|end| text.trim().strip_suffix(end));
    si(Quantity::Energy)(energy.ok_or("expected a heat capacity, e.g. --thermal-mass \"15 J/K\"")?)
}

impl Conditions {
    /// The table of a move or duty.
    pub fn profile(&self) -> Option<&PathBuf> {
        self.load.profile.as_ref()
    }

    /// The conditions in SI units; what is not given is taken from the motor file, or usual.
    pub fn order(&self, file: &MotorFile) -> anyhow::Result<Order> {
        let Conditions {
            supply,
            source,
            load,
            bridge,
            off,
            heat,
        } = self;
        let supply_v = supply
            .or_else(|| file.motor.as_ref()?.supply_v)
            .context("the motor file states no supply voltage; give it, e.g. --supply 24V")?;
        let usual = Order::usual(supply_v);
        let measured = || {
            let thermal = file.thermal.as_ref()?;
            let capacity = thermal.parameters.get(&ThermalName::WindingHeatCapacity);
            capacity?.value
        };
        Ok(Order {
            supply_v,
            source_resistance_ohm: source.source_resistance.unwrap_or(0.0),
            lead_resistance_ohm: source.lead_resistance.unwrap_or(0.0),
            load: match (load.load, load.load_current) {
                (Some(torque), _) => Load::Torque(torque),
                (None, Some(current)) => Load::Current(current),
                (None, None) => Load::None,
            },
            load_inertia_kg_m2: load.load_inertia,
            gear: load.gear,
            gear_efficiency: load.gear_efficiency,
            current_limit_a: source.current_limit,
            frequency_hz: bridge.frequency.unwrap_or(usual.frequency_hz),
            duty: bridge.duty.unwrap_or(usual.duty),
            ripple_share: bridge.ripple_share.unwrap_or(usual.ripple_share),
            half_bridge: bridge.bridge == Bridge::Half,
            switch_resistance_ohm: bridge.switch_resistance,
            diode_drop_v: bridge.diode_drop.unwrap_or(usual.diode_drop_v),
            diode_resistance_ohm: bridge.diode_resistance.unwrap_or(0.0),
            motor_capacitance_f: bridge.motor_capacitor,
            dead_time_s: bridge.dead_time,
            clamp_voltage_v: off.clamp_voltage,
            stray_capacitance_f: off.stray_capacitance,
            brake_resistor_ohm: off.brake_resistor,
            brake_ramp_s: off.brake_ramp,
            bus_capacitance_f: source.bus_capacitance,
            bus_limit_v: source.bus_limit,
            stop_time_s: off.stop_time,
            thermal_mass_j_per_k: heat.thermal_mass.or_else(measured),
            winding_limit_c: heat.winding_limit,
            ambient_c: heat.ambient.unwrap_or(usual.ambient_c),
            winding_temperature_c: heat.winding_temperature,
        })
    }
}
