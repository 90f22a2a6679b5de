//! Bytes on disk to a checked motor file and back.

use super::check::{Checked, Fault, check};
use super::{FORMAT, MotorFile, MotorFileError};
use crate::files::{self, LARGEST_JSON, read_at_most};
use serde_json::Value;
use std::io;
use std::path::Path;

/// What to do where another file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overwrite {
    /// Replace a motor file, refuse to replace anything else.
    MotorFileOnly,
    /// Replace whatever file is there.
    Force,
}

/// Reads and checks a motor file.
///
/// # Errors
/// [`MotorFileError::Read`], [`MotorFileError::Format`], [`MotorFileError::Syntax`] with line and column,
/// [`MotorFileError::Content`] with the key.
pub fn read(path: &Path) -> Result<MotorFile, MotorFileError> {
    let bytes = read_at_most(path, LARGEST_JSON).map_err(|source| MotorFileError::Read {
        path: path.to_owned(),
        source,
    })?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let valid = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        MotorFileError::Syntax {
            path: path.to_owned(),
            line: 1 + valid.iter().filter(|byte| **byte == b'\n').count(),
            column: 1 + valid
                .iter()
                .rev()
                .take_while(|byte| **byte != b'\n')
                .count(),
            message: "not UTF-8, expected a motor file in JSON as `rundown fit` writes it"
                .to_owned(),
        }
    })?;
    from_text(path, &text)
}

/// Parses and checks the text of a motor file; `path` is only for the messages.
///
/// # Errors
/// As [`read`].
pub fn from_text(path: &Path, text: &str) -> Result<MotorFile, MotorFileError> {
    let syntax = |error: serde_json::Error| MotorFileError::Syntax {
        path: path.to_owned(),
        line: error.line(),
        column: error.column(),
        message: format!(
            "this is not JSON ({}); name a motor file, which `rundown fit` writes",
            without_place(&error)
        ),
    };
    // The format is looked at first: a file of another kind should be named so, not blamed for its first odd key.
    let loose: Value = serde_json::from_str(text).map_err(syntax)?;
    let format = loose.get("format");
    if format.and_then(Value::as_str) != Some(FORMAT) {
        return Err(MotorFileError::Format {
            path: path.to_owned(),
            found: format.map_or("absent".to_owned(), Value::to_string),
            expected: FORMAT,
            hint: match format.and_then(Value::as_str) {
                Some(text) if is_our_format(text) => {
                    "it was written by another version of the program: make it again with `rundown fit`"
                }
                _ => "this is no motor file: make one with `rundown fit BENCH.toml -o FILE`",
            },
        });
    }
    let file: MotorFile = serde_json::from_str(text).map_err(syntax)?;
    let strict = serde_json::to_value(&file).map_err(syntax)?;
    odd(Some(&strict), &loose, "")
        .and_then(|()| check(&file))
        .map_err(|fault| content(path, fault))?;
    Ok(file)
}

fn content(path: &Path, fault: Fault) -> MotorFileError {
    MotorFileError::Content {
        path: path.to_owned(),
        place: fault.place,
        found: fault.found,
        expected: fault.expected,
    }
}

/// The text of a motor file, ending in a line feed. Numbers are written with the fewest digits that read back to
/// the same bits.
///
/// # Errors
/// [`MotorFileError::Content`] when the file breaks its own rules (`path` is only for the message).
pub fn to_text(path: &Path, file: &MotorFile) -> Result<String, MotorFileError> {
    let value = serde_json::to_value(file).map_err(|error| MotorFileError::Write {
        path: path.to_owned(),
        source: io::Error::other(error),
    })?;
    odd(Some(&value), &value, "")
        .and_then(|()| check(file))
        .map_err(|fault| content(path, fault))?;
    let mut text = String::new();
    lay_out(&value, 0, &mut text);
    text.push('\n');
    Ok(text)
}

/// Writes a motor file atomically: a temporary file in the same folder, flushed to the disk, then renamed.
///
/// # Errors
/// [`MotorFileError::Content`] when the file breaks its own rules, [`MotorFileError::WouldOverwrite`] when `path`
/// is something else than a motor file and `overwrite` does not force it, [`MotorFileError::Write`] otherwise.
pub fn write(path: &Path, file: &MotorFile, overwrite: Overwrite) -> Result<(), MotorFileError> {
    let text = to_text(path, file)?;
    files::put(
        path,
        text.as_bytes(),
        |path| refuse(path, overwrite),
        |source| MotorFileError::Write {
            path: path.to_owned(),
            source,
        },
    )
}

/// Refuses a target that [`write()`] would refuse, before the long work.
///
/// # Errors
/// [`MotorFileError::WouldOverwrite`] when `path` is something else than a motor file and `overwrite` does not force it,
/// [`MotorFileError::Write`] when no file can be put there.
pub fn check_target(path: &Path, overwrite: Overwrite) -> Result<(), MotorFileError> {
    files::check_place(path).map_err(|source| MotorFileError::Write {
        path: path.to_owned(),
        source,
    })?;
    refuse(path, overwrite)
}

fn refuse(path: &Path, overwrite: Overwrite) -> Result<(), MotorFileError> {
    match overwrite {
        Overwrite::MotorFileOnly => refuse_other_file(path),
        Overwrite::Force => Ok(()),
    }
}

fn refuse_other_file(path: &Path) -> Result<(), MotorFileError> {
    let reason = match read_at_most(path, LARGEST_JSON) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) if error.kind() == io::ErrorKind::FileTooLarge => {
            "it is larger than any".to_owned()
        }
        Err(error) => format!("it cannot be read: {error}"),
        Ok(bytes) => match serde_json::from_slice::<Value>(&bytes) {
            Err(_) => "it is not JSON".to_owned(),
            Ok(value) => match value.get("format").and_then(Value::as_str) {
                Some(format) if is_our_format(format) => return Ok(()),
                Some(format) => format!("its `format` is {format:?}"),
                None => "it has no `format`".to_owned(),
            },
        },
    };
    Err(MotorFileError::WouldOverwrite {
        path: path.to_owned(),
        reason,
    })
}

/// Refuses what derived readers take and the schema does not: `null` for what is unknown (it is also what becomes of a number that is
/// not finite), and an array where `strict` has an object.
fn odd(strict: Option<&Value>, found: &Value, place: &str) -> Checked {
    let fault = |found: &str, expected: &str| {
        Err(Fault {
            place: place.to_owned(),
            found: found.to_owned(),
            expected: expected.to_owned(),
        })
    };
    match (strict, found) {
        (_, Value::Null) => fault("null", "a value; what is unknown has no key"),
        (Some(Value::Object(_)), Value::Array(_)) => fault("an array", "an object"),
        (_, Value::Object(entries)) => entries.iter().try_for_each(|(key, entry)| {
            let dot = if place.is_empty() { "" } else { "." };
            let strict = strict.and_then(|strict| strict.get(key));
            odd(strict, entry, &format!("{place}{dot}{key}"))
        }),
        (_, Value::Array(entries)) => entries.iter().enumerate().try_for_each(|(row, entry)| {
            let strict = strict.and_then(|strict| strict.get(row));
            odd(strict, entry, &format!("{place}[{row}]"))
        }),
        _ => Ok(()),
    }
}

fn is_our_format(format: &str) -> bool {
    let stem = FORMAT.split('/').next().unwrap_or(FORMAT);
    format.split('/').next() == Some(stem)
}

/// serde_json ends its messages with the place; ours is in front.
fn without_place(error: &serde_json::Error) -> String {
    let text = error.to_string();
    match text.rfind(" at line ") {
        Some(end) => text[..end].to_owned(),
        None => text,
    }
}

/// Indented JSON with arrays of plain values on one line, so that a matrix looks like one.
fn lay_out(value: &Value, depth: usize, text: &mut String) {
    let new_line = |depth: usize, text: &mut String| {
        text.push('\n');
        text.push_str(&"  ".repeat(depth));
    };
    match value {
        Value::Object(entries) if !entries.is_empty() => {
            text.push('{');
            for (row, (key, entry)) in entries.iter().enumerate() {
                text.push_str(if row == 0 { "" } else { "," });
                new_line(depth + 1, text);
                text.push_str(&Value::from(key.as_str()).to_string());
                text.push_str(": ");
                lay_out(entry, depth + 1, text);
            }
            new_line(depth, text);
            text.push('}');
        }
        Value::Array(entries)
            if entries
                .iter()
                .any(|entry| entry.is_object() || entry.is_array()) =>
        {
            text.push('[');
            for (row, entry) in entries.iter().enumerate() {
                text.push_str(if row == 0 { "" } else { "," });
                new_line(depth + 1, text);
                lay_out(entry, depth + 1, text);
            }
            new_line(depth, text);
            text.push(']');
        }
        Value::Array(entries) => {
            let words: Vec<String> = entries.iter().map(Value::to_string).collect();
            text.push('[');
            text.push_str(&words.join(", "));
            text.push(']');
        }
        plain => text.push_str(&plain.to_string()),
    }
}
