//! Rows of the table, streamed into columns of numbers; what does not fit is counted with its place.

use crate::capture::cell::{self, Cell};
use crate::capture::error::ReadError;
use crate::capture::layout::{self, Dialect, Layout, Role};
use crate::capture::options::Limits;
use crate::capture::time::{Packed, Times};
use std::io::Read;
use std::path::Path;

/// Text in a column of numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct BadCells {
    pub count: usize,
    pub line: usize,
    pub text: String,
}

/// One column as read, in the unit of the file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RawColumn {
    /// 0-based column in the file.
    pub column: usize,
    /// Of a column of times: those of the first rows, held small.
    pub packed: Vec<Packed>,
    pub values: Vec<f64>,
    pub missing: usize,
    pub overrange: Vec<(usize, bool)>,
    pub bad: Option<BadCells>,
}

impl RawColumn {
    /// Brings all times back to numbers.
    pub fn unpack(&mut self) {
        if !self.packed.is_empty() {
            self.values = Times::new(&self.packed, &self.values).to_vec();
            self.packed.clear();
        }
    }

    /// Keeps one cell.
    #[inline]
    pub fn push(&mut self, text: &[u8], decimal: u8, line: usize) {
        let value = match cell::parse(text, decimal) {
            Cell::Number(value) => value,
            other => {
                self.missing += 1;
                match other {
                    Cell::Overrange(positive) => {
                        self.overrange.push((self.values.len(), positive));
                    }
                    Cell::Text => match &mut self.bad {
                        Some(bad) => bad.count += 1,
                        None => {
                            self.bad = Some(BadCells {
                                count: 1,
                                line,
                                text: String::from_utf8_lossy(&text[..text.len().min(40)])
                                    .into_owned(),
                            });
                        }
                    },
                    _ => {}
                }
                f64::NAN
            }
        };
        self.values.push(value);
    }
}

/// Lines of rows: row k stands at `line - row` of the last run at or before it. Runs change only at skipped lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineMap(Vec<(usize, usize)>);

impl LineMap {
    #[inline]
    pub fn note(&mut self, row: usize, line: usize) {
        if self.0.last().is_none_or(|&(r, l)| l + (row - r) != line) {
            self.0.push((row, line));
        }
    }

    /// 1-based line of a row.
    pub fn line(&self, row: usize) -> usize {
        let at = self.0.partition_point(|&(r, _)| r <= row);
        self.0
            .get(at.wrapping_sub(1))
            .map_or(0, |&(r, l)| l + (row - r))
    }
}

/// Rows that do not fit.
#[derive(Clone, Debug, PartialEq)]
pub struct BadRows {
    pub count: usize,
    /// Line, number of cells and text of the first.
    pub line: usize,
    pub cells: usize,
    pub text: String,
}

/// Where the layout changes in mid-file.
#[derive(Clone, Debug, PartialEq)]
pub struct LayoutChange {
    pub line: usize,
    pub dialect: Dialect,
    /// Rows in the other layout, to the end of the file.
    pub rows: usize,
}

/// The last row, cut short.
#[derive(Clone, Debug, PartialEq)]
pub struct Truncated {
    pub line: usize,
    pub column: usize,
    pub cells: usize,
    pub text: String,
}

/// The table as read, before time is judged.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    pub rows: usize,
    pub lines: LineMap,
    pub time: Option<RawColumn>,
    /// Most significant digits printed in the time column.
    pub time_digits: u32,
    pub values: Vec<RawColumn>,
    /// Largest difference of a further time column from the first, with its column and line.
    pub time_disagrees: Option<(usize, usize, f64)>,
    pub bad_rows: Option<BadRows>,
    pub change: Option<LayoutChange>,
    pub truncated: Option<Truncated>,
    /// First line and number of lines of text under the table.
    pub footer: Option<(usize, usize)>,
}

impl Table {
    /// Keeps only the given rows, in order.
    pub fn keep(&mut self, rows: &[usize]) {
        let mut lines = LineMap::default();
        for (at, &row) in rows.iter().enumerate() {
            lines.note(at, self.lines.line(row));
        }
        for column in &mut self.values {
            column.values = rows.iter().map(|&row| column.values[row]).collect();
            column.missing = column.values.iter().filter(|v| v.is_nan()).count();
            column.overrange = column
                .overrange
                .iter()
                .filter_map(|&(row, positive)| {
                    rows.binary_search(&row).ok().map(|at| (at, positive))
                })
                .collect();
        }
        self.rows = rows.len();
        self.lines = lines;
    }
}

/// A row that did not fit, held back until it is known whether more follows.
struct Pending {
    line: usize,
    cells: usize,
    text: Vec<u8>,
}

/// A table without rows, its columns as the layout has them.
pub fn empty(layout: &Layout) -> Table {
    let raw = |column: usize| RawColumn {
        column,
        ..RawColumn::default()
    };
    Table {
        time: layout.time_column().map(raw),
        values: layout
            .columns
            .iter()
            .enumerate()
            .filter(|(_, c)| c.role == Role::Value)
            .map(|(column, _)| raw(column))
            .collect(),
        ..Table::default()
    }
}

/// Reads all rows that follow those in `table` from `text`, which starts at line `first_line`.
///
/// # Errors
/// Faults of the reader chain, limits passed, or too many rows that do not fit.
pub fn read_rows<R: Read>(
    path: &Path,
    text: R,
    first_line: usize,
    layout: &Layout,
    limits: &Limits,
    mut table: Table,
    open_end: impl Fn() -> bool,
) -> Result<Table, ReadError> {
    let dialect = layout.dialect;
    let spaces = dialect.delimiter == b' ';
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .quoting(layout.quoted)
        .delimiter(dialect.delimiter)
        .terminator(csv::Terminator::Any(b'\n'))
        .buffer_capacity(1 << 16)
        .from_reader(text);
    let time_column = layout.time_column();
    let extra: Vec<usize> = (0..layout.columns.len())
        .filter(|&c| layout.columns[c].role == Role::ExtraTime)
        .collect();
    let per_row = table.values.len() + usize::from(table.time.is_some());
    let time_may_be_blank = time_column.is_some_and(|c| layout.columns[c].empty);
    let mut record = csv::ByteRecord::new();
    let mut compact = csv::ByteRecord::new();
    let mut previous = csv::ByteRecord::new();
    let mut pending: Vec<Pending> = Vec::new();
    let (fewest, most) = layout.cells;

    while reader
        .read_byte_record(&mut record)
        .map_err(|error| from_csv(path, error))?
    {
        // Every line ends in one LF here, so the line just read is the one before the reader's place.
        let line = first_line + reader.position().line() as usize - 2;
        if spaces {
            compact.clear();
            record
                .iter()
                .filter(|c| !c.is_empty())
                .for_each(|c| compact.push_field(c));
            std::mem::swap(&mut record, &mut compact);
        }
        let cells = record.len();
        if cells > limits.columns {
            return Err(ReadError::TooManyColumns {
                path: path.to_path_buf(),
                line,
                found: cells,
                limit: limits.columns,
            });
        }
        if !fits(
            &record,
            cells,
            fewest,
            most,
            time_column,
            time_may_be_blank,
            dialect,
        ) {
            if record.iter().all(|c| cell::trim(c).is_empty()) {
                continue;
            }
            let text = join(&record, dialect.delimiter);
            let numbers = per_row;
            if let Some(other) = layout::dialect_of_row(&text, numbers, dialect) {
                let mut rows = 1;
                while reader
                    .read_byte_record(&mut record)
                    .map_err(|error| from_csv(path, error))?
                {
                    rows += 1;
                }
                table.change = Some(LayoutChange {
                    line,
                    dialect: other,
                    rows,
                });
                break;
            }
            if pending.len() < 2 {
                pending.push(Pending { line, cells, text });
            } else {
                note_bad(&mut table, pending.remove(0));
                pending.push(Pending { line, cells, text });
            }
            continue;
        }
        for bad in pending.drain(..) {
            note_bad(&mut table, bad);
        }
        if (table.rows + 1) * per_row > limits.numbers {
            return Err(ReadError::TooManyNumbers {
                path: path.to_path_buf(),
                line,
                limit: limits.numbers,
            });
        }
        table.lines.note(table.rows, line);
        if let Some(time) = &mut table.time {
            let text = record.get(time.column).unwrap_or_default();
            time.push(text, dialect.decimal, line);
            table.time_digits = table.time_digits.max(cell::significant_digits(text));
            for &column in &extra {
                let other = cell::parse(record.get(column).unwrap_or_default(), dialect.decimal);
                if let (Cell::Number(other), Some(&here)) = (other, time.values.last())
                    && other != here
                    && table.time_disagrees.is_none()
                {
                    table.time_disagrees = Some((column, line, other - here));
                }
            }
        }
        for column in &mut table.values {
            column.push(
                record.get(column.column).unwrap_or_default(),
                dialect.decimal,
                line,
            );
        }
        table.rows += 1;
        std::mem::swap(&mut record, &mut previous);
    }
    // At the end of the text the reader leaves an empty record; the row before it was swapped away.
    finish(path, table, pending, layout, &previous, open_end)
}

/// True when the row can be kept: a known number of cells and a time that is a number.
#[inline]
fn fits(
    record: &csv::ByteRecord,
    cells: usize,
    fewest: usize,
    most: usize,
    time: Option<usize>,
    time_may_be_blank: bool,
    dialect: Dialect,
) -> bool {
    let width = cells >= fewest
        && (cells <= most || record.iter().skip(most).all(|c| cell::trim(c).is_empty()));
    if !width {
        return false;
    }
    match time {
        Some(column) => {
            match cell::parse(record.get(column).unwrap_or_default(), dialect.decimal) {
                Cell::Number(_) => true,
                Cell::Text => false,
                _ => time_may_be_blank && record.iter().any(|c| !cell::trim(c).is_empty()),
            }
        }
        // Without time a row counts when any cell says something that is no text.
        None => record
            .iter()
            .any(|c| !matches!(cell::parse(c, dialect.decimal), Cell::Blank | Cell::Text)),
    }
}

fn join(record: &csv::ByteRecord, delimiter: u8) -> Vec<u8> {
    let mut text = Vec::new();
    for (k, cell) in record.iter().enumerate() {
        if k > 0 {
            text.push(delimiter);
        }
        text.extend_from_slice(&cell[..cell.len().min(200)]);
        if text.len() > 2000 {
            break;
        }
    }
    text
}

fn note_bad(table: &mut Table, row: Pending) {
    match &mut table.bad_rows {
        Some(bad) => bad.count += 1,
        None => {
            table.bad_rows = Some(BadRows {
                count: 1,
                line: row.line,
                cells: row.cells,
                text: String::from_utf8_lossy(&row.text).into_owned(),
            });
        }
    }
}

/// Judges the end of the file: a row cut short, text under the table, or bad rows.
fn finish(
    path: &Path,
    mut table: Table,
    mut pending: Vec<Pending>,
    layout: &Layout,
    last: &csv::ByteRecord,
    open_end: impl Fn() -> bool,
) -> Result<Table, ReadError> {
    let open = open_end() && table.change.is_none();
    let numeric_start = |row: &Pending| {
        layout
            .dialect
            .split(&row.text)
            .first()
            .is_some_and(|c| !matches!(cell::parse(c, layout.dialect.decimal), Cell::Text))
    };
    if pending.len() == 1
        && let Some(row) = pending.pop()
    {
        if numeric_start(&row) && row.cells <= layout.cells.1 {
            table.truncated = Some(Truncated {
                line: row.line,
                column: row.cells,
                cells: row.cells,
                text: String::from_utf8_lossy(&row.text).into_owned(),
            });
        } else {
            table.footer = Some((row.line, 1));
        }
    } else if let Some(first) = pending.first().map(|p| p.line)
        && table.bad_rows.is_none()
        && !pending.iter().any(numeric_start)
    {
        table.footer = Some((first, pending.len()));
    } else {
        for row in pending {
            note_bad(&mut table, row);
        }
    }
    if open && table.truncated.is_none() && table.footer.is_none() && table.rows > 1 {
        drop_cut_row(&mut table, layout, last);
    }
    if let Some(bad) = &table.bad_rows
        && (table.rows == 0 || bad.count > 5.max(table.rows / 100))
    {
        return Err(ReadError::TooManyBadRows {
            path: path.to_path_buf(),
            line: bad.line,
            count: bad.count,
            rows: table.rows + bad.count,
            found: bad.cells,
            expected: layout.cells.1,
        });
    }
    Ok(table)
}

/// A last row without line end may have lost digits: told by a last cell printed shorter than all above it.
fn drop_cut_row(table: &mut Table, layout: &Layout, last: &csv::ByteRecord) {
    let row = table.rows - 1;
    let line = table.lines.line(row);
    let Some(last_column) = last.len().checked_sub(1) else {
        return;
    };
    let text = last.get(last_column).unwrap_or_default();
    let expected = layout.columns.get(last_column).and_then(|c| c.decimals);
    let (Some(expected), Some(found)) = (
        expected.filter(|&d| d > 0),
        cell::decimals(text, layout.dialect.decimal),
    ) else {
        return;
    };
    if found >= expected {
        return;
    }
    if let Some(time) = &mut table.time {
        if time.values.is_empty() {
            time.unpack();
        }
        time.values.pop();
    }
    for column in &mut table.values {
        if column.values.pop().is_some_and(f64::is_nan) {
            column.missing -= 1;
        }
        column.overrange.retain(|&(at, _)| at < row);
    }
    table.rows = row;
    table.truncated = Some(Truncated {
        line,
        column: last_column + 1,
        cells: last_column + 1,
        text: String::from_utf8_lossy(text).into_owned(),
    });
}

fn from_csv(path: &Path, error: csv::Error) -> ReadError {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => ReadError::from_io(path, error),
        // Bytes are read without UTF-8 checks and with flexible lengths: nothing else can go wrong.
        other => ReadError::Io {
            path: path.to_path_buf(),
            source: std::io::Error::other(format!("{other:?}")),
        },
    }
}
