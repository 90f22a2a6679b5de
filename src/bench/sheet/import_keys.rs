//! The sheet's overrides of what the importer finds by itself.

use super::table::Table;
use crate::bench::error::BenchError;
use crate::capture::{Limits, ReadOptions, TimeGaps};

/// Reads `import` of the sheet or of one capture on top of `base`.
pub fn read_import(parent: &Table<'_>, base: &ReadOptions) -> Result<ReadOptions, BenchError> {
    let mut options = base.clone();
    let Some(table) = parent.table("import")? else {
        return Ok(options);
    };
    let delimiters = [
        ("comma", b','),
        ("semicolon", b';'),
        ("tab", b'\t'),
        ("pipe", b'|'),
        ("space", b' '),
        (",", b','),
        (";", b';'),
        ("|", b'|'),
    ];
    let delimiter = table.choice("delimiter", "delimiter", &delimiters)?;
    options.delimiter = delimiter.or(options.delimiter);
    let decimals = [("point", b'.'), ("comma", b',')];
    let decimal = table.choice("decimal", "decimal mark", &decimals)?;
    options.decimal = decimal.or(options.decimal);
    options.encoding = table.text("encoding")?.or(options.encoding);
    for (key, slot) in [
        ("skip_lines", &mut options.skip_lines),
        ("header_rows", &mut options.header_rows),
        ("time_column", &mut options.time_column),
    ] {
        let count = count_from_zero(&table, key, 1e9)?;
        *slot = count.map(|count| count as usize).or(*slot);
    }
    read_limits(&table, &mut options.limits)?;
    options.interval_s = table.positive("interval_s")?.or(options.interval_s);
    options.start_s = table.number("start_s")?.or(options.start_s);
    if let Some(units) = table.table("units")? {
        read_units(&units, &mut options.units)?;
    }
    if let Some(columns) = table.numbers("hex_columns")? {
        if let Some(bad) = columns.iter().find(|c| **c < 1.0 || c.fract() != 0.0) {
            let text = format!("`hex_columns` names column {bad}; columns are counted from 1");
            return table.invalid("hex_columns", text);
        }
        options.hex_columns = columns.into_iter().map(|c| c as usize).collect();
    }
    let gaps = [
        ("warn", TimeGaps::Keep),
        ("split", TimeGaps::Split),
        ("sort", TimeGaps::Sort),
    ];
    let gaps = table.choice("time_gaps", "treatment of gaps in time", &gaps)?;
    options.time_gaps = gaps.unwrap_or(options.time_gaps);
    let columns = table.flag("envelope_columns")?;
    options.envelope_columns = columns.unwrap_or(options.envelope_columns);
    table.finish()?;
    Ok(options)
}

fn read_limits(table: &Table<'_>, limits: &mut Limits) -> Result<(), BenchError> {
    for (key, slot) in [
        ("max_line_bytes", &mut limits.line_bytes),
        ("max_columns", &mut limits.columns),
        ("max_numbers", &mut limits.numbers),
    ] {
        if let Some(count) = count_from_zero(table, key, LARGEST_LIMIT)? {
            *slot = count as usize;
        }
    }
    for (key, slot) in [
        ("max_text_bytes", &mut limits.text_bytes),
        ("max_unpack_ratio", &mut limits.unpack_ratio),
    ] {
        if let Some(count) = count_from_zero(table, key, LARGEST_LIMIT)? {
            *slot = count;
        }
    }
    Ok(())
}

/// Units by column number.
fn read_units(table: &Table<'_>, units: &mut Vec<(usize, String)>) -> Result<(), BenchError> {
    for key in table.keys() {
        let unit = table.text(&key)?.unwrap_or_default();
        match key.parse::<usize>() {
            Ok(column) if column > 0 => {
                units.retain(|(c, _)| *c != column);
                units.push((column, unit));
            }
            _ => {
                return table.invalid(
                    &key,
                    format!(
                        "`{key}` is no column number; write units = {{ 2 = \"mA\" }} with columns counted from 1"
                    ),
                );
            }
        }
    }
    Ok(())
}

/// Whole numbers above are not exact as floating-point numbers.
const LARGEST_LIMIT: f64 = 9e15;

fn count_from_zero(table: &Table<'_>, key: &str, most: f64) -> Result<Option<u64>, BenchError> {
    match table.number(key)? {
        Some(n) if n >= 0.0 && n.fract() == 0.0 && n <= most => Ok(Some(n as u64)),
        Some(n) => table.invalid(
            key,
            format!("`{key}` is {n}; expected a whole number from 0 to {most}"),
        ),
        None => Ok(None),
    }
}
