//! What each column of the found table is: names, units, which column is time, which only counts.

use super::header::{Header, find_header, is_remark_name};
use super::preamble as facts;
use super::roles::assign_time;
use super::sniff::{Dialect, Found, Line};
use crate::capture::cell::{self, Cell};
use crate::capture::options::ReadOptions;
use crate::capture::record::PreambleFact;
use crate::capture::source;
use crate::capture::unit;
use encoding_rs::Encoding;
use std::borrow::Cow;

/// Use of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    Time,
    /// A second time column beside another channel.
    ExtraTime,
    /// Counts the rows.
    Index,
    Value,
    /// Text, or nothing at all.
    Skip,
}

#[derive(Clone, Debug)]
pub struct Column {
    pub role: Role,
    pub name: Option<String>,
    pub unit_text: Option<String>,
    /// Digits after the decimal mark, where all rows of the head agree.
    pub decimals: Option<usize>,
    /// No row of the head holds a number here.
    pub empty: bool,
}

/// The layout of a file, ready for the rows to be read.
#[derive(Clone, Debug)]
pub struct Layout {
    pub dialect: Dialect,
    /// Quotation marks stand in the rows.
    pub quoted: bool,
    pub first_line: usize,
    /// Byte in the head at which the first row starts.
    pub first_offset: usize,
    pub columns: Vec<Column>,
    /// Fewest and most cells of a row.
    pub cells: (usize, usize),
    pub facts: Vec<PreambleFact>,
    /// One sentence a rule.
    pub why: Vec<String>,
}

impl Layout {
    /// 0-based column of time, else of the count of rows.
    pub fn time_column(&self) -> Option<usize> {
        let of = |role| self.columns.iter().position(|c| c.role == role);
        of(Role::Time).or_else(|| of(Role::Index))
    }
}

/// Statistics of one column over the rows of the head.
#[derive(Default)]
pub struct Seen {
    numbers: usize,
    texts: usize,
    marks: usize,
    filled_rows: Vec<usize>,
    text_rows: Vec<usize>,
    pub values: Vec<f64>,
    decimals: Option<Option<usize>>,
}

/// Reads the header above the found table and gives every column its use.
pub fn read_layout(
    lines: &[Line],
    found: &Found,
    complete: bool,
    options: &ReadOptions,
    named: Option<&'static Encoding>,
) -> Layout {
    let dialect = found.dialect;
    let mut rows: Vec<(usize, Vec<Cow<[u8]>>)> = found.rows(lines).collect();
    // The last row of a whole file may be cut short and must not shape the layout.
    if complete && rows.len() > 2 {
        rows.pop();
    }
    let (width, cells, seen) = survey(&rows, dialect);
    let quoted = lines[found.block.first..]
        .iter()
        .any(|line| line.text.contains(&b'"'));
    let first = &lines[found.block.first];
    let mut why = vec![format!(
        "cells are parted by {} and '{}' is the decimal mark: {} rows of the head agree on it",
        dialect.delimiter_name(),
        dialect.decimal as char,
        rows.len()
    )];

    let beside = beside_columns(&seen, rows.len());
    let numeric: Vec<bool> = seen
        .iter()
        .enumerate()
        .map(|(c, s)| s.numbers > 0 && s.numbers >= s.texts && !beside.contains(&c))
        .collect();
    let (names, units, above) = find_header(lines, found, &numeric, options, named);

    let mut facts: Vec<PreambleFact> = above
        .iter()
        .filter_map(|line| facts::of_line(line.text, line.number, dialect, named))
        .collect();
    let mut keys_of_header = Vec::new();
    if let (Some(names), Some(units)) = (&names, &units) {
        for (column, text) in units.cells.iter().enumerate() {
            if matches!(
                cell::parse(text.as_bytes(), dialect.decimal),
                Cell::Number(_)
            ) && let Some(key) = names.cells.get(column).filter(|k| !k.is_empty())
            {
                keys_of_header.push(column);
                facts.push(PreambleFact {
                    line: units.line,
                    key: key.clone(),
                    values: vec![text.clone()],
                });
            }
        }
    }
    facts.extend(facts_beside(&rows, &beside, named));

    why.push(match (&names, &units) {
        (Some(n), Some(u)) => format!("names stand in line {}, units in line {}", n.line, u.line),
        (Some(n), None) => format!("names stand in line {}", n.line),
        (None, Some(u)) => format!("units stand in line {}, no names", u.line),
        (None, None) => "no header: columns are named by their number".to_string(),
    });
    if !beside.is_empty() {
        why.push(format!(
            "a preamble of {} lines stands beside the numbers",
            seen[beside[0]].text_rows.len()
        ));
    }
    if !facts.is_empty() && beside.is_empty() {
        why.push(format!(
            "a preamble of {} lines stands above the numbers",
            facts.len()
        ));
    }

    let cell_of = |header: &Option<Header>, column: usize| {
        header
            .as_ref()
            .and_then(|h| h.cells.get(column))
            .filter(|c| !c.is_empty())
            .cloned()
    };
    let mut columns: Vec<Column> = (0..width)
        .map(|c| {
            let name = cell_of(&names, c).filter(|_| !keys_of_header.contains(&c));
            let unit_text = cell_of(&units, c)
                .filter(|_| !keys_of_header.contains(&c))
                .map(|u| unit::strip_brackets(&u).to_string())
                .or_else(|| name.as_deref().and_then(unit::of_name).map(str::to_string));
            let announced = name.is_some() || (unit_text.is_some() && names.is_some());
            let text =
                seen[c].texts > seen[c].numbers || name.as_deref().is_some_and(is_remark_name);
            let nothing = seen[c].numbers == 0 && seen[c].marks == 0 && !announced;
            let role = if beside.contains(&c) || keys_of_header.contains(&c) || text || nothing {
                Role::Skip
            } else {
                Role::Value
            };
            if text && !beside.contains(&c) {
                why.push(format!("column {} holds text and is left out", c + 1));
            }
            Column {
                role,
                name,
                unit_text,
                decimals: seen[c].decimals.flatten(),
                empty: seen[c].numbers == 0,
            }
        })
        .collect();
    assign_time(&mut columns, &seen, options, &mut why);
    for (column, text) in &options.units {
        if let Some(column) = column.checked_sub(1).and_then(|c| columns.get_mut(c)) {
            column.unit_text = Some(text.clone());
        }
    }
    Layout {
        dialect,
        quoted,
        first_line: first.number,
        first_offset: first.start,
        columns,
        cells,
        facts,
        why,
    }
}

fn survey(
    rows: &[(usize, Vec<Cow<[u8]>>)],
    dialect: Dialect,
) -> (usize, (usize, usize), Vec<Seen>) {
    let width = rows.iter().map(|(_, cells)| cells.len()).max().unwrap_or(0);
    let fewest = rows.iter().map(|(_, cells)| cells.len()).min().unwrap_or(0);
    let mut seen: Vec<Seen> = (0..width).map(|_| Seen::default()).collect();
    for (row, (_, cells)) in rows.iter().enumerate() {
        for (column, text) in cells.iter().enumerate() {
            let seen = &mut seen[column];
            match cell::parse(text, dialect.decimal) {
                Cell::Number(value) => {
                    seen.numbers += 1;
                    seen.values.push(value);
                    let decimals = cell::decimals(text, dialect.decimal);
                    match seen.decimals {
                        None => seen.decimals = Some(decimals),
                        Some(before) if before != decimals => seen.decimals = Some(None),
                        Some(_) => {}
                    }
                }
                Cell::Text => {
                    seen.texts += 1;
                    seen.text_rows.push(row);
                }
                Cell::Missing | Cell::Overrange(_) => seen.marks += 1,
                Cell::Blank => continue,
            }
            seen.filled_rows.push(row);
        }
    }
    (width, (fewest, width), seen)
}

/// Columns of a preamble that stands beside the numbers: keys as text in the first rows only, values in the columns to
/// their right in no other rows.
fn beside_columns(seen: &[Seen], rows: usize) -> Vec<usize> {
    let Some(keys) = seen.iter().position(|s| {
        let count = s.text_rows.len();
        count >= 2
            && count < rows
            && s.numbers == 0
            && s.text_rows.iter().enumerate().all(|(k, &row)| k == row)
    }) else {
        return Vec::new();
    };
    let last = seen[keys].text_rows.len();
    let values = seen[keys + 1..]
        .iter()
        .take_while(|s| !s.filled_rows.is_empty() && s.filled_rows.iter().all(|&row| row < last))
        .count();
    (keys..=keys + values).collect()
}

fn facts_beside(
    rows: &[(usize, Vec<Cow<[u8]>>)],
    beside: &[usize],
    named: Option<&'static Encoding>,
) -> Vec<PreambleFact> {
    let Some((&keys, values)) = beside.split_first() else {
        return Vec::new();
    };
    let text = |cells: &[Cow<[u8]>], column: usize| {
        cells
            .get(column)
            .map(|c| source::text(cell::trim(c), named))
            .unwrap_or_default()
    };
    rows.iter()
        .map(|(line, cells)| PreambleFact {
            line: *line,
            key: text(cells, keys),
            values: values
                .iter()
                .map(|&c| text(cells, c))
                .filter(|v| !v.is_empty())
                .collect(),
        })
        .filter(|fact| !fact.key.is_empty())
        .collect()
}
