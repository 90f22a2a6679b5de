//! The bulk of a large regular table, parsed in blocks of whole lines on all threads while the next block is read.
//!
//! Only pieces without a single odd cell are taken; the first piece with one, all after it and the last of the file are
//! handed back to be read row by row, so that places in messages stay exact and the result is the same.

use super::block::{Block, Filled};
use super::piece::{Parsed, Plan};
use super::table::Table;
use crate::capture::layout::{Layout, Role};
use crate::capture::options::Limits;
use memchr::{memchr, memrchr};
use rayon::prelude::*;
use std::io::{self, Read};

/// Pieces in a block.
const PIECES: usize = 8;

/// True when the rows can be read in bulk.
pub fn suits(layout: &Layout) -> bool {
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

/// What was read but not taken, and the fault that comes after it.
#[derive(Debug)]
pub struct Left {
    pub text: Vec<u8>,
    pub fault: Option<io::Error>,
    /// Bytes taken, all before `text`.
    pub taken: usize,
}

/// Appends full pieces of `piece` bytes to the table; line ends are LF or CR LF. `bytes`: how long the text is, where that is known.
pub fn read_blocks<R: Read>(
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
    let mut total = 0;
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
        if total == 0
            && taken > 0
            && let Some(bytes) = bytes
        {
            make_room(table, bytes as f64 / taken as f64, limits, plan.columns);
        }
        total += taken;
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
                    fault: fault(before).or(after.and_then(fault)),
                    taken: total,
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
    for (parsed, piece) in parsed.iter_mut().zip(&pieces) {
        if !parsed.good
            || (table.rows + parsed.rows) * plan.columns > limits.numbers
            || has_long_line(piece, limits.line_bytes)
        {
            break;
        }
        append(parsed, plan, layout, table);
        taken += piece.len();
    }
    taken
}

fn has_long_line(piece: &[u8], limit: usize) -> bool {
    let long = |line: &[u8]| line.strip_suffix(b"\r").unwrap_or(line).len() > limit;
    piece.len() > limit && piece.split(|b| *b == b'\n').any(long)
}

fn append(parsed: &mut Parsed, plan: &Plan, layout: &Layout, table: &mut Table) {
    table.lines.note(table.rows, layout.first_line + table.rows);
    if let Some(time) = &mut table.time {
        time.packed.extend(parsed.packed.take());
        table.time_digits = table.time_digits.max(parsed.time_digits);
    }
    for (column, values) in table.values.iter_mut().zip(parsed.values(plan)) {
        column.values.extend_from_slice(values);
    }
    table.rows += parsed.rows;
}

#[cfg(test)]
mod tests {
    use super::super::table;
    use super::*;
    use crate::capture::layout::{Column, Dialect};

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
