//! Parses the arguments, runs one command, prints the error chain and sets the exit status.

mod cli;

use clap::Parser;
use std::num::NonZeroUsize;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = cli::Arguments::parse();
    limit_threads();
    match cli::run(arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            cli::report_error(error_chain(&error));
            cli::Status::NoResult.into()
        }
    }
}

/// Threads for each core of the machine beyond which more are no help.
const MOST_THREADS_PER_CORE: usize = 4;

/// Keeps `RAYON_NUM_THREADS` within what the machine can use: each thread takes memory of its own.
fn limit_threads() {
    let asked = std::env::var("RAYON_NUM_THREADS").ok();
    let asked = asked.and_then(|text| text.parse::<usize>().ok());
    let cores = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    let most = MOST_THREADS_PER_CORE * cores;
    if asked.is_some_and(|asked| asked > most) {
        // It fails only where a pool is there already.
        let pool = rayon::ThreadPoolBuilder::new().num_threads(most);
        let _ = pool.build_global();
    }
}

/// The chain of causes, each printed once: some messages hold their cause already.
fn error_chain(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for cause in error.chain() {
        let message = cause.to_string();
        if text.contains(&message) {
            continue;
        }
        if !text.is_empty() {
            text.push_str(": ");
        }
        text.push_str(&message);
    }
    text
}
