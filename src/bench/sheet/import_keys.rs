//! The sheet's overrides of what the importer finds by itself.

use super::table::Table;
use crate::bench::error::BenchError;
use crate::capture::{ReadOptions, TimeGaps};

/// Reads `import` of the sheet or of one capture on top of `base`.
pub(super) fn read_import(
    parent: &Table<'_>,
    base: &ReadOptions,
) -> Result<ReadOptions, BenchError> {
    let mut options = base.clone();
    let Some(table) = parent.table("import")? else {
        return Ok(options);
    };
    if let Some(delimiter) = table.choice(
        "delimiter",
        "delimiter",
        &[(",", b','), (";", b';'), ("tab", b'\t'), ("space", b' ')],
    )? {
        options.delimiter = Some(delimiter);
    }
    if let Some(decimal) = table.choice(
        "decimal",
        "decimal mark",
        &[("point", b'.'), ("comma", b',')],
    )? {
        options.decimal = Some(decimal);
    }
    if let Some(encoding) = table.text("encoding")? {
        options.encoding = Some(encoding);
    }
    for (key, slot) in [
        ("skip_lines", &mut options.skip_lines),
        ("header_rows", &mut options.header_rows),
        ("time_column", &mut options.time_column),
    ] {
        if let Some(count) = count_from_zero(&table, key, 1e9)? {
            *slot = Some(count as usize);
        }
    }
    let limits = &mut options.limits;
    for (key, slot) in [
        ("max_line_bytes", &mut limits.line_bytes),
        ("max_columns", &mut limits.columns),
        ("max_numbers", &mut limits.numbers),
    ] {
        if let Some(count) = count_from_zero(&table, key, LARGEST_LIMIT)? {
            *slot = count as usize;
        }
    }
    for (key, slot) in [
        ("max_text_bytes", &mut limits.text_bytes),
        ("max_unpack_ratio", &mut limits.unpack_ratio),
    ] {
        if let Some(count) = count_from_zero(&table, key, LARGEST_LIMIT)? {
            *slot = count;
        }
    }
    if let Some(interval) = table.positive("interval_s")? {
        options.interval_s = Some(interval);
    }
    if let Some(start) = table.number("start_s")? {
        options.start_s = Some(start);
    }
    if let Some(units) = table.table("units")? {
        for key in units.keys() {
            let unit = units.text(&key)?.unwrap_or_default();
            match key.parse::<usize>() {
                Ok(column) if column > 0 => {
                    options.units.retain(|(c, _)| *c != column);
                    options.units.push((column, unit));
                }
                _ => {
                    return units.invalid(
                        &key,
                        format!(
                            "`{key}` is no column number; write units = {{ 2 = \"mA\" }} with columns counted from 1"
                        ),
                    );
                }
            }
        }
    }
    if let Some(gaps) = table.choice(
        "time_gaps",
        "treatment of gaps in time",
        &[("tell", TimeGaps::Tell), ("split", TimeGaps::Split)],
    )? {
        options.time_gaps = gaps;
    }
    table.finish()?;
    Ok(options)
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
