//! `rundown watch DIR`: a page that follows a folder while captures are recorded into it.

use crate::cli::terminal::{Status, interrupt, print_text};
use anyhow::{Context, ensure};
use clap::Args;
use rundown::watch::{Options, watch};
use std::path::PathBuf;
use std::time::Duration;

/// Follow a folder on a page while you record
///
/// Serves a page on this machine only. Every capture saved into the folder is judged, enters bench.toml there, and the parameters
/// are fitted anew. Ctrl-C ends it. Exit status: 0 when it was ended, 2 when it could not run.
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown watch captures/")]
pub struct WatchArguments {
    /// Folder into which the oscilloscope saves
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Port of the page; a free one without it
    #[arg(long, value_name = "PORT")]
    port: Option<u16>,
    /// Follow the folders below it, too
    #[arg(long)]
    subfolders: bool,
    /// Write nothing: neither sheet nor files
    #[arg(long)]
    read_only: bool,
    /// End when no page has been open for so many minutes
    #[arg(long, value_name = "MINUTES")]
    stop_after: Option<f64>,
}

/// Runs the command.
///
/// # Errors
/// A folder that is not there, a port that is taken.
pub fn run(arguments: &WatchArguments) -> anyhow::Result<Status> {
    let folder = &arguments.folder;
    ensure!(
        folder.is_dir(),
        "{}: is not a folder. Name the folder into which the oscilloscope saves, or make it first",
        folder.display()
    );
    let stop_after = match arguments.stop_after {
        Some(minutes) => {
            ensure!(
                minutes.is_finite() && minutes > 0.0 && minutes < 1e6,
                "--stop-after {minutes}: expected minutes above zero, e.g. --stop-after 10"
            );
            Some(Duration::from_secs_f64(60.0 * minutes))
        }
        None => None,
    };
    // From inside, the motor file names its inputs as `rundown fit bench.toml` would there.
    std::env::set_current_dir(folder)
        .with_context(|| format!("{}: cannot be entered", folder.display()))?;
    let interrupt = interrupt::on_signals()?;
    let options = Options {
        folder: PathBuf::from("."),
        port: arguments.port,
        subfolders: arguments.subfolders,
        read_only: arguments.read_only,
        stop_after,
    };
    let shown = folder.display().to_string();
    watch(&options, &interrupt, |address| {
        let text = format!("following {shown}; Ctrl-C ends it. Open in a browser:\n{address}\n");
        let _ = print_text(&text);
    })
    .with_context(|| format!("{shown}: cannot be followed"))?;
    Ok(Status::Ok)
}
