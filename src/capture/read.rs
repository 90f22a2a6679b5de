//! From a path to a [`Record`]: opens, unpacks, finds the layout, reads the rows, judges time, words the remarks.

use super::error::ReadError;
use super::layout::{self, Layout, Line, RecordFacts, Role, Seat};
use super::options::ReadOptions;
use super::record::{Channel, Record};
use super::remark::{self, Place};
use super::rows::{self, RawColumn, Table};
use super::source::{self, Hashing, Lines, TextEncoding, Transcoding, Unpacking};
use super::time::time_axis;
use super::unit;
use encoding_rs::Encoding;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Cursor, Read};
use std::path::Path;

/// First bytes looked at for the kind of file and its encoding.
const PEEK_BYTES: usize = 4096;
/// The layout is found from at most so many lines...
const HEAD_LINES: usize = 1000;
/// ...and so many bytes of text.
const HEAD_BYTES: usize = 512 * 1024;
/// Regular tables are parsed in bulk in pieces of so many bytes; shorter ones are read row by row.
const BULK_BYTES: usize = 128 << 10;

/// Reads an exported file.
///
/// Gzip, byte-order marks, UTF-16, Latin-1, the delimiter, the decimal mark, header, preamble, units and the time axis
/// are found from the file itself; `options` overrides each of them. Times come in seconds, values in SI units where
/// the file states a unit this program knows, else as written. The text is streamed: memory is bounded by the numbers.
///
/// # Errors
/// [`ReadError`], with file, line and column where one exists, when no trustworthy record can be had. Doubts that
/// leave one are [`Record::remarks`].
pub fn read(path: &Path, options: &ReadOptions) -> Result<Record, ReadError> {
    let io = |source| ReadError::Io {
        path: path.to_path_buf(),
        source,
    };
    let metadata = std::fs::metadata(path).map_err(io)?;
    if !metadata.is_file() {
        return Err(ReadError::NotAFile {
            path: path.to_path_buf(),
            what: if metadata.is_dir() {
                "a directory"
            } else {
                "a device, pipe or socket"
            },
        });
    }
    let file = File::open(path).map_err(io)?;
    read_sized(path, file, options, Some(metadata.len()))
}

/// Reads an exported file from any reader; `path` names it in messages and in the record.
///
/// # Errors
/// As [`read()`].
pub fn read_from<R: Read>(
    path: &Path,
    reader: R,
    options: &ReadOptions,
) -> Result<Record, ReadError> {
    read_sized(path, reader, options, None)
}

/// `length`: bytes of the file, where that is known.
fn read_sized<R: Read>(
    path: &Path,
    reader: R,
    options: &ReadOptions,
    length: Option<u64>,
) -> Result<Record, ReadError> {
    let fail = |error| ReadError::from_io(path, error);
    let named = match &options.encoding {
        Some(label) => Some(Encoding::for_label(label.as_bytes()).ok_or_else(|| {
            ReadError::Option {
                path: path.to_path_buf(),
                option: "--encoding",
                value: label.clone(),
                reason:
                    "no such text encoding; use a label such as utf-8, utf-16le or windows-1252"
                        .to_string(),
            }
        })?),
        None => None,
    };
    let mut hashing = Hashing::new(reader);
    let mut record = {
        let mut raw = BufReader::with_capacity(1 << 16, &mut hashing);
        let packed = raw.fill_buf().map_err(fail)?.starts_with(b"\x1f\x8b");
        let mut why = Vec::new();
        let mut bytes: Box<dyn Read + '_> = if packed {
            why.push("the file is packed with gzip".to_string());
            Box::new(Unpacking::new(raw, options.limits.unpack_ratio))
        } else {
            Box::new(raw)
        };
        let peeked = source::peek(&mut bytes, PEEK_BYTES).map_err(fail)?;
        if peeked.is_empty() {
            return Err(ReadError::Empty {
                path: path.to_path_buf(),
            });
        }
        let encoding = judge_bytes(path, &peeked, named)?;
        if !encoding.why.is_empty() {
            why.push(encoding.why.to_string());
        }
        let rest = Cursor::new(peeked[encoding.mark..].to_vec()).chain(bytes);
        let text: Box<dyn Read + '_> = match encoding.transcode {
            Some(wide) => Box::new(BufReader::with_capacity(
                1 << 16,
                Transcoding::new(rest, wide),
            )),
            None => Box::new(rest),
        };
        let lines = Lines::new(text, options.limits.line_bytes, options.limits.text_bytes);
        // Text as long as the file; packed or wide text is not.
        let length = length.filter(|_| !packed && encoding.transcode.is_none());
        read_text(path, lines, options, named, why, length)?
    };
    record.sha256 = hashing.finish().map_err(fail)?;
    Ok(record)
}

fn judge_bytes(
    path: &Path,
    peeked: &[u8],
    named: Option<&'static Encoding>,
) -> Result<TextEncoding, ReadError> {
    if let Some((what, advice)) = source::binary_kind(peeked) {
        return Err(ReadError::NotText {
            path: path.to_path_buf(),
            what,
            advice,
        });
    }
    let encoding = source::find_encoding(peeked, named);
    let control = peeked
        .iter()
        .filter(|&&b| b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a | 0x1b))
        .count();
    if encoding.transcode.is_none() && (peeked.contains(&0) || control * 50 > peeked.len()) {
        return Err(ReadError::NotText {
            path: path.to_path_buf(),
            what: "binary data",
            advice: "Export the record as CSV",
        });
    }
    Ok(encoding)
}

/// Reads the lines in which the layout is looked for. True when the text ends within them.
fn read_head<R: Read>(lines: &mut R, wanted: usize) -> io::Result<(Vec<u8>, bool)> {
    let mut head = Vec::new();
    let mut breaks = 0;
    let mut chunk = [0u8; 1 << 14];
    loop {
        let count = lines.read(&mut chunk)?;
        if count == 0 {
            return Ok((head, true));
        }
        breaks += chunk[..count].iter().filter(|&&b| b == b'\n').count();
        head.extend_from_slice(&chunk[..count]);
        if breaks >= wanted || (head.len() >= HEAD_BYTES && breaks > 0) {
            return Ok((head, false));
        }
    }
}

/// The whole lines of the head.
fn lines_of(head: &[u8], wanted: usize) -> Vec<Line<'_>> {
    let mut start = 0;
    let mut lines = Vec::new();
    while let Some(length) = head[start..].iter().position(|&b| b == b'\n') {
        lines.push(Line {
            number: lines.len() + 1,
            start,
            text: &head[start..start + length],
        });
        start += length + 1;
        if lines.len() == wanted {
            break;
        }
    }
    lines
}

fn read_text<R: Read>(
    path: &Path,
    mut text: Lines<R>,
    options: &ReadOptions,
    named: Option<&'static Encoding>,
    mut why: Vec<String>,
    length: Option<u64>,
) -> Result<Record, ReadError> {
    let open_end = text.open_end();
    let check_quotes = text.check_quotes();
    let wanted = HEAD_LINES + options.skip_lines.unwrap_or(0);
    let (head, complete) = read_head(&mut text, wanted).map_err(|e| ReadError::from_io(path, e))?;
    let lines = lines_of(&head, wanted);
    let skipped = options.skip_lines.unwrap_or(0).min(lines.len());
    let Some(mut found) = layout::find_table(&lines[skipped..], options.delimiter, options.decimal)
    else {
        return Err(no_table(path, &lines, options, complete, named));
    };
    found.shift(skipped);
    if options.skip_lines.is_some() {
        found.block.first = skipped;
        why.push(format!("{skipped} lines above the numbers, as given"));
    }
    let mut layout = layout::read_layout(&lines, &found, complete, options, named);
    if layout.columns.len() > options.limits.columns {
        return Err(ReadError::TooManyColumns {
            path: path.to_path_buf(),
            line: layout.first_line,
            found: layout.columns.len(),
            limit: options.limits.columns,
        });
    }
    why.append(&mut layout.why);
    check_quotes.set(layout.quoted);
    let mut head = &head[layout.first_offset..];
    let mut table = rows::empty(&layout);
    let piece = options.bulk_bytes.unwrap_or(BULK_BYTES);
    let mut held = Vec::new();
    if piece > 0 && rows::suits(&layout) {
        let limits = &options.limits;
        let mut body = head.chain(text.raw());
        let left = rows::read_blocks(&mut body, &layout, &mut table, limits, piece, length);
        // What is left begins within the head, or with a line of the text behind it.
        let of_head = head.len().saturating_sub(left.taken);
        head = body.into_inner().0;
        held = left.text;
        let raw = held.split_off(of_head.min(held.len()));
        let line = (of_head == 0).then_some(layout.first_line + table.rows);
        text = text.take_back(raw, left.fault, line);
    }
    let line = layout.first_line + table.rows;
    let rest = held.as_slice().chain(head).chain(text);
    let table = rows::read_rows(path, rest, line, &layout, &options.limits, table, || {
        open_end.get()
    })?;
    assemble(path, table, layout, why, options)
}

/// Why no table was found, with what the file does hold.
fn no_table(
    path: &Path,
    lines: &[Line],
    options: &ReadOptions,
    complete: bool,
    named: Option<&'static Encoding>,
) -> ReadError {
    let path = path.to_path_buf();
    if lines.iter().all(|l| l.text.trim_ascii().is_empty()) && complete {
        return ReadError::NoTable {
            path,
            lines: lines.len(),
            hint: "It holds blank lines only; export the record again".to_string(),
        };
    }
    if (options.delimiter.is_some() || options.decimal.is_some())
        && let Some(found) = layout::find_table(lines, None, None)
    {
        return ReadError::NoTable {
            path,
            lines: lines.len(),
            hint: format!(
                "With the delimiter and decimal mark given no line is a row of numbers; left to itself the program finds {} and '{}' as decimal mark. Drop --delimiter and --decimal",
                found.dialect.delimiter_name(),
                found.dialect.decimal as char
            ),
        };
    }
    let header = lines.iter().rfind(|l| !l.text.trim_ascii().is_empty());
    if complete && let Some(header) = header {
        let columns = [b',', b';', b'\t']
            .into_iter()
            .map(|d| layout::Dialect::new(d, b'.').split(header.text))
            .max_by_key(Vec::len)
            .unwrap_or_default()
            .iter()
            .map(|c| source::text(c.trim_ascii(), named))
            .filter(|c| !c.is_empty())
            .collect();
        return ReadError::NoSamples {
            path,
            line: header.number,
            columns,
        };
    }
    ReadError::NoTable {
        path,
        lines: lines.len(),
        hint: "Say where the numbers begin with --skip-lines, or export as CSV".to_string(),
    }
}

fn assemble(
    path: &Path,
    mut table: Table,
    layout: Layout,
    mut why: Vec<String>,
    options: &ReadOptions,
) -> Result<Record, ReadError> {
    let place = Place::new(path);
    let mut remarks = Vec::new();
    let record_facts = RecordFacts::gather(&layout.facts, layout.dialect.decimal);
    let axis = time_axis(
        path,
        &mut table,
        &layout,
        &record_facts,
        options,
        &mut why,
        &mut remarks,
    )?;
    remark::of_table(&place, &table, &layout, &mut remarks);
    if let Some((length, line)) = record_facts.length
        && length != table.rows as f64
    {
        remarks.push(remark::record_length(&place, line, length, table.rows));
    }
    let time_name = layout
        .columns
        .iter()
        .find(|c| c.role == Role::Time)
        .and_then(|c| c.name.clone());
    let columns = std::mem::take(&mut table.values);
    let bad_cells: Vec<_> = columns.iter().map(|c| c.bad.clone()).collect();
    let channels = channels(columns, &layout);
    let filled = channels.iter().filter(|c| c.missing < table.rows).count();
    for channel in &channels {
        remark::of_channel(
            &place,
            channel,
            &table.lines,
            table.rows,
            filled,
            &mut remarks,
        );
    }
    for (bad, channel) in bad_cells.iter().zip(&channels) {
        if let Some(bad) = bad {
            if bad.count * 2 > table.rows && channel.missing < table.rows {
                return Err(ReadError::NotANumber {
                    path: path.to_path_buf(),
                    line: bad.line,
                    column: channel.column,
                    name: channel.name.clone(),
                    text: bad.text.clone(),
                    decimal: layout.dialect.decimal as char,
                    count: bad.count,
                });
            }
            remarks.push(remark::bad_cells(
                &place,
                bad,
                channel,
                layout.dialect.decimal,
            ));
        }
    }
    Ok(Record {
        path: path.to_path_buf(),
        layout: why,
        preamble: layout.facts,
        time: axis,
        time_name,
        first_data_line: layout.first_line,
        channels,
        remarks,
        sha256: String::new(),
    })
}

fn channels(columns: Vec<RawColumn>, layout: &Layout) -> Vec<Channel> {
    let names: Vec<String> = columns
        .iter()
        .map(|raw| layout.columns[raw.column].name.clone().unwrap_or_default())
        .collect();
    let seats: Vec<Seat> = columns
        .iter()
        .zip(&names)
        .map(|(raw, name)| Seat {
            column: raw.column,
            name,
        })
        .collect();
    let stated = layout::of_channels(&layout.facts, &seats, layout.dialect.decimal);
    columns
        .into_iter()
        .zip(stated)
        .map(|(raw, stated)| {
            let column = &layout.columns[raw.column];
            let unit_text = column.unit_text.clone().or(stated.unit_text);
            let unit = unit_text.as_deref().and_then(|u| unit::parse(u, false));
            let mut values = raw.values;
            if let Some(unit) = unit.filter(|u| !u.is_plain()) {
                values.iter_mut().for_each(|v| *v = unit.to_si(*v));
            }
            Channel {
                name: column
                    .name
                    .clone()
                    .or(stated.name)
                    .unwrap_or_else(|| format!("column {}", raw.column + 1)),
                column: raw.column + 1,
                unit_text,
                unit: unit.map(|u| u.symbol.to_string()),
                values,
                missing: raw.missing,
                overrange: raw.overrange,
                facts: stated.facts,
            }
        })
        .collect()
}
