//! `rundown sheet DIR`: writes a first bench sheet from a folder of captures.

use super::status::Status;
use super::terminal::{path_text, print_bytes, print_text};
use anyhow::{Context, bail};
use clap::Args;
use rundown::bench::{Draft, RecordGuess, SpeedSignal, draft_text, guess_sheet};
use rundown::events::{self, ColumnKind, OtherColumn};
use rundown::files;
use rundown::quantity::one_line;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Write a first bench sheet for a folder of captures
///
/// Every guess has a comment. Exit status: 0 when every capture is in the sheet, 1 when one is left out, 2 when there is no sheet.
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown sheet captures/")]
pub struct SheetArguments {
    /// Folder that holds the exported captures of one motor.
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
    /// Replace a sheet that is already there.
    #[arg(long)]
    pub force: bool,
    /// Show the sheet instead of writing it.
    #[arg(long, conflicts_with = "force")]
    pub show: bool,
}

/// Guesses and writes `DIR/bench.toml`.
///
/// # Errors
/// No readable capture in the folder, a sheet that is already there without `--force`, or a folder that cannot be
/// written.
pub fn run(arguments: &SheetArguments) -> anyhow::Result<Status> {
    let target = arguments.folder.join("bench.toml");
    let there = target.symlink_metadata().is_ok();
    if there && !arguments.force && !arguments.show {
        bail!(
            "{}: a bench sheet is already there and is not overwritten. Pass --force to replace it, or --show to see what would be written",
            target.display()
        );
    }
    let draft = guess_sheet(&arguments.folder, &|record| {
        let guess = events::guess_columns(record);
        RecordGuess {
            voltage: guess.voltage,
            current: guess.current,
            voltage_reversed: guess.voltage_reversed,
            current_reversed: guess.current_reversed,
            current_in_volts: guess.current_in_volts,
            shaft: shaft_columns(&guess.others),
            column_reasons: guess.reasons,
            role: guess.role.role,
            role_confidence: guess.role.confidence,
            role_reason: guess.role.reason,
            alternatives: guess.role.alternatives.iter().map(|(r, _)| *r).collect(),
        }
    })?;
    let text = draft_text(&draft);
    if arguments.show {
        print_bytes(text.as_bytes())?;
    } else {
        let put = if arguments.force {
            files::write_atomically
        } else {
            files::write_new
        };
        put(&target, text.as_bytes())
            .with_context(|| format!("{}: cannot be written", target.display()))?;
        print_text(&summary(&target, &draft))?;
    }
    Ok(Status::of(draft.left_out.is_empty()))
}

fn summary(target: &Path, draft: &Draft) -> String {
    let mut text = format!("written: {}\n", path_text(target));
    // Writing to a String cannot fail.
    for capture in &draft.captures {
        let role = capture.role.name();
        let _ = writeln!(
            text,
            "  {}: {role} - {}",
            one_line(&capture.file),
            capture.why
        );
    }
    for (file, why) in &draft.left_out {
        let _ = writeln!(text, "  {}: left out - {why}", one_line(file));
    }
    text.push_str("Every guess has a comment in the sheet: check them before the fit.\n");
    text
}

/// The columns that show how the shaft turns.
fn shaft_columns(others: &[OtherColumn]) -> Vec<(usize, SpeedSignal, String)> {
    let signal = |kind| {
        Some(match kind {
            ColumnKind::Speed => SpeedSignal::Speed,
            ColumnKind::Position => SpeedSignal::Position,
            ColumnKind::Pulses => SpeedSignal::Pulses,
            _ => return None,
        })
    };
    let shown = others
        .iter()
        .filter_map(|o| Some((o.index, signal(o.kind)?, o.why.clone())));
    shown.collect()
}
