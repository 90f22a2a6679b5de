//! The encoding of the text, and its way to UTF-8.

use encoding_rs::{CoderResult, Decoder, Encoding};
use std::io::{self, Read};

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
