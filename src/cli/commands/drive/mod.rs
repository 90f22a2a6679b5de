//! `rundown drive`: what a motor file means for the drive.

mod order;
mod pictures;

use crate::cli::flags::check_level;
use crate::cli::terminal::{Status, print_json, print_text, report_warning};
use anyhow::{Context, bail};
use clap::Args;
use order::Conditions;
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
    #[command(flatten)]
    conditions: Conditions,
    #[command(flatten)]
    output: OutputFlags,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Output")]
struct OutputFlags {
    /// Probability that an interval covers the true value
    #[arg(long, default_value_t = 0.95, value_name = "LEVEL")]
    level: f64,
    /// Most Monte Carlo draws of what is simulated
    #[arg(long, default_value_t = 1000, value_name = "N")]
    draws: usize,
    /// Seed of the draws
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Print these sections in full, with intervals and tables
    #[arg(long, value_name = "SECTION", value_parser = SECTIONS.map(|s| s.0), value_delimiter = ',')]
    section: Vec<String>,
    /// Print every section in full
    #[arg(long)]
    details: bool,
    /// Print JSON with SI units instead of the table
    #[arg(long)]
    json: bool,
    /// Draw the profile and the torque at each speed into this folder (SVG and PNG)
    #[arg(long, value_name = "DIR")]
    pictures: Option<PathBuf>,
}

/// Sections of the answer as typed, and their keys.
const SECTIONS: [(&str, &str); 12] = [
    ("time-constants", "time_constants"),
    ("running", "steady_states"),
    ("inrush", "inrush"),
    ("soft-start", "soft_start"),
    ("pwm", "pwm"),
    ("bridge", "half_bridge"),
    ("off", "turn_off"),
    ("braking", "braking"),
    ("heat", "heating"),
    ("rating", "rating"),
    ("profile", "profile"),
    ("all", ""),
];

/// Fewest and most draws: below, the bounds of an interval are chance; above, they only take time.
const DRAWS: std::ops::RangeInclusive<usize> = 200..=100_000;

/// Runs the command.
///
/// # Errors
/// A motor file that cannot be read, an option that cannot be read or is physically impossible.
pub fn run(arguments: &DriveArguments) -> anyhow::Result<Status> {
    let (motor, conditions) = (&arguments.motor, &arguments.conditions);
    let arguments = &arguments.output;
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
    let file = motor_file::read(motor)?;
    let order = conditions.order(&file)?;
    order.check()?;
    order.check_reach(&file)?;
    if let Some(folder) = &arguments.pictures {
        pictures::check(folder)?;
    }
    let profile = conditions.profile();
    let profile = profile.map(|path| Profile::read(path)).transpose()?;
    let sizing = drive::size(
        &file,
        order,
        profile,
        arguments.draws,
        arguments.seed,
        level,
    )
    .with_context(|| motor.display().to_string())?;
    if let Some(warning) = file.conflict_warning() {
        report_warning(warning);
    }
    if arguments.json {
        print_json(&sizing)?;
    } else {
        let asked = |name: &str| arguments.section.iter().any(|typed| typed == name);
        // Of none all are printed.
        let mut keys: Vec<&str> = Vec::new();
        if !asked("all") {
            let typed = SECTIONS.iter().filter(|section| asked(section.0));
            keys.extend(typed.map(|section| section.1));
        }
        let text = if arguments.details || !arguments.section.is_empty() {
            table::render(&sizing, &keys)
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
