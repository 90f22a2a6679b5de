//! `look`: what is found in each file, and why.

mod document;
mod findings;
mod ripple;
mod seen;
mod summary;
mod text;
mod view;

use crate::cli::flags::ImportFlags;
use crate::cli::terminal::{Status, plot, print_json, print_text, report_error};
use clap::Args;
use rundown::capture;
use serde_json::json;
use std::path::PathBuf;
use view::View;

/// Show what each captured file holds and what is wrong with it
///
/// Exit status: 0 when every file can be used, 1 when one is doubtful, 2 when one cannot be read.
#[derive(Args, Debug)]
#[command(after_help = "Example: rundown look captures/*.csv")]
pub struct Look {
    /// Exported captures (text, or text packed with gzip)
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Print the layout with its reasons, every event and phase, and all notes
    #[arg(long)]
    details: bool,
    /// Print JSON: an array with one object a file
    #[arg(long)]
    json: bool,
    /// Print no plots on a terminal
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
    let mut warnings = 0;
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
                    let text = match arguments.details {
                        true => view.details(),
                        false => view.summary(),
                    };
                    print_text(&format!("{gap}{text}"))?;
                    warnings += view.warning_count();
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
    } else if !arguments.details && status != Status::NoResult {
        let count = match warnings {
            0 => "no warnings".to_owned(),
            1 => "1 warning".to_owned(),
            n => format!("{n} warnings"),
        };
        print_text(&format!(
            "\n{count}; how a file is read: rundown look --details FILE\n"
        ))?;
    }
    Ok(status)
}
