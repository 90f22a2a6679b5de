//! What each column of the found table is: names, units, which column is time, which only counts.

use super::columns::{Cells, Codes, Column, Layout, Role};
use super::header::{Header, HeaderLines, find_header};
use super::other_axis::other_axis;
use super::preamble;
use super::roles::assign_time;
use super::sniff::{Found, Line};
use super::survey::{HeadRow, Survey};
use super::words::{is_channel_name, is_remark_name, is_time_name, tokens};
use crate::capture::cell::unit;
use crate::capture::cell::{self, Cell};
use crate::capture::read::options::ReadOptions;
use crate::capture::record::PreambleFact;
use crate::capture::wording::{LayoutRule, ReadErrorKind};
use encoding_rs::Encoding;

/// Reads the header above the found table and gives every column its use. `complete` says that `lines` are the whole file; `names`
/// are those that stand in the rows themselves.
pub fn read_layout(
    lines: &[Line],
    found: &Found,
    complete: bool,
    options: &ReadOptions,
    named: Option<&'static Encoding>,
    names: Option<&[String]>,
) -> Layout {
    let mut rows: Vec<HeadRow> = found.rows(lines).collect();
    // The last row of a whole file may be cut short and must not shape the layout.
    if complete && rows.len() > 2 {
        rows.pop();
    }
    let survey = Survey::of(&rows, found.dialect);
    let mut header = find_header(lines, found, &survey.numeric(), options, named);
    header.take_names_of_rows(lines[found.block.first].number, names);
    let header_wider = header.take_wider_names(survey.columns.len());
    let facts_in_header = facts_in_header(&header, found.dialect.decimal);

    let above = header.above.iter();
    let mut facts: Vec<PreambleFact> = above
        .flat_map(|line| preamble::of_line(line.text, line.number, found.dialect, named))
        .collect();
    facts.extend(facts_in_header.iter().map(|(_, fact)| fact.clone()));
    facts.extend(survey.facts_beside(&rows, named));

    let mut why = vec![
        LayoutRule::Dialect {
            delimiter: found.dialect.delimiter_name(),
            decimal: found.dialect.decimal as char,
            rows: rows.len(),
        },
        header.how(),
    ];
    if let Some(lines) = survey.lines_beside() {
        why.push(LayoutRule::SettingsBeside { lines });
    } else if !facts.is_empty() {
        let count = facts.len();
        why.push(LayoutRule::SettingsAbove { count });
    }

    let key_columns: Vec<usize> = facts_in_header.iter().map(|(column, _)| *column).collect();
    let mut columns: Vec<Column> = (0..survey.columns.len())
        .map(|c| {
            let hexadecimal = options.hex_columns.contains(&(c + 1));
            column(c, &survey, &header, &key_columns, hexadecimal, &mut why)
        })
        .collect();
    let (unit_columns, units_vary) =
        units_from_columns(&mut columns, &survey, &options.units, &mut why);
    assign_time(&mut columns, &survey.columns, options.time_column, &mut why);
    let known = options.time_column.is_some() || columns.iter().any(is_sure_time);
    let no_time = (!known).then(|| other_axis(&columns, &survey.columns, &facts));
    for (column, text) in &options.units {
        if let Some(column) = column.checked_sub(1).and_then(|c| columns.get_mut(c)) {
            column.unit_text = Some(text.clone());
        }
    }
    let refusal = rows_as_channels(&survey)
        .or_else(|| no_time.flatten())
        .or_else(|| mixed_channels(&columns, &survey))
        .or_else(|| {
            let column = units_vary? + 1;
            Some(ReadErrorKind::UnitsVary { column })
        })
        .or_else(|| only_codes(&columns));
    let from_first = &lines[found.block.first..];
    Layout {
        dialect: found.dialect,
        quoted: from_first.iter().any(|line| line.text.contains(&b'"')),
        whole_lines_quoted: is_quoted_whole(from_first[0].text, found),
        first_line: from_first[0].number,
        first_offset: from_first[0].start,
        columns,
        cells: survey.cells,
        facts,
        refusal,
        unit_columns,
        header_wider,
        why,
    }
}

/// Takes the unit of a column from a column of units to its right. Gives the 0-based columns of units with the unit of all their rows,
/// and one whose unit changes from row to row, where the user states no unit for the numbers before it.
fn units_from_columns(
    columns: &mut [Column],
    survey: &Survey,
    given: &[(usize, String)],
    why: &mut Vec<LayoutRule>,
) -> (Vec<(usize, String)>, Option<usize>) {
    let mut constant = Vec::new();
    let mut varying = None;
    for at in 1..columns.len() {
        let before = &columns[at - 1];
        if before.role != Role::Value || given.iter().any(|(column, _)| *column == at) {
            continue;
        }
        match survey.columns[at].unit_of_rows() {
            Some(Some(unit)) if before.unit_text.is_none() => {
                why.push(LayoutRule::UnitColumn {
                    column: at + 1,
                    of: at,
                    unit: unit.clone(),
                });
                columns[at - 1].unit_text = Some(unit.clone());
                constant.push((at, unit));
            }
            Some(None) => varying = varying.or(Some(at)),
            _ => {}
        }
    }
    (constant, varying)
}

/// A column that names the channel of each row, where most times stand more than once.
fn mixed_channels(columns: &[Column], survey: &Survey) -> Option<ReadErrorKind> {
    let time = columns.iter().position(|c| c.role == Role::Time)?;
    let times = &survey.columns[time].values;
    let repeated = times.windows(2).filter(|w| w[0] == w[1]).count();
    if times.len() < 4 || repeated * 5 < times.len() * 2 {
        return None;
    }
    columns.iter().enumerate().find_map(|(column, c)| {
        let named = c.name.as_deref().is_some_and(is_channel_name);
        let channels = survey.columns[column].channels(times.len(), named)?;
        let of_names = column + 1;
        Some(ReadErrorKind::MixedChannels { of_names, channels })
    })
}

/// A row a channel, its name in the first column, one of them of time.
fn rows_as_channels(survey: &Survey) -> Option<ReadErrorKind> {
    const FEWEST_SAMPLES: usize = 20;
    let channels = survey.columns.first()?.texts_alone();
    let has_time = channels.iter().any(|name| is_time_name(name));
    let is_wide = survey.columns.len() > FEWEST_SAMPLES;
    (is_wide && has_time).then_some(ReadErrorKind::RowsAsChannels { channels })
}

/// Codes, and no column of numbers beside them.
fn only_codes(columns: &[Column]) -> Option<ReadErrorKind> {
    let at = columns.iter().position(|c| c.codes.is_some())?;
    let name = columns[at].name.clone().unwrap_or_default();
    let has_values = columns.iter().any(|c| c.role == Role::Value);
    let of_codes = at + 1;
    (!has_values).then_some(ReadErrorKind::OnlyCodes { of_codes, name })
}

/// Time by its unit, its clock or its name.
fn is_sure_time(column: &Column) -> bool {
    let named = column.name.as_deref().is_some_and(is_strict_time_name);
    column.role == Role::Time
        && (named || column.unit_text.is_some() || column.cells == Cells::Clock)
}

/// `x-axis` is the name of any axis.
fn is_strict_time_name(name: &str) -> bool {
    is_time_name(name) && !tokens(name).iter().any(|word| word.starts_with('x'))
}

/// True where the line is one cell in quotation marks that holds delimiters.
fn is_quoted_whole(line: &[u8], found: &Found) -> bool {
    let line = cell::trim(line);
    let inner = line
        .strip_prefix(b"\"")
        .and_then(|rest| rest.strip_suffix(b"\""));
    inner.is_some_and(|inner| {
        let single = inner.windows(2).all(|w| w != b"\"," && w != b",\"");
        single && found.dialect.is_whole_line(inner)
    })
}

/// Keys of the preamble that stand among the names, their values among the units; each with its column.
fn facts_in_header(header: &HeaderLines, decimal: u8) -> Vec<(usize, PreambleFact)> {
    let (Some(names), Some(units)) = (&header.names, &header.units) else {
        return Vec::new();
    };
    let fact = |(column, text): (usize, &String)| {
        let key = names.cells.get(column).filter(|k| !k.is_empty())?;
        let is_number = matches!(cell::parse(text.as_bytes(), decimal), Cell::Number(_));
        is_number.then(|| {
            let fact = PreambleFact {
                line: units.line,
                key: key.clone(),
                values: vec![text.clone()],
            };
            (column, fact)
        })
    };
    units.cells.iter().enumerate().filter_map(fact).collect()
}

/// One column as header and rows show it, before time is looked for. `key_columns` hold facts of the preamble; `hexadecimal`:
/// the user says that its cells are hexadecimal.
fn column(
    c: usize,
    survey: &Survey,
    header: &HeaderLines,
    key_columns: &[usize],
    hexadecimal: bool,
    why: &mut Vec<LayoutRule>,
) -> Column {
    let seen = &survey.columns[c];
    let is_key = key_columns.contains(&c);
    let is_beside = survey.is_beside(c);
    let cell_of = |line: &Option<Header>| {
        let cell = line.as_ref().and_then(|h| h.cells.get(c));
        cell.filter(|c| !c.is_empty() && !is_key).cloned()
    };
    let name = cell_of(&header.names);
    let mut unit_text = cell_of(&header.units)
        .map(|u| unit::strip_brackets(&u).to_string())
        .or_else(|| name.as_deref().and_then(unit::of_name).map(str::to_string));
    let announced = name.is_some() || (unit_text.is_some() && header.names.is_some());
    let text = seen.texts > seen.numbers || name.as_deref().is_some_and(is_remark_name);
    let nothing = seen.numbers == 0 && seen.marks == 0 && !announced;
    let (has_units, unit_in_cells) = seen.quantities();
    let cells = if hexadecimal {
        Cells::Hexadecimal
    } else if seen.is_clock() {
        Cells::Clock
    } else if seen.other_mark {
        why.push(LayoutRule::OtherMark { column: c + 1 });
        Cells::OtherMark
    } else if has_units {
        Cells::Quantities
    } else {
        Cells::Numbers
    };
    let codes = seen.codes().filter(|_| !hexadecimal);
    let skipped = match (codes, cells) {
        _ if is_beside || is_key => true,
        (Some(codes), _) => {
            why.push(LayoutRule::Codes {
                column: c + 1,
                name: name.clone(),
                codes: match codes {
                    Codes::Hexadecimal => "hexadecimal codes",
                    Codes::Bits => "logic bits",
                },
            });
            true
        }
        (None, Cells::Clock | Cells::Hexadecimal) => false,
        (None, _) if text => {
            why.push(LayoutRule::Text { column: c + 1 });
            true
        }
        (None, _) => nothing,
    };
    if cells == Cells::Quantities {
        why.push(LayoutRule::Quantities { column: c + 1 });
        // The values come in SI: of the unit in the header only the quantity is left.
        let header_unit = unit_text.as_deref().and_then(|u| unit::parse(u, true));
        let symbol = unit_in_cells.or(header_unit.map(|u| u.symbol));
        unit_text = symbol.map(str::to_string);
    }
    Column {
        role: match skipped {
            true => Role::Skip,
            false => Role::Value,
        },
        cells,
        name,
        unit_text,
        decimals: seen.decimals,
        exponents: seen.exponents,
        empty: seen.numbers == 0 && !matches!(cells, Cells::Clock | Cells::Hexadecimal),
        codes,
        unread: seen.unread_figures().filter(|_| text && skipped),
    }
}
