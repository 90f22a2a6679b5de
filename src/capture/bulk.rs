//! The bulk of a large regular table, parsed in blocks of whole lines on all threads while the next block is read.
//!
//! Only pieces without a single odd cell are taken; the first piece with one, all after it and the last of the file are
//! handed back to be read row by row, so that places in messages stay exact and the result is the same.

use super::cell::{self, Cell};
use super::digits::printed;
use super::layout::{Layout, Role};
use super::options::Limits;
use super::table::Table;
use super::times::Packed;
use memchr::{memchr, memchr2, memrchr};
use rayon::prelude::*;
use std::io::{self, Read};

/// Pieces in a block.
const PIECES: usize = 8;
/// Sizes from here on are marks, not numbers (see [`cell::parse`]).
const LARGEST: f64 = 9.9e37;

/// True when the rows can be read in bulk.
pub(super) fn suits(layout: &Layout) -> bool {
    layout.dialect.delimiter != b' '
        && !layout.quoted
        && layout.cells.0 == layout.cells.1
        && layout.columns.len() == layout.cells.1
        && layout.columns.iter().all(|c| match c.role {
            Role::Time | Role::Index | Role::Value => !c.empty,
            Role::ExtraTime => false,
            Role::Skip => true,
        })
}

/// What was read but not taken: text to be read again, and the fault that comes after it.
#[derive(Default)]
pub(super) struct Left {
    text: Vec<u8>,
    at: usize,
    fault: Option<io::Error>,
}

impl Read for Left {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.at < self.text.len() {
            let count = (&self.text[self.at..]).read(buffer)?;
            self.at += count;
            return Ok(count);
        }
        match self.fault.take() {
            Some(error) => Err(error),
            None => Ok(0),
        }
    }
}

/// Appends full pieces of `piece` bytes to the table. `bytes`: how long the text is, where that is known.
pub(super) fn read_blocks<R: Read>(
    text: &mut R,
    layout: &Layout,
    table: &mut Table,
    limits: &Limits,
    piece: usize,
    bytes: Option<u64>,
) -> Left {
    let size = piece * PIECES;
    let plan = Plan::new(layout, table);
    let mut parsed: Vec<Parsed> = Vec::new();
    let mut now = Block::default();
    let mut next = Block::default();
    let mut state = now.fill(text, size);
    let mut first = true;
    loop {
        // Of the last block the last piece stays, so that the end of the file is judged row by row.
        let end = match state {
            Filled::Full => memrchr(b'\n', now.text()),
            Filled::Ended => {
                let most = now.length.saturating_sub(piece);
                memrchr(b'\n', &now.text()[..most])
            }
            Filled::Fault(_) => None,
        }
        .map_or(0, |at| at + 1);
        next.begin_with(&now.text()[end..], size);
        let mut after = None;
        let mut taken = 0;
        if end > 0 {
            rayon::in_place_scope(|scope| {
                scope.spawn(|_| {
                    taken = take(
                        &now.bytes[..end],
                        piece,
                        layout,
                        &plan,
                        table,
                        limits,
                        &mut parsed,
                    );
                });
                if matches!(state, Filled::Full) {
                    after = Some(next.fill(text, size));
                }
            });
        }
        if std::mem::take(&mut first)
            && taken > 0
            && let Some(bytes) = bytes
        {
            make_room(table, bytes as f64 / taken as f64, limits, plan.columns);
        }
        let fault = |filled| match filled {
            Filled::Fault(error) => Some(error),
            _ => None,
        };
        match (state, after) {
            (Filled::Full, Some(filled)) if taken == end => {
                state = filled;
                std::mem::swap(&mut now, &mut next);
            }
            (before, after) => {
                let mut text = now.bytes[taken..end].to_vec();
                text.extend_from_slice(next.text());
                return Left {
                    text,
                    at: 0,
                    fault: fault(before).or(after.and_then(fault)),
                };
            }
        }
    }
}

/// Makes room for `times` as many rows as there are, so that columns need not move while they grow: a move holds both
/// the old and the new. Room that is not used costs no memory; where it cannot be had the columns grow as they must.
fn make_room(table: &mut Table, times: f64, limits: &Limits, columns: usize) {
    let rows = (table.rows as f64 * times * 1.02) as usize;
    let rows = rows.min(limits.numbers / columns.max(1));
    for column in &mut table.values {
        let more = rows.saturating_sub(column.values.len());
        let _ = column.values.try_reserve_exact(more);
    }
}

/// A buffer whose first `length` bytes are text.
#[derive(Default)]
struct Block {
    bytes: Vec<u8>,
    length: usize,
}

enum Filled {
    Full,
    Ended,
    Fault(io::Error),
}

impl Block {
    fn text(&self) -> &[u8] {
        &self.bytes[..self.length]
    }

    fn begin_with(&mut self, text: &[u8], size: usize) {
        if self.bytes.len() < size {
            self.bytes.resize(size, 0);
        }
        self.bytes[..text.len()].copy_from_slice(text);
        self.length = text.len();
    }

    fn fill<R: Read>(&mut self, text: &mut R, size: usize) -> Filled {
        if self.bytes.len() < size {
            self.bytes.resize(size, 0);
        }
        while self.length < size {
            match text.read(&mut self.bytes[self.length..size]) {
                Ok(0) => return Filled::Ended,
                Ok(count) => self.length += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Filled::Fault(error),
            }
        }
        Filled::Full
    }
}

/// What becomes of each cell of a row.
struct Plan {
    /// One entry a cell: the place among the kept columns.
    seats: Vec<Option<usize>>,
    /// Kept columns, time first where there is one.
    columns: usize,
    has_time: bool,
    delimiter: u8,
    decimal: u8,
}

impl Plan {
    fn new(layout: &Layout, table: &Table) -> Plan {
        let kept: Vec<usize> = table
            .time
            .iter()
            .chain(&table.values)
            .map(|c| c.column)
            .collect();
        Plan {
            seats: (0..layout.columns.len())
                .map(|column| kept.iter().position(|&k| k == column))
                .collect(),
            columns: kept.len(),
            has_time: table.time.is_some(),
            delimiter: layout.dialect.delimiter,
            decimal: layout.dialect.decimal,
        }
    }
}

/// The numbers of one piece.
#[derive(Default)]
struct Parsed {
    columns: Vec<Vec<f64>>,
    rows: usize,
    /// Most significant digits printed in the time column.
    time_digits: u32,
    /// Digits of each time as a whole number, as long as all have one power of ten.
    marks: Vec<i64>,
    power: Option<i32>,
    times: Option<Packed>,
    good: bool,
}

impl Parsed {
    fn read(&mut self, piece: &[u8], plan: &Plan) {
        self.columns.resize_with(plan.columns, Vec::new);
        self.columns.iter_mut().for_each(Vec::clear);
        self.rows = 0;
        self.time_digits = 0;
        self.marks.clear();
        self.power = None;
        self.good = self.rows_of(piece, plan).is_some();
        self.times = match self.power {
            Some(power @ -18..=0) if self.good && self.marks.len() == self.rows => {
                Packed::new(&self.marks, -power as u8)
            }
            _ => None,
        };
    }

    /// `None` at the first odd cell.
    fn rows_of(&mut self, piece: &[u8], plan: &Plan) -> Option<()> {
        let mut rest = piece;
        let last = plan.seats.len() - 1;
        let mut most = 0u64;
        while !rest.is_empty() {
            for (cell, seat) in plan.seats.iter().enumerate() {
                let stop = if cell == last { b'\n' } else { plan.delimiter };
                let Some(seat) = *seat else {
                    let end = memchr(stop, rest)?;
                    if cell != last && memchr(b'\n', &rest[..end]).is_some() {
                        return None;
                    }
                    if cell == last && memchr(plan.delimiter, &rest[..end]).is_some() {
                        return None;
                    }
                    rest = &rest[end + 1..];
                    continue;
                };
                let is_time = plan.has_time && seat == 0;
                match printed(rest, plan.decimal) {
                    Some(number) if rest.get(number.length) == Some(&stop) => {
                        if number.value.abs() >= LARGEST {
                            return None;
                        }
                        if is_time {
                            most = most.max(number.digits);
                            if *self.power.get_or_insert(number.power) == number.power {
                                self.marks.extend(number.mark());
                            }
                        }
                        self.columns[seat].push(number.value);
                        rest = &rest[number.length + 1..];
                    }
                    _ => {
                        let end = memchr2(stop, b'\n', rest)?;
                        if rest.get(end) != Some(&stop) {
                            return None;
                        }
                        let text = &rest[..end];
                        let Cell::Number(value) = cell::parse(text, plan.decimal) else {
                            return None;
                        };
                        if is_time {
                            self.time_digits = self.time_digits.max(cell::significant_digits(text));
                        }
                        self.columns[seat].push(value);
                        rest = &rest[end + 1..];
                    }
                }
            }
            self.rows += 1;
        }
        if most > 0 {
            self.time_digits = self.time_digits.max(most.ilog10() + 1);
        }
        Some(())
    }
}

/// Appends a block of whole lines, piece by piece. Gives the bytes taken: all, or those before the first odd piece.
fn take(
    block: &[u8],
    piece: usize,
    layout: &Layout,
    plan: &Plan,
    table: &mut Table,
    limits: &Limits,
    parsed: &mut Vec<Parsed>,
) -> usize {
    let mut pieces: Vec<&[u8]> = Vec::with_capacity(PIECES + 1);
    let mut rest = block;
    while !rest.is_empty() {
        let wanted = piece.min(rest.len());
        let end = memchr(b'\n', &rest[wanted - 1..]).map_or(rest.len(), |at| wanted + at);
        pieces.push(&rest[..end]);
        rest = &rest[end..];
    }
    if parsed.len() < pieces.len() {
        parsed.resize_with(pieces.len(), Parsed::default);
    }
    parsed
        .par_iter_mut()
        .zip(&pieces)
        .for_each(|(parsed, piece)| parsed.read(piece, plan));
    let mut taken = 0;
    for (parsed, piece) in parsed.iter().zip(&pieces) {
        if !parsed.good || (table.rows + parsed.rows) * plan.columns > limits.numbers {
            break;
        }
        append(parsed, layout, table);
        taken += piece.len();
    }
    taken
}

fn append(parsed: &Parsed, layout: &Layout, table: &mut Table) {
    table.lines.note(table.rows, layout.first_line + table.rows);
    let mut columns = parsed.columns.iter();
    if let Some(time) = &mut table.time
        && let Some(times) = columns.next()
    {
        let packed = parsed.times.clone();
        time.packed
            .push(packed.unwrap_or_else(|| Packed::plain(times)));
        table.time_digits = table.time_digits.max(parsed.time_digits);
    }
    for (column, values) in table.values.iter_mut().zip(columns) {
        column.values.extend_from_slice(values);
    }
    table.rows += parsed.rows;
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
        let plan = Plan::new(&layout, &table);
        let limits = Limits::default();
        let mut parsed = Vec::new();
        let block = text.as_bytes();
        let bytes = take(
            block,
            1000,
            &layout,
            &plan,
            &mut table,
            &limits,
            &mut parsed,
        );
        assert_eq!(bytes, if table.rows > 0 { block.len() } else { 0 });
        if table.rows > 0 {
            assert_eq!(table.lines.line(1), 4);
            assert_eq!(table.time_digits, 2);
            let mut time = table.time.expect("time");
            time.unpack();
            assert_eq!(time.values, [0.25, 0.5, 0.75]);
            assert_eq!(table.values[0].values, [1.5, 100.0, 0.5]);
            assert_eq!(table.values[1].values, [-2e-3, 3.0, 7.0]);
        }
        table.rows
    }

    #[test]
    fn a_regular_piece_is_taken_whole() {
        for (delimiter, decimal) in [(b',', b'.'), (b';', b','), (b'\t', b'.')] {
            assert_eq!(taken(delimiter, decimal, "0.5,1e2,3,"), 3);
            assert_eq!(taken(delimiter, decimal, "0.5, 1e2 ,3, skipped"), 3);
        }
    }

    #[test]
    fn a_piece_with_an_odd_cell_is_left_alone() {
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

    /// Gives its text a few bytes at a time, then a fault.
    struct Spoiled<'a>(&'a [u8], usize);

    impl Read for Spoiled<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            if self.0.is_empty() {
                return Err(io::Error::other("spoiled"));
            }
            let count = self.1.min(buffer.len()).min(self.0.len());
            buffer[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }

    #[test]
    fn nothing_is_lost_between_what_is_taken_and_what_is_left() {
        let layout = layout(b',', b'.');
        let good: String = (0..500).map(|k| format!("{k}.5,{k},-{k}e-3,\n")).collect();
        for odd_at in [0, 1, 57, 200, 499] {
            let odd = good.replacen(&format!("{odd_at}.5,"), "odd,", 1);
            for text in [&good, &odd] {
                let mut table = table::empty(&layout);
                let mut reader = Spoiled(text.as_bytes(), 37);
                let left = read_blocks(
                    &mut reader,
                    &layout,
                    &mut table,
                    &Limits::default(),
                    64,
                    None,
                );
                assert!(left.fault.is_some() || !reader.0.is_empty());
                let first: Vec<&str> = text.lines().take(table.rows).collect();
                let kept = format!("{}\n", first.join("\n"));
                let kept = if table.rows == 0 { "" } else { &kept };
                let rest = [left.text.as_slice(), reader.0].concat();
                assert_eq!(
                    format!("{kept}{}", String::from_utf8(rest).unwrap()),
                    **text
                );
                assert!(table.rows <= if text == &odd { odd_at } else { 500 });
                assert_eq!(table.values[0].values.len(), table.rows);
            }
        }
    }
}
