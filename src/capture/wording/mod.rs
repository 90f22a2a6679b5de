//! What the importer says of a file: each warning, error and rule a value with its numbers, worded here and nowhere else.
//!
//! A text says what was found and what it means; what to do follows on a line of its own, so that it can be had alone.

mod read_error;
mod rule;
mod warning;

pub use read_error::{OtherAxis, ReadErrorKind, StepsBack};
pub use rule::LayoutRule;
pub use warning::WarningKind;

use std::fmt::Display;

/// A worded value on one line: what was found, and what to do.
pub(super) fn one_line(worded: &impl Display) -> String {
    worded.to_string().replace('\n', " ")
}

/// What to do, where a worded value has it.
pub(super) fn remedy(worded: &impl Display) -> Option<String> {
    Some(worded.to_string().split_once('\n')?.1.to_owned())
}

/// A number of seconds (or any quantity) with the digits a person needs.
fn short(value: f64) -> String {
    let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
    match value == 0.0 || (1e-3..1e5).contains(&value.abs()) {
        true => format!("{rounded}"),
        false => format!("{rounded:e}"),
    }
}

/// A length of time, to four digits.
fn brief(value: f64) -> String {
    short(format!("{value:.3e}").parse().unwrap_or(value))
}

/// A count with its noun, `1 row`, `2 rows`.
fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

/// That there are more such places.
fn first_of(places: usize) -> String {
    match places {
        0 | 1 => String::new(),
        n => format!(" (first of {n} places)"),
    }
}

/// A name in quotation marks behind a blank; nothing where there is none.
fn quoted(name: &Option<String>) -> String {
    name.as_ref()
        .map_or_else(String::new, |name| format!(" \"{name}\""))
}

/// Why a row does not fit: another number of cells, or a cell that is no number which a double holds (such as `1e400`).
fn unfit(cells: usize, expected: usize) -> String {
    match cells == expected {
        true => "a cell is not a number of at most 1.8e308".to_owned(),
        false => format!("{} where {expected} are expected", counted(cells, "cell")),
    }
}
