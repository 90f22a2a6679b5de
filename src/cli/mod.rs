//! Commands of the program: one file a command, no physics here.

mod claim;
mod drive;
mod export;
mod fit;
mod import_flags;
mod look;
mod look_events;
mod lot;
mod next;
mod number;
mod plot;
mod progress;
mod quantity;
mod sheet;
mod standard_output;
mod terminal_plot;
mod timings;
mod verify;

pub use import_flags::ImportFlags;
pub use standard_output::complain;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// What the process tells its caller.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// The result stands.
    Stands,
    /// The command ended, but its result should not be trusted, or a claim fails.
    Doubtful,
    /// The command could not run.
    CouldNotRun,
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> ExitCode {
        ExitCode::from(match status {
            Status::Stands => 0,
            Status::Doubtful => 1,
            Status::CouldNotRun => 2,
        })
    }
}

/// Identifies a brushed permanent-magnet DC motor from oscilloscope captures.
#[derive(Debug, Parser)]
#[command(version, about)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Look(look::Look),
    Sheet(sheet::SheetArguments),
    Fit(Box<fit::FitArguments>),
    Next(Box<next::NextArguments>),
    Lot(Box<lot::LotArguments>),
    Claim(claim::ClaimArguments),
    Drive(Box<drive::DriveArguments>),
    Export(export::ExportArguments),
    Verify(verify::VerifyArguments),
    Plot(plot::PlotArguments),
}

/// Runs one command.
///
/// # Errors
/// Any reason for which the command could not run; the chain is printed by `main`.
pub fn run(arguments: Arguments) -> anyhow::Result<Status> {
    match arguments.command {
        Command::Look(arguments) => look::run(&arguments),
        Command::Sheet(arguments) => sheet::run(&arguments),
        Command::Fit(arguments) => fit::run(&arguments),
        Command::Next(arguments) => next::run(&arguments),
        Command::Lot(arguments) => lot::run(&arguments),
        Command::Claim(arguments) => claim::run(&arguments),
        Command::Drive(arguments) => drive::run(&arguments),
        Command::Export(arguments) => export::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Plot(arguments) => plot::run(&arguments),
    }
}

/// Refuses what is no level of an interval.
fn check_level(level: f64) -> anyhow::Result<()> {
    anyhow::ensure!(
        level > 0.5 && level < 1.0,
        "--level {level} is no level of an interval: expected a probability above 0.5 and below 1, e.g. 0.95"
    );
    Ok(())
}
