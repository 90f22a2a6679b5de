//! A block of text and what filling it came to.

use std::io::{self, Read};

/// A buffer whose first `length` bytes are text.
#[derive(Default)]
pub struct Block {
    pub bytes: Vec<u8>,
    pub length: usize,
}

pub enum Filled {
    Full,
    Ended,
    Fault(io::Error),
}

impl Filled {
    pub fn fault(self) -> Option<io::Error> {
        match self {
            Filled::Fault(error) => Some(error),
            Filled::Full | Filled::Ended => None,
        }
    }
}

impl Block {
    pub fn text(&self) -> &[u8] {
        &self.bytes[..self.length]
    }

    pub fn begin_with(&mut self, text: &[u8], size: usize) {
        if self.bytes.len() < size {
            self.bytes.resize(size, 0);
        }
        self.bytes[..text.len()].copy_from_slice(text);
        self.length = text.len();
    }

    pub fn fill<R: Read>(&mut self, text: &mut R, size: usize) -> Filled {
        if self.bytes.len() < size {
            self.bytes.resize(size, 0);
        }
        while self.length < size {
            match text.read(&mut self.bytes[self.length..size]) {
                Ok(0) => return Filled::Ended,
                Ok(count) => self.length += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Filled::Fault(error),
            }
        }
        Filled::Full
    }
}
