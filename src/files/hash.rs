//! The SHA-256 by which files are known again.

use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

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
