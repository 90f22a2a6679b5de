//! Gzip unpacked as it streams, within a bound on what a packed byte may give.

use super::fault::StreamFault;
use crate::capture::options::UNPACK_FREE_BYTES;
use flate2::bufread::MultiGzDecoder;
use std::io::{self, BufRead, Read};

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
