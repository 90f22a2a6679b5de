//! Parses the arguments, runs one command, prints the error chain and sets the exit status.

mod cli;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = match cli::Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) if error.use_stderr() => {
            let text = error.render().to_string();
            let text = text.replace("invalid float literal", "expected a number, e.g. 0.05");
            let text = text.replace("invalid digit found in string", "expected a whole number");
            cli::report_lines(text.trim_end());
            return cli::Status::NoResult.into();
        }
        // Help and version.
        Err(error) => error.exit(),
    };
    limit_threads();
    match cli::run(arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            cli::report_error(error_chain(&error));
            cli::Status::NoResult.into()
        }
    }
}

/// Keeps `RAYON_NUM_THREADS` within what the machine can use: each thread takes memory of its own.
fn limit_threads() {
    let asked = std::env::var("RAYON_NUM_THREADS").ok();
    let asked = asked.and_then(|text| text.parse::<usize>().ok());
    let (_, most) = rundown::lot::usable_threads();
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
