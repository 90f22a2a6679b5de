//! What each column of the found table is: names, units, which column is time, which only counts.

use super::cell::{self, Cell};
use super::facts;
use super::options::ReadOptions;
use super::record::PreambleFact;
use super::sniff::{Dialect, Found, Line};
use super::source;
use super::unit;
use encoding_rs::Encoding;
use std::borrow::Cow;

/// Use of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
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
pub(super) struct Column {
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
pub(super) struct Layout {
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

/// Cells of a header line.
struct Header {
    line: usize,
    cells: Vec<String>,
}

fn simple(name: &str) -> String {
    let name = name.trim().to_lowercase();
    let stem = name.split(['(', '[', '/']).next().unwrap_or("").trim();
    stem.to_string()
}

fn is_time_name(name: &str) -> bool {
    matches!(
        simple(name).as_str(),
        "time"
            | "t"
            | "zeit"
            | "temps"
            | "tiempo"
            | "tempo"
            | "tijd"
            | "tid"
            | "second"
            | "seconds"
            | "x axis"
            | "x-axis"
            | "x_axis"
            | "x_value"
            | "x value"
            | "timestamp"
            | "time axis"
    )
}

fn is_index_name(name: &str) -> bool {
    matches!(
        simple(name).as_str(),
        "sample"
            | "samples"
            | "sequence"
            | "index"
            | "point"
            | "points"
            | "nr"
            | "no"
            | "no."
            | "#"
            | "n"
            | "row"
            | "sample number"
            | "sample no"
            | "sample nr"
    )
}

fn is_remark_name(name: &str) -> bool {
    matches!(
        simple(name).as_str(),
        "comment" | "comments" | "remark" | "remarks" | "note" | "notes" | "kommentar"
    )
}

/// True for a row of units: every text in it is one, and there is at least one.
fn is_unit_row(cells: &[String]) -> bool {
    let texts: Vec<&String> = cells
        .iter()
        .filter(|c| !c.is_empty() && !matches!(cell::parse(c.as_bytes(), b'.'), Cell::Number(_)))
        .collect();
    let known = texts
        .iter()
        .filter(|c| unit::parse(c, true).is_some())
        .count();
    !texts.is_empty()
        && known > 0
        && texts.iter().all(|c| {
            unit::parse(c, true).is_some()
                || is_index_name(c)
                || (unit::strip_brackets(c) != c.trim() && c.chars().count() <= 8)
        })
}

/// True for a row of column names above columns of which `numeric` hold numbers.
fn is_name_row(cells: &[String], numeric: &[bool], units_below: bool) -> bool {
    let named = |column: usize| cells.get(column).is_some_and(|c| !c.is_empty());
    let numbers = numeric.iter().filter(|&&n| n).count();
    let covered = (0..numeric.len())
        .filter(|&c| numeric[c] && named(c))
        .count();
    let filled = cells.iter().filter(|c| !c.is_empty()).count();
    if cells.iter().any(|c| c.contains('='))
        || covered < numbers.saturating_sub(1).max(1)
        || filled > numeric.len() + 2
        || (numeric.len() == 1 && filled != 1)
    {
        return false;
    }
    let figures = cells
        .iter()
        .filter(|c| matches!(cell::parse(c.as_bytes(), b'.'), Cell::Number(_)))
        .count();
    // Bare numbers may name channels (`x-axis,1,2`), but only where something else says that this is a header.
    figures == 0 || (figures < filled && (units_below || is_time_name(&cells[0])))
}

/// Statistics of one column over the rows of the head.
#[derive(Default)]
struct Seen {
    numbers: usize,
    texts: usize,
    marks: usize,
    filled_rows: Vec<usize>,
    text_rows: Vec<usize>,
    values: Vec<f64>,
    decimals: Option<Option<usize>>,
}

/// Reads the header above the found table and gives every column its use.
pub(super) fn read_layout(
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

/// Names, units, and the lines above them that are neither.
fn find_header<'a, 'b>(
    lines: &'b [Line<'a>],
    found: &Found,
    numeric: &[bool],
    options: &ReadOptions,
    named: Option<&'static Encoding>,
) -> (Option<Header>, Option<Header>, Vec<&'b Line<'a>>) {
    let mut above: Vec<&Line> = lines[..found.block.first]
        .iter()
        .filter(|line| {
            found
                .dialect
                .split(line.text)
                .iter()
                .any(|c| !cell::trim(c).is_empty())
        })
        .collect();
    let header = |line: &Line| Header {
        line: line.number,
        cells: header_cells(line.text, found.dialect, numeric.len(), named),
    };
    let (mut names, mut units) = (None, None);
    match options.header_rows {
        Some(0) => {}
        Some(1) => names = above.pop().map(header),
        Some(_) => {
            units = above.pop().map(header);
            names = above.pop().map(header);
        }
        None => {
            if let Some(line) = above.last() {
                let lowest = header(line);
                if is_unit_row(&lowest.cells) && lowest.cells.len() > numeric.len() / 2 {
                    above.pop();
                    units = Some(lowest);
                    if let Some(line) = above.last() {
                        let next = header(line);
                        if is_name_row(&next.cells, numeric, true) {
                            above.pop();
                            names = Some(next);
                        }
                    }
                } else if is_name_row(&lowest.cells, numeric, false) {
                    above.pop();
                    names = Some(lowest);
                }
            }
        }
    }
    (names, units, above)
}

/// Cells of a header line; a comment mark before them is taken off, and another delimiter than that of the numbers is
/// accepted when it gives as many cells as the table has columns.
fn header_cells(
    line: &[u8],
    dialect: Dialect,
    width: usize,
    named: Option<&'static Encoding>,
) -> Vec<String> {
    let line = cell::trim_start_marks(line);
    let texts = |dialect: Dialect| -> Vec<String> {
        dialect
            .split(line)
            .iter()
            .map(|c| source::text(cell::trim(c), named).trim().to_string())
            .collect()
    };
    let cells = texts(dialect);
    if cells.len() == 1 && width > 1 {
        for delimiter in [b',', b';', b'\t'] {
            let other = texts(Dialect::new(delimiter, dialect.decimal));
            if other.len() == width {
                return other;
            }
        }
    }
    cells
}

fn increases(values: &[f64]) -> bool {
    values.len() >= 3 && values.iter().zip(&values[1..]).all(|(a, b)| b > a) && {
        let steps = values.iter().zip(&values[1..]).map(|(a, b)| b - a);
        let mean = (values[values.len() - 1] - values[0]) / (values.len() - 1) as f64;
        steps.fold(0.0, f64::max) <= 3.0 * mean
    }
}

fn counts(values: &[f64]) -> bool {
    values.len() >= 2
        && values[0] >= 0.0
        && values.iter().all(|v| v.fract() == 0.0)
        && values
            .iter()
            .zip(&values[1..])
            .filter(|(a, b)| *b - *a != 1.0)
            .count()
            * 20
            <= values.len()
}

fn assign_time(
    columns: &mut [Column],
    seen: &[Seen],
    options: &ReadOptions,
    why: &mut Vec<String>,
) {
    let is_time_unit = |column: &Column| {
        column
            .unit_text
            .as_deref()
            .and_then(|u| unit::parse(u, true))
            .is_some_and(|u| u.symbol == "s")
    };
    let index = columns.iter().enumerate().position(|(c, column)| {
        column.role == Role::Value
            && (column.name.as_deref().is_some_and(is_index_name)
                || column.unit_text.as_deref().is_some_and(is_index_name))
            && (counts(&seen[c].values) || seen[c].values.len() < 2)
    });
    if let Some(index) = index {
        columns[index].role = Role::Index;
    }
    if let Some(given) = options.time_column {
        if let Some(column) = given.checked_sub(1).and_then(|c| columns.get_mut(c)) {
            column.role = Role::Time;
            why.push(format!("column {given} is time, as given"));
        } else {
            why.push("no column is time, as given".to_string());
        }
        return;
    }
    let candidate = |test: &dyn Fn(usize, &Column) -> bool| {
        (0..columns.len()).find(|&c| columns[c].role == Role::Value && test(c, &columns[c]))
    };
    let by_name = candidate(&|c, column| {
        is_time_unit(column)
            || (column.name.as_deref().is_some_and(is_time_name)
                && column
                    .unit_text
                    .as_deref()
                    .is_none_or(|u| unit::parse(u, true).is_none())
                // A time that runs backwards once is still time; a channel called `t` is not.
                && (seen[c].values.is_empty() || mostly_increases(&seen[c].values)))
    });
    let first = candidate(&|_, _| true);
    let time = by_name
        .map(|c| (c, "its name or unit says so"))
        .or_else(|| {
            let c = first?;
            let values = &seen[c].values;
            let unit_elsewhere = columns[c].unit_text.is_some();
            (!unit_elsewhere
                && increases(values)
                && columns.iter().filter(|k| k.role == Role::Value).count() > 1
                && !(counts(values)))
            .then_some((c, "it is the first column and increases evenly"))
        });
    match time {
        Some((c, reason)) => {
            columns[c].role = Role::Time;
            why.push(format!("column {} is time: {reason}", c + 1));
            let name = columns[c].name.clone();
            for other in c + 1..columns.len() {
                if columns[other].role == Role::Value
                    && (is_time_unit(&columns[other])
                        || (name.is_some() && columns[other].name == name))
                    && mostly_increases(&seen[other].values)
                {
                    columns[other].role = Role::ExtraTime;
                    why.push(format!("column {} is time again", other + 1));
                }
            }
        }
        None => {
            if index.is_none()
                && let Some(c) = first
                && counts(&seen[c].values)
                && seen[c].values.len() >= 3
                && columns[c].unit_text.is_none()
                && columns.iter().filter(|k| k.role == Role::Value).count() > 1
            {
                columns[c].role = Role::Index;
            }
        }
    }
    if let Some(c) = columns.iter().position(|c| c.role == Role::Index) {
        why.push(format!("column {} counts the rows", c + 1));
    }
}

fn mostly_increases(values: &[f64]) -> bool {
    let back = values
        .iter()
        .zip(&values[1.min(values.len())..])
        .filter(|(a, b)| b < a)
        .count();
    back * 10 <= values.len()
}
