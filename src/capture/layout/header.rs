//! The lines above the numbers that name the columns and give their units.

use super::dialect::Dialect;
use super::preamble::{key_and_unit, key_and_value};
use super::sniff::{Found, Line};
use super::words::{is_index_name, is_remark_name, is_time_name, is_unit_key, setting};
use crate::capture::cell::unit;
use crate::capture::cell::{self, Cell};
use crate::capture::read::options::ReadOptions;
use crate::capture::source;
use crate::capture::wording::LayoutRule;
use encoding_rs::Encoding;

/// Cells of a header line.
pub struct Header {
    pub line: usize,
    pub cells: Vec<String>,
}

/// True for a row of units: every text in it is one, and there is at least one.
fn is_unit_row(cells: &[String]) -> bool {
    let texts: Vec<&String> = cells
        .iter()
        .filter(|c| !c.is_empty() && !matches!(cell::parse(c.as_bytes(), b'.'), Cell::Number(_)))
        .collect();
    let is_known = |c: &&&String| unit::parse(c, true).is_some();
    let known = texts.iter().filter(is_known).count();
    // Below a unit of time and beside other units, a short word is a unit too (`s,dBm,V`).
    let first_is_time = texts
        .first()
        .is_some_and(|c| unit::parse(c, true).is_some_and(|u| u.symbol == "s"));
    let short = texts.iter().all(|c| c.chars().count() <= 6);
    if first_is_time && short && known >= 2 && known * 2 >= texts.len() && texts.len() > 2 {
        return true;
    }
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
    // `Data:` announces the numbers and names no column.
    let announces = |c: &String| {
        c.ends_with([':', '=']) || c.trim_matches(['[', ']']).eq_ignore_ascii_case("data")
    };
    if filled == 1 && cells.iter().any(announces) {
        return false;
    }
    if covered < numbers.saturating_sub(1).max(1)
        || filled > numeric.len() + 2
        || (numeric.len() == 1 && filled != 1)
    {
        return false;
    }
    let count = |is: fn(&Cell) -> bool| {
        let parsed = cells.iter().map(|c| cell::parse(c.as_bytes(), b'.'));
        parsed.filter(is).count()
    };
    let figures = count(|c| matches!(c, Cell::Number(_)));
    let quantities = count(|c| matches!(c, Cell::Quantity(..)));
    let is_setting = setting(&cells[0]).is_some() || quantities > 0;
    if (figures + quantities > 0 && figures + quantities + 1 >= filled && is_setting)
        || (cells[0].ends_with(':') && filled > 1)
    {
        return false;
    }
    // Bare numbers may name channels (`x-axis,1,2`), but only where something else says that this is a header.
    figures == 0 || (figures < filled && (units_below || is_time_name(&cells[0])))
}

/// The lines above the numbers.
pub struct HeaderLines<'b, 'a> {
    pub names: Option<Header>,
    pub units: Option<Header>,
    /// The lines that are neither, from the first.
    pub above: Vec<&'b Line<'a>>,
}

impl HeaderLines<'_, '_> {
    /// Takes the names that stand in the rows themselves, the first of them in `line`, where there is no line of names.
    pub fn take_names_of_rows(&mut self, line: usize, names: Option<&[String]>) {
        let in_rows = names.filter(|names| names.iter().any(|n| !n.is_empty()));
        if let (None, Some(cells)) = (&self.names, in_rows) {
            self.names = Some(Header {
                line,
                cells: cells.to_vec(),
            });
        }
    }

    /// Takes the names away where there are more of them than `columns` and nothing shows which belongs where (a delimiter within
    /// a name); gives their line.
    pub fn take_wider_names(&mut self, columns: usize) -> Option<usize> {
        let wider = |names: &mut Header| {
            // A column of remarks may be blank in all rows.
            let is_name = |c: &String| !c.is_empty() && !is_remark_name(c);
            let count = names.cells.iter().rposition(is_name).map_or(0, |at| at + 1);
            let settings = names.cells.iter().any(|c| c.contains('='));
            count > columns && columns > 1 && !settings
        };
        let names = match self.units {
            None => self.names.take_if(wider)?,
            Some(_) => return None,
        };
        Some(names.line)
    }

    /// In which lines names and units are.
    pub fn how(&self) -> LayoutRule {
        let line = |header: &Option<Header>| header.as_ref().map(|header| header.line);
        LayoutRule::Header {
            names: line(&self.names),
            units: line(&self.units),
        }
    }
}

/// Finds names and units above columns of which `numeric` hold numbers.
pub fn find_header<'a, 'b>(
    lines: &'b [Line<'a>],
    found: &Found,
    numeric: &[bool],
    options: &ReadOptions,
    named: Option<&'static Encoding>,
) -> HeaderLines<'b, 'a> {
    let is_filled = |line: &&Line| {
        let cells = found.dialect.split(line.text);
        cells.iter().any(|c| !cell::trim(c).is_empty()) && !is_ruler(line.text)
    };
    let lines = lines[..found.block.first].iter();
    let mut above: Vec<&Line> = lines.filter(is_filled).collect();
    let header = |line: &Line| {
        let mut cells = header_cells(line.text, found.dialect, numeric.len(), named);
        // `Unit,V,A` above a column of row numbers.
        if let [key, _, ..] = cells.as_mut_slice()
            && is_unit_key(key)
        {
            key.clear();
        }
        Header {
            line: line.number,
            cells,
        }
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
            let is_units = |h: &Header| is_unit_row(&h.cells) && h.cells.len() > numeric.len() / 2;
            // A line of labels may stand between the units and the numbers.
            let labels = labels_below_units(&above, &header, &is_units, numeric);
            let labels = above.split_off(above.len() - labels);
            let last = above.last().map(|line| header(line));
            units = last.filter(is_units);
            if units.is_some() {
                above.pop();
            }
            // Settings may stand between the names and the numbers.
            let is_setting = |line: &&&Line| setting_line(&header(line).cells);
            let below = above.iter().rev().take_while(is_setting).count();
            let at = above.len().checked_sub(below + 1);
            let line = at.map(|at| above[at]);
            let found = line.map(|line| without_settings(header(line)));
            let is_names = |h: &Header| {
                is_name_row(&h.cells, numeric, units.is_some())
                    && (below == 0 || !is_unit_row(&h.cells))
            };
            names = found.filter(is_names);
            // A line that holds settings as well is read for them once more.
            if let (Some(names), Some(line), Some(at)) = (&names, line, at)
                && names.cells == header(line).cells
            {
                above.remove(at);
            }
            let settings = labels.into_iter();
            above.extend(settings.filter(|line| setting_line(&header(line).cells)));
        }
    }
    HeaderLines {
        names,
        units,
        above,
    }
}

/// A line drawn under the header: `|---|---|`, `=====`.
fn is_ruler(line: &[u8]) -> bool {
    let is_mark = |b: &u8| matches!(b, b'-' | b'=' | b'+' | b'|' | b':' | b' ' | b'\t' | b'_');
    let strokes = line
        .iter()
        .filter(|b| matches!(b, b'-' | b'=' | b'_'))
        .count();
    strokes >= 3 && cell::trim(line).iter().all(is_mark)
}

/// A line of one setting and its values.
fn setting_line(cells: &[String]) -> bool {
    let is_number = |c: &String| {
        let is = |decimal| {
            matches!(
                cell::parse(c.as_bytes(), decimal),
                Cell::Number(_) | Cell::Quantity(..)
            )
        };
        is(b'.') || is(b',')
    };
    let (key, _) = cells.first().map_or(("", None), |c| key_and_unit(c));
    setting(key).is_some_and(|(_, specific)| specific) && cells.get(1).is_some_and(is_number)
}

/// How many of the last lines stand below a row of units that has a row of names above it.
fn labels_below_units(
    above: &[&Line],
    header: &dyn Fn(&Line) -> Header,
    is_units: &dyn Fn(&Header) -> bool,
    numeric: &[bool],
) -> usize {
    const MOST_LABELS: usize = 2;
    let headed = |labels: &usize| {
        let [.., names, units] = &above[..above.len() - labels] else {
            return false;
        };
        is_units(&header(units)) && is_name_row(&header(names).cells, numeric, true)
    };
    let most = MOST_LABELS.min(above.len());
    (0..=most).find(headed).unwrap_or(0)
}

/// The names of a header line without the settings that stand among them (`CH1,CH2,t0 = -1e-3,dt = 1e-6`).
fn without_settings(header: Header) -> Header {
    let is_setting = |cell: &str| {
        key_and_value(cell).is_some_and(|(key, _)| cell.contains('=') || setting(key).is_some())
    };
    let cells = header.cells.into_iter();
    Header {
        cells: cells
            .map(|c| if is_setting(&c) { String::new() } else { c })
            .collect(),
        ..header
    }
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
            .map(|c| {
                source::text(cell::trim_start_marks(cell::trim(c)), named)
                    .trim()
                    .to_string()
            })
            .collect()
    };
    let mut cells = texts(dialect);
    // `#Columns: t u i`.
    let is_title = |c: &String| {
        matches!(
            c.to_lowercase().as_str(),
            "columns:" | "fields:" | "channels:"
        )
    };
    if cells.len() == width + 1 && is_title(&cells[0]) {
        cells.remove(0);
    }
    if cells.len() == 1 && width > 1 {
        for delimiter in [b',', b';', b'\t'] {
            let other = texts(Dialect::new(delimiter, dialect.decimal));
            if other.len() == width {
                return other;
            }
        }
    }
    joined_names(line, cells, dialect, width)
}

/// Cells of which some were cut within a name (`Voltage, filtered (V)`): a blank behind the delimiter shows it, where the names are as
/// many as the columns when put together.
fn joined_names(line: &[u8], cells: Vec<String>, dialect: Dialect, width: usize) -> Vec<String> {
    let count = cells
        .iter()
        .rposition(|c| !c.is_empty())
        .map_or(0, |at| at + 1);
    if count <= width || width < 2 || line.contains(&b'"') || dialect.delimiter == b' ' {
        return cells;
    }
    let raw = line.split(|b| *b == dialect.delimiter);
    let mut joined: Vec<String> = Vec::new();
    for (cell, raw) in cells[..count].iter().zip(raw) {
        match joined.last_mut() {
            Some(last) if raw.first() == Some(&b' ') => {
                last.push_str(&format!("{} {cell}", dialect.delimiter as char));
            }
            _ => joined.push(cell.clone()),
        }
    }
    match joined.len() == width {
        true => joined,
        false => cells,
    }
}
