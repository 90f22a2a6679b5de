//! What the rows in the head of a file hold, column by column.

use super::columns::{Codes, other_mark};
use super::dialect::Dialect;
use crate::capture::cell::unit;
use crate::capture::cell::{self, Cell, clock};
use crate::capture::record::PreambleFact;
use crate::capture::source;
use encoding_rs::Encoding;
use std::borrow::Cow;

/// A row of the head: its line and its cells.
pub(super) type HeadRow<'a> = (usize, Vec<Cow<'a, [u8]>>);

/// A record has no more channels than that.
const MOST_CHANNELS: usize = 16;

/// One column over the rows of the head.
pub(super) struct ColumnSurvey {
    /// Row, text and what it holds, of every cell that is not blank.
    cells: Vec<(usize, Vec<u8>, Cell)>,
    pub numbers: usize,
    pub texts: usize,
    /// Cells that are marked as missing or beyond the range.
    pub marks: usize,
    pub values: Vec<f64>,
    /// Its numbers have another decimal mark than the dialect.
    pub other_mark: bool,
    /// Numbers stand there with an exponent.
    pub exponents: bool,
    /// Digits after the decimal mark, where all cells agree.
    pub decimals: Option<usize>,
}

impl ColumnSurvey {
    /// `texts`: row and text of the cells.
    fn of<'a>(texts: impl Iterator<Item = (usize, &'a [u8])>, decimal: u8) -> ColumnSurvey {
        let parsed = texts.map(|(row, text)| (row, cell::trim(text), cell::parse(text, decimal)));
        let cells: Vec<_> = parsed
            .filter(|(.., cell)| *cell != Cell::Blank)
            .map(|(row, text, cell)| (row, text.to_vec(), cell))
            .collect();
        let count = |is: fn(&Cell) -> bool| cells.iter().filter(|(.., cell)| is(cell)).count();
        let value = |(_, text, cell): &(usize, Vec<u8>, Cell)| match cell {
            Cell::Number(value) => Some((*value, cell::decimals(text, decimal))),
            Cell::Quantity(value, _) => Some((*value, None)),
            _ => None,
        };
        let values = || cells.iter().filter_map(value);
        let is_exponent = |text: &[u8]| memchr::memchr2(b'e', b'E', text).is_some();
        let first = values().next().and_then(|(_, decimals)| decimals);
        ColumnSurvey {
            numbers: values().count(),
            texts: count(|cell| *cell == Cell::Text),
            marks: count(|cell| matches!(cell, Cell::Missing | Cell::Overrange(_))),
            values: values().map(|(value, _)| value).collect(),
            other_mark: false,
            exponents: cells
                .iter()
                .any(|(_, text, cell)| matches!(cell, Cell::Number(_)) && is_exponent(text)),
            decimals: first.filter(|first| values().all(|(_, d)| d == Some(*first))),
            cells,
        }
    }

    /// The same cells with the other decimal mark, where they all are numbers by that and some cannot be digits in groups.
    fn by_other_mark(&self, decimal: u8) -> Option<ColumnSurvey> {
        let mark = other_mark(decimal);
        let is_grouped = |text: &[u8]| {
            let unsigned = text.strip_prefix(b"-").unwrap_or(text);
            let part = unsigned.split(|b| *b == mark).nth(1);
            unsigned.first() != Some(&b'0') && part.is_none_or(|part| part.len() == 3)
        };
        if self.texts == 0 || self.all_are(is_grouped) {
            return None;
        }
        let cells = self
            .cells
            .iter()
            .map(|(row, text, _)| (*row, text.as_slice()));
        let read = ColumnSurvey::of(cells, mark);
        (read.texts == 0).then_some(ColumnSurvey {
            other_mark: true,
            ..read
        })
    }

    /// A cell of figures, where all are some that this decimal mark makes no numbers of.
    pub fn unread_figures(&self) -> Option<String> {
        let is_figures = |text: &[u8]| {
            text.iter().any(u8::is_ascii_digit)
                && text
                    .iter()
                    .all(|b| b.is_ascii_digit() || b".,-+".contains(b))
        };
        let first = self.text_cells().map(|(_, text)| text).next()?;
        let all = self.all_are(is_figures);
        all.then(|| String::from_utf8_lossy(first).into_owned())
    }

    fn all_are(&self, is: impl Fn(&[u8]) -> bool) -> bool {
        !self.cells.is_empty() && self.cells.iter().all(|(_, text, _)| is(text))
    }

    /// The codes, where all cells are some and at least one can be nothing else.
    pub fn codes(&self) -> Option<Codes> {
        let width = self.cells.first().map_or(0, |(_, text, _)| text.len());
        if self.texts > 0 && self.all_are(cell::is_hexadecimal) {
            Some(Codes::Hexadecimal)
        } else if self.all_are(|text| cell::is_bits(text) && text.len() == width)
            && self.cells.iter().any(|(_, text, _)| text[0] == b'0')
        {
            Some(Codes::Bits)
        } else {
            None
        }
    }

    pub fn is_clock(&self) -> bool {
        self.all_are(|text| clock::parse(text).is_some())
    }

    /// Whether units or prefixes stand behind the numbers, and the SI symbol of the first unit.
    pub fn quantities(&self) -> (bool, Option<&'static str>) {
        let units = || {
            self.cells.iter().filter_map(|(.., cell)| match cell {
                Cell::Quantity(_, unit) => Some(*unit),
                _ => None,
            })
        };
        (units().next().is_some(), units().flatten().next())
    }

    /// The texts, where no cell is a number.
    pub fn texts_alone(&self) -> Vec<String> {
        let texts = self.text_cells().filter(|_| self.numbers == 0);
        let text = |bytes| String::from_utf8_lossy(bytes).trim_matches('"').to_string();
        texts.map(|(_, bytes)| text(bytes)).collect()
    }

    fn text_cells(&self) -> impl DoubleEndedIterator<Item = (usize, &[u8])> + Clone {
        let texts = self.cells.iter().filter(|(.., cell)| *cell == Cell::Text);
        texts.map(|(row, text, _)| (*row, text.as_slice()))
    }

    /// Rows from the first to behind the last that holds text.
    fn text_rows(&self) -> usize {
        self.text_cells().next_back().map_or(0, |(row, _)| row + 1)
    }

    /// The unit that stands in every cell of a column of units; `Some(None)` where it changes from row to row.
    pub fn unit_of_rows(&self) -> Option<Option<String>> {
        let is_unit = |text: &[u8]| {
            let text = std::str::from_utf8(text).ok().filter(|t| t.len() <= 6);
            text.is_some_and(|text| unit::parse(text, true).is_some())
        };
        let mut texts = self.text_cells().map(|(_, text)| text);
        let all = self.texts > 0 && self.numbers == 0 && texts.clone().all(is_unit);
        all.then(|| {
            let first = texts.next()?;
            let same = texts.all(|text| text == first);
            same.then(|| String::from_utf8_lossy(first).into_owned())
        })
    }

    /// The channels of the rows, where every one of `rows` cells names one of a few; `named`: numbers may do so too.
    pub fn channels(&self, rows: usize, named: bool) -> Option<Vec<String>> {
        let text = |(_, text): (usize, &[u8])| String::from_utf8_lossy(text).into_owned();
        let mut names: Vec<String> = match self.texts {
            0 if named => self.values.iter().map(f64::to_string).collect(),
            count if count == rows => self.text_cells().map(text).collect(),
            _ => return None,
        };
        names.sort();
        names.dedup();
        (2..=MOST_CHANNELS).contains(&names.len()).then_some(names)
    }
}

/// The rows of the head, column by column.
pub(super) struct Survey {
    pub columns: Vec<ColumnSurvey>,
    /// Fewest and most cells of a row.
    pub cells: (usize, usize),
    /// Preambles that stand beside the numbers.
    beside: Vec<Beside>,
}

impl Survey {
    pub fn of(rows: &[HeadRow], dialect: Dialect) -> Survey {
        let widths = || rows.iter().map(|(_, cells)| cells.len());
        let (fewest, width) = (widths().min().unwrap_or(0), widths().max().unwrap_or(0));
        let column = |at: usize| {
            let cells = rows.iter().enumerate();
            let cells = cells.filter_map(|(row, (_, cells))| Some((row, &**cells.get(at)?)));
            let read = ColumnSurvey::of(cells, dialect.decimal);
            read.by_other_mark(dialect.decimal).unwrap_or(read)
        };
        let columns: Vec<ColumnSurvey> = (0..width).map(column).collect();
        Survey {
            beside: beside_blocks(&columns, rows.len()),
            columns,
            cells: (fewest, width),
        }
    }

    /// Whether each column holds numbers of the table.
    pub fn numeric(&self) -> Vec<bool> {
        let columns = self.columns.iter().enumerate();
        columns
            .map(|(c, s)| s.numbers > 0 && s.numbers >= s.texts && !self.is_beside(c))
            .collect()
    }

    /// Lines of the preamble beside the numbers.
    pub fn lines_beside(&self) -> Option<usize> {
        let blocks = self.beside.iter();
        blocks.map(|block| self.columns[block.keys].texts).max()
    }

    /// True for a column of keys or values of a preamble beside the numbers.
    pub fn is_beside(&self, column: usize) -> bool {
        let mut blocks = self.beside.iter();
        blocks.any(|block| (block.keys..block.keys + 1 + block.values).contains(&column))
    }

    /// What the preamble beside the numbers says. The keys of one channel after the other give the value of each channel.
    pub fn facts_beside(
        &self,
        rows: &[HeadRow],
        named: Option<&'static Encoding>,
    ) -> Vec<PreambleFact> {
        let text = |cells: &[Cow<[u8]>], column: usize| {
            let cell = cells.get(column);
            cell.map_or_else(String::new, |c| source::text(cell::trim(c), named))
        };
        let mut facts: Vec<PreambleFact> = Vec::new();
        for block in &self.beside {
            for (line, cells) in rows {
                let key = text(cells, block.keys);
                let key = key.trim_matches(|c: char| c.is_whitespace() || matches!(c, '=' | ':'));
                if key.is_empty() {
                    continue;
                }
                let values = (1..=block.values).map(|v| text(cells, block.keys + v));
                let values: Vec<String> = values.filter(|v| !v.is_empty()).collect();
                match facts.iter_mut().find(|f| f.key == key && f.line == *line) {
                    Some(fact) => fact.values.extend(values),
                    None => facts.push(PreambleFact {
                        line: *line,
                        key: key.to_string(),
                        values,
                    }),
                }
            }
        }
        facts
    }
}

/// A preamble beside the numbers: a column of keys and the columns of values to its right.
pub(super) struct Beside {
    keys: usize,
    values: usize,
}

/// Keys as text in some of the first rows, values in the columns to their right in no other rows. Some keys may be blank.
fn beside_blocks(columns: &[ColumnSurvey], rows: usize) -> Vec<Beside> {
    let is_keys = |s: &ColumnSurvey| {
        let (count, last) = (s.texts, s.text_rows());
        count >= 2
            && s.numbers == 0
            && s.marks == 0
            && last < rows
            && (count == last || last * 3 < rows)
    };
    let mut blocks = Vec::new();
    let mut column = 0;
    while column < columns.len() {
        let mut values = 0;
        if is_keys(&columns[column]) {
            let last = columns[column].text_rows();
            let is_value = |s: &&ColumnSurvey| {
                !s.cells.is_empty() && s.cells.iter().all(|(row, ..)| *row < last)
            };
            values = columns[column + 1..].iter().take_while(is_value).count();
            // A column of text alone may be anything.
            if values > 0 {
                blocks.push(Beside {
                    keys: column,
                    values,
                });
            }
        }
        column += 1 + values;
    }
    blocks
}
