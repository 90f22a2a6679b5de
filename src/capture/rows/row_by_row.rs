//! Rows read one by one: every cell judged, and every row that does not fit counted with its line.

use super::last_rows::{Misfit, judge_last_rows, note_bad};
use super::table::{LayoutChange, Table, TimeDifference};
use crate::capture::cell::{self, Cell, clock};
use crate::capture::layout::{self, Cells, Dialect, Layout, Role, too_many_columns};
use crate::capture::read::options::Limits;
use crate::capture::record::error::ReadError;
use crate::capture::wording::ReadErrorKind;
use std::io::Read;
use std::path::Path;

/// So many lines at the end may be text under the table.
const MOST_FOOTER_LINES: usize = 64;

/// What the rows are read by.
#[derive(Clone, Copy)]
pub struct RowRules<'a> {
    /// The file, as messages name it.
    pub path: &'a Path,
    pub layout: &'a Layout,
    pub limits: &'a Limits,
}

/// Reads all rows that follow those in `table` from `text`, which starts at line `first_line`. `open_end` is asked behind the last
/// row whether the text ended within a line.
///
/// # Errors
/// Faults of the reader chain, limits passed, or too many rows that do not fit.
pub fn read_rows<R: Read>(
    text: R,
    first_line: usize,
    table: Table,
    rules: RowRules,
    open_end: impl Fn() -> bool,
) -> Result<Table, ReadError> {
    let mut rows = Rows::new(text, first_line, table, rules);
    while let Some(line) = rows.next()? {
        if rows.fits() {
            rows.keep(line)?;
        } else if !rows.is_blank() && rows.set_aside(line)? == AfterMisfit::LayoutChanged {
            break;
        }
    }
    let mut table = rows.table;
    let open = open_end() && table.change.is_none();
    // At the end of the text the reader leaves an empty record; the row before it was swapped away.
    judge_last_rows(
        &mut table,
        rows.misfits,
        open.then_some(&rows.previous),
        rules.layout,
    );
    let bad = table.bad_rows.as_ref();
    match bad.filter(|bad| table.rows == 0 || bad.count > 5.max(table.rows / 100)) {
        Some(bad) => {
            let kind = ReadErrorKind::BadRows {
                bad: bad.count,
                rows: table.rows + bad.count,
                cells: bad.cells,
                expected: rules.layout.cells.1,
            };
            Err(ReadError::new(rules.path, bad.line, kind))
        }
        None => Ok(table),
    }
}

#[derive(PartialEq)]
enum AfterMisfit {
    GoOn,
    LayoutChanged,
}

struct Rows<'a, R> {
    rules: RowRules<'a>,
    dialect: Dialect,
    reader: csv::Reader<R>,
    first_line: usize,
    /// Further columns of time.
    extra_times: Vec<usize>,
    time_may_be_blank: bool,
    table: Table,
    /// Rows that did not fit, held back until it is known whether more follows.
    misfits: Vec<Misfit>,
    record: csv::ByteRecord,
    previous: csv::ByteRecord,
    spare: csv::ByteRecord,
}

impl<'a, R: Read> Rows<'a, R> {
    fn new(text: R, first_line: usize, table: Table, rules: RowRules<'a>) -> Rows<'a, R> {
        let layout = rules.layout;
        let columns = &layout.columns;
        let reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .quoting(layout.quoted)
            .delimiter(layout.dialect.delimiter)
            .terminator(csv::Terminator::Any(b'\n'))
            .buffer_capacity(1 << 16)
            .from_reader(text);
        Rows {
            rules,
            dialect: layout.dialect,
            reader,
            first_line,
            extra_times: (0..columns.len())
                .filter(|&c| columns[c].role == Role::ExtraTime)
                .collect(),
            time_may_be_blank: layout.time_column().is_some_and(|c| columns[c].empty),
            table,
            misfits: Vec::new(),
            record: csv::ByteRecord::new(),
            previous: csv::ByteRecord::new(),
            spare: csv::ByteRecord::new(),
        }
    }

    fn read(&mut self) -> Result<bool, ReadError> {
        let read = self.reader.read_byte_record(&mut self.record);
        read.map_err(|error| from_csv(self.rules.path, error))
    }

    /// Reads the next row; gives its line.
    fn next(&mut self) -> Result<Option<usize>, ReadError> {
        if !self.read()? {
            return Ok(None);
        }
        // Every line ends in one LF here, so the line just read is the one before the reader's place.
        let line = self.first_line + self.reader.position().line() as usize - 2;
        if self.dialect.delimiter == b' ' {
            self.spare.clear();
            let filled = self.record.iter().filter(|c| !c.is_empty());
            filled.for_each(|c| self.spare.push_field(c));
            std::mem::swap(&mut self.record, &mut self.spare);
        }
        self.split_again();
        let (found, limit) = (self.record.len(), self.rules.limits.columns);
        if found > limit {
            return Err(too_many_columns(self.rules.path, line, found, limit));
        }
        Ok(Some(line))
    }

    /// Splits a row that stands in one pair of quotation marks, and joins numbers that were cut at their decimal comma.
    fn split_again(&mut self) {
        let cells = match self.record.get(0) {
            Some(only) if self.rules.layout.whole_lines_quoted && self.record.len() == 1 => {
                let cells = self.dialect.split(only).into_iter();
                cells.map(|c| c.into_owned()).collect()
            }
            _ if self.dialect.comma_is_both() && !self.rules.layout.quoted => {
                layout::joined_at_decimals(self.record.iter())
            }
            _ => return,
        };
        self.record = csv::ByteRecord::from(cells);
    }

    fn cell(&self, column: usize) -> &[u8] {
        self.record.get(column).unwrap_or_default()
    }

    /// True where another unit stands in a column of units.
    fn has_other_unit(&self, column: usize, unit: &str) -> bool {
        let cell = cell::trim(self.cell(column));
        !cell.is_empty() && cell != unit.as_bytes()
    }

    fn is_blank(&self) -> bool {
        self.record.iter().all(|c| cell::trim(c).is_empty())
    }

    /// True for as many cells as the rows of the table have, blank ones behind them not counted.
    fn has_width(&self) -> bool {
        let record = &self.record;
        let (fewest, most) = self.rules.layout.cells;
        record.len() >= fewest
            && (record.len() <= most || record.iter().skip(most).all(|c| cell::trim(c).is_empty()))
    }

    /// True when the row can be kept: a known number of cells and a time that is a number.
    fn fits(&self) -> bool {
        let record = &self.record;
        if !self.has_width() {
            return false;
        }
        let decimal = self.dialect.decimal;
        match &self.table.time {
            Some(time) if time.cells == Cells::Clock => {
                clock::parse(cell::trim(self.cell(time.column))).is_some()
            }
            Some(time) => match cell::parse(self.cell(time.column), time.cells.mark(decimal)) {
                Cell::Number(_) => true,
                Cell::Quantity(..) => time.cells == Cells::Quantities,
                Cell::Text => false,
                _ => self.time_may_be_blank && !self.is_blank(),
            },
            // Without time a row counts when any cell says something that is no text.
            None => record
                .iter()
                .any(|c| !matches!(cell::parse(c, decimal), Cell::Blank | Cell::Text)),
        }
    }

    /// Holds a row that does not fit, or reads to the end where it starts another layout.
    fn set_aside(&mut self, line: usize) -> Result<AfterMisfit, ReadError> {
        let text = join(&self.record, self.dialect.delimiter);
        let numbers = self.table.numbers_per_row();
        if let Some(dialect) = layout::dialect_of_row(&text, numbers, self.dialect) {
            let mut rows = 1;
            while self.read()? {
                rows += 1;
            }
            self.table.change = Some(LayoutChange {
                line,
                dialect,
                rows,
            });
            return Ok(AfterMisfit::LayoutChanged);
        }
        if self.misfits.len() == MOST_FOOTER_LINES {
            note_bad(&mut self.table, self.misfits.remove(0));
        }
        let cells = self.record.len();
        let decimal = self.dialect.decimal;
        let is_number = |c: &[u8]| matches!(cell::parse(c, decimal), Cell::Number(_));
        self.misfits.push(Misfit {
            line,
            cells,
            text,
            text_only: cells > 1 && self.has_width() && !self.record.iter().any(is_number),
        });
        Ok(AfterMisfit::GoOn)
    }

    fn keep(&mut self, line: usize) -> Result<(), ReadError> {
        for misfit in self.misfits.drain(..) {
            note_bad(&mut self.table, misfit);
        }
        let limit = self.rules.limits.numbers;
        if (self.table.rows + 1) * self.table.numbers_per_row() > limit {
            let kind = ReadErrorKind::Numbers { limit };
            return Err(ReadError::new(self.rules.path, line, kind));
        }
        let units = &self.rules.layout.unit_columns;
        if let Some((column, _)) = units
            .iter()
            .find(|(at, unit)| self.has_other_unit(*at, unit))
        {
            let column = column + 1;
            let kind = ReadErrorKind::UnitsVary { column };
            return Err(ReadError::new(self.rules.path, line, kind).in_column(column));
        }
        let decimal = self.dialect.decimal;
        let cell = |column: usize| self.record.get(column).unwrap_or_default();
        let table = &mut self.table;
        table.lines.note(table.rows, line);
        if let Some(time) = &mut table.time {
            let here = time.push(cell(time.column), decimal);
            for &column in &self.extra_times {
                if let Cell::Number(other) = cell::parse(cell(column), decimal)
                    && other != here
                {
                    let by = other - here;
                    let differs = table.time_differs.get_or_insert(TimeDifference {
                        column,
                        line,
                        by,
                        at: here,
                        last: (by, here),
                    });
                    if differs.column == column {
                        differs.last = (by, here);
                    }
                }
            }
        }
        for column in &mut table.values {
            column.push(cell(column.column), decimal, line);
        }
        table.rows += 1;
        std::mem::swap(&mut self.record, &mut self.previous);
        Ok(())
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

fn from_csv(path: &Path, error: csv::Error) -> ReadError {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => ReadError::from_io(path, error),
        // Bytes are read without UTF-8 checks and with flexible lengths: nothing else can go wrong.
        other => ReadError::from_io(path, std::io::Error::other(format!("{other:?}"))),
    }
}
