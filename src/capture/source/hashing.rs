//! The hash of a file, taken as its bytes pass.

use crate::files::hex;
use sha2::{Digest, Sha256};
use std::io::{self, Read};

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
