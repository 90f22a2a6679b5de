//! The bulk of a large regular table, parsed by polars in chunks of whole lines.
//!
//! Only full chunks without a single odd cell are taken; the first chunk with one, and the last of the file, are handed
//! back to be read row by row, so that places in messages stay exact and the result is the same.

use super::cell;
use super::layout::{Layout, Role};
use super::options::Limits;
use super::table::Table;
use polars::prelude::{
    CsvParseOptions, CsvReadOptions, DataType, Field, PlSmallStr, PolarsResult, Schema, SerReader,
};
use std::io::{self, Cursor, Read};
use std::sync::Arc;

/// True when polars reads such rows as the row reader does.
pub(super) fn suits(layout: &Layout) -> bool {
    layout.dialect.delimiter != b' '
        && !layout.quoted
        && layout.cells.0 == layout.cells.1
        && layout.columns.iter().all(|c| match c.role {
            Role::Time | Role::Index | Role::Value => !c.empty,
            Role::ExtraTime => false,
            Role::Skip => c.empty && c.decimals.is_none(),
        })
}

/// Appends full chunks of `chunk` bytes to the table. Gives back the text read but not taken.
///
/// # Errors
/// Faults of the reader.
pub(super) fn read_chunks<R: Read>(
    text: &mut R,
    layout: &Layout,
    table: &mut Table,
    limits: &Limits,
    chunk: usize,
) -> io::Result<Vec<u8>> {
    let mut buffer = Vec::new();
    loop {
        let wanted = chunk.saturating_sub(buffer.len());
        text.by_ref().take(wanted as u64).read_to_end(&mut buffer)?;
        if buffer.len() < chunk {
            return Ok(buffer);
        }
        let Some(end) = last_line_end(&buffer) else {
            return Ok(buffer);
        };
        if !take(&buffer[..=end], layout, table, limits) {
            return Ok(buffer);
        }
        buffer.drain(..=end);
    }
}

fn last_line_end(text: &[u8]) -> Option<usize> {
    text.iter().rposition(|&b| b == b'\n')
}

/// Appends one chunk of whole lines; false, with the table untouched, when anything in it is out of the ordinary.
fn take(chunk: &[u8], layout: &Layout, table: &mut Table, limits: &Limits) -> bool {
    let rows = chunk.iter().filter(|&&b| b == b'\n').count();
    let per_row = table.values.len() + usize::from(table.time.is_some());
    if (table.rows + rows) * per_row > limits.numbers {
        return false;
    }
    let wanted: Vec<usize> = table
        .time
        .iter()
        .map(|c| c.column)
        .chain(table.values.iter().map(|c| c.column))
        .collect();
    let Ok(columns) = parse(chunk, layout, &wanted) else {
        return false;
    };
    let ordinary = |v: &f64| v.is_finite() && v.abs() < 9.9e37;
    if columns
        .iter()
        .any(|c| c.len() != rows || !c.iter().all(ordinary))
    {
        return false;
    }
    let mut columns = columns.into_iter();
    table.lines.note(table.rows, layout.first_line + table.rows);
    if let Some(time) = &mut table.time {
        time.values.extend(columns.next().unwrap_or_default());
        let column = time.column;
        let digits = chunk
            .split(|&b| b == b'\n')
            .filter_map(|line| line.split(|&b| b == layout.dialect.delimiter).nth(column))
            .map(cell::significant_digits)
            .max();
        table.time_digits = table.time_digits.max(digits.unwrap_or(0));
    }
    for (column, values) in table.values.iter_mut().zip(columns) {
        column.values.extend(values);
    }
    table.rows += rows;
    true
}

/// The wanted columns of a chunk; an empty vector for one with missing cells.
fn parse(chunk: &[u8], layout: &Layout, wanted: &[usize]) -> PolarsResult<Vec<Vec<f64>>> {
    let name = |column: usize| PlSmallStr::from(format!("c{column}"));
    let schema: Schema = (0..layout.columns.len())
        .map(|column| {
            let kind = if wanted.contains(&column) {
                DataType::Float64
            } else {
                DataType::String
            };
            Field::new(name(column), kind)
        })
        .collect();
    let options = CsvParseOptions::default()
        .with_separator(layout.dialect.delimiter)
        .with_quote_char(None)
        .with_decimal_comma(layout.dialect.decimal == b',')
        .with_eol_char(b'\n');
    let frame = CsvReadOptions::default()
        .with_has_header(false)
        .with_schema(Some(Arc::new(schema)))
        .with_parse_options(options)
        .with_rechunk(true)
        .into_reader_with_file_handle(Cursor::new(chunk))
        .finish()?;
    wanted
        .iter()
        .map(|&column| {
            let column = frame.column(&name(column))?.f64()?;
            Ok(if column.null_count() > 0 {
                Vec::new()
            } else {
                column.into_no_null_iter().collect()
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::layout::Column;
    use super::super::sniff::Dialect;
    use super::super::table;
    use super::*;

    fn layout(delimiter: u8, decimal: u8) -> Layout {
        let column = |role| Column {
            role,
            name: None,
            unit_text: None,
            decimals: None,
            empty: role == Role::Skip,
        };
        Layout {
            dialect: Dialect::new(delimiter, decimal),
            quoted: false,
            first_line: 3,
            first_offset: 0,
            columns: [Role::Time, Role::Value, Role::Value, Role::Skip]
                .map(column)
                .into(),
            cells: (4, 4),
            facts: Vec::new(),
            why: Vec::new(),
        }
    }

    /// Rows taken of three, for a table in one dialect whose middle row is given.
    fn taken(delimiter: u8, decimal: u8, middle: &str) -> usize {
        let layout = layout(delimiter, decimal);
        assert!(suits(&layout));
        let text = format!("0.25,1.5,-2e-3,\n{middle}\n+0.75,.5,7,\n");
        let text = text
            .replace(',', ";")
            .replace('.', if decimal == b',' { "," } else { "." })
            .replace(';', &char::from(delimiter).to_string());
        let mut table = table::empty(&layout);
        if take(text.as_bytes(), &layout, &mut table, &Limits::default()) {
            assert_eq!(table.lines.line(1), 4);
            assert_eq!(table.time_digits, 2);
            let time = table.time.expect("time");
            assert_eq!(time.values, [0.25, 0.5, 0.75]);
            assert_eq!(table.values[0].values, [1.5, 100.0, 0.5]);
            assert_eq!(table.values[1].values, [-2e-3, 3.0, 7.0]);
        }
        table.rows
    }

    #[test]
    fn a_regular_chunk_is_taken_whole() {
        for (delimiter, decimal) in [(b',', b'.'), (b';', b','), (b'\t', b'.')] {
            assert_eq!(taken(delimiter, decimal, "0.5,1e2,3,"), 3);
        }
    }

    #[test]
    fn a_chunk_with_an_odd_cell_is_left_alone() {
        for middle in [
            "0.5,,3,",
            "0.5,nan,3,",
            "0.5,inf,3,",
            "0.5,x,3,",
            "0.5,9.9e37,3,",
            "0.5,1",
            "",
            "0.5,1,2,3,4,5",
        ] {
            assert_eq!(taken(b',', b'.', middle), 0, "{middle}");
        }
    }
}
