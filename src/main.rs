//! Parses the arguments, runs one command, prints the error chain and sets the exit status.

mod cli;

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = cli::Arguments::parse();
    match cli::run(arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            cli::report_error(error_chain(&error));
            cli::Status::NoResult.into()
        }
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
