//! Which column is time, which only counts the rows.

use super::find_layout::{Column, Role, Seen};
use super::header::{is_index_name, is_time_name};
use crate::capture::options::ReadOptions;
use crate::capture::unit;

pub fn assign_time(
    columns: &mut [Column],
    seen: &[Seen],
    options: &ReadOptions,
    why: &mut Vec<String>,
) {
    let is_time_unit = |column: &Column| {
        column
            .unit_text
            .as_deref()
            .and_then(|u| unit::parse(u, true))
            .is_some_and(|u| u.symbol == "s")
    };
    let index = columns.iter().enumerate().position(|(c, column)| {
        column.role == Role::Value
            && (column.name.as_deref().is_some_and(is_index_name)
                || column.unit_text.as_deref().is_some_and(is_index_name))
            && (counts(&seen[c].values) || seen[c].values.len() < 2)
    });
    if let Some(index) = index {
        columns[index].role = Role::Index;
    }
    if let Some(given) = options.time_column {
        if let Some(column) = given.checked_sub(1).and_then(|c| columns.get_mut(c)) {
            column.role = Role::Time;
            why.push(format!("column {given} is time, as given"));
        } else {
            why.push("no column is time, as given".to_string());
        }
        return;
    }
    let candidate = |test: &dyn Fn(usize, &Column) -> bool| {
        (0..columns.len()).find(|&c| columns[c].role == Role::Value && test(c, &columns[c]))
    };
    let by_name = candidate(&|c, column| {
        is_time_unit(column)
            || (column.name.as_deref().is_some_and(is_time_name)
                && column
                    .unit_text
                    .as_deref()
                    .is_none_or(|u| unit::parse(u, true).is_none())
                // A time that runs backwards once is still time; a channel called `t` is not.
                && (seen[c].values.is_empty() || mostly_increases(&seen[c].values)))
    });
    let first = candidate(&|_, _| true);
    let time = by_name
        .map(|c| (c, "its name or unit says so"))
        .or_else(|| {
            let c = first?;
            let values = &seen[c].values;
            let unit_elsewhere = columns[c].unit_text.is_some();
            (!unit_elsewhere
                && increases(values)
                && columns.iter().filter(|k| k.role == Role::Value).count() > 1
                && !(counts(values)))
            .then_some((c, "it is the first column and increases evenly"))
        });
    match time {
        Some((c, reason)) => {
            columns[c].role = Role::Time;
            why.push(format!("column {} is time: {reason}", c + 1));
            let name = columns[c].name.clone();
            for other in c + 1..columns.len() {
                if columns[other].role == Role::Value
                    && (is_time_unit(&columns[other])
                        || (name.is_some() && columns[other].name == name))
                    && mostly_increases(&seen[other].values)
                {
                    columns[other].role = Role::ExtraTime;
                    why.push(format!("column {} is time again", other + 1));
                }
            }
        }
        None => {
            if index.is_none()
                && let Some(c) = first
                && counts(&seen[c].values)
                && seen[c].values.len() >= 3
                && columns[c].unit_text.is_none()
                && columns.iter().filter(|k| k.role == Role::Value).count() > 1
            {
                columns[c].role = Role::Index;
            }
        }
    }
    if let Some(c) = columns.iter().position(|c| c.role == Role::Index) {
        why.push(format!("column {} counts the rows", c + 1));
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

fn mostly_increases(values: &[f64]) -> bool {
    let back = values
        .iter()
        .zip(&values[1.min(values.len())..])
        .filter(|(a, b)| b < a)
        .count();
    back * 10 <= values.len()
}
