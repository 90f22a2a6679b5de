//! From the bytes of a file to lines of text: hashing, unpacking, encoding, line ends, bounds.

use super::line_ends::tidy;
use crate::capture::error::StreamFault;
use crate::capture::options::UNPACK_FREE_BYTES;
use crate::files::hex;
use encoding_rs::{CoderResult, Decoder, Encoding};
use flate2::bufread::MultiGzDecoder;
use sha2::{Digest, Sha256};
use std::cell::Cell;
use std::io::{self, BufRead, Chain, Cursor, Read};
use std::rc::Rc;

/// Hashes every byte that passes.
pub struct Hashing<R> {
    inner: R,
    digest: Sha256,
    pub bytes: u64,
}

impl<R: Read> Hashing<R> {
    pub fn new(inner: R) -> Hashing<R> {
        Hashing {
            inner,
            digest: Sha256::new(),
            bytes: 0,
        }
    }

    /// Reads what nobody asked for, and gives the hash of the whole file in lower-case hex.
    pub fn finish(mut self) -> io::Result<String> {
        let mut buffer = [0u8; 1 << 16];
        while self.read(&mut buffer)? > 0 {}
        Ok(hex(&self.digest.finalize()))
    }
}

impl<R: Read> Read for Hashing<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.digest.update(&buffer[..count]);
        self.bytes += count as u64;
        Ok(count)
    }
}

/// Counts the bytes that pass.
pub struct Counting<R> {
    pub inner: R,
    pub bytes: u64,
}

impl<R: BufRead> Read for Counting<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.bytes += count as u64;
        Ok(count)
    }
}

impl<R: BufRead> BufRead for Counting<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        self.inner.fill_buf()
    }

    fn consume(&mut self, count: usize) {
        self.bytes += count as u64;
        self.inner.consume(count);
    }
}

/// Unpacks gzip. Errors of the unpacker become a fault of their own, so that they are not taken for a bad disk, and so
/// does text out of all proportion to the packed bytes.
pub struct Unpacking<R> {
    inner: MultiGzDecoder<Counting<R>>,
    text: u64,
    ratio: u64,
}

impl<R: BufRead> Unpacking<R> {
    pub fn new(inner: R, ratio: u64) -> Unpacking<R> {
        Unpacking {
            inner: MultiGzDecoder::new(Counting { inner, bytes: 0 }),
            text: 0,
            ratio,
        }
    }
}

impl<R: BufRead> Read for Unpacking<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self
            .inner
            .read(buffer)
            .map_err(|error| io::Error::other(StreamFault::Compressed(error)))?;
        self.text += count as u64;
        let packed = self.inner.get_ref().bytes;
        if self.text > UNPACK_FREE_BYTES && self.text / self.ratio.max(1) > packed {
            return Err(io::Error::other(StreamFault::UnpacksTooFar {
                packed,
                text: self.text,
                limit: self.ratio,
            }));
        }
        Ok(count)
    }
}

/// Reads up to `count` bytes, fewer only at the end of the stream.
pub fn peek<R: Read>(reader: &mut R, count: usize) -> io::Result<Vec<u8>> {
    let mut head = Vec::with_capacity(count);
    reader.by_ref().take(count as u64).read_to_end(&mut head)?;
    Ok(head)
}

/// A kind of file that is no text, by its first bytes, with what to do about it.
pub fn binary_kind(head: &[u8]) -> Option<(&'static str, &'static str)> {
    const PICTURE: &str = "Export the samples as CSV, not the screen";
    const SHEET: &str = "Save the sheet as CSV";
    const PACKED: &str = "Unpack it and name the CSV inside (gzip alone is read as it is)";
    const OTHER: &str = "Export the record as CSV";
    const KINDS: [(&[u8], &str, &str); 16] = [
        (b"\x89PNG\r\n\x1a\n", "an image (PNG)", PICTURE),
        (b"\xff\xd8\xff", "an image (JPEG)", PICTURE),
        (b"GIF8", "an image (GIF)", PICTURE),
        (b"II*\0", "an image (TIFF)", PICTURE),
        (b"MM\0*", "an image (TIFF)", PICTURE),
        (b"%PDF", "a PDF document", OTHER),
        (
            b"PK\x03\x04",
            "a zip archive or a spreadsheet (xlsx, ods)",
            SHEET,
        ),
        (
            b"\xd0\xcf\x11\xe0",
            "an old spreadsheet or document (xls)",
            SHEET,
        ),
        (b"BZh", "a bzip2 archive", PACKED),
        (b"\xfd7zXZ\0", "an xz archive", PACKED),
        (b"\x28\xb5\x2f\xfd", "a zstd archive", PACKED),
        (b"7z\xbc\xaf", "a 7z archive", PACKED),
        (b"\x89HDF", "an HDF5 container", OTHER),
        (b"RIFF", "a sound or picture container (RIFF)", OTHER),
        (b"PAR1", "a Parquet table", OTHER),
        (b"\x7fELF", "a program", OTHER),
    ];
    for (magic, what, advice) in KINDS {
        if head.starts_with(magic) {
            return Some((what, advice));
        }
    }
    if head.starts_with(b"BM") && head.get(6..10) == Some(&[0, 0, 0, 0]) {
        return Some(("an image (BMP)", PICTURE));
    }
    if head.get(257..262) == Some(b"ustar") {
        return Some(("a tar archive", PACKED));
    }
    None
}

/// How the text is encoded.
#[derive(Clone, Copy, Debug)]
pub struct TextEncoding {
    /// Set where the bytes must be transcoded: they are not ASCII-compatible.
    pub transcode: Option<&'static Encoding>,
    /// Bytes of the byte-order mark.
    pub mark: usize,
    pub why: &'static str,
}

/// Finds the encoding from the first bytes: byte-order mark, else zero bytes at every other place, else ASCII-compatible.
pub fn find_encoding(head: &[u8], named: Option<&'static Encoding>) -> TextEncoding {
    let plain = |mark, why| TextEncoding {
        transcode: named.filter(|encoding| !encoding.is_ascii_compatible()),
        mark,
        why,
    };
    let wide = |encoding, mark, why| TextEncoding {
        transcode: Some(
            named
                .filter(|n| !n.is_ascii_compatible())
                .unwrap_or(encoding),
        ),
        mark,
        why,
    };
    if head.starts_with(b"\xef\xbb\xbf") {
        return plain(3, "text is UTF-8: a byte-order mark says so");
    }
    if head.starts_with(b"\xff\xfe") {
        return wide(
            encoding_rs::UTF_16LE,
            2,
            "text is UTF-16 little-endian: a byte-order mark says so",
        );
    }
    if head.starts_with(b"\xfe\xff") {
        return wide(
            encoding_rs::UTF_16BE,
            2,
            "text is UTF-16 big-endian: a byte-order mark says so",
        );
    }
    if named.is_some() {
        return plain(0, "text encoding as given");
    }
    let zeros = |phase: usize| {
        let bytes = head.iter().skip(phase).step_by(2);
        let total = bytes.clone().count();
        (total > 1).then(|| bytes.filter(|&&b| b == 0).count() as f64 / total as f64)
    };
    if let (Some(even), Some(odd)) = (zeros(0), zeros(1)) {
        if odd > 0.6 && even < 0.05 {
            return wide(
                encoding_rs::UTF_16LE,
                0,
                "text is UTF-16 little-endian: every second byte is zero",
            );
        }
        if even > 0.6 && odd < 0.05 {
            return wide(
                encoding_rs::UTF_16BE,
                0,
                "text is UTF-16 big-endian: every first byte of two is zero",
            );
        }
    }
    plain(0, "")
}

/// A header text as a string: UTF-8, else Latin-1 (windows-1252), else what the user named.
pub fn text(bytes: &[u8], named: Option<&'static Encoding>) -> String {
    match named.filter(|encoding| encoding.is_ascii_compatible()) {
        Some(encoding) => encoding.decode_without_bom_handling(bytes).0.into_owned(),
        None => match std::str::from_utf8(bytes) {
            Ok(text) => text.to_string(),
            Err(_) => encoding_rs::WINDOWS_1252
                .decode_without_bom_handling(bytes)
                .0
                .into_owned(),
        },
    }
}

/// Transcodes to UTF-8 as it streams.
pub struct Transcoding<R> {
    inner: R,
    decoder: Decoder,
    input: Vec<u8>,
    at: usize,
    ended: bool,
    flushed: bool,
}

impl<R: Read> Transcoding<R> {
    pub fn new(inner: R, encoding: &'static Encoding) -> Transcoding<R> {
        Transcoding {
            inner,
            decoder: encoding.new_decoder_without_bom_handling(),
            input: Vec::new(),
            at: 0,
            ended: false,
            flushed: false,
        }
    }
}

impl<R: Read> Read for Transcoding<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        // The decoder needs room for one whole character; callers here always give far more.
        if buffer.len() < 16 {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        loop {
            if self.flushed {
                return Ok(0);
            }
            if self.at == self.input.len() && !self.ended {
                self.input.resize(1 << 15, 0);
                let count = self.inner.read(&mut self.input)?;
                self.input.truncate(count);
                self.at = 0;
                self.ended = count == 0;
            }
            let (result, read, written, _) =
                self.decoder
                    .decode_to_utf8(&self.input[self.at..], buffer, self.ended);
            self.at += read;
            if self.ended && result == CoderResult::InputEmpty {
                self.flushed = true;
            }
            if written > 0 {
                return Ok(written);
            }
        }
    }
}

/// Brings line ends to LF, gives the last line one, and stops at a line, a text or a byte beyond the bounds.
///
/// Text may be taken out as it is ([`Lines::raw`]) by a reader that looks at every byte itself; what it does not want goes
/// back ([`Lines::take_back`]).
pub struct Lines<R> {
    inner: Chain<Left, R>,
    line_limit: usize,
    text_limit: u64,
    line: usize,
    line_bytes: usize,
    text_bytes: u64,
    after_cr: bool,
    quotes_odd: bool,
    check_quotes: Rc<Cell<bool>>,
    ended: bool,
    open_end: Rc<Cell<bool>>,
}

impl<R: Read> Lines<R> {
    pub fn new(inner: R, line_limit: usize, text_limit: u64) -> Lines<R> {
        Lines {
            inner: Left::default().chain(inner),
            line_limit,
            text_limit,
            line: 1,
            line_bytes: 0,
            text_bytes: 0,
            after_cr: false,
            quotes_odd: false,
            check_quotes: Rc::new(Cell::new(false)),
            ended: false,
            open_end: Rc::new(Cell::new(false)),
        }
    }

    /// Becomes true when the last line had no line end: the copy may have stopped there.
    pub fn open_end(&self) -> Rc<Cell<bool>> {
        Rc::clone(&self.open_end)
    }

    /// While true, a line with an open quotation mark is a fault; it would swallow the rest of the file.
    pub fn check_quotes(&self) -> Rc<Cell<bool>> {
        Rc::clone(&self.check_quotes)
    }

    /// The text that follows, with its own line ends and no bound but that of the whole text, before which it ends.
    pub fn raw(&mut self) -> Raw<'_, R> {
        Raw(self)
    }

    /// Puts raw text back, to be read first, and the fault that came behind it. `line`: 1-based line at whose beginning
    /// the text starts; `None` where it starts where [`Lines::raw`] did.
    pub fn take_back(
        self,
        text: Vec<u8>,
        fault: Option<io::Error>,
        line: Option<usize>,
    ) -> Lines<R> {
        let mut lines = Lines {
            text_bytes: self.text_bytes - text.len() as u64,
            inner: Left {
                text: Cursor::new(text),
                fault,
            }
            .chain(self.inner.into_inner().1),
            ..self
        };
        if let Some(line) = line {
            lines.line = line;
            lines.line_bytes = 0;
            lines.quotes_odd = false;
        }
        lines
    }

    fn fault(fault: StreamFault) -> io::Error {
        io::Error::other(fault)
    }
}

/// Text put back, then a fault.
#[derive(Default)]
struct Left {
    text: Cursor<Vec<u8>>,
    fault: Option<io::Error>,
}

impl Read for Left {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self.text.read(buffer)? {
            0 if !buffer.is_empty() => self.fault.take().map_or(Ok(0), Err),
            count => Ok(count),
        }
    }
}

/// See [`Lines::raw`].
pub struct Raw<'a, R>(&'a mut Lines<R>);

impl<R: Read> Read for Raw<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let lines = &mut *self.0;
        if lines.ended || lines.text_bytes + buffer.len() as u64 > lines.text_limit {
            return Ok(0);
        }
        let count = lines.inner.read(buffer)?;
        lines.text_bytes += count as u64;
        // The head may have ended between the two bytes of a line end.
        if std::mem::take(&mut lines.after_cr) && buffer[..count].first() == Some(&b'\n') {
            buffer.copy_within(1..count, 0);
            return match count {
                1 => self.read(buffer),
                _ => Ok(count - 1),
            };
        }
        Ok(count)
    }
}

impl<R: Read> Read for Lines<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.ended || buffer.is_empty() {
            return Ok(0);
        }
        // A block within the limit of a line: then only its first line can pass the limit.
        let most = buffer.len().min(self.line_limit.max(1));
        let buffer = &mut buffer[..most];
        loop {
            let count = self.inner.read(buffer)?;
            if count == 0 {
                self.ended = true;
                if self.line_bytes == 0 {
                    return Ok(0);
                }
                self.open_end.set(true);
                buffer[0] = b'\n';
                return Ok(1);
            }
            self.text_bytes += count as u64;
            if self.text_bytes > self.text_limit {
                return Err(Self::fault(StreamFault::TooMuchText {
                    line: self.line,
                    limit: self.text_limit,
                }));
            }
            if !self.after_cr
                && !self.quotes_odd
                && let Some(tidied) = tidy(&mut buffer[..count], self.line_bytes, self.line_limit)
            {
                self.line += tidied.breaks;
                self.line_bytes = tidied.open_bytes;
                return Ok(tidied.kept);
            }
            let mut kept = 0;
            for at in 0..count {
                let byte = buffer[at];
                match byte {
                    b'\n' if self.after_cr => {
                        self.after_cr = false;
                        continue;
                    }
                    b'\n' | b'\r' => {
                        if self.quotes_odd && self.check_quotes.get() {
                            return Err(Self::fault(StreamFault::OpenQuote { line: self.line }));
                        }
                        self.after_cr = byte == b'\r';
                        self.quotes_odd = false;
                        self.line += 1;
                        self.line_bytes = 0;
                        buffer[kept] = b'\n';
                        kept += 1;
                        continue;
                    }
                    0 => return Err(Self::fault(StreamFault::ZeroByte { line: self.line })),
                    b'"' => self.quotes_odd = !self.quotes_odd,
                    _ => {}
                }
                self.after_cr = false;
                self.line_bytes += 1;
                if self.line_bytes > self.line_limit {
                    return Err(Self::fault(StreamFault::LineTooLong {
                        line: self.line,
                        limit: self.line_limit,
                    }));
                }
                buffer[kept] = byte;
                kept += 1;
            }
            if kept > 0 {
                return Ok(kept);
            }
        }
    }
}
