//! The columns of a table as channels: named, in SI units, with what the preamble says of each and what is wrong in it.

use super::error::ReadError;
use super::layout::{self, Cells, Layout, TableChannel};
use super::record::Channel;
use super::rows::{BadCells, RawColumn, Table};
use super::unit;
use super::warnings::{WarningKind, Warnings, brief};

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
pub(super) fn channels(columns: Vec<RawColumn>, layout: &Layout) -> Vec<Channel> {
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

/// Words what is wrong in the channels; `bad_cells` are those of each.
///
/// # Errors
/// A channel mostly of cells that are no numbers.
pub(super) fn check_channels(
    channels: &[Channel],
    bad_cells: &[Option<BadCells>],
    table: &Table,
    layout: &Layout,
    warnings: &mut Warnings,
) -> Result<(), ReadError> {
    let filled = channels.iter().filter(|c| c.missing < table.rows).count();
    for channel in channels {
        check_channel(channel, table, filled, warnings);
        if let Some(step) = channel.facts.code_step.map(brief) {
            let text = format!(
                "column {} \"{}\" holds whole numbers, and the preamble states a step of {step}: they are codes of the converter, so the stated unit is not used. Export values in volts, or scale the codes in a bench sheet (scale = {step} beside the column)",
                channel.column, channel.name
            );
            let line = layout.first_line;
            warnings.push(WarningKind::CODES, line, channel.column, text);
        }
    }
    for (bad, channel) in bad_cells.iter().zip(channels) {
        let Some(bad) = bad else {
            continue;
        };
        let Channel { column, name, .. } = channel;
        let found = format!(
            "column {column} \"{name}\": \"{}\" is not a number with '{}' as decimal mark",
            bad.text, layout.dialect.decimal as char
        );
        if bad.count * 2 > table.rows && channel.missing < table.rows {
            let text = format!(
                "{found} ({} cells like it). Say the layout with --delimiter and --decimal, or export again",
                bad.count
            );
            return Err(ReadError::new(warnings.path, bad.line, text).in_column(*column));
        }
        let text = format!(
            "{found} ({} such cells); kept as missing. Check the line, or export again",
            bad.count
        );
        warnings.push(WarningKind::NOT_A_NUMBER, bad.line, *column, text);
    }
    Ok(())
}

/// A channel without numbers, or with cells beyond its range; `filled` channels hold numbers.
fn check_channel(channel: &Channel, table: &Table, filled: usize, warnings: &mut Warnings) {
    let Channel { column, name, .. } = channel;
    let rows = table.rows;
    if channel.missing == rows && rows > 0 {
        let next = match filled {
            0 => {
                "Nothing else is in the file; export again with the channel switched on".to_string()
            }
            1 => "The other channel can still be used".to_string(),
            n => format!("The other {n} channels can still be used"),
        };
        let text = format!(
            "column {column} \"{name}\" has no numbers: all {rows} cells are blank or marked missing. {next}"
        );
        warnings.push(WarningKind::NO_NUMBERS, table.lines.line(0), *column, text);
    } else if let Some((first, _)) = channel.overrange.first() {
        let above = channel.overrange.iter().filter(|o| o.1).count();
        let all = channel.overrange.len();
        let text = format!(
            "column {column} \"{name}\": {all} of {rows} cells are overrange marks ({above} above, {} below the range); they are kept as missing. Record again with a larger range if these instants matter",
            all - above
        );
        let line = table.lines.line(*first);
        warnings.push(WarningKind::OVERRANGE, line, *column, text);
    }
}
