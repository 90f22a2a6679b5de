//! Which column is time, which only counts the rows.

use super::columns::{Cells, Column, Role};
use super::survey::ColumnSurvey;
use super::words::{
    is_electrical_name, is_index_name, is_time_name, is_unit_of_time, time_unit_of_name,
};
use crate::capture::cell::unit;
use crate::capture::wording::LayoutRule;

/// Gives the columns of time and of row numbers their roles. `given` is the column of time as the user counts it, 0 for none.
pub(super) fn assign_time(
    columns: &mut [Column],
    seen: &[ColumnSurvey],
    given: Option<usize>,
    why: &mut Vec<LayoutRule>,
) {
    let named_index = index_by_name(columns, seen);
    if let Some(index) = named_index {
        columns[index].role = Role::Index;
    }
    if let Some(given) = given {
        if let Some(column) = given.checked_sub(1).and_then(|c| columns.get_mut(c)) {
            column.role = Role::Time;
            why.push(LayoutRule::TimeGiven { column: given });
        } else {
            why.push(LayoutRule::NoTimeGiven);
        }
        return;
    }
    let by_name = time_by_name(columns, seen).map(|c| (c, "its name or unit says so"));
    let time = by_name
        .or_else(|| Some((time_by_clock(columns)?, "it holds clock times")))
        .or_else(|| {
            let c = time_by_values(columns, seen)?;
            Some((c, "it increases evenly"))
        });
    // A clock or a date beside a column of time gives nothing more.
    for (c, column) in columns.iter_mut().enumerate() {
        if column.cells == Cells::Clock && time.is_some_and(|(time, _)| time != c) {
            column.role = Role::Skip;
            why.push(LayoutRule::Clock { column: c + 1 });
        }
    }
    if let Some((c, sign)) = time {
        columns[c].role = Role::Time;
        let unit = columns[c].name.as_deref().and_then(time_unit_of_name);
        if let (None, Some(unit)) = (&columns[c].unit_text, unit) {
            columns[c].unit_text = Some(unit.to_string());
        }
        why.push(LayoutRule::Time {
            column: c + 1,
            sign,
        });
        assign_further_times(c, columns, seen, why);
    } else if named_index.is_none()
        && let Some(index) = index_by_values(columns, seen)
    {
        columns[index].role = Role::Index;
    }
    if let Some(c) = columns.iter().position(|c| c.role == Role::Index) {
        why.push(LayoutRule::Count { column: c + 1 });
    }
}

fn has_time_unit(column: &Column) -> bool {
    let unit = column.unit_text.as_deref();
    unit.and_then(|u| unit::parse(u, true))
        .is_some_and(|u| u.symbol == "s")
}

fn time_by_clock(columns: &[Column]) -> Option<usize> {
    let is_clock = |c: &Column| c.role == Role::Value && c.cells == Cells::Clock;
    columns.iter().position(is_clock)
}

fn index_by_name(columns: &[Column], seen: &[ColumnSurvey]) -> Option<usize> {
    let is = |text: &Option<String>| text.as_deref().is_some_and(is_index_name);
    columns.iter().zip(seen).position(|(column, seen)| {
        column.role == Role::Value
            && (is(&column.name) || is(&column.unit_text))
            && (counts(&seen.values) || seen.values.len() < 2)
    })
}

fn time_by_name(columns: &[Column], seen: &[ColumnSurvey]) -> Option<usize> {
    let is_unitless = |column: &Column| {
        let unit = column.unit_text.as_deref();
        unit.is_none_or(|u| unit::parse(u, true).is_none())
    };
    columns.iter().zip(seen).position(|(column, seen)| {
        let named = column.name.as_deref().is_some_and(is_time_name)
            && is_unitless(column)
            && column.cells != Cells::Clock
            // A time that runs backwards once is still time; a channel called `t` is not, nor the milliseconds of a clock.
            && match column.name.as_deref().is_some_and(is_unit_of_time) {
                true => seen.values.windows(2).all(|w| w[1] >= w[0]),
                false => seen.values.is_empty() || may_be_time(&seen.values),
            };
        let is_named = column.name.as_deref().is_some_and(is_time_name);
        let by_unit = has_time_unit(column)
            && (seen.values.len() < 3 || is_named || mostly_increases(&seen.values));
        column.role == Role::Value && column.cells != Cells::Clock && (by_unit || named)
    })
}

/// The first column of values, where there are others and it has no unit of its own.
fn first_of_several(columns: &[Column]) -> Option<usize> {
    let is_value = |c: &&Column| c.role == Role::Value;
    let first = columns.iter().position(|c| c.role == Role::Value)?;
    let several = columns.iter().filter(is_value).count() > 1;
    (several && columns[first].unit_text.is_none()).then_some(first)
}

fn time_by_values(columns: &[Column], seen: &[ColumnSurvey]) -> Option<usize> {
    let first = first_of_several(columns).filter(|&c| {
        let values = &seen[c].values;
        let is_electrical = columns[c].name.as_deref().is_some_and(is_electrical_name);
        !is_electrical && ((increases(values) && !counts(values)) || is_shuffled_axis(values))
    });
    first.or_else(|| later_ruler(columns, seen))
}

/// The one column behind the first whose numbers are as far from each other as on a ruler, in a table without names.
fn later_ruler(columns: &[Column], seen: &[ColumnSurvey]) -> Option<usize> {
    first_of_several(columns)?;
    let is_bare = columns
        .iter()
        .all(|c| c.name.is_none() && c.unit_text.is_none());
    let even = |values: &[f64]| {
        let step = (values[values.len() - 1] - values[0]) / (values.len() - 1) as f64;
        let at = |k: usize| values[0] + step * k as f64;
        values
            .iter()
            .enumerate()
            .all(|(k, v)| (v - at(k)).abs() < 0.1 * step)
    };
    let is_ruler =
        |values: &[f64]| values.len() > 8 && increases(values) && even(values) && !counts(values);
    let mut rulers =
        (0..columns.len()).filter(|&c| columns[c].role == Role::Value && is_ruler(&seen[c].values));
    let one = rulers.next()?;
    (is_bare && rulers.next().is_none()).then_some(one)
}

/// Even times in no order: all numbers differ, and put in order their steps are alike. Samples of a signal repeat, or lie at
/// distances of which the longest is several times the mean.
fn is_shuffled_axis(values: &[f64]) -> bool {
    const FEWEST_ROWS: usize = 50;
    let mut ordered = values.to_vec();
    ordered.sort_by(f64::total_cmp);
    values.len() >= FEWEST_ROWS && !mostly_increases(values) && increases(&ordered)
}

fn index_by_values(columns: &[Column], seen: &[ColumnSurvey]) -> Option<usize> {
    first_of_several(columns).filter(|&c| {
        let values = &seen[c].values;
        counts(values) && values.len() >= 3
    })
}

/// Columns behind that of time with its name, another unit of time, or its very numbers are time again.
fn assign_further_times(
    time: usize,
    columns: &mut [Column],
    seen: &[ColumnSurvey],
    why: &mut Vec<LayoutRule>,
) {
    let name = columns[time].name.clone();
    for (c, column) in columns.iter_mut().enumerate().skip(time + 1) {
        let named = column
            .name
            .as_deref()
            .is_some_and(|n| Some(n) == name.as_deref() || is_time_name(n));
        let same = seen[c].values.len() > 2
            && seen[c].values == seen[time].values
            && increases(&seen[c].values);
        if column.role == Role::Value
            && (has_time_unit(column) || named || same)
            && mostly_increases(&seen[c].values)
        {
            column.role = Role::ExtraTime;
            why.push(LayoutRule::TimeAgain { column: c + 1 });
        }
    }
}

fn increases(values: &[f64]) -> bool {
    values.len() >= 3 && values.iter().zip(&values[1..]).all(|(a, b)| b > a) && {
        let steps = values.iter().zip(&values[1..]).map(|(a, b)| b - a);
        let mean = (values[values.len() - 1] - values[0]) / (values.len() - 1) as f64;
        steps.fold(0.0, f64::max) <= 3.0 * mean
    }
}

fn counts(values: &[f64]) -> bool {
    values.len() >= 2
        && values[0] >= 0.0
        && values.iter().all(|v| v.fract() == 0.0)
        && values
            .iter()
            .zip(&values[1..])
            .filter(|(a, b)| *b - *a != 1.0)
            .count()
            * 20
            <= values.len()
}

/// Increasing times, all of them backwards, or even times in no order.
fn may_be_time(values: &[f64]) -> bool {
    let falls = || values.len() > 2 && values.windows(2).all(|w| w[1] < w[0]);
    mostly_increases(values) || falls() || is_shuffled_axis(values)
}

fn mostly_increases(values: &[f64]) -> bool {
    let back = values
        .iter()
        .zip(&values[1.min(values.len())..])
        .filter(|(a, b)| b < a)
        .count();
    back * 10 <= values.len()
}
