//! Files that are no text, recognised by their first bytes.

use std::io::{self, Read};

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
