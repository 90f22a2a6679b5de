//! Where the table of numbers stands in the first lines of a file, and in which dialect.
//!
//! Every pairing of delimiter and decimal mark is tried; the one under which the largest block of rows agrees on
//! which columns are numbers wins. Nothing here knows who made the file.

use super::dialect::{CellKind, DIALECTS, Dialect, NumberBlock, dialect_of_row, kind};
use super::preamble::key_and_unit;
use super::words::setting;
use crate::capture::cell;
use std::borrow::Cow;

/// One line of the head of a file, without its line end.
#[derive(Clone, Copy, Debug)]
pub struct Line<'a> {
    /// 1-based.
    pub number: usize,
    /// Byte at which the line starts in the head.
    pub start: usize,
    pub text: &'a [u8],
}

/// The table as found.
#[derive(Clone, Debug)]
pub struct Found {
    pub dialect: Dialect,
    pub block: NumberBlock,
    score: f64,
}

/// A key in words that states a setting of the record, perhaps with its unit.
fn is_setting_key(cell: &[u8]) -> bool {
    let key = std::str::from_utf8(cell::trim(cell)).unwrap_or_default();
    setting(key_and_unit(key).0).is_some_and(|(_, specific)| specific)
}

fn is_blank(line: &[u8]) -> bool {
    cell::trim(line).is_empty()
}

/// Integer with a leading zero, as a decimal comma leaves when it is taken for a delimiter.
fn has_leading_zero(cell: &[u8]) -> bool {
    let cell = cell::trim(cell);
    cell.len() > 1 && cell[0] == b'0' && cell.iter().all(u8::is_ascii_digit)
}

/// The best block of one dialect.
fn best_block(lines: &[Line], dialect: Dialect) -> Option<NumberBlock> {
    let mut best: Option<NumberBlock> = None;
    let mut current: Option<NumberBlock> = None;
    let mut close = |block: Option<NumberBlock>| {
        if let Some(block) = block
            && best.as_ref().is_none_or(|b| block.score() > b.score())
        {
            best = Some(block);
        }
    };
    for (at, line) in lines.iter().enumerate() {
        if is_blank(line.text) {
            continue;
        }
        let cells = dialect.split(line.text);
        let kinds: Vec<CellKind> = cells.iter().map(|c| kind(c, dialect.decimal)).collect();
        let is_setting = cells.len() < 4
            && kinds.starts_with(&[CellKind::Text, CellKind::Number])
            && current
                .as_ref()
                .is_none_or(|b| b.kinds[0] != CellKind::Text)
            && is_setting_key(&cells[0]);
        if is_setting || !kinds.contains(&CellKind::Number) {
            if kinds.contains(&CellKind::Text) {
                close(current.take());
            }
            continue;
        }
        if current.as_ref().is_some_and(|block| !block.takes(&kinds)) {
            close(current.take());
        }
        let block = current.get_or_insert_with(|| NumberBlock::new(at, kinds.clone()));
        block.add(at, &kinds);
        if dialect.delimiter == b',' && cells.iter().skip(1).any(|c| has_leading_zero(c)) {
            block.leading_zeros += 1;
        }
    }
    close(current);
    best
}

/// Finds the table in the head of a file, with the delimiter and the decimal mark that the user gives. `None` when no line holds
/// a number in any dialect.
pub fn find_table(lines: &[Line], delimiter: Option<u8>, decimal: Option<u8>) -> Option<Found> {
    let mut best: Option<Found> = None;
    for dialect in candidates(lines, delimiter, decimal) {
        let Some(found) = Found::best(lines, dialect) else {
            continue;
        };
        if found.score > 0.0 && best.as_ref().is_none_or(|best| found.score > best.score) {
            best = Some(found);
        }
    }
    let mut best = best?;
    extend_upward(lines, &mut best);
    let free = delimiter.is_none() && decimal.is_none();
    if let Some(mut above) = layout_above(lines, &best).filter(|_| free) {
        extend_upward(lines, &mut above);
        return Some(above);
    }
    Some(best)
}

/// True where nearly all lines of figures have commas with a blank behind them, and others within numbers (`0,5, 1,5`).
fn comma_is_both(lines: &[Line]) -> bool {
    let figures = |line: &&Line| {
        cell::trim(line.text)
            .first()
            .is_some_and(|b| b.is_ascii_digit() || *b == b'-')
    };
    let both = |line: &&Line| {
        let ends = |at: usize, is: fn(&u8) -> bool| line.text.get(at + 1).is_some_and(is);
        let commas = || memchr::memchr_iter(b',', line.text);
        let spaced = commas().any(|at| ends(at, |b| *b == b' '));
        spaced && commas().any(|at| ends(at, u8::is_ascii_digit)) && !line.text.contains(&b'.')
    };
    let rows = lines.iter().filter(figures).count();
    rows > 2 && lines.iter().filter(figures).filter(both).count() * 10 > rows * 9
}

/// Dialects worth a try.
fn candidates(lines: &[Line], delimiter: Option<u8>, decimal: Option<u8>) -> Vec<Dialect> {
    if let (Some(delimiter), Some(decimal)) = (delimiter, decimal) {
        return vec![Dialect::new(delimiter, decimal)];
    }
    let spaced = comma_is_both(lines);
    let hold = |byte: u8| lines.iter().any(|line| line.text.contains(&byte));
    let candidates: Vec<Dialect> = DIALECTS
        .into_iter()
        .filter(|d| delimiter.is_none_or(|wanted| d.delimiter == wanted))
        .filter(|d| decimal.is_none_or(|wanted| d.decimal == wanted))
        .filter(|d| !d.comma_is_both() || hold(b'"') || decimal.is_some() || spaced)
        .filter(|d| *d != Dialect::new(b',', b'.') || !spaced)
        .filter(|d| {
            // A delimiter no line holds adds nothing over the first one tried: a single column.
            d.delimiter == b','
                || (d.delimiter == b';' && d.decimal == b',')
                || delimiter.is_some()
                || hold(d.delimiter)
        })
        .collect();
    match delimiter {
        Some(delimiter) if candidates.is_empty() => {
            vec![Dialect::new(delimiter, b'.'), Dialect::new(delimiter, b',')]
        }
        _ => candidates,
    }
}

/// Rows in another dialect directly above: the layout changes in mid-file, and the first layout is the file's.
fn layout_above(lines: &[Line], best: &Found) -> Option<Found> {
    let block = &best.block;
    let numbers = block
        .kinds
        .iter()
        .filter(|&&k| k == CellKind::Number)
        .count();
    let above = &lines[..block.first];
    let row = above.iter().rfind(|l| !is_blank(l.text))?;
    let dialect = dialect_of_row(row.text, numbers, best.dialect)?;
    Found::best(above, dialect).filter(|found| found.block.rows > 2)
}

/// A preamble beside the numbers makes the first rows differ; a row belongs to the table when every column that is
/// a number all through the block is a number in it too. A few bad rows among good ones are passed over; they get a warning
/// when the rows are read. Words where a number is missing ([`is_dropout`]) belong to the table as well.
fn extend_upward(lines: &[Line], found: &mut Found) {
    let Some(lead) = found.block.solid.iter().position(|&solid| solid) else {
        return;
    };
    let mut bad = 0;
    // Rows above a line of text alone, which may be figures of a preamble above the names; from three on they are rows.
    let mut doubtful: Option<usize> = None;
    let mut dropouts = Vec::new();
    for at in (0..found.block.first).rev() {
        let line = lines[at].text;
        if is_blank(line) {
            continue;
        }
        let cells = found.dialect.split(line);
        let kinds: Vec<CellKind> = cells
            .iter()
            .map(|c| kind(c, found.dialect.decimal))
            .collect();
        // A setting with one value a channel, in the columns of the numbers.
        if lead > 0 && cells.get(lead - 1).is_some_and(|key| is_setting_key(key)) {
            break;
        }
        let same_width = cells.len() == found.block.kinds.len();
        let solid = found.block.solid.iter().zip(&kinds);
        let fits = same_width
            && solid
                .clone()
                .all(|(solid, kind)| !solid || *kind == CellKind::Number);
        if fits || (same_width && kinds[lead] == CellKind::Number && is_dropout(&cells, &kinds)) {
            let words = solid
                .enumerate()
                .filter(|(_, (s, k))| **s && **k != CellKind::Number);
            dropouts.extend(words.map(|(column, _)| column));
            doubtful = doubtful.map(|rows| rows + 1);
            if doubtful.is_none_or(|rows| rows >= 3) {
                found.block.first = at;
                doubtful = None;
            }
            bad = 0;
        } else if !(same_width && kinds[lead] == CellKind::Number) {
            let text = kinds.iter().all(|k| *k == CellKind::Text);
            doubtful = doubtful.or(text.then_some(0));
            bad += 1;
            if bad > 2 {
                break;
            }
        }
    }
    for column in dropouts {
        found.block.solid[column] = false;
    }
}

/// True for a row of numbers in which words without any digit stand for some of them (`0.001,n.m.,0.5`).
fn is_dropout(cells: &[Cow<[u8]>], kinds: &[CellKind]) -> bool {
    let word = |cell: &Cow<[u8]>| {
        let cell = cell::trim(cell);
        cell.len() <= 12 && !cell.iter().any(u8::is_ascii_digit)
    };
    cells
        .iter()
        .zip(kinds)
        .all(|(cell, kind)| *kind != CellKind::Text || word(cell))
}

impl Found {
    /// The best block of one dialect.
    fn best(lines: &[Line], dialect: Dialect) -> Option<Found> {
        let block = best_block(lines, dialect)?;
        Some(Found {
            dialect,
            score: block.score(),
            block,
        })
    }

    /// Moves the found block by lines that were left out of the search.
    pub fn shift(&mut self, lines: usize) {
        self.block.first += lines;
        self.block.last += lines;
    }

    /// Rows of the table that lie in the head, as cells.
    pub fn rows<'a, 'b>(
        &'b self,
        lines: &'b [Line<'a>],
    ) -> impl Iterator<Item = (usize, Vec<Cow<'a, [u8]>>)> + 'b {
        lines[self.block.first..=self.block.last]
            .iter()
            .filter(|line| !is_blank(line.text))
            .map(|line| (line.number, self.dialect.split(line.text)))
            .filter(|(_, cells)| {
                self.block.solid.iter().enumerate().all(|(column, solid)| {
                    !solid
                        || cells
                            .get(column)
                            .is_some_and(|c| kind(c, self.dialect.decimal) == CellKind::Number)
                })
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Vec<Line<'_>> {
        let mut start = 0;
        text.lines()
            .enumerate()
            .map(|(k, line)| {
                let at = start;
                start += line.len() + 1;
                Line {
                    number: k + 1,
                    start: at,
                    text: line.as_bytes(),
                }
            })
            .collect()
    }

    fn find(text: &str) -> (Dialect, usize) {
        let lines = lines(text);
        let found = find_table(&lines, None, None).expect("a table");
        (found.dialect, lines[found.block.first].number)
    }

    #[test]
    fn dialects_are_told_apart() {
        assert_eq!(find("t,v\n1,2\n2,3\n"), (Dialect::new(b',', b'.'), 2));
        assert_eq!(
            find("t;v\n1,5;2,0\n2,5;3,0\n"),
            (Dialect::new(b';', b','), 2)
        );
        assert_eq!(find("t\tv\n1,5\t2,0\n"), (Dialect::new(b'\t', b','), 2));
        assert_eq!(find("1.0  2.0\n1.5  3.0\n"), (Dialect::new(b' ', b'.'), 1));
        assert_eq!(
            find("U (V)\n0,05\n0,12\n0,03\n"),
            (Dialect::new(b';', b','), 2)
        );
        assert_eq!(
            find("\"t\",\"v\"\n\"0,5\",\"1,5\"\n\"0,6\",\"1,7\"\n"),
            (Dialect::new(b',', b','), 2)
        );
        assert_eq!(find("-0.5\n0.25\n"), (Dialect::new(b',', b'.'), 1));
    }

    #[test]
    fn a_preamble_above_is_no_part_of_the_table() {
        let text =
            "Record Length,14000\nSample Interval,5e-6\nUnits,V\nTIME,CH1\n-1,12.6\n0,10.6\n1,3\n";
        assert_eq!(find(text).1, 5);
    }

    #[test]
    fn a_preamble_beside_is_kept_with_the_table() {
        let text =
            "Length,4,,0.0,1.5,\nUnits,V,,0.1,1.6,\nRatio,10,,0.2,1.7,\n,,,0.3,1.5,\n,,,0.4,1.5,\n";
        assert_eq!(find(text).1, 1);
    }

    #[test]
    fn start_and_increment_in_the_second_header_row_are_no_samples() {
        let text = "X,CH1,Start,Increment,\nSequence,V,-3.5e-3,5e-6,\n0,1.6e-2,\n1,-8e-3,\n";
        assert_eq!(find(text).1, 3);
    }
}
