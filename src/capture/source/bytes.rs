//! The bytes of a file as they pass: hashed, recognised where they are no text, unpacked within a bound on what a packed byte may give.

use crate::capture::read::options::UNPACK_FREE_BYTES;
use crate::capture::record::error::ReadError;
use crate::capture::wording::ReadErrorKind;
use crate::files::hex;
use flate2::bufread::MultiGzDecoder;
use sha2::{Digest, Sha256};
use std::io::{self, BufRead, Read};

/// Hashes every byte that passes.
pub struct Hashing<R> {
    inner: R,
    digest: Sha256,
}

impl<R: Read> Hashing<R> {
    pub fn new(inner: R) -> Hashing<R> {
        Hashing {
            inner,
            digest: Sha256::new(),
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

/// Counts the bytes that pass.
struct Counting<R> {
    inner: R,
    bytes: u64,
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
        let count = self.inner.read(buffer).map_err(|error| {
            let reason = error.to_string();
            ReadError::of_stream(None, ReadErrorKind::Unpacking { reason })
        })?;
        self.text += count as u64;
        let packed = self.inner.get_ref().bytes;
        if self.text > UNPACK_FREE_BYTES && self.text / self.ratio.max(1) > packed {
            let kind = ReadErrorKind::UnpackRatio {
                packed_bytes: packed,
                bytes: self.text,
                ratio: self.ratio,
            };
            return Err(ReadError::of_stream(None, kind));
        }
        Ok(count)
    }
}
