//! The unit of a column of times, and where it comes from.

use super::layout::{Cells, Layout, is_horizontal_unit, tokens};
use super::time::TimeColumn;
use super::unit;
use crate::quantity::exported::Unit;

/// The unit of a column of times.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum TimeUnit {
    /// As the file or the user states it, or seconds counted from clock times.
    Stated(Option<Unit>),
    /// Counted from 1970, as the size of the numbers shows.
    Epoch(Unit),
    /// Days of a spreadsheet's calendar, as the name and the size of the numbers show.
    SerialDays(Unit),
    /// Nothing is stated: seconds, which instruments write with an exponent or many decimals.
    AsWritten,
    /// Nothing is stated, or no unit of time that is known (as written): seconds are assumed.
    Assumed(Option<String>),
}

impl TimeUnit {
    /// `None` is seconds.
    pub fn unit(&self) -> Option<Unit> {
        match self {
            TimeUnit::Stated(unit) => *unit,
            TimeUnit::Epoch(unit) | TimeUnit::SerialDays(unit) => Some(*unit),
            TimeUnit::AsWritten | TimeUnit::Assumed(_) => None,
        }
    }
}

/// Seconds since 1970 between the years 2001 and 2049.
const EPOCH_S: std::ops::Range<f64> = 1.0e9..2.5e9;

/// Days since 1900 between the years 1954 and 2119.
const SERIAL_DAYS: std::ops::Range<f64> = 2.0e4..8.0e4;

/// So many decimals are written of seconds; of milliseconds they would be some picoseconds (common practice, no source).
const DECIMALS_OF_SECONDS: usize = 5;

/// Unit of a column of times: its own, else that of the preamble, else as its numbers show.
pub(super) fn of_column(column: &TimeColumn, layout: &Layout) -> TimeUnit {
    let seen = &layout.columns[column.column];
    if seen.cells == Cells::Clock || (seen.cells == Cells::Quantities) {
        return TimeUnit::Stated(None);
    }
    let horizontal = || {
        let fact = layout.facts.iter().find(|f| is_horizontal_unit(&f.key))?;
        fact.values.first().map(String::as_str)
    };
    let written = seen.unit_text.as_deref().or_else(horizontal);
    let known = written
        .and_then(|text| unit::parse(text, true))
        .filter(|unit| unit.symbol == "s");
    if known.is_some() {
        return TimeUnit::Stated(known);
    }
    if written.is_some() {
        return TimeUnit::Assumed(written.map(str::to_string));
    }
    let first = column.times().first().unwrap_or(0.0);
    let since_epoch = ["s", "ms", "us", "ns"].into_iter().find_map(|text| {
        let unit = unit::parse(text, true)?;
        EPOCH_S.contains(&unit.to_si(first)).then_some(unit)
    });
    let has_many_digits = seen.exponents || seen.decimals >= Some(DECIMALS_OF_SECONDS);
    let is_date = seen.name.as_deref().is_some_and(is_date_name);
    match (since_epoch, unit::parse("days", true)) {
        (Some(unit), _) => TimeUnit::Epoch(unit),
        (None, Some(days)) if is_date && SERIAL_DAYS.contains(&first) => TimeUnit::SerialDays(days),
        // Days of a spreadsheet, or seconds since midnight.
        _ if is_date || SERIAL_DAYS.contains(&first) => TimeUnit::Assumed(None),
        _ if has_many_digits => TimeUnit::AsWritten,
        _ => TimeUnit::Assumed(None),
    }
}

fn is_date_name(name: &str) -> bool {
    let words = tokens(name);
    words.iter().any(|w| w.starts_with("date") || w == "datum")
}
