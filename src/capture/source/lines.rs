//! Text brought to one kind of line end, within bounds on its lines and its length.

use super::line_ends::tidy;
use crate::capture::record::error::ReadError;
use crate::capture::wording::ReadErrorKind;
use std::cell::Cell;
use std::io::{self, Chain, Cursor, Read};
use std::rc::Rc;

/// More zero bytes than a copy or a logger leaves behind its text.
const MOST_ZEROS: u64 = 16 << 20;

/// So many zero bytes behind a line that is cut are padding.
const FEWEST_ZEROS: u64 = 8;

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
    check_quotes: bool,
    ended: bool,
    open_end: Rc<Cell<bool>>,
    padding: Rc<Cell<u64>>,
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
            check_quotes: false,
            ended: false,
            open_end: Rc::new(Cell::new(false)),
            padding: Rc::new(Cell::new(0)),
        }
    }

    /// Becomes true when the last line had no line end: the copy may have stopped there.
    pub fn open_end(&self) -> Rc<Cell<bool>> {
        Rc::clone(&self.open_end)
    }

    /// Number of zero bytes behind the text, known once it was read to its end.
    pub fn padding(&self) -> Rc<Cell<u64>> {
        Rc::clone(&self.padding)
    }

    /// Reads to the end behind a zero byte. `rest` was read with it: nothing but zero bytes and line ends may follow.
    fn skip_padding(&mut self, rest: &[u8]) -> io::Result<()> {
        let mut block = rest.to_vec();
        let mut zeros = 1;
        loop {
            let foreign = block.iter().any(|b| !matches!(b, 0 | b'\n' | b'\r' | 0x1a));
            if foreign || zeros > MOST_ZEROS {
                return Err(self.fault(ReadErrorKind::ZeroByte));
            }
            zeros += block.iter().filter(|b| **b == 0).count() as u64;
            block.resize(1 << 14, 0);
            let count = self.inner.read(&mut block)?;
            block.truncate(count);
            self.count_text(count)?;
            if count == 0 {
                // A zero byte or two within a line are damage.
                if self.line_bytes > 0 && zeros < FEWEST_ZEROS {
                    return Err(self.fault(ReadErrorKind::ZeroByte));
                }
                self.padding.set(zeros);
                return Ok(());
            }
        }
    }

    /// From here on a line with an open quotation mark may be a fault; it would swallow the rest of the file.
    pub fn check_quotes(&mut self, check: bool) {
        self.check_quotes = check;
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

    fn fault(&self, kind: ReadErrorKind) -> io::Error {
        ReadError::of_stream(Some(self.line), kind)
    }

    fn count_text(&mut self, bytes: usize) -> io::Result<()> {
        self.text_bytes += bytes as u64;
        if self.text_bytes <= self.text_limit {
            return Ok(());
        }
        let limit = self.text_limit;
        Err(self.fault(ReadErrorKind::TextBytes { limit }))
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
            self.count_text(count)?;
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
                        if self.quotes_odd && self.check_quotes {
                            return Err(self.fault(ReadErrorKind::OpenQuote));
                        }
                        self.after_cr = byte == b'\r';
                        self.quotes_odd = false;
                        self.line += 1;
                        self.line_bytes = 0;
                        buffer[kept] = b'\n';
                        kept += 1;
                        continue;
                    }
                    0 => {
                        let rest = buffer[at + 1..count].to_vec();
                        self.skip_padding(&rest)?;
                        self.ended = true;
                        if self.line_bytes > 0 {
                            self.open_end.set(true);
                            buffer[kept] = b'\n';
                            kept += 1;
                        }
                        return Ok(kept);
                    }
                    b'"' => self.quotes_odd = !self.quotes_odd,
                    _ => {}
                }
                self.after_cr = false;
                self.line_bytes += 1;
                if self.line_bytes > self.line_limit {
                    let limit = self.line_limit;
                    return Err(self.fault(ReadErrorKind::LineBytes { limit }));
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
