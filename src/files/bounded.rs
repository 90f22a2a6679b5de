//! Regular files read: small ones (sheets, motor files) into memory, within a bound that is checked before and while reading; any as it passes, for
//! the SHA-256 by which files are known again.

use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Most bytes of a bench sheet or a vendor's sheet. A sheet of a hundred captures has some ten thousand.
pub const LARGEST_SHEET: u64 = 1 << 20;

/// Most bytes of a motor file or of a report's data. A motor file has some ten thousand; parsed, JSON takes up to
/// fifty times its bytes.
pub const LARGEST_JSON: u64 = 8 << 20;

/// Reads a regular file of at most `limit` bytes.
///
/// # Errors
/// What the system says, a folder, device, pipe or socket (which is not opened: reading it may never end), or more
/// than `limit` bytes.
pub fn read_at_most(path: &Path, limit: u64) -> io::Result<Vec<u8>> {
    let metadata = std::fs::metadata(path)?;
    if metadata.is_dir() {
        return Err(io::Error::other("it is a folder, expected a regular file"));
    }
    if !metadata.is_file() {
        return Err(io::Error::other(
            "it is a device, pipe or socket, expected a regular file",
        ));
    }
    if metadata.len() > limit {
        return Err(too_large(limit));
    }
    let mut bytes = Vec::new();
    File::open(path)?.take(limit + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > limit {
        return Err(too_large(limit));
    }
    Ok(bytes)
}

/// Most bytes of one line of a table that is read as it goes, such as a lot's. A line names a few files.
pub const LONGEST_LINE: usize = 1 << 20;

/// Text whose lines are counted as they pass: a line of more than `limit` bytes is an error, not memory.
pub struct LinesAtMost<R> {
    inner: R,
    limit: usize,
    line: u64,
    length: usize,
}

impl<R> LinesAtMost<R> {
    /// Lines of `inner` of up to `limit` bytes, their ends not counted.
    pub fn new(inner: R, limit: usize) -> LinesAtMost<R> {
        LinesAtMost {
            inner,
            limit,
            line: 1,
            length: 0,
        }
    }
}

impl<R: Read> Read for LinesAtMost<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        for part in buffer[..count].split_inclusive(|&byte| byte == b'\n') {
            let ended = part.ends_with(b"\n");
            self.length += part.len() - usize::from(ended);
            if self.length > self.limit {
                return Err(io::Error::new(
                    io::ErrorKind::FileTooLarge,
                    format!(
                        "line {} is longer than {} bytes; is it the right file?",
                        self.line, self.limit
                    ),
                ));
            }
            if ended {
                self.line += 1;
                self.length = 0;
            }
        }
        Ok(count)
    }
}

fn too_large(limit: u64) -> io::Error {
    io::Error::new(
        io::ErrorKind::FileTooLarge,
        format!(
            "it is larger than the {limit} bytes that such a file may have; is it the right file?"
        ),
    )
}

/// Opens a regular file and nothing else: a pipe would wait, a device might never end.
///
/// # Errors
/// What the system says; whatever is no regular file.
pub fn open_regular(path: &Path) -> io::Result<File> {
    if !std::fs::metadata(path)?.is_file() {
        return Err(io::Error::other("it is no regular file"));
    }
    File::open(path)
}

/// SHA-256 of a regular file in lower-case hex; memory does not grow with the file.
///
/// # Errors
/// As [`open_regular`], and what reading meets.
pub fn sha256(path: &Path) -> io::Result<String> {
    let mut file = open_regular(path)?;
    let mut digest = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    loop {
        let count = file.read(&mut buffer)?;
        if count == 0 {
            return Ok(hex(&digest.finalize()));
        }
        digest.update(&buffer[..count]);
    }
}

/// Lower-case hex.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_at_the_limit_is_read_and_one_byte_more_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f");
        std::fs::write(&path, [7; 10]).unwrap();
        assert_eq!(read_at_most(&path, 10).unwrap(), [7; 10]);
        let error = read_at_most(&path, 9).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::FileTooLarge);
        assert!(error.to_string().contains("9 bytes"), "{error}");
    }

    #[test]
    fn a_line_at_the_limit_passes_and_one_byte_more_is_told_with_its_number() {
        let read = |text: &str, step: usize| {
            let mut lines = LinesAtMost::new(text.as_bytes(), 5);
            let mut out = Vec::new();
            let mut buffer = vec![0; step];
            loop {
                match lines.read(&mut buffer) {
                    Ok(0) => return Ok(out),
                    Ok(count) => out.extend_from_slice(&buffer[..count]),
                    Err(error) => return Err(error.to_string()),
                }
            }
        };
        for step in [1, 2, 3, 7, 100] {
            let fits = "12345\n\n1\n12345";
            assert_eq!(read(fits, step).unwrap(), fits.as_bytes());
            let error = read("12345\n123456\n", step).unwrap_err();
            assert!(error.contains("line 2 is longer than 5 bytes"), "{error}");
        }
    }

    #[test]
    fn a_folder_is_told_and_a_device_is_not_opened() {
        let folder = tempfile::tempdir().unwrap();
        let error = read_at_most(folder.path(), 10).unwrap_err();
        assert!(error.to_string().contains("folder"), "{error}");
        #[cfg(unix)]
        {
            let error = read_at_most(Path::new("/dev/zero"), 10).unwrap_err();
            assert!(error.to_string().contains("device"), "{error}");
        }
    }
}
