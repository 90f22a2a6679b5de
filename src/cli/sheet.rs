//! `rundown sheet DIR`: writes a first bench sheet from a folder of captures.

use super::Status;
use crate::bench::{Draft, RecordGuess, draft_text, guess_sheet, role_name};
use crate::events;
use anyhow::{Context, bail};
use clap::Args;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Write a first bench sheet from a folder of captures, with a comment at every guess.
#[derive(Debug, Args)]
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
            column_reasons: guess.reasons,
            role: guess.role.role,
            role_confidence: guess.role.confidence,
            role_reason: guess.role.reason,
            alternatives: guess.role.alternatives.iter().map(|(r, _)| *r).collect(),
        }
    })
    .map_err(anyhow::Error::msg)?;
    let text = draft_text(&draft);
    if arguments.show {
        print!("{text}");
    } else {
        write_whole(&target, &text, arguments.force)
            .with_context(|| format!("{}: cannot be written", target.display()))?;
        tell(&target, &draft);
    }
    Ok(if draft.left_out.is_empty() {
        Status::Stands
    } else {
        Status::Doubtful
    })
}

/// Written beside the target and renamed, so that no half sheet can be left.
fn write_whole(target: &Path, text: &str, replace: bool) -> anyhow::Result<()> {
    let folder = target
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new()
        .prefix(".bench")
        .suffix(".toml")
        .tempfile_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // Temporary files are private; a sheet is as readable as the captures beside it.
        file.as_file()
            .set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    if replace {
        file.persist(target)?;
    } else {
        file.persist_noclobber(target)?;
    }
    Ok(())
}

fn tell(target: &Path, draft: &Draft) {
    println!("wrote {}", target.display());
    for capture in &draft.captures {
        println!(
            "  {}: {} - {}",
            capture.file,
            role_name(capture.role),
            capture.why
        );
    }
    for (file, why) in &draft.left_out {
        println!("  {file}: left out - {why}");
    }
    println!("Every guess carries a comment in the sheet: read it through before fitting.");
}
