//! `look`: what is found in each file, and why.

mod document;
mod findings;
mod ripple;
mod seen;
mod text;
mod view;

use super::flags::ImportFlags;
use super::status::Status;
use super::terminal::{plot, print_json, print_text, report_error};
use clap::Args;
use rundown::capture;
use serde_json::json;
use std::path::PathBuf;
use view::View;

/// Shows what is found in captured files: layout and why, channels, rate, noise, clipping, columns and role, events, ripple, doubts.
#[derive(Args, Debug)]
pub struct Look {
    /// Exported captures (text, or text packed with gzip).
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Print JSON: an array with one object a file.
    #[arg(long)]
    json: bool,
    /// No small plots where the output is a terminal.
    #[arg(long)]
    no_plot: bool,
    #[command(flatten)]
    import: ImportFlags,
}

/// Runs `look`.
///
/// # Errors
/// Only when the output cannot be written; a file that cannot be read is shown and sets the status.
pub fn run(arguments: &Look) -> anyhow::Result<Status> {
    let options = arguments.import.options();
    let mut status = Status::Ok;
    let mut documents = Vec::new();
    // Files that hold one channel each of one event are shown as one record.
    let groups = capture::group_by_channel(&arguments.files).into_iter();
    let records = groups.flat_map(|group| capture::read_group(&group, &options));
    for (at, (files, record)) in records.enumerate() {
        match record {
            Ok(record) => {
                let view = View::of(&record);
                if view.is_questionable() && status == Status::Ok {
                    status = Status::Questionable;
                }
                if arguments.json {
                    documents.push(view.document());
                } else {
                    let gap = if at > 0 { "\n" } else { "" };
                    print_text(&format!("{gap}{}", view.text()))?;
                    if plot::wanted(arguments.no_plot)
                        && let Ok(findings) = &view.findings
                    {
                        let columns = plot::columns();
                        print_text(&plot::of_waveform(&findings.waveform(), columns))?;
                    }
                }
            }
            Err(error) => {
                status = Status::NoResult;
                if arguments.json {
                    documents.push(
                        json!({"path": files[0].display().to_string(), "error": error.to_string()}),
                    );
                } else {
                    report_error(error);
                }
            }
        }
    }
    if arguments.json {
        print_json(&documents)?;
    }
    Ok(status)
}
