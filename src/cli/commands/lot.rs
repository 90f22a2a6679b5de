//! `rundown lot`: many motors.

use crate::cli::flags::check_level;
use crate::cli::terminal::{
    Status, Timings, interrupt, path_text, print_bytes, print_text, report_lines,
};
use anyhow::Context;
use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rundown::fit::{FitOptions, Interrupt};
use rundown::lot::{self, Instruments, Manifest, Part, RunOptions, Step, Store};
use rundown::quantity::wrapped;
use std::io::IsTerminal;
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// Fit many motors and summarise spread, outliers and drift
///
/// Every bench.toml below a folder, or every row of a table.
/// Exit status: 0 when every motor has a result that is OK, 1 when one has not, 2 when the command could not run.
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown lot shelf/ -o results")]
pub struct LotArguments {
    /// Folder tree with a bench.toml for each motor, or a table (CSV) with a column `sheet`; see docs/lot.md
    manifest: PathBuf,
    /// Folder of the results; what is done there and unchanged is not done again
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// Folder to which the paths in a table are relative, instead of the table's own
    #[arg(long, value_name = "DIR")]
    base: Option<PathBuf>,
    /// Only the k-th of n parts, e.g. 2/8, for several machines
    #[arg(long, value_name = "K/N")]
    part: Option<Part>,
    /// Motors at a time; as many as the machine has threads without it
    #[arg(short = 'j', long, value_name = "COUNT")]
    jobs: Option<NonZeroUsize>,
    /// Each motor was measured with instruments of its own: their gain errors then differ from motor to motor
    #[arg(long)]
    own_instruments: bool,
    /// Do every motor again
    #[arg(long)]
    again: bool,
    /// Write into a folder that holds other files
    #[arg(long)]
    force: bool,
    /// Let sheets name files outside their own folder
    #[arg(long)]
    allow_outside: bool,
    /// Print the summary as JSON
    #[arg(long)]
    json: bool,
    /// Probability that an interval covers the true value
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95)]
    level: f64,
    /// Print timings
    #[arg(long)]
    timings: bool,
}

/// Runs the command.
///
/// # Errors
/// A manifest that cannot be read, results that cannot be written. What goes wrong with a motor is among the results.
pub fn run(arguments: &LotArguments) -> anyhow::Result<Status> {
    check_level(arguments.level)?;
    let mut timings = Timings::start(&[]);
    let manifest = Manifest::open(&arguments.manifest, arguments.base.as_deref())?;
    let interrupt = interrupt::on_signals()?;
    let options = arguments.run_options(interrupt.clone());
    let motors = manifest.entries(options.part).count() as u64;
    let store = Store::open(&arguments.output, arguments.force)?;
    timings.lap("read manifest");
    let kept = fit_motors(&manifest, &store, &options, motors)?;
    timings.lap("fit motors");
    let instruments = match arguments.own_instruments {
        true => Instruments::OwnForEachMotor,
        false => Instruments::Common,
    };
    let gathered = lot::gather(&manifest, options.part, &store, instruments)?;
    timings.lap("gather");
    let name = arguments.manifest.display().to_string();
    let summary = lot::summarise(&gathered, &name, arguments.level)?;
    let text = wrapped(&lot::text::render(&summary), 80);
    let json = serde_json::to_string_pretty(&summary).context("the summary as JSON")? + "\n";
    store.write("summary.txt", text.as_bytes())?;
    store.write("summary.html", lot::page::render(&summary)?.as_bytes())?;
    store.write("lot.json", json.as_bytes())?;
    timings.lap("summary");
    if arguments.json {
        print_bytes(json.as_bytes())?;
    } else {
        let summaries = ["summary.html", "summary.txt", "lot.json"].map(|name| store.path(name));
        let mut page = text + "\n";
        if kept > 0 {
            page.push_str(&format!("{kept} were done before and are unchanged\n"));
        }
        for path in gathered.written.iter().chain(&summaries) {
            page.push_str(&format!("written: {}\n", path_text(path)));
        }
        print_text(&page)?;
    }
    if arguments.timings {
        report_lines(timings.to_string().trim_end());
    }
    if gathered.missing > 0 {
        let why = if interrupt.requested() {
            "interrupted"
        } else {
            "results were removed from the folder while it was written"
        };
        report_lines(&format!(
            "{why}: {} of {motors} motors have no result; the same command continues with them",
            gathered.missing
        ));
        return Ok(Status::Questionable);
    }
    let counts = summary.counts;
    Ok(Status::of(counts.stand == counts.motors))
}

impl LotArguments {
    fn run_options(&self, interrupt: Interrupt) -> RunOptions {
        RunOptions {
            fit: FitOptions {
                level: self.level,
                monitor: interrupt.into(),
                ..FitOptions::default()
            },
            allow_outside: self.allow_outside,
            threads: self.jobs,
            part: self.part.unwrap_or_default(),
            again: self.again,
        }
    }
}

/// Fits what is not done yet. Gives how many motors were done before.
fn fit_motors(
    manifest: &Manifest,
    store: &Store,
    options: &RunOptions,
    motors: u64,
) -> anyhow::Result<u64> {
    let bar = bar(motors)?;
    let kept = lot::run(manifest, store, options, &|step| {
        if let Step::Done(lot::Outcome::Failed) = step {
            let failed = bar.message().parse::<u64>().unwrap_or(0) + 1;
            bar.set_message(failed.to_string());
        }
        bar.inc(1);
    });
    bar.finish_and_clear();
    Ok(kept?)
}

/// Progress with rate and time left, on a terminal only.
fn bar(motors: u64) -> anyhow::Result<ProgressBar> {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let style = ProgressStyle::with_template(
        "{wide_bar} {pos} of {len} motors, {msg} failed, {per_sec}, {eta} left",
    )?;
    let bar = ProgressBar::with_draw_target(Some(motors), target).with_style(style);
    bar.set_message("0");
    Ok(bar)
}
