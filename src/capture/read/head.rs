//! The head of a file: the first lines, in which the layout is found.

use crate::capture::layout::{self, Dialect, Layout, Line, too_many_columns};
use crate::capture::read::options::ReadOptions;
use crate::capture::record::error::ReadError;
use crate::capture::source;
use crate::capture::wording::{LayoutRule, ReadErrorKind};
use encoding_rs::Encoding;
use std::io::{self, Read};
use std::path::Path;

/// The layout is found from at most so many lines...
const HEAD_LINES: usize = 1000;
/// ...and so many bytes of text.
const HEAD_BYTES: usize = 512 * 1024;

/// The first lines of a file.
pub(in crate::capture) struct Head {
    pub text: Vec<u8>,
    /// The text ends within them.
    complete: bool,
}

impl Head {
    /// Reads at least `wanted` lines, where there are so many.
    fn read<R: Read>(lines: &mut R, wanted: usize) -> io::Result<Head> {
        let mut text = Vec::new();
        let mut breaks = 0;
        let mut chunk = [0u8; 1 << 14];
        loop {
            let count = lines.read(&mut chunk)?;
            breaks += chunk[..count].iter().filter(|&&b| b == b'\n').count();
            text.extend_from_slice(&chunk[..count]);
            let complete = count == 0;
            if complete || breaks >= wanted || (text.len() >= HEAD_BYTES && breaks > 0) {
                return Ok(Head { text, complete });
            }
        }
    }

    /// The whole lines, at most `wanted`.
    fn lines(&self, wanted: usize) -> Vec<Line<'_>> {
        let mut start = 0;
        let mut lines = Vec::new();
        let rest = |start: usize| &self.text[start..];
        while let Some(length) = rest(start).iter().position(|&b| b == b'\n') {
            lines.push(Line {
                number: lines.len() + 1,
                start,
                text: &rest(start)[..length],
            });
            start += length + 1;
            if lines.len() == wanted {
                break;
            }
        }
        lines
    }
}

/// Reads the head of `text` and finds its layout; `names` are those that stand in the rows themselves.
pub(in crate::capture) fn find_layout<R: Read>(
    path: &Path,
    text: &mut R,
    options: &ReadOptions,
    named: Option<&'static Encoding>,
    names: Option<&[String]>,
) -> Result<(Head, Layout), ReadError> {
    let wanted = HEAD_LINES + options.skip_lines.unwrap_or(0);
    let head = Head::read(text, wanted).map_err(|error| ReadError::from_io(path, error))?;
    let lines = head.lines(wanted);
    let skipped = options.skip_lines.unwrap_or(0).min(lines.len());
    let Some(mut found) = layout::find_table(&lines[skipped..], options.delimiter, options.decimal)
    else {
        return Err(no_table(path, &lines, options, head.complete, named));
    };
    found.shift(skipped);
    let mut why = Vec::new();
    if options.skip_lines.is_some() {
        found.block.first = skipped;
        why.push(LayoutRule::Skipped { skipped });
    }
    let mut layout = layout::read_layout(&lines, &found, head.complete, options, named, names);
    let lone = |line: &Line| line.text.trim_ascii().len() == 1;
    if is_json(&lines) && (lines.len() == 1 || layout.columns.len() == 1 || lone(&lines[0])) {
        return Err(ReadError::new(path, 1, ReadErrorKind::Json));
    }
    if layout.columns.len() > options.limits.columns {
        let (found, limit) = (layout.columns.len(), options.limits.columns);
        return Err(too_many_columns(path, layout.first_line, found, limit));
    }
    why.append(&mut layout.why);
    layout.why = why;
    check_layout(path, &lines, &layout, options)?;
    Ok((head, layout))
}

/// Refuses what cannot be a record against time, with what it is.
fn check_layout(
    path: &Path,
    lines: &[Line],
    layout: &Layout,
    options: &ReadOptions,
) -> Result<(), ReadError> {
    let rows = lines.iter().filter(|line| line.number >= layout.first_line);
    let free = options.delimiter.is_none() && options.decimal.is_none();
    if free && layout.dialect == Dialect::new(b',', b'.') && cut_at_commas(rows.map(|l| l.text)) {
        let kind = ReadErrorKind::CutAtCommas;
        return Err(ReadError::new(path, layout.first_line, kind));
    }
    let above = rows_in_other_notation(lines, layout);
    if let (Some(first), true, None) = (above.first(), above.len() >= 3, options.skip_lines) {
        let text = &first.text[..first.text.len().min(40)];
        let kind = ReadErrorKind::OtherRows {
            rows: above.len(),
            text: String::from_utf8_lossy(text).into_owned(),
            skip: layout.first_line - 1,
        };
        return Err(ReadError::new(path, first.number, kind));
    }
    let Some(refusal) = layout.refusal.clone() else {
        return Ok(());
    };
    let column = match refusal {
        ReadErrorKind::UnitsVary { column } => Some(column),
        _ => None,
    };
    Err(ReadError::new(path, layout.first_line, refusal).in_column(column))
}

/// Lines above the table with several cells, all of figures and their marks: rows whose numbers were not recognised, or of another width.
fn rows_in_other_notation<'b, 'a>(lines: &'b [Line<'a>], layout: &Layout) -> Vec<&'b Line<'a>> {
    let width = layout.columns.len();
    let is_figures = |cell: &[u8]| {
        let figures = |b: &u8| b.is_ascii_digit() || b".,'-+ *!?#<>".contains(b);
        cell.iter().any(u8::is_ascii_digit) && cell.iter().all(figures)
    };
    let is_row = |line: &&Line| {
        let cells = layout.dialect.split(line.text);
        let filled = cells.iter().rposition(|c| !c.trim_ascii().is_empty());
        let filled = filled.map_or(0, |at| at + 1);
        width > 1 && filled > 1 && cells[..filled].iter().all(|c| is_figures(c))
    };
    let above = lines.iter().filter(|line| line.number < layout.first_line);
    let mut rows: Vec<&Line> = above
        .rev()
        .skip_while(|line| !is_row(line))
        .take_while(is_row)
        .collect();
    rows.reverse();
    rows
}

/// True where decimal commas were taken for delimiters: no point stands anywhere, and cells that follow a comma begin with zeros.
fn cut_at_commas<'a>(rows: impl Iterator<Item = &'a [u8]>) -> bool {
    let (mut all, mut cut) = (0, 0);
    for row in rows.filter(|row| row.contains(&b',')) {
        let is_other = |b: &u8| {
            matches!(b, b'.' | b'"') || (b.is_ascii_alphabetic() && !b.eq_ignore_ascii_case(&b'e'))
        };
        if row.iter().any(is_other) {
            return false;
        }
        let padded = |c: &[u8]| c.len() > 1 && c[0] == b'0' && c.iter().all(u8::is_ascii_digit);
        all += 1;
        cut += usize::from(row.split(|b| *b == b',').skip(1).any(padded));
    }
    all > 2 && cut * 10 > all
}

/// Whether the text begins as an object or a list of JSON does; `[Header]` does not.
fn is_json(lines: &[Line]) -> bool {
    let mut filled = lines.iter().map(|line| line.text.trim_ascii());
    let first = filled.find(|text| !text.is_empty()).unwrap_or_default();
    let inside = first.strip_prefix(b"{").or(first.strip_prefix(b"["));
    inside.is_some_and(|rest| {
        let next = rest.trim_ascii().first();
        next.is_none_or(|b| b.is_ascii_digit() || b"\"{[-".contains(b))
    })
}

/// Why no table was found, with what the file does hold.
fn no_table(
    path: &Path,
    lines: &[Line],
    options: &ReadOptions,
    complete: bool,
    named: Option<&'static Encoding>,
) -> ReadError {
    let counted = lines.len();
    if is_json(lines) {
        return ReadError::new(path, 1, ReadErrorKind::Json);
    }
    let no_table = |kind| ReadError::new(path, None, kind);
    if lines.iter().all(|l| l.text.trim_ascii().is_empty()) && complete {
        return no_table(ReadErrorKind::BlankLines { lines: counted });
    }
    if (options.delimiter.is_some() || options.decimal.is_some())
        && let Some(found) = layout::find_table(lines, None, None)
    {
        return no_table(ReadErrorKind::OtherDialect {
            lines: counted,
            delimiter: found.dialect.delimiter_name(),
            decimal: found.dialect.decimal as char,
        });
    }
    let header = lines.iter().rfind(|l| !l.text.trim_ascii().is_empty());
    if complete && let Some(header) = header {
        let columns: Vec<String> = [b',', b';', b'\t']
            .into_iter()
            .map(|d| Dialect::new(d, b'.').split(header.text))
            .max_by_key(Vec::len)
            .unwrap_or_default()
            .iter()
            .map(|c| source::text(c.trim_ascii(), named))
            .filter(|c| !c.is_empty())
            .collect();
        return ReadError::new(path, header.number, ReadErrorKind::NoSamples { columns });
    }
    no_table(ReadErrorKind::NoTable { lines: counted })
}
