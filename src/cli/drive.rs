//! `rundown drive`: what a motor file means for the drive.

mod order;
mod pictures;

use super::flags::check_level;
use super::status::Status;
use super::terminal::{print_json, print_text, report_warning};
use anyhow::{Context, bail};
use clap::Args;
use order::order;
use rundown::drive::{self, Profile, table};
use rundown::motor_file;
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
    /// Draw the profile and the torque at each speed into this folder (SVG and PNG)
    #[arg(help_heading = "Output", long, value_name = "DIR")]
    pictures: Option<PathBuf>,
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
    if let Some(folder) = &arguments.pictures {
        pictures::check(folder)?;
    }
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
    if let Some(folder) = &arguments.pictures {
        pictures::draw(&sizing, folder)?;
    }
    Ok(Status::of(
        sizing.stands() && file.conflict_warning().is_none(),
    ))
}
