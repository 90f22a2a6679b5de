//! Commands of the program: one file a command, no physics here.

mod commands;
mod flags;
mod terminal;

pub use terminal::Status;
pub use terminal::{report_error, report_lines};

use clap::{Parser, Subcommand};
use commands::{claim, drive, export, fit, look, lot, next, plot, sheet, verify, watch};

/// Identify a brushed permanent-magnet DC motor from oscilloscope captures and design its drive
///
/// Exit status of every command: 0 complete, 1 incomplete or in conflict, 2 no result.
#[derive(Debug, Parser)]
#[command(version, about, after_help = EXAMPLES, term_width = 80)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "\
First steps:
  rundown next --supply 24V --resistance 3.2ohm --diameter 36mm
  rundown watch captures/
  rundown look captures/*.csv
  rundown sheet captures/
  rundown fit captures/bench.toml -o motor.json --report page.html
  rundown drive motor.json --supply 24V";

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
    Watch(watch::WatchArguments),
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
        Command::Watch(arguments) => watch::run(&arguments),
    }
}
