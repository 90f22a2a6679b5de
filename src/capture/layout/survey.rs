//! What the rows in the head of a file hold, column by column.

use super::dialect::Dialect;
use crate::capture::cell::{self, Cell, clock};
use crate::capture::record::PreambleFact;
use crate::capture::source;
use crate::capture::unit;
use encoding_rs::Encoding;
use std::borrow::Cow;

/// A row of the head: its line and its cells.
pub(super) type HeadRow<'a> = (usize, Vec<Cow<'a, [u8]>>);

/// A record has no more channels than that.
const MOST_CHANNELS: usize = 16;

/// Codes that a column holds in place of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Codes {
    Hexadecimal,
    /// Bits written out, such as `0010`.
    Bits,
}

/// Whether all cells of a column are codes.
#[derive(Clone, Copy, Default)]
pub(super) struct CodeSurvey {
    cells: usize,
    hexadecimal: usize,
    /// Cells that can only be hexadecimal.
    letters: usize,
    bits: usize,
    leading_zeros: usize,
    width: Option<usize>,
}

impl CodeSurvey {
    fn add(&mut self, cell: &[u8], parsed: &Cell) {
        let hexadecimal = cell::is_hexadecimal(cell);
        self.cells += 1;
        self.hexadecimal += usize::from(hexadecimal);
        self.letters += usize::from(hexadecimal && *parsed == Cell::Text);
        self.bits += usize::from(cell::is_bits(cell));
        self.leading_zeros += usize::from(cell.first() == Some(&b'0'));
        self.width = match self.width {
            None => Some(cell.len()),
            Some(width) => Some(width).filter(|w| *w == cell.len()).or(Some(0)),
        };
    }

    /// The codes, where all cells are some and at least one can be nothing else.
    pub fn kind(&self) -> Option<Codes> {
        if self.hexadecimal == self.cells && self.letters > 0 {
            Some(Codes::Hexadecimal)
        } else if self.bits > 0
            && self.bits == self.cells
            && self.leading_zeros > 0
            && self.width != Some(0)
        {
            Some(Codes::Bits)
        } else {
            None
        }
    }
}

/// Whether all cells of a column are clock times.
#[derive(Clone, Copy, Default)]
pub(super) struct ClockSurvey {
    cells: usize,
    times: usize,
}

impl ClockSurvey {
    fn add(&mut self, cell: &[u8]) {
        // Once a cell is none, the others need not be looked at.
        if self.times == self.cells && clock::parse(cell).is_some() {
            self.times += 1;
        }
        self.cells += 1;
    }

    pub fn is_clock(&self) -> bool {
        self.times > 0 && self.times == self.cells
    }
}

/// One column over the rows of the head.
#[derive(Default)]
pub(super) struct ColumnSurvey {
    pub numbers: usize,
    pub texts: usize,
    /// Cells that are marked as missing or beyond the range.
    pub marks: usize,
    filled_rows: Vec<usize>,
    text_rows: Vec<usize>,
    pub values: Vec<f64>,
    /// Numbers stand there with an exponent.
    pub exponents: bool,
    /// Numbers with a unit or prefix behind them.
    pub quantities: usize,
    /// SI symbol of the units behind the numbers.
    pub unit_in_cells: Option<&'static str>,
    /// All cells so far are codes of one kind.
    pub codes: CodeSurvey,
    /// All cells so far are clock times.
    pub clock: ClockSurvey,
    /// The text of all cells, where it is the same; `Some(None)` where they differ.
    text: Option<Option<Vec<u8>>>,
    /// The texts that occur, up to one more than a record has channels.
    words: Vec<Vec<u8>>,
    /// Cells that are units.
    unit_cells: usize,
    /// Digits after the decimal mark, as far as the cells agree.
    decimals: Option<Option<usize>>,
}

impl ColumnSurvey {
    fn add(&mut self, row: usize, text: &[u8], decimal: u8) {
        let parsed = cell::parse(text, decimal);
        if parsed != Cell::Blank {
            self.codes.add(cell::trim(text), &parsed);
            self.clock.add(cell::trim(text));
        }
        match parsed {
            Cell::Quantity(value, unit) => {
                self.numbers += 1;
                self.quantities += 1;
                self.values.push(value);
                self.unit_in_cells = self.unit_in_cells.or(unit);
                self.decimals = Some(None);
            }
            Cell::Number(value) => {
                self.numbers += 1;
                self.values.push(value);
                self.exponents |= memchr::memchr2(b'e', b'E', text).is_some();
                let decimals = cell::decimals(text, decimal);
                match self.decimals {
                    None => self.decimals = Some(decimals),
                    Some(before) if before != decimals => self.decimals = Some(None),
                    Some(_) => {}
                }
            }
            Cell::Text => {
                self.texts += 1;
                self.add_text(cell::trim(text));
                self.text_rows.push(row);
            }
            Cell::Missing | Cell::Overrange(_) => self.marks += 1,
            Cell::Blank => return,
        }
        self.filled_rows.push(row);
    }

    fn add_text(&mut self, text: &[u8]) {
        match &self.text {
            None => self.text = Some(Some(text.to_vec())),
            Some(Some(before)) if before != text => self.text = Some(None),
            Some(_) => {}
        }
        if self.words.len() <= MOST_CHANNELS && !self.words.iter().any(|w| w == text) {
            self.words.push(text.to_vec());
        }
        if text.len() <= 6 {
            let unit = std::str::from_utf8(text).ok();
            self.unit_cells += usize::from(unit.is_some_and(|u| unit::parse(u, true).is_some()));
        }
    }

    /// The unit that stands in every cell of a column of units; `Some(None)` where it changes from row to row.
    pub fn unit_of_rows(&self) -> Option<Option<String>> {
        let all = self.texts > 0 && self.unit_cells == self.texts && self.numbers == 0;
        all.then(|| {
            let text = self.text.clone().flatten()?;
            String::from_utf8(text).ok()
        })
    }

    /// The channels of the rows, where every one of `rows` cells names one of a few; `named`: numbers may do so too.
    pub fn channels(&self, rows: usize, named: bool) -> Option<Vec<String>> {
        let mut names: Vec<String> = match self.texts {
            0 if named => self.values.iter().map(f64::to_string).collect(),
            count if count == rows => {
                let words = self.words.iter();
                words
                    .map(|w| String::from_utf8_lossy(w).into_owned())
                    .collect()
            }
            _ => return None,
        };
        names.sort();
        names.dedup();
        (2..=MOST_CHANNELS).contains(&names.len()).then_some(names)
    }

    /// Digits after the decimal mark, where all cells agree.
    pub fn decimals(&self) -> Option<usize> {
        self.decimals.flatten()
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
        let mut columns: Vec<ColumnSurvey> = Vec::new();
        columns.resize_with(width, ColumnSurvey::default);
        for (row, (_, cells)) in rows.iter().enumerate() {
            for (column, text) in columns.iter_mut().zip(cells) {
                column.add(row, text, dialect.decimal);
            }
        }
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
        blocks
            .map(|block| self.columns[block.keys].text_rows.len())
            .max()
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
        let count = s.text_rows.len();
        let last = s.text_rows.last().map_or(0, |row| row + 1);
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
            let last = columns[column].text_rows.last().map_or(0, |row| row + 1);
            let is_value = |s: &&ColumnSurvey| {
                !s.filled_rows.is_empty() && s.filled_rows.iter().all(|&row| row < last)
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
