//! The unit of a column of times, and where it comes from.

use super::column::TimeColumn;
use crate::capture::cell::clock::DAY_S;
use crate::capture::cell::unit;
use crate::capture::layout::{Cells, Layout, is_horizontal_unit, tokens};
use crate::capture::wording::WarningKind;
use crate::quantity::exported::Unit;

/// The unit of a column of times.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::capture) struct TimeUnit {
    /// `None` is seconds.
    pub unit: Option<Unit>,
    /// The numbers count from a day long ago, the times of the record from its first row.
    pub is_calendar: bool,
    /// Where the unit comes from, where the file does not state it.
    pub warning: Option<WarningKind>,
}

/// Seconds since 1970 between the years 2001 and 2049.
const EPOCH_S: std::ops::Range<f64> = 1.0e9..2.5e9;

/// Days since 1900 between the years 1954 and 2119.
const SERIAL_DAYS: std::ops::Range<f64> = 2.0e4..8.0e4;

/// So many decimals are written of seconds; of milliseconds they would be some picoseconds (common practice, no source).
const DECIMALS_OF_SECONDS: usize = 5;

/// Unit of a column of times: its own, else that of the preamble, else as its numbers show.
pub(in crate::capture) fn of_column(column: &TimeColumn, layout: &Layout) -> TimeUnit {
    let seen = &layout.columns[column.column];
    let (at, name) = (column.column + 1, seen.name.clone());
    if matches!(seen.cells, Cells::Clock | Cells::Quantities) {
        return TimeUnit::default();
    }
    let horizontal = || {
        let fact = layout.facts.iter().find(|f| is_horizontal_unit(&f.key))?;
        fact.values.first().map(String::as_str)
    };
    let with = |warning, unit: Option<Unit>| TimeUnit {
        unit,
        is_calendar: unit.is_some(),
        warning: Some(warning),
    };
    if let Some(text) = seen.unit_text.as_deref().or_else(horizontal) {
        let first = column.times().first().unwrap_or(0.0);
        return match unit::parse(text, true).filter(|unit| unit.symbol == "s") {
            Some(unit) => TimeUnit {
                unit: Some(unit),
                is_calendar: EPOCH_S.contains(&unit.to_si(first)),
                ..TimeUnit::default()
            },
            None => {
                let (column, unit) = (at, text.to_owned());
                with(WarningKind::TimeUnitUnknown { column, name, unit }, None)
            }
        };
    }
    let first = column.times().first().unwrap_or(0.0);
    let since_epoch = ["s", "ms", "us", "ns"].into_iter().find_map(|text| {
        let unit = unit::parse(text, true)?;
        EPOCH_S.contains(&unit.to_si(first)).then_some(unit)
    });
    if let Some(unit) = since_epoch {
        let kind = WarningKind::TimeSinceEpoch {
            column: at,
            name,
            unit_s: unit.to_si(1.0),
        };
        return with(kind, Some(unit));
    }
    let is_date = seen.name.as_deref().is_some_and(is_date_name);
    let of_days = SERIAL_DAYS.contains(&first);
    let of_days_by_steps = || {
        let (steps, last) = (column.times().len() - 1, column.times().last());
        let step = (last.unwrap_or(first) - first) / steps as f64;
        is_round(step * DAY_S) && !is_round(step)
    };
    if of_days
        && (is_date || column.times().len() > 2 && of_days_by_steps())
        && let Some(days) = unit::parse("days", true)
    {
        return with(WarningKind::TimeInDays { column: at, name }, Some(days));
    }
    // Instruments write seconds with an exponent or many decimals; days of a spreadsheet, or seconds since midnight, may be anything.
    let has_many_digits = seen.exponents || seen.decimals >= Some(DECIMALS_OF_SECONDS);
    let kind = match has_many_digits && !is_date && !of_days {
        true => WarningKind::TimeInSeconds { column: at, name },
        false => WarningKind::TimeUnitNotStated { column: at, name },
    };
    with(kind, None)
}

/// Whether a step is 1, 2 or 5 times a power of ten, as intervals are set.
fn is_round(step: f64) -> bool {
    const NEAR: f64 = 1e-3;
    let power = 10f64.powf(step.log10().floor());
    let digit = step / power;
    [1.0, 2.0, 2.5, 5.0, 10.0]
        .iter()
        .any(|round| (digit / round - 1.0).abs() < NEAR)
}

fn is_date_name(name: &str) -> bool {
    let words = tokens(name);
    words.iter().any(|w| w.starts_with("date") || w == "datum")
}
