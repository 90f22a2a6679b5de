//! `rundown plot`: a motor file as pictures.

use crate::cli::terminal::{Progress, Status, path_text, print_text, report_warning};
use anyhow::bail;
use clap::Args;
use rundown::bench::LoadOptions;
use rundown::motor_file;
use rundown::plot::{self, Format};
use std::path::PathBuf;

/// Draw a motor file as pictures (SVG and PNG)
///
/// Parameters, uncertainty budget, torque-speed chart, and every capture with its model. The captures are found through the bench
/// sheet that the motor file names, checked by their SHA-256, and fitted again. What is not found is left out with a warning.
///
/// Exit status: 0 when everything was drawn, 1 when something was left out, 2 when the command could not run.
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown plot motor.json --to pictures")]
pub struct PlotArguments {
    /// Motor file written by `rundown fit`
    motor: PathBuf,
    /// Folder for the pictures; made where it is not there
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    /// Bench sheet, where it is neither at the place the motor file names nor beside it
    #[arg(long, value_name = "BENCH.toml")]
    bench: Option<PathBuf>,
    /// Files to write: svg, png, or both
    #[arg(long, value_enum, value_delimiter = ',', default_values_t = [FormatFlag::Svg, FormatFlag::Png])]
    format: Vec<FormatFlag>,
    /// Let the sheet name files outside its own folder
    #[arg(long)]
    allow_outside: bool,
    /// Overwrite files even if they are no pictures of this program
    #[arg(long)]
    force: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum FormatFlag {
    Svg,
    Png,
}

/// Runs the command.
///
/// # Errors
/// A motor file that cannot be read, a picture that cannot be drawn or written.
pub fn run(arguments: &PlotArguments) -> anyhow::Result<Status> {
    let mut formats: Vec<Format> = Vec::new();
    for flag in &arguments.format {
        let format = match flag {
            FormatFlag::Svg => Format::Svg,
            FormatFlag::Png => Format::Png,
        };
        if !formats.contains(&format) {
            formats.push(format);
        }
    }
    let file = motor_file::read(&arguments.motor)?;
    let names = plot::possible_names(&file);
    plot::check_folder(&arguments.to, &names, &formats, arguments.force)?;
    if let Some(bench) = arguments.bench.as_deref().filter(|path| !path.is_file()) {
        bail!("--bench {}: no such file", bench.display());
    }
    let progress = Progress::start("fit the captures again");
    let options = LoadOptions {
        allow_outside: arguments.allow_outside,
    };
    let (records, warnings) =
        plot::find(&file, &arguments.motor, arguments.bench.as_deref(), options);
    progress.stage("draw");
    let report = plot::data(&file, records.as_ref());
    let written = plot::write(
        &arguments.to,
        &plot::pictures(&report),
        &formats,
        arguments.force,
    )?;
    progress.end();
    for text in &warnings {
        report_warning(text);
    }
    let mut stems: Vec<String> = Vec::new();
    for stem in written.iter().filter_map(|path| path.file_stem()) {
        let stem = stem.to_string_lossy().into_owned();
        if !stems.contains(&stem) {
            stems.push(stem);
        }
    }
    print_text(&format!(
        "written into {}, {} files: {}\n",
        path_text(&arguments.to),
        written.len(),
        stems.join(", ")
    ))?;
    Ok(Status::of(warnings.is_empty()))
}
