//! A large regular table, read in blocks of whole lines: the chunks of a block on all threads while the next block is read.
//!
//! Only chunks without a single odd cell are taken; the first chunk with one, all after it and the last of the file are
//! handed back to be read row by row, so that places in messages stay exact and the result is the same.

use super::chunk::{Chunk, RowPlan};
use super::table::Table;
use crate::capture::layout::{Cells, Layout, Role};
use crate::capture::read::options::Limits;
use memchr::{memchr, memrchr};
use rayon::prelude::*;
use std::io::{self, Read};

/// Chunks in a block.
const CHUNKS: usize = 8;

/// True when the rows can be read in chunks.
pub fn is_regular(layout: &Layout) -> bool {
    let dialect = layout.dialect;
    dialect.delimiter != b' '
        && dialect.delimiter != dialect.decimal
        && !layout.quoted
        && layout.unit_columns.is_empty()
        && layout.cells.0 == layout.cells.1
        && layout.columns.len() == layout.cells.1
        && layout.columns.iter().all(|c| c.cells == Cells::Numbers)
        && layout.columns.iter().all(|c| match c.role {
            Role::Time | Role::Index | Role::Value => !c.empty,
            Role::ExtraTime => false,
            Role::Skip => true,
        })
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

impl Filled {
    fn fault(self) -> Option<io::Error> {
        match self {
            Filled::Fault(error) => Some(error),
            Filled::Full | Filled::Ended => None,
        }
    }
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

/// What was read but not taken, and the fault that comes after it.
#[derive(Debug)]
pub struct Left {
    pub text: Vec<u8>,
    pub fault: Option<io::Error>,
    /// Bytes taken, all before `text`.
    pub taken: usize,
}

/// What the chunks are read by.
#[derive(Clone, Copy)]
pub struct ChunkRules<'a> {
    pub layout: &'a Layout,
    pub limits: &'a Limits,
    pub chunk_bytes: usize,
    /// How long the text is, where that is known.
    pub text_bytes: Option<u64>,
}

/// Appends full chunks to the table; line ends are LF or CR LF.
pub fn read_chunks<R: Read>(text: &mut R, table: &mut Table, rules: ChunkRules) -> Left {
    let size = rules.chunk_bytes * CHUNKS;
    let plan = RowPlan::new(rules.layout, table);
    let mut now = Block::default();
    let mut next = Block::default();
    let mut state = now.fill(text, size);
    let mut total = 0;
    loop {
        // Of the last block the last chunk stays, so that the end of the file is judged row by row.
        let most = match state {
            Filled::Full => now.length,
            Filled::Ended => now.length.saturating_sub(rules.chunk_bytes),
            Filled::Fault(_) => 0,
        };
        let end = memrchr(b'\n', &now.text()[..most]).map_or(0, |at| at + 1);
        next.begin_with(&now.text()[end..], size);
        let mut after = None;
        let mut taken = 0;
        if end > 0 {
            rayon::in_place_scope(|scope| {
                scope.spawn(|_| taken = take(&now.bytes[..end], &plan, table, rules));
                if matches!(state, Filled::Full) {
                    after = Some(next.fill(text, size));
                }
            });
        }
        if total == 0
            && taken > 0
            && let Some(bytes) = rules.text_bytes
        {
            make_room(table, bytes as f64 / taken as f64, rules.limits);
        }
        total += taken;
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
                    fault: before.fault().or(after.and_then(Filled::fault)),
                    taken: total,
                };
            }
        }
    }
}

/// Makes room for `times` as many rows as there are, so that columns need not move while they grow: a move holds both
/// the old and the new. Room that is not used costs no memory; where it cannot be had the columns grow as they must.
fn make_room(table: &mut Table, times: f64, limits: &Limits) {
    let rows = (table.rows as f64 * times * 1.02) as usize;
    let rows = rows.min(limits.numbers / table.numbers_per_row().max(1));
    for column in &mut table.values {
        let more = rows.saturating_sub(column.values.len());
        let _ = column.values.try_reserve_exact(more);
    }
}

/// Appends a block of whole lines, chunk by chunk. Gives the bytes taken: all, or those before the first odd chunk.
fn take(block: &[u8], plan: &RowPlan, table: &mut Table, rules: ChunkRules) -> usize {
    let chunks = chunks_of(block, rules.chunk_bytes);
    let read: Vec<Option<Chunk>> = chunks
        .par_iter()
        .map(|text| Chunk::read(text, plan).filter(|_| !has_long_line(text, rules.limits)))
        .collect();
    let mut taken = 0;
    for (chunk, text) in read.into_iter().zip(&chunks) {
        let most = rules.limits.numbers;
        let fits = |c: &Chunk| (table.rows + c.rows) * table.numbers_per_row() <= most;
        let Some(chunk) = chunk.filter(fits) else {
            break;
        };
        append(chunk, rules.layout, table);
        taken += text.len();
    }
    taken
}

/// The block in chunks of at least `bytes` that end with a line.
fn chunks_of(block: &[u8], bytes: usize) -> Vec<&[u8]> {
    let mut chunks = Vec::with_capacity(CHUNKS + 1);
    let mut rest = block;
    while !rest.is_empty() {
        let wanted = bytes.min(rest.len());
        let end = memchr(b'\n', &rest[wanted - 1..]).map_or(rest.len(), |at| wanted + at);
        chunks.push(&rest[..end]);
        rest = &rest[end..];
    }
    chunks
}

fn has_long_line(text: &[u8], limits: &Limits) -> bool {
    let limit = limits.line_bytes;
    let long = |line: &[u8]| line.strip_suffix(b"\r").unwrap_or(line).len() > limit;
    text.len() > limit && text.split(|b| *b == b'\n').any(long)
}

fn append(chunk: Chunk, layout: &Layout, table: &mut Table) {
    table.lines.note(table.rows, layout.first_line + table.rows);
    if let (Some(time), Some(times)) = (&mut table.time, chunk.times) {
        time.push_chunk(times, chunk.time_digits);
    }
    for (column, values) in table.values.iter_mut().zip(chunk.values) {
        column.values.extend_from_slice(&values);
    }
    table.rows += chunk.rows;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::layout::{Column, Dialect};

    fn layout() -> Layout {
        let column = |role| Column {
            role,
            cells: Cells::Numbers,
            name: None,
            unit_text: None,
            decimals: None,
            exponents: false,
            codes: None,
            empty: role == Role::Skip,
            unread: None,
        };
        Layout {
            dialect: Dialect::new(b',', b'.'),
            quoted: false,
            whole_lines_quoted: false,
            first_line: 3,
            first_offset: 0,
            columns: [Role::Time, Role::Value, Role::Value, Role::Skip]
                .map(column)
                .into(),
            cells: (4, 4),
            facts: Vec::new(),
            refusal: None,
            unit_columns: Vec::new(),
            header_wider: None,
            why: Vec::new(),
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
        let layout = layout();
        assert!(is_regular(&layout));
        let rules = ChunkRules {
            layout: &layout,
            limits: &Limits::default(),
            chunk_bytes: 64,
            text_bytes: None,
        };
        let good: String = (0..500).map(|k| format!("{k}.5,{k},-{k}e-3,\n")).collect();
        for odd_at in [0, 1, 57, 200, 499] {
            let odd = good.replacen(&format!("{odd_at}.5,"), "odd,", 1);
            for text in [&good, &odd] {
                let mut table = Table::new(&layout);
                let mut reader = Spoiled(text.as_bytes(), 37);
                let left = read_chunks(&mut reader, &mut table, rules);
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
                assert_eq!(table.time.as_ref().unwrap().times().len(), table.rows);
                assert!(table.rows < 2 || table.lines.line(1) == 4);
            }
        }
    }
}
