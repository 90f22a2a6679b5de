//! The columns of a table as channels: named, in SI units, with what the preamble says of each and what is wrong in it.

use crate::capture::cell::unit;
use crate::capture::layout::{self, Cells, Layout, TableChannel};
use crate::capture::record::Channel;
use crate::capture::record::error::ReadError;
use crate::capture::record::warnings::Warnings;
use crate::capture::rows::{BadCells, RawColumn, Table};
use crate::capture::wording::{ReadErrorKind, WarningKind};

/// Whole numbers over several steps, though a step of the converter is another number than one.
fn may_be_codes(values: &[f64], step: f64) -> bool {
    let mut known = values.iter().filter(|v| v.is_finite()).peekable();
    let largest = known.clone().fold(0.0, |a: f64, v| a.max(v.abs()));
    step > 0.0
        && step != 1.0
        && largest >= 8.0
        && known.peek().is_some()
        && known.all(|v| v.fract() == 0.0)
}

/// The columns with their names, in SI units.
pub(in crate::capture) fn channels(columns: Vec<RawColumn>, layout: &Layout) -> Vec<Channel> {
    let in_table: Vec<TableChannel> = columns
        .iter()
        .map(|raw| TableChannel {
            column: raw.column,
            name: layout.columns[raw.column]
                .name
                .as_deref()
                .unwrap_or_default(),
        })
        .collect();
    let stated = layout::of_channels(&layout.facts, &in_table, layout.dialect.decimal);
    let channel = |(raw, stated): (RawColumn, layout::StatedChannel)| {
        let column = &layout.columns[raw.column];
        let unit_text = column.unit_text.clone().or(stated.unit_text);
        let unit = unit_text.as_deref().and_then(|u| unit::parse(u, false));
        let mut values = raw.values;
        let in_si = raw.cells == Cells::Quantities;
        if let Some(unit) = unit.filter(|u| !u.is_plain() && !in_si) {
            values.iter_mut().for_each(|v| *v = unit.to_si(*v));
        }
        let mut facts = stated.facts;
        // No screen shows whole numbers far beyond its divisions: what is called a scale there is that of the codes, unless the column itself has a unit.
        let beyond = |scale: &f64| {
            column.unit_text.is_none() && values.iter().any(|v| v.abs() > 50.0 * scale)
        };
        let scale = facts.vertical_scale_per_division.filter(beyond);
        let step = facts.code_step.or(scale);
        facts.code_step = step.filter(|step| may_be_codes(&values, *step));
        let unit = unit.filter(|_| facts.code_step.is_none());
        let name = column.name.clone().or(stated.name);
        Channel {
            name: name.unwrap_or_else(|| format!("column {}", raw.column + 1)),
            column: raw.column + 1,
            unit_text,
            unit: unit.map(|u| u.symbol.to_string()),
            values,
            missing: raw.missing,
            overrange: raw.overrange,
            facts,
        }
    };
    columns.into_iter().zip(stated).map(channel).collect()
}

/// Notes what is wrong in the channels; `bad_cells` are those of each.
///
/// # Errors
/// A channel mostly of cells that are no numbers.
pub(in crate::capture) fn check_channels(
    channels: &[Channel],
    bad_cells: &[Option<BadCells>],
    table: &Table,
    layout: &Layout,
    warnings: &mut Warnings,
) -> Result<(), ReadError> {
    let filled = channels.iter().filter(|c| c.missing < table.rows).count();
    for channel in channels {
        check_channel(channel, table, filled, warnings);
        if let Some(step) = channel.facts.code_step {
            let (column, name) = (channel.column, channel.name.clone());
            let codes = WarningKind::Codes { column, name, step };
            warnings.push(layout.first_line, column, codes);
        }
    }
    for (bad, channel) in bad_cells.iter().zip(channels) {
        let Some(bad) = bad else {
            continue;
        };
        let (column, name, cells) = (channel.column, channel.name.clone(), bad.count);
        let (text, decimal) = (bad.text.clone(), layout.dialect.decimal as char);
        if bad.count * 2 > table.rows && channel.missing < table.rows {
            let kind = ReadErrorKind::NoNumbers {
                column,
                name,
                text,
                decimal,
                cells,
            };
            return Err(ReadError::new(warnings.path, bad.line, kind).in_column(column));
        }
        let kind = WarningKind::NotANumber {
            column,
            name,
            text,
            decimal,
            cells,
        };
        warnings.push(bad.line, column, kind);
    }
    Ok(())
}

/// A channel without numbers, or with cells beyond its range; `filled` channels hold numbers.
fn check_channel(channel: &Channel, table: &Table, filled: usize, warnings: &mut Warnings) {
    let (column, name, rows) = (channel.column, channel.name.clone(), table.rows);
    if channel.missing == rows && rows > 0 {
        let kind = WarningKind::NoNumbers {
            column,
            name,
            rows,
            others: filled,
        };
        warnings.push(table.lines.line(0), column, kind);
    } else if let Some((first, _)) = channel.overrange.first() {
        let above = channel.overrange.iter().filter(|o| o.1).count();
        let kind = WarningKind::Overrange {
            column,
            name,
            rows,
            above,
            below: channel.overrange.len() - above,
        };
        warnings.push(table.lines.line(*first), column, kind);
    }
}
