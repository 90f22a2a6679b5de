//! Where the table of numbers stands in the first lines of a file, and how its cells are parted.
//!
//! Every pairing of delimiter and decimal mark is tried; the one under which the largest block of rows agrees on
//! which columns are numbers wins. Nothing here knows who made the file.

use crate::capture::cell::{self, Cell};
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

/// How cells are parted and numbers written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dialect {
    /// A space stands for runs of spaces.
    pub delimiter: u8,
    pub decimal: u8,
}

/// In the order in which ties are settled.
const DIALECTS: [Dialect; 8] = [
    Dialect::new(b',', b'.'),
    Dialect::new(b';', b'.'),
    Dialect::new(b'\t', b'.'),
    Dialect::new(b';', b','),
    Dialect::new(b'\t', b','),
    Dialect::new(b' ', b'.'),
    Dialect::new(b' ', b','),
    // Only where the cells stand in quotation marks.
    Dialect::new(b',', b','),
];

impl Dialect {
    pub const fn new(delimiter: u8, decimal: u8) -> Dialect {
        Dialect { delimiter, decimal }
    }

    pub fn delimiter_name(self) -> &'static str {
        match self.delimiter {
            b'\t' => "tab",
            b';' => "';'",
            b',' => "','",
            b' ' => "spaces",
            _ => "as given",
        }
    }

    /// Cells of one line; quotation marks are honoured.
    pub fn split<'a>(self, line: &'a [u8]) -> Vec<Cow<'a, [u8]>> {
        if line.contains(&b'"') {
            let mut reader = csv::ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .delimiter(self.delimiter)
                .from_reader(line);
            let mut record = csv::ByteRecord::new();
            // Reading from memory cannot fail; a line that gives no record has no cells.
            return match reader.read_byte_record(&mut record) {
                Ok(true) => record
                    .iter()
                    .filter(|cell| self.delimiter != b' ' || !cell.is_empty())
                    .map(|cell| Cow::Owned(cell.to_vec()))
                    .collect(),
                _ => Vec::new(),
            };
        }
        line.split(|&b| b == self.delimiter)
            .filter(|cell| self.delimiter != b' ' || !cell.is_empty())
            .map(Cow::Borrowed)
            .collect()
    }
}

/// What kind of cell a column holds in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Number,
    /// Blank or a mark for a missing value.
    Nothing,
    Text,
}

fn kind(cell: &[u8], decimal: u8) -> Kind {
    match cell::parse(cell, decimal) {
        Cell::Number(_) => Kind::Number,
        Cell::Text => Kind::Text,
        Cell::Blank | Cell::Missing | Cell::Overrange(_) => Kind::Nothing,
    }
}

/// A run of rows of numbers in the head.
#[derive(Clone, Debug)]
pub struct Block {
    /// Index of the first row among the lines of the head.
    pub first: usize,
    /// Index of the last row.
    last: usize,
    rows: usize,
    /// Merged over the rows.
    kinds: Vec<Kind>,
    /// Numbers in every row.
    solid: Vec<bool>,
    leading_zeros: usize,
}

impl Block {
    fn new(at: usize, kinds: Vec<Kind>) -> Block {
        Block {
            first: at,
            last: at,
            rows: 0,
            solid: vec![true; kinds.len()],
            kinds,
            leading_zeros: 0,
        }
    }

    /// True when a row with these kinds can belong to the block.
    fn takes(&self, kinds: &[Kind]) -> bool {
        let shared = self.kinds.len().min(kinds.len());
        let clash = self.kinds[..shared]
            .iter()
            .zip(&kinds[..shared])
            .any(|(a, b)| {
                matches!(
                    (a, b),
                    (Kind::Number, Kind::Text) | (Kind::Text, Kind::Number)
                )
            });
        // Rows may differ in length only by cells that hold no number.
        let rest = if self.kinds.len() > kinds.len() {
            &self.kinds[shared..]
        } else {
            &kinds[shared..]
        };
        !clash && !rest.contains(&Kind::Number)
    }

    fn add(&mut self, at: usize, kinds: &[Kind]) {
        if kinds.len() > self.kinds.len() {
            self.kinds.resize(kinds.len(), Kind::Nothing);
            self.solid.resize(kinds.len(), false);
        }
        for (column, merged) in self.kinds.iter_mut().enumerate() {
            let kind = kinds.get(column).copied().unwrap_or(Kind::Nothing);
            self.solid[column] &= kind == Kind::Number;
            if kind != Kind::Nothing {
                *merged = kind;
            }
        }
        self.rows += 1;
        self.last = at;
    }

    fn score(&self) -> f64 {
        let count = |wanted: Kind| self.kinds.iter().filter(|&&k| k == wanted).count() as f64;
        let score = self.rows as f64 * (count(Kind::Number) - 0.6 * count(Kind::Text));
        if self.leading_zeros * 10 > self.rows {
            // `0,05` cut at its comma leaves `05`; no one prints numbers so.
            score * 0.4
        } else {
            score
        }
    }
}

/// The table as found.
#[derive(Clone, Debug)]
pub struct Found {
    pub dialect: Dialect,
    pub block: Block,
    score: f64,
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
fn best_block(lines: &[Line], dialect: Dialect) -> Option<Block> {
    let mut best: Option<Block> = None;
    let mut current: Option<Block> = None;
    let mut close = |block: Option<Block>| {
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
        let kinds: Vec<Kind> = cells.iter().map(|c| kind(c, dialect.decimal)).collect();
        if !kinds.contains(&Kind::Number) {
            if kinds.contains(&Kind::Text) {
                close(current.take());
            }
            continue;
        }
        if current.as_ref().is_some_and(|block| !block.takes(&kinds)) {
            close(current.take());
        }
        let block = current.get_or_insert_with(|| Block::new(at, kinds.clone()));
        block.add(at, &kinds);
        if dialect.delimiter == b',' && cells.iter().skip(1).any(|c| has_leading_zero(c)) {
            block.leading_zeros += 1;
        }
    }
    close(current);
    best
}

/// Finds the table in the head of a file.
///
/// `forced` holds the delimiter and decimal mark the user gave. `None` when no line holds a number in any dialect.
pub fn find_table(lines: &[Line], delimiter: Option<u8>, decimal: Option<u8>) -> Option<Found> {
    let mut candidates: Vec<Dialect> = DIALECTS
        .into_iter()
        .filter(|d| delimiter.is_none_or(|wanted| d.delimiter == wanted))
        .filter(|d| decimal.is_none_or(|wanted| d.decimal == wanted))
        .filter(|d| *d != Dialect::new(b',', b',') || lines.iter().any(|l| l.text.contains(&b'"')))
        .filter(|d| {
            // A delimiter no line holds adds nothing over the first one tried: a single column.
            d.delimiter == b','
                || (d.delimiter == b';' && d.decimal == b',')
                || delimiter.is_some()
                || lines.iter().any(|line| line.text.contains(&d.delimiter))
        })
        .collect();
    if let (Some(delimiter), Some(decimal)) = (delimiter, decimal) {
        candidates = vec![Dialect::new(delimiter, decimal)];
    } else if let Some(delimiter) = delimiter
        && candidates.is_empty()
    {
        candidates = vec![Dialect::new(delimiter, b'.'), Dialect::new(delimiter, b',')];
    }
    let mut best: Option<Found> = None;
    for dialect in candidates {
        let Some(block) = best_block(lines, dialect) else {
            continue;
        };
        let score = block.score();
        if score > 0.0 && best.as_ref().is_none_or(|found| score > found.score) {
            best = Some(Found {
                dialect,
                block,
                score,
            });
        }
    }
    let mut best = best?;
    extend_upward(lines, &mut best);
    // Rows in another dialect directly above: the layout changes in mid-file, and the first layout is the file's.
    let numbers = best
        .block
        .kinds
        .iter()
        .filter(|&&k| k == Kind::Number)
        .count();
    if delimiter.is_none()
        && decimal.is_none()
        && let Some(above) = lines[..best.block.first]
            .iter()
            .rfind(|l| !is_blank(l.text))
        && let Some(dialect) = dialect_of_row(above.text, numbers, best.dialect)
        && let Some(block) = best_block(&lines[..best.block.first], dialect)
        && block.rows > 2
    {
        best = Found {
            dialect,
            score: block.score(),
            block,
        };
        extend_upward(lines, &mut best);
    }
    Some(best)
}

/// A preamble beside the numbers makes the first rows differ; a row belongs to the table when every column that is
/// a number all through the block is a number in it too. A few bad rows among good ones are passed over; they are told
/// when the rows are read.
fn extend_upward(lines: &[Line], found: &mut Found) {
    if !found.block.solid.contains(&true) {
        return;
    }
    let mut bad = 0;
    for at in (0..found.block.first).rev() {
        let line = lines[at].text;
        if is_blank(line) {
            continue;
        }
        let cells = found.dialect.split(line);
        let fits =
            cells.len() == found.block.kinds.len()
                && found.block.solid.iter().zip(&cells).all(|(solid, cell)| {
                    !solid || kind(cell, found.dialect.decimal) == Kind::Number
                });
        if fits {
            found.block.first = at;
            bad = 0;
        } else {
            bad += 1;
            if bad > 2 {
                break;
            }
        }
    }
}

impl Found {
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
                            .is_some_and(|c| kind(c, self.dialect.decimal) == Kind::Number)
                })
            })
    }
}

/// The dialect under which one line, that does not fit where it stands, would be a row with `numbers` numbers.
pub fn dialect_of_row(line: &[u8], numbers: usize, not: Dialect) -> Option<Dialect> {
    DIALECTS.into_iter().find(|&dialect| {
        dialect != not
            && numbers > 1
            && dialect
                .split(line)
                .iter()
                .filter(|c| kind(c, dialect.decimal) == Kind::Number)
                .count()
                == numbers
            && dialect
                .split(line)
                .iter()
                .all(|c| kind(c, dialect.decimal) != Kind::Text)
    })
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
