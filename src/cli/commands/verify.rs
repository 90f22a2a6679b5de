//! `rundown verify`: a motor file checked against its inputs.

use crate::cli::terminal::{Status, path_text, print_json, print_text};
use clap::Args;
use rundown::motor_file::{self, MotorFile, Program};
use rundown::quantity::rounding::significant;
use rundown::verify::{
    CheckedInput, Comparison, NotReproduced, Rounding, Search, State, check_inputs, is_as_written,
    reproduce,
};
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::PathBuf;

/// Check that the inputs of a motor file are unchanged and give its numbers again
///
/// Exit status: 0 when the file and every input are unchanged and the numbers agree within the rounding, 1 when something was
/// edited, is missing or differs, 2 when the command could not run.
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown verify motor.json")]
pub struct VerifyArguments {
    /// Motor file written by `rundown fit`
    #[arg(value_name = "motor.json")]
    motor: PathBuf,
    /// Folder with the bench sheet and its captures; default: the paths in the file
    #[arg(long, value_name = "DIR")]
    inputs: Option<PathBuf>,
    /// Read inputs outside the working folder, the motor file's folder or DIR
    #[arg(long)]
    allow_outside: bool,
    /// Check the inputs only, fit nothing
    #[arg(long)]
    inputs_only: bool,
    /// Largest difference of a value or a bound, in standard uncertainties
    #[arg(long, value_name = "SHARE", default_value_t = Rounding::default().of_values)]
    rounding: f64,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// A motor file that cannot be read, a rounding that is none.
pub fn run(arguments: &VerifyArguments) -> anyhow::Result<Status> {
    anyhow::ensure!(
        (0.0..=1.0).contains(&arguments.rounding),
        "--rounding {}: expected a share of the standard uncertainty from 0 to 1, e.g. 0.01",
        arguments.rounding
    );
    let file = motor_file::read(&arguments.motor)?;
    let search = Search {
        folder: arguments.inputs.clone(),
        allow_outside: arguments.allow_outside,
    };
    let inputs = check_inputs(&arguments.motor, &file, &search);
    let rounding = Rounding {
        of_values: arguments.rounding,
        of_uncertainties: arguments.rounding,
    };
    let numbers = (!arguments.inputs_only)
        .then(|| reproduce(&file, &inputs, arguments.allow_outside, rounding));
    let ok = is_as_written(&file)
        && !inputs.is_empty()
        && inputs.iter().all(|i| i.state == State::Unchanged)
        && numbers
            .as_ref()
            .is_none_or(|n| n.as_ref().is_ok_and(Comparison::is_ok));
    if arguments.json {
        let document = document(
            is_as_written(&file),
            &inputs,
            numbers.as_ref(),
            rounding,
            ok,
        );
        print_json(&document)?;
    } else {
        print_text(&page(&file, &inputs, numbers.as_ref(), rounding))?;
    }
    Ok(Status::of(ok))
}

fn state_text(state: &State) -> String {
    match state {
        State::Unchanged => "unchanged".into(),
        State::Changed(found) => format!("CHANGED: its SHA-256 is {found}"),
        State::Missing => "MISSING: --inputs names the folder that holds it".into(),
        State::Outside => {
            "NOT READ: it is outside the folders that may be read; name its folder with --inputs, or pass --allow-outside"
                .into()
        }
        State::Unreadable(why) => format!("UNREADABLE: {why}"),
    }
}

// Writing to a String cannot fail.
fn page(
    file: &MotorFile,
    inputs: &[CheckedInput],
    numbers: Option<&Result<Comparison, NotReproduced>>,
    rounding: Rounding,
) -> String {
    let content = if is_as_written(file) {
        "as written: its SHA-256 is the one in it"
    } else if file.content_sha256.is_some() {
        "EDITED: something in the file was changed after it was written; fit the bench sheet again"
    } else {
        "NOT KNOWN: the file holds no content_sha256; fit the bench sheet again"
    };
    let mut text = format!("content  {content}\n");
    for checked in inputs {
        let role = checked.input.role.as_deref().unwrap_or("input");
        let path = path_text(&checked.path);
        let _ = writeln!(text, "{role}  {path}: {}", state_text(&checked.state));
    }
    if inputs.is_empty() {
        text.push_str("the file names no inputs, so nothing can be verified\n");
    }
    let Some(numbers) = numbers else {
        return text;
    };
    let this = Program::this();
    if file.program != this {
        let _ = writeln!(
            text,
            "numbers  written by {} {}, computed again by {} {}",
            file.program.name, file.program.version, this.name, this.version
        );
    }
    match numbers {
        Err(error) => {
            let _ = writeln!(text, "numbers  not computed again: {error}");
        }
        Ok(c) if c.to_the_last_bit => {
            let _ = writeln!(
                text,
                "numbers  all {} are the same to the last bit",
                c.numbers
            );
        }
        Ok(c) => {
            let _ = writeln!(
                text,
                "numbers  {} compared: values differ by {} standard uncertainties or less (allowed {}), uncertainties by a share of {} or less (allowed {})",
                c.numbers,
                rounded_up(c.largest_of_values),
                rounding.of_values,
                rounded_up(c.largest_of_uncertainties),
                rounding.of_uncertainties
            );
            for d in c.differences.iter().take(MOST_SHOWN) {
                let [written, found] = [&d.written, &d.found].map(|text| six_digits(text));
                let _ = writeln!(
                    text,
                    "  DIFFERS: {}: written {written}, computed again {found}",
                    d.what
                );
            }
            match c.differences.len().saturating_sub(MOST_SHOWN) {
                0 => {}
                more => {
                    let _ = writeln!(text, "  and {more} more: --json");
                }
            }
        }
    }
    text
}

/// Differences named on the screen.
const MOST_SHOWN: usize = 10;

/// Two digits, rounded up; what is below a thousandth as such.
fn rounded_up(share: f64) -> String {
    match share {
        s if s < 1e-3 => "0.001".to_owned(),
        s => {
            let step = 10f64.powf(s.log10().floor() - 1.0);
            significant((s / step).ceil() * step, 2).to_string()
        }
    }
}

/// A number as six digits show it; any other text as it is.
fn six_digits(text: &str) -> String {
    let number = text.parse::<f64>().ok();
    number.map_or_else(|| text.to_owned(), |n| significant(n, 6).to_string())
}

fn document(
    as_written: bool,
    inputs: &[CheckedInput],
    numbers: Option<&Result<Comparison, NotReproduced>>,
    rounding: Rounding,
    ok: bool,
) -> Value {
    let inputs: Vec<Value> = inputs
        .iter()
        .map(|checked| {
            let (state, found) = match &checked.state {
                State::Unchanged => ("unchanged", None),
                State::Changed(found) => ("changed", Some(found)),
                State::Missing => ("missing", None),
                State::Outside => ("outside", None),
                State::Unreadable(why) => ("unreadable", Some(why)),
            };
            json!({
                "path": checked.path.display().to_string(),
                "role": checked.input.role,
                "state": state,
                "found": found,
            })
        })
        .collect();
    let numbers = numbers.map(|numbers| match numbers {
        Err(error) => json!({"error": error.to_string()}),
        Ok(c) => json!({
            "compared": c.numbers,
            "to_the_last_bit": c.to_the_last_bit,
            "largest_difference_in_standard_uncertainties": c.largest_of_values,
            "largest_relative_difference_of_uncertainties": c.largest_of_uncertainties,
            "allowed": rounding.of_values,
            "differences": c.differences.iter()
                .map(|d| json!({"what": d.what, "written": d.written, "found": d.found}))
                .collect::<Vec<_>>(),
        }),
    });
    json!({"stands": ok, "content_as_written": as_written, "inputs": inputs, "numbers": numbers})
}
