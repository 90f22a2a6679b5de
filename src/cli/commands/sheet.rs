//! `rundown sheet DIR`: writes a first bench sheet from a folder of captures.

use crate::cli::terminal::{Status, path_text, print_bytes, print_text};
use anyhow::{Context, bail};
use clap::Args;
use rundown::bench::{Draft, draft_text, guess_sheet, questions};
use rundown::events;
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
    let draft = guess_sheet(&arguments.folder, &events::sheet_guess)?;
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
    let width = draft.captures.iter().map(|c| c.file.chars().count()).max();
    let width = width.unwrap_or(0).min(30);
    // Writing to a String cannot fail.
    for capture in &draft.captures {
        let file = one_line(&capture.file);
        let role = capture.role.name();
        let warnings = match capture.warnings.len() {
            0 => String::new(),
            1 => "; 1 warning".to_owned(),
            n => format!("; {n} warnings"),
        };
        let _ = writeln!(
            text,
            "  {file:width$}  {role}, {:.2}{warnings}",
            capture.confidence
        );
    }
    for table in &draft.tables {
        let what = match table.fill_in {
            None => "a table of readings".to_owned(),
            Some(what) => format!("readings; fill in {what}"),
        };
        let _ = writeln!(text, "  {:width$}  {what}", one_line(&table.file));
    }
    for (file, why) in &draft.left_out {
        let _ = writeln!(text, "  {}: left out - {why}", one_line(file));
    }
    text.push_str("Every guess has its reason in the sheet. What the files do not contain:\n");
    for question in questions(draft) {
        let _ = writeln!(text, "  - {question}");
    }
    text
}
