//! Parses the arguments, runs one command, prints the error chain and sets the exit status.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = rundown::cli::Arguments::parse();
    match rundown::cli::run(arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            eprintln!("error: {}", told(&error));
            rundown::cli::Status::CouldNotRun.into()
        }
    }
}

/// The chain of causes, each said once: some messages hold their cause already.
fn told(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for cause in error.chain() {
        let words = cause.to_string();
        if text.contains(&words) {
            continue;
        }
        if !text.is_empty() {
            text.push_str(": ");
        }
        text.push_str(&words);
    }
    text
}
