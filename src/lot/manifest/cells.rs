//! The cells of a CSV or Parquet table as text without blanks around it.

use crate::files::{LONGEST_LINE, LinesAtMost, open_regular};
use polars::prelude::*;
use std::borrow::Cow;
use std::io::{Cursor, Read};
use std::path::Path;

/// Reads a table, CSV unless its name ends in `.parquet`.
pub(super) fn read_cells(path: &Path) -> PolarsResult<DataFrame> {
    if path.extension().is_some_and(|ending| ending == "parquet") {
        read_parquet(path)
    } else {
        read_csv(path)
    }
}

fn read_csv(path: &Path) -> PolarsResult<DataFrame> {
    let mut bytes = Vec::new();
    LinesAtMost::new(open_regular(path)?, LONGEST_LINE).read_to_end(&mut bytes)?;
    // To polars a blank line is a row.
    let lines = bytes.split_inclusive(|&byte| byte == b'\n');
    let lines: Vec<&[u8]> = lines.filter(|line| !line.trim_ascii().is_empty()).collect();
    let table = CsvReadOptions::default()
        .with_infer_schema_length(Some(0))
        .with_raise_if_empty(false)
        .map_parse_options(|options| options.with_comment_prefix(Some("#")))
        .into_reader_with_file_handle(Cursor::new(lines.concat()))
        .finish()?;
    trimmed(&table)
}

fn read_parquet(path: &Path) -> PolarsResult<DataFrame> {
    let table = ParquetReader::new(open_regular(path)?).finish()?;
    let columns = table.try_apply_columns(|column| column.cast(&DataType::String))?;
    trimmed(&DataFrame::new(table.height(), columns)?)
}

/// The table without blanks around names and cells.
fn trimmed(table: &DataFrame) -> PolarsResult<DataFrame> {
    let columns = table.try_apply_columns(|column| {
        let cells = column
            .str()?
            .apply_values(|text| Cow::Borrowed(text.trim()));
        let name = column.name().trim();
        Ok(cells.with_name(name.into()).into_column())
    })?;
    DataFrame::new(table.height(), columns)
}
