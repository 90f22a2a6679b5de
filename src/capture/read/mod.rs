//! From a path to a [`Record`]: opens, unpacks, finds the layout, reads the rows, and hands them on to be put together.

mod head;
pub mod options;

pub use options::{Limits, ReadOptions, TimeGaps};

use self::head::{Head, find_layout};
use crate::capture::assemble::assemble;
use crate::capture::layout::Layout;
use crate::capture::record::Record;
use crate::capture::record::error::ReadError;
use crate::capture::rows::{self, ChunkRules, RowRules, Table};
use crate::capture::source::{
    self, Hashing, Lines, RowLabels, TextEncoding, Transcoding, Unlabelling, Unpacking,
};
use crate::capture::wording::{LayoutRule, ReadErrorKind};
use encoding_rs::Encoding;
use std::fs::File;
use std::io::{BufRead, BufReader, Cursor, Read};
use std::path::Path;

/// First bytes looked at for the kind of file and its encoding.
const PEEK_BYTES: usize = 4096;
/// Regular tables are read in chunks of so many bytes; shorter ones are read row by row.
const CHUNK_BYTES: usize = 128 << 10;

/// Reads an exported file.
///
/// Gzip, byte-order marks, UTF-16, Latin-1, the delimiter, the decimal mark, header, preamble, units and the time axis
/// are found from the file itself; `options` overrides each of them. Times come in seconds, values in SI units where
/// the file states a unit this program knows, else as written. The text is streamed: memory is bounded by the numbers.
///
/// # Errors
/// [`ReadError`], with file, line and column where one exists, when no trustworthy record can be had. Faults that
/// leave one are [`Record::warnings`].
pub fn read(path: &Path, options: &ReadOptions) -> Result<Record, ReadError> {
    let fail = |error| ReadError::from_io(path, error);
    let metadata = std::fs::metadata(path).map_err(fail)?;
    if !metadata.is_file() {
        let found = match metadata.is_dir() {
            true => "a directory",
            false => "a device, pipe or socket",
        };
        return Err(ReadError::new(
            path,
            None,
            ReadErrorKind::NotAFile { found },
        ));
    }
    let file = File::open(path).map_err(fail)?;
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
    let named = named_encoding(path, options)?;
    let mut hashing = Hashing::new(reader);
    let mut record = {
        let mut raw = BufReader::with_capacity(1 << 16, &mut hashing);
        let packed = raw.fill_buf().map_err(fail)?.starts_with(b"\x1f\x8b");
        let mut why = Vec::new();
        let mut bytes: Box<dyn Read + '_> = if packed {
            why.push(LayoutRule::Packed);
            Box::new(Unpacking::new(raw, options.limits.unpack_ratio))
        } else {
            Box::new(raw)
        };
        let peeked = source::peek(&mut bytes, PEEK_BYTES).map_err(fail)?;
        let encoding = judge_bytes(path, &peeked, named)?;
        why.extend(encoding.why);
        // Of single-byte and East Asian text only names and units depend on the encoding.
        let guessed = match (named, encoding.transcode) {
            (None, None) => source::guess_legacy(&peeked),
            _ => None,
        };
        if let Some(legacy) = guessed {
            let encoding = legacy.name();
            why.push(LayoutRule::NamesEncoding { encoding });
        }
        if named.or(guessed).is_none() && encoding.transcode.is_none() && is_no_utf8(&peeked) {
            why.push(LayoutRule::NamesWestern);
        }
        let named = named.or(guessed);
        let rest = Cursor::new(peeked[encoding.mark..].to_vec()).chain(bytes);
        let text: Box<dyn Read + '_> = match encoding.transcode {
            Some(wide) => Box::new(BufReader::with_capacity(
                1 << 16,
                Transcoding::new(rest, wide),
            )),
            None => Box::new(rest),
        };
        let labels = match encoding.transcode {
            None => RowLabels::find(&peeked[encoding.mark..]),
            Some(_) => None,
        };
        let is_plain = !packed && encoding.transcode.is_none() && labels.is_none();
        let names = labels.as_ref().map(|labels| labels.names.clone());
        let text: Box<dyn Read + '_> = match labels {
            Some(labels) => {
                why.push(LayoutRule::NamesInRows);
                let lines = BufReader::with_capacity(1 << 16, text);
                Box::new(Unlabelling::new(lines, labels, options.limits.line_bytes))
            }
            None => text,
        };
        let mut lines = Lines::new(text, options.limits.line_bytes, options.limits.text_bytes);
        let (head, mut layout) = find_layout(path, &mut lines, options, named, names.as_deref())?;
        why.append(&mut layout.why);
        // Text as long as the file; packed, wide or rewritten text is not.
        let length = length.filter(|_| is_plain);
        let table = read_table(path, &head, lines, &layout, options, length)?;
        assemble(path, table, layout, why, options)?
    };
    record.sha256 = hashing.finish().map_err(fail)?;
    Ok(record)
}

/// Whether the text is no UTF-8; a character cut at its end is no fault.
fn is_no_utf8(text: &[u8]) -> bool {
    std::str::from_utf8(text).is_err_and(|fault| fault.error_len().is_some())
}

/// The encoding that the user names.
fn named_encoding(
    path: &Path,
    options: &ReadOptions,
) -> Result<Option<&'static Encoding>, ReadError> {
    let Some(label) = &options.encoding else {
        return Ok(None);
    };
    match Encoding::for_label(label.as_bytes()) {
        Some(encoding) => Ok(Some(encoding)),
        None => {
            let label = label.clone();
            Err(ReadError::new(
                path,
                None,
                ReadErrorKind::NoSuchEncoding { label },
            ))
        }
    }
}

fn judge_bytes(
    path: &Path,
    peeked: &[u8],
    named: Option<&'static Encoding>,
) -> Result<TextEncoding, ReadError> {
    if peeked.is_empty() {
        return Err(ReadError::new(path, None, ReadErrorKind::Empty));
    }
    let not_text = |found, next| {
        let kind = ReadErrorKind::NotText { found, next };
        Err(ReadError::new(path, None, kind))
    };
    if let Some((found, next)) = source::binary_kind(peeked) {
        return not_text(found, next);
    }
    // A copy that did not end in order may have zero bytes behind its text.
    let text = peeked
        .iter()
        .rposition(|b| *b != 0)
        .map_or(peeked.len(), |at| at + 1);
    let whole = source::find_encoding(peeked, named);
    let (peeked, encoding) = match whole.transcode {
        Some(_) => (peeked, whole),
        None => (
            &peeked[..text],
            source::find_encoding(&peeked[..text], named),
        ),
    };
    let control = peeked
        .iter()
        .filter(|&&b| b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a | 0x1b))
        .count();
    if encoding.transcode.is_none() && (peeked.contains(&0) || control * 50 > peeked.len()) {
        return not_text("binary data", "Export the record as CSV");
    }
    Ok(encoding)
}

/// Reads all rows: those of the head, then those of `text` behind it.
fn read_table<R: Read>(
    path: &Path,
    head: &Head,
    mut text: Lines<R>,
    layout: &Layout,
    options: &ReadOptions,
    text_bytes: Option<u64>,
) -> Result<Table, ReadError> {
    let open_end = text.open_end();
    let padding = text.padding();
    text.check_quotes(layout.quoted);
    let limits = &options.limits;
    let mut head = &head.text[layout.first_offset..];
    let mut table = Table::new(layout);
    let mut held = Vec::new();
    let chunk_bytes = options.chunk_bytes.unwrap_or(CHUNK_BYTES);
    if chunk_bytes > 0 && rows::is_regular(layout) {
        let rules = ChunkRules {
            layout,
            limits,
            chunk_bytes,
            text_bytes,
        };
        let mut body = head.chain(text.raw());
        let left = rows::read_chunks(&mut body, &mut table, rules);
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
    let rules = RowRules {
        path,
        layout,
        limits,
    };
    let mut table = rows::read_rows(rest, line, table, rules, || open_end.get())?;
    table.padding = padding.get();
    Ok(table)
}
