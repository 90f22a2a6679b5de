//! The numbers of one piece of text: whole lines without a single odd cell.

use super::alike::Alike;
use super::digits::{EXACT, Printed, printed};
use super::table::Table;
use crate::capture::cell::{self, Cell};
use crate::capture::layout::Layout;
use crate::capture::time::Packed;
use memchr::{memchr, memchr2};

/// What becomes of each cell of a row.
pub struct Plan {
    /// One entry a cell.
    uses: Vec<Use>,
    /// Columns that are kept.
    pub columns: usize,
    delimiter: u8,
    decimal: u8,
}

/// What a cell is read for.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Use {
    Time,
    Value,
    Skipped,
}

impl Plan {
    pub fn new(layout: &Layout, table: &Table) -> Plan {
        let time = table.time.as_ref().map(|c| c.column);
        let values: Vec<usize> = table.values.iter().map(|c| c.column).collect();
        let role = |column| match column {
            _ if time == Some(column) => Use::Time,
            _ if values.contains(&column) => Use::Value,
            _ => Use::Skipped,
        };
        Plan {
            uses: (0..layout.columns.len()).map(role).collect(),
            columns: values.len() + usize::from(time.is_some()),
            delimiter: layout.dialect.delimiter,
            decimal: layout.dialect.decimal,
        }
    }

    /// The end of a cell at the beginning of `text`: the delimiter, or a line end behind the last cell.
    fn end<'a>(&self, text: &'a [u8], last: bool) -> Option<&'a [u8]> {
        match text {
            [b'\n', ..] if last => Some(&text[..1]),
            [b'\r', b'\n', ..] if last => Some(&text[..2]),
            [byte, ..] if !last && *byte == self.delimiter => Some(&text[..1]),
            _ => None,
        }
    }
}

/// One column of a piece.
#[derive(Default)]
struct Column {
    values: Vec<f64>,
    /// How its cells are built, as far as the last ones tell.
    alike: Option<Alike>,
    /// How often that was looked for.
    looks: usize,
}

/// A cell that is not like the one before it.
enum Other {
    Printed(Printed),
    /// Value and significant digits.
    Number(f64, u32),
}

impl Column {
    /// Reads the cell at the beginning of `text`, and gives the bytes it takes with its end; `None` for an odd one.
    #[cold]
    fn other(
        &mut self,
        text: &[u8],
        plan: &Plan,
        last: bool,
        rows: usize,
    ) -> Option<(Other, usize)> {
        if let Some(number) = printed(text, plan.decimal)
            && let Some(end) = plan.end(&text[number.length..], last)
        {
            // Where cells differ all the time, nothing is gained by looking.
            let worth = self.looks < 8 + rows / 32;
            self.alike = worth.then(|| Alike::of(text, plan.decimal, end)).flatten();
            self.looks += 1;
            return Some((Other::Printed(number), number.length + end.len()));
        }
        let stop = if last { b'\n' } else { plan.delimiter };
        let at = memchr2(stop, b'\n', text)?;
        if text[at] != stop {
            return None;
        }
        let cell = &text[..at];
        let cell = if last {
            cell.strip_suffix(b"\r").unwrap_or(cell)
        } else {
            cell
        };
        // On its own it would end the line.
        if memchr(b'\r', cell).is_some() {
            return None;
        }
        match cell::parse(cell, plan.decimal) {
            Cell::Number(value) => {
                Some((Other::Number(value, cell::significant_digits(cell)), at + 1))
            }
            _ => None,
        }
    }
}

/// Bytes of a cell that is not kept, with its end; `None` where it does not end as it should or holds what the reader of
/// lines has to judge.
fn skipped(text: &[u8], plan: &Plan, last: bool) -> Option<usize> {
    let stop = if last { b'\n' } else { plan.delimiter };
    let at = memchr(stop, text)?;
    let cell = &text[..at];
    let cell = if last {
        cell.strip_suffix(b"\r").unwrap_or(cell)
    } else {
        cell
    };
    let other = if last { plan.delimiter } else { b'\n' };
    let plain = memchr(other, cell).is_none() && memchr2(b'\r', 0, cell).is_none();
    plain.then_some(at + 1)
}

/// The times of a piece, as whole numbers of their last digit for as long as all have the same one.
#[derive(Default)]
struct TimeColumn {
    marks: Vec<i64>,
    /// Power of ten of the last digit.
    power: Option<i32>,
    /// All times, once one is not such a whole number.
    plain: Vec<f64>,
    /// Most significant digits among the plain ones.
    digits: u32,
}

impl TimeColumn {
    fn clear(&mut self) {
        self.marks.clear();
        self.power = None;
        self.plain.clear();
        self.digits = 0;
    }

    #[inline(always)]
    fn push(&mut self, number: Printed) {
        match number.mark() {
            Some(mark) if self.power == Some(number.power) => self.marks.push(mark),
            // Numbers one by one: a struct would be put down for every time.
            mark => self.push_other(mark, number.power, number.value, number.digits),
        }
    }

    #[cold]
    #[inline(never)]
    fn push_other(&mut self, mark: Option<i64>, power: i32, time: f64, digits: u64) {
        match mark {
            Some(mark) if self.marks.is_empty() && self.plain.is_empty() => {
                self.power = Some(power);
                self.marks.push(mark);
            }
            _ => self.push_plain(time, digits_in(digits)),
        }
    }

    #[cold]
    fn push_plain(&mut self, time: f64, digits: u32) {
        self.give_up();
        self.plain.push(time);
        self.digits = self.digits.max(digits);
    }

    /// From here on times are kept as they are.
    fn give_up(&mut self) {
        self.digits = self.digits();
        let power = self.power.take().unwrap_or(0);
        let ten = EXACT[power.unsigned_abs() as usize];
        let value = |mark: i64| match power {
            ..0 => mark as f64 / ten,
            _ => mark as f64 * ten,
        };
        self.plain.extend(self.marks.drain(..).map(value));
    }

    /// Most significant digits printed.
    fn digits(&self) -> u32 {
        let largest = self.marks.iter().map(|m| m.unsigned_abs()).max();
        self.digits.max(digits_in(largest.unwrap_or(0)))
    }

    fn packed(&mut self) -> Packed {
        let line = match self.power {
            Some(power @ -18..=0) => Packed::new(&self.marks, -power as u8),
            _ => None,
        };
        line.unwrap_or_else(|| {
            self.give_up();
            Packed::plain(&self.plain)
        })
    }
}

/// Decimal digits of a whole number; none of 0.
fn digits_in(number: u64) -> u32 {
    number.checked_ilog10().map_or(0, |n| n + 1)
}

/// The numbers of one piece.
#[derive(Default)]
pub struct Parsed {
    pub good: bool,
    pub rows: usize,
    /// Most significant digits printed in the time column.
    pub time_digits: u32,
    /// The times, where the piece is good and has any.
    pub packed: Option<Packed>,
    /// One entry a cell of a row, kept or not.
    columns: Vec<Column>,
    times: TimeColumn,
}

impl Parsed {
    pub fn read(&mut self, piece: &[u8], plan: &Plan) {
        self.columns.resize_with(plan.uses.len(), Column::default);
        for column in &mut self.columns {
            *column = Column {
                values: std::mem::take(&mut column.values),
                ..Column::default()
            };
            column.values.clear();
        }
        self.times.clear();
        self.rows = 0;
        self.good = self.rows_of(piece, plan).is_some();
        self.time_digits = self.times.digits();
        let timed = self.good && plan.uses.contains(&Use::Time);
        self.packed = timed.then(|| self.times.packed());
    }

    /// The columns of values that are kept, in their order.
    pub fn values<'a>(&'a self, plan: &'a Plan) -> impl Iterator<Item = &'a [f64]> + 'a {
        let cells = self.columns.iter().zip(&plan.uses);
        cells
            .filter(|(_, role)| **role == Use::Value)
            .map(|(column, _)| column.values.as_slice())
    }

    /// `None` at the first odd cell.
    fn rows_of(&mut self, piece: &[u8], plan: &Plan) -> Option<()> {
        #[cfg(target_arch = "x86_64")]
        if std::arch::is_x86_feature_detected!("avx2") {
            // SAFETY: the processor has the instructions, as was just asked.
            #[allow(unsafe_code)]
            return unsafe { self.wide_rows_of(piece, plan) };
        }
        self.any_rows_of(piece, plan, |_, _| None)
    }

    #[cfg(target_arch = "x86_64")]
    #[target_feature(enable = "avx2")]
    fn wide_rows_of(&mut self, piece: &[u8], plan: &Plan) -> Option<()> {
        self.any_rows_of(piece, plan, |alike, text| alike.read(text))
    }

    #[inline(always)]
    fn any_rows_of(
        &mut self,
        piece: &[u8],
        plan: &Plan,
        like: impl Fn(&Alike, &[u8]) -> Option<Printed>,
    ) -> Option<()> {
        let mut rest = piece;
        let mut rows = 0;
        let last = plan.uses.len() - 1;
        while !rest.is_empty() {
            for (cell, (column, role)) in self.columns.iter_mut().zip(&plan.uses).enumerate() {
                if let Some(alike) = &column.alike
                    && let Some(number) = like(alike, rest)
                {
                    rest = rest.get(number.length + alike.end()..)?;
                    match role {
                        Use::Time => self.times.push(number),
                        _ => column.values.push(number.value),
                    }
                    continue;
                }
                if *role == Use::Skipped {
                    rest = &rest[skipped(rest, plan, cell == last)?..];
                    continue;
                }
                let (number, taken) = column.other(rest, plan, cell == last, rows)?;
                rest = &rest[taken..];
                match (role, number) {
                    (Use::Time, Other::Printed(number)) => self.times.push(number),
                    (Use::Time, Other::Number(time, digits)) => self.times.push_plain(time, digits),
                    (_, Other::Printed(Printed { value, .. }) | Other::Number(value, _)) => {
                        column.values.push(value);
                    }
                }
            }
            rows += 1;
        }
        self.rows = rows;
        Some(())
    }
}
