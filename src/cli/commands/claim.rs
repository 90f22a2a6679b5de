//! `rundown claim`: a vendor's sheet held against a motor file.

use crate::cli::terminal::{Status, print_json, print_text, report_warning};
use clap::{Args, ValueEnum};
use rundown::claim::{self, Rule};
use rundown::motor_file;
use std::path::PathBuf;

/// Check a datasheet against a motor file
///
/// Exit status: 0 when every entry that can be judged agrees, 1 when one disagrees, is undecided, or the datasheet contradicts
/// itself, 2 when the command could not run.
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown claim motor.json datasheet.toml")]
pub struct ClaimArguments {
    /// Motor file written by `rundown fit`
    motor: PathBuf,
    /// Vendor's sheet in TOML, see docs/claim_sheet.md
    sheet: PathBuf,
    /// How verdicts are reached
    #[arg(long, value_enum, default_value_t = RuleName::Guarded)]
    rule: RuleName,
    /// Largest probability of a wrong "agrees" or "disagrees"
    #[arg(long, default_value_t = 0.05, value_name = "PROBABILITY")]
    risk: f64,
    /// Seed of the Monte Carlo check
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Print the rule, what was assumed, and what would decide each undecided entry
    #[arg(long)]
    details: bool,
    /// Print JSON with SI units instead of the table
    #[arg(long)]
    json: bool,
}

/// Decision rules of JCGM 106:2012.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum RuleName {
    /// Guard bands on both sides of each limit
    Guarded,
    /// The prediction alone decides
    Simple,
}

/// Runs the command.
///
/// # Errors
/// A motor file or sheet that cannot be read, a risk out of range.
pub fn run(arguments: &ClaimArguments) -> anyhow::Result<Status> {
    let rule = match arguments.rule {
        RuleName::Simple => Rule::Simple,
        RuleName::Guarded if arguments.risk > 0.0 && arguments.risk < 0.5 => {
            Rule::Guarded(arguments.risk)
        }
        RuleName::Guarded => {
            anyhow::bail!(
                "--risk {}: expected a probability above 0 and below 0.5; 5 % is --risk 0.05",
                arguments.risk
            );
        }
    };
    let file = motor_file::read(&arguments.motor)?;
    let sheet = claim::sheet::read(&arguments.sheet)?;
    let judgement = claim::judge(&file, &sheet, rule, arguments.seed);
    if let Some(warning) = file.conflict_warning() {
        report_warning(warning);
    }
    if arguments.json {
        print_json(&judgement)?;
    } else {
        print_text(&claim::table::render(&judgement, arguments.details))?;
    }
    Ok(Status::of(
        judgement.stands() && file.conflict_warning().is_none(),
    ))
}
