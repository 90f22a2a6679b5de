//! `rundown lot`: many motors.

use super::flags::check_level;
use super::status::Status;
use super::terminal::{Timings, print_bytes, print_text, report_lines};
use anyhow::Context;
use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rundown::fit::FitOptions;
use rundown::lot::{self, Manifest, RunOptions, Step, Store};
use std::io::IsTerminal;
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// Fit many motors: every bench.toml below a folder, or every row of a table; then spread, outliers and drift over them.
#[derive(Debug, Args)]
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
    #[arg(long, value_name = "K/N", value_parser = part)]
    part: Option<(u64, u64)>,
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
    /// Tell how long each stage took
    #[arg(long)]
    timings: bool,
}

fn part(text: &str) -> Result<(u64, u64), String> {
    let (k, n) = text
        .split_once('/')
        .ok_or("expected K/N, e.g. 2/8 for the second of eight parts")?;
    let number = |t: &str| t.trim().parse::<u64>().map_err(|e| format!("{t:?}: {e}"));
    let (k, n) = (number(k)?, number(n)?);
    if k == 0 || k > n {
        return Err(format!("there is no part {k} of {n}: expected 1 to {n}"));
    }
    Ok((k, n))
}

/// Runs the command.
///
/// # Errors
/// A manifest that cannot be read, results that cannot be written. A motor that fails is listed in the results.
pub fn run(arguments: &LotArguments) -> anyhow::Result<Status> {
    check_level(arguments.level)?;
    let mut timings = Timings::start(&[]);
    let manifest = Manifest::open(&arguments.manifest, arguments.base.as_deref())?;
    let options = RunOptions {
        fit: FitOptions {
            level: arguments.level,
            ..FitOptions::default()
        },
        allow_outside: arguments.allow_outside,
        threads: arguments.jobs,
        part: arguments.part,
        again: arguments.again,
    };
    // Every row is looked at before the long work.
    let mut motors = 0;
    let mut all = 0u64;
    for entry in manifest.entries()? {
        motors += u64::from(options.takes(entry?.row));
        all += 1;
    }
    if all == 0 {
        return Err(lot::LotError::NoMotors {
            path: arguments.manifest.clone(),
        }
        .into());
    }
    let store = Store::open(&arguments.output, arguments.force)?;
    timings.lap("read manifest");
    let bar = bar(motors)?;
    let run = lot::run(&manifest, &store, &options, &|step| {
        if let Step::Done(lot::Outcome::Failed) = step {
            let failed = bar.message().parse::<u64>().unwrap_or(0) + 1;
            bar.set_message(failed.to_string());
        }
        bar.inc(1);
    });
    bar.finish_and_clear();
    let counts = run?;
    timings.lap("fit motors");
    let gathered = lot::gather(&manifest, &store, &options, !arguments.own_instruments)?;
    timings.lap("gather");
    let name = arguments.manifest.display().to_string();
    let summary = lot::summarise(&gathered, &name, counts, arguments.level);
    let text = lot::text::render(&summary);
    let json = serde_json::to_string_pretty(&summary).context("the summary as JSON")? + "\n";
    store.write("summary.txt", text.as_bytes())?;
    store.write("summary.html", lot::page::render(&summary)?.as_bytes())?;
    store.write("lot.json", json.as_bytes())?;
    timings.lap("summary");
    if arguments.json {
        print_bytes(json.as_bytes())?;
    } else {
        let mut page = text + "\n";
        for path in &gathered.written {
            page.push_str(&format!("written: {}\n", path.display()));
        }
        for name in ["summary.html", "summary.txt", "lot.json"] {
            page.push_str(&format!("written: {}\n", store.path(name).display()));
        }
        print_text(&page)?;
    }
    if arguments.timings {
        report_lines(timings.to_string().trim_end());
    }
    Ok(Status::of(counts.stand == counts.motors))
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
