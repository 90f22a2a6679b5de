//! `rundown drive`: what a motor file means for the drive.

use super::flags::{check_level, si};
use super::status::Status;
use super::terminal::{print_json, print_text, report_warning};
use anyhow::{Context, bail};
use clap::Args;
use rundown::drive::{self, Load, Order, Profile, order, table};
use rundown::motor_file::{self, MotorFile, ThermalName};
use rundown::quantity::units::Quantity;
use std::path::PathBuf;

/// Size supply, switches, PWM, brake and clamp for a motor
///
/// Exit status: 0 when every result is there, 1 when one is not (a parameter is undetermined, the motor would not turn) or the motor
/// file is in conflict, 2 when the command could not run.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: rundown drive motor.json --supply 24V --current-limit 3A --section soft-start"
)]
pub struct DriveArguments {
    /// Motor file written by `rundown fit`
    motor: PathBuf,
    /// Supply voltage, e.g. 24V; default: that in the motor file
    #[arg(long, value_name = "VOLTAGE", allow_hyphen_values = true)]
    supply: Option<String>,
    /// Resistance of the source, e.g. 0.2Ohm
    #[arg(
        help_heading = "Supply",
        long,
        value_name = "RESISTANCE",
        allow_hyphen_values = true
    )]
    source_resistance: Option<String>,
    /// Resistance of both leads together
    #[arg(
        help_heading = "Supply",
        long,
        value_name = "RESISTANCE",
        allow_hyphen_values = true
    )]
    lead_resistance: Option<String>,
    /// Load torque at the shaft, e.g. "20 mN·m"; opposes motion
    #[arg(
        help_heading = "Load",
        long,
        value_name = "TORQUE",
        allow_hyphen_values = true,
        conflicts_with = "load_current"
    )]
    load: Option<String>,
    /// The same as the current that it costs, for a motor file without a speed reference
    #[arg(
        help_heading = "Load",
        long,
        value_name = "CURRENT",
        allow_hyphen_values = true
    )]
    load_current: Option<String>,
    /// Inertia that turns with the shaft, beside the rotor's
    #[arg(
        help_heading = "Load",
        long,
        value_name = "INERTIA",
        allow_hyphen_values = true
    )]
    load_inertia: Option<String>,
    /// Move or duty: table of time with speed or position, torque or current (CSV)
    #[arg(help_heading = "Load", long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Turns of the motor a turn of the load, e.g. 20; load and inertia are at the load's shaft then
    #[arg(
        help_heading = "Load",
        long,
        value_name = "RATIO",
        allow_hyphen_values = true
    )]
    gear: Option<String>,
    /// Share of the power that the gear passes on, e.g. "80 %"
    #[arg(
        help_heading = "Load",
        long,
        value_name = "SHARE",
        allow_hyphen_values = true
    )]
    gear_efficiency: Option<String>,
    /// Largest current of supply and switches; gives a soft-start ramp
    #[arg(
        help_heading = "Supply",
        long,
        value_name = "CURRENT",
        allow_hyphen_values = true
    )]
    current_limit: Option<String>,
    /// PWM frequency [default: 20kHz]
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "FREQUENCY",
        allow_hyphen_values = true
    )]
    frequency: Option<String>,
    /// PWM duty, 0.5 or "50 %" [default: 0.5, the greatest ripple]
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "SHARE",
        allow_hyphen_values = true
    )]
    duty: Option<String>,
    /// Ripple wanted, peak to peak as a share of the load's current [default: 10 %]
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "SHARE",
        allow_hyphen_values = true
    )]
    ripple_share: Option<String>,
    /// On-resistance of one switch
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "RESISTANCE",
        allow_hyphen_values = true
    )]
    switch_resistance: Option<String>,
    /// Voltage across a conducting diode [default: 1V]
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "VOLTAGE",
        allow_hyphen_values = true
    )]
    diode_drop: Option<String>,
    /// Slope resistance of the diode
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "RESISTANCE",
        allow_hyphen_values = true
    )]
    diode_resistance: Option<String>,
    /// Dead time of the half bridge, e.g. 500ns
    #[arg(
        help_heading = "PWM and bridge",
        long,
        value_name = "TIME",
        allow_hyphen_values = true
    )]
    dead_time: Option<String>,
    /// Zener clamp: voltage across the motor while it clamps
    #[arg(
        help_heading = "Switching off and braking",
        long,
        value_name = "VOLTAGE",
        allow_hyphen_values = true
    )]
    clamp_voltage: Option<String>,
    /// Stray capacitance across the opening switch when nothing clamps, e.g. 200pF
    #[arg(
        help_heading = "Switching off and braking",
        long,
        value_name = "CAPACITANCE",
        allow_hyphen_values = true
    )]
    stray_capacitance: Option<String>,
    /// Braking resistor
    #[arg(
        help_heading = "Switching off and braking",
        long,
        value_name = "RESISTANCE",
        allow_hyphen_values = true
    )]
    brake_resistor: Option<String>,
    /// Time in which the duty is ramped down to brake, e.g. 100ms
    #[arg(
        help_heading = "Switching off and braking",
        long,
        value_name = "TIME",
        allow_hyphen_values = true
    )]
    brake_ramp: Option<String>,
    /// Capacitance across the supply that takes up braking energy
    #[arg(
        help_heading = "Supply",
        long,
        value_name = "CAPACITANCE",
        allow_hyphen_values = true
    )]
    bus_capacitance: Option<String>,
    /// Voltage that the supply must not pass while the motor brakes, e.g. 30V
    #[arg(
        help_heading = "Supply",
        long,
        value_name = "VOLTAGE",
        allow_hyphen_values = true
    )]
    bus_limit: Option<String>,
    /// Time in which a braking resistor has to stop the motor, e.g. 100ms
    #[arg(
        help_heading = "Switching off and braking",
        long,
        value_name = "TIME",
        allow_hyphen_values = true
    )]
    stop_time: Option<String>,
    /// Thermal mass of the winding, e.g. "15 J/K"
    #[arg(
        help_heading = "Heat",
        long,
        value_name = "HEAT CAPACITY",
        allow_hyphen_values = true
    )]
    thermal_mass: Option<String>,
    /// Highest winding temperature, e.g. 120°C
    #[arg(
        help_heading = "Heat",
        long,
        value_name = "TEMPERATURE",
        allow_hyphen_values = true
    )]
    winding_limit: Option<String>,
    /// Temperature of the room; default: 40°C
    #[arg(
        help_heading = "Heat",
        long,
        value_name = "TEMPERATURE",
        allow_hyphen_values = true
    )]
    ambient: Option<String>,
    /// Winding temperature; default: that of the captures
    #[arg(
        help_heading = "Heat",
        long,
        value_name = "TEMPERATURE",
        allow_hyphen_values = true
    )]
    winding_temperature: Option<String>,
    /// Probability that an interval covers the true value
    #[arg(
        help_heading = "Output",
        long,
        default_value_t = 0.95,
        value_name = "LEVEL"
    )]
    level: f64,
    /// Monte Carlo draws of what is simulated
    #[arg(
        help_heading = "Output",
        long,
        default_value_t = 1000,
        value_name = "N"
    )]
    draws: usize,
    /// Seed of the draws
    #[arg(help_heading = "Output", long, default_value_t = 1)]
    seed: u64,
    /// Print these sections in full, with intervals and tables
    #[arg(
        help_heading = "Output",
        long,
        value_name = "SECTION",
        value_enum,
        value_delimiter = ','
    )]
    section: Vec<SectionFlag>,
    /// Print every section in full
    #[arg(help_heading = "Output", long)]
    details: bool,
    /// Print JSON with SI units instead of the table
    #[arg(help_heading = "Output", long)]
    json: bool,
}

/// A section of the answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum SectionFlag {
    TimeConstants,
    Running,
    Inrush,
    SoftStart,
    Pwm,
    Bridge,
    Off,
    Braking,
    Heat,
    Rating,
    Profile,
    All,
}

impl SectionFlag {
    /// Key of the section; `None` for all of them.
    fn key(self) -> Option<&'static str> {
        Some(match self {
            SectionFlag::TimeConstants => "time_constants",
            SectionFlag::Running => "steady_states",
            SectionFlag::Inrush => "inrush",
            SectionFlag::SoftStart => "soft_start",
            SectionFlag::Pwm => "pwm",
            SectionFlag::Bridge => "half_bridge",
            SectionFlag::Off => "turn_off",
            SectionFlag::Braking => "braking",
            SectionFlag::Heat => "heating",
            SectionFlag::Rating => "rating",
            SectionFlag::Profile => "profile",
            SectionFlag::All => return None,
        })
    }
}

/// Fewest and most draws: below, the bounds of an interval are chance; above, they only take time.
const DRAWS: std::ops::RangeInclusive<usize> = 200..=100_000;

/// Runs the command.
///
/// # Errors
/// A motor file that cannot be read, an option that cannot be read or is physically impossible.
pub fn run(arguments: &DriveArguments) -> anyhow::Result<Status> {
    if !DRAWS.contains(&arguments.draws) {
        bail!(
            "--draws {}: expected {} to {}",
            arguments.draws,
            DRAWS.start(),
            DRAWS.end()
        );
    }
    let level = arguments.level;
    check_level(level)?;
    if (1.0 - level) * (arguments.draws as f64) < 2.0 {
        bail!(
            "--level {level}: expected a probability that {} draws can resolve, at most {}; draw more with --draws",
            arguments.draws,
            1.0 - 2.0 / arguments.draws as f64
        );
    }
    let file = motor_file::read(&arguments.motor)?;
    let order = order(arguments, &file)?;
    order.check()?;
    order.check_reach(&file)?;
    let profile = arguments
        .profile
        .as_deref()
        .map(Profile::read)
        .transpose()?;
    let sizing = drive::size(
        &file,
        order,
        profile,
        arguments.draws,
        arguments.seed,
        level,
    )
    .with_context(|| arguments.motor.display().to_string())?;
    if let Some(warning) = file.conflict_warning() {
        report_warning(warning);
    }
    if arguments.json {
        print_json(&sizing)?;
    } else {
        // One that stands for all of them makes the list empty.
        let keys: Option<Vec<&str>> = arguments.section.iter().map(|s| s.key()).collect();
        let sections = keys.unwrap_or_default();
        let text = if arguments.details || !arguments.section.is_empty() {
            table::render(&sizing, &sections)
        } else {
            drive::summary(&sizing)
        };
        print_text(&text)?;
    }
    Ok(Status::of(
        sizing.stands() && file.conflict_warning().is_none(),
    ))
}

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

fn order(arguments: &DriveArguments, file: &MotorFile) -> anyhow::Result<Order> {
    use Quantity as Q;
    let a = arguments;
    let supply_v = si("--supply", a.supply.as_ref(), Q::Voltage)?
        .or_else(|| file.motor.as_ref()?.supply_v)
        .context("the motor file states no supply voltage; give it, e.g. --supply 24V")?;
    let load = match (
        si("--load", a.load.as_ref(), Q::Torque)?,
        si("--load-current", a.load_current.as_ref(), Q::Current)?,
    ) {
        (Some(torque), _) => Load::Torque(torque),
        (None, Some(current)) => Load::Current(current),
        (None, None) => Load::None,
    };
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
        load,
        load_inertia_kg_m2: si("--load-inertia", a.load_inertia.as_ref(), Q::Inertia)?,
        gear: si("--gear", a.gear.as_ref(), Q::Ratio)?,
        gear_efficiency: si("--gear-efficiency", a.gear_efficiency.as_ref(), Q::Ratio)?,
        current_limit_a: si("--current-limit", a.current_limit.as_ref(), Q::Current)?,
        frequency_hz: si("--frequency", a.frequency.as_ref(), Q::Frequency)?
            .unwrap_or(order::USUAL_FREQUENCY_HZ),
        duty: si("--duty", a.duty.as_ref(), Q::Ratio)?.unwrap_or(order::USUAL_DUTY),
        ripple_share: si("--ripple-share", a.ripple_share.as_ref(), Q::Ratio)?
            .unwrap_or(order::USUAL_RIPPLE_SHARE),
        switch_resistance_ohm: si(
            "--switch-resistance",
            a.switch_resistance.as_ref(),
            Q::Resistance,
        )?,
        diode_drop_v: si("--diode-drop", a.diode_drop.as_ref(), Q::Voltage)?
            .unwrap_or(order::USUAL_DIODE_DROP_V),
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
            .unwrap_or(order::USUAL_AMBIENT_C),
        winding_temperature_c: si(
            "--winding-temperature",
            a.winding_temperature.as_ref(),
            Q::Temperature,
        )?,
    })
}
