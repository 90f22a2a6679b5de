//! Parses the arguments, runs one command, prints the error chain and sets the exit status.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = rundown::cli::Arguments::parse();
    match rundown::cli::run(arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            eprintln!("error: {error:#}");
            rundown::cli::Status::CouldNotRun.into()
        }
    }
}
