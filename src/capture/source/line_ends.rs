//! Line ends of a whole block at once, where nothing in it needs a second look.
//!
//! Blocks with a quotation mark, a zero byte, a carriage return on its own or at the block's end, or a line that began
//! before and may be too long are left to the reader byte by byte, which names faults with their line.

use memchr::{memchr_iter, memchr2, memrchr};

/// A block whose line ends were brought to LF.
pub struct Tidied {
    /// Bytes kept, at the beginning of the block.
    pub kept: usize,
    pub breaks: usize,
    /// Bytes of the line that goes on after the block.
    pub open_bytes: usize,
}

/// Brings CR LF to LF in place. `open_bytes` are those of the line that began before the block; the block is no longer
/// than `line_limit`, so that only its first line can pass the limit. `None`, with the block untouched, where the slow way
/// must be taken.
pub fn tidy(block: &mut [u8], open_bytes: usize, line_limit: usize) -> Option<Tidied> {
    let first = memchr2(b'\n', b'\r', block).unwrap_or(block.len());
    if block.len() > line_limit || open_bytes + first > line_limit {
        return None;
    }
    if memchr2(0, b'"', block).is_some() {
        return None;
    }
    let kept = match returns(block)? {
        0 => block.len(),
        _ => squeeze(block),
    };
    let text = &block[..kept];
    Some(Tidied {
        kept,
        breaks: memchr_iter(b'\n', text).count(),
        open_bytes: match memrchr(b'\n', text) {
            Some(last) => kept - last - 1,
            None => open_bytes + kept,
        },
    })
}

/// Number of carriage returns; `None` when one is not followed by a line feed.
fn returns(block: &[u8]) -> Option<usize> {
    let mut count = 0;
    for at in memchr_iter(b'\r', block) {
        if block.get(at + 1) != Some(&b'\n') {
            return None;
        }
        count += 1;
    }
    Some(count)
}

/// Takes the carriage returns out. Gives the bytes left.
fn squeeze(block: &mut [u8]) -> usize {
    let mut kept = 0;
    let mut from = 0;
    while from < block.len() {
        let end = memchr::memchr(b'\r', &block[from..]).map_or(block.len(), |at| from + at);
        block.copy_within(from..end, kept);
        kept += end - from;
        from = end + 1;
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tidied(text: &str, open: usize) -> Option<(String, usize, usize)> {
        let mut block = text.as_bytes().to_vec();
        let found = tidy(&mut block, open, 20)?;
        let text = String::from_utf8(block[..found.kept].to_vec()).unwrap();
        Some((text, found.breaks, found.open_bytes))
    }

    #[test]
    fn both_line_ends_and_open_lines() {
        let as_left = |text: &str, breaks, open| Some((text.to_owned(), breaks, open));
        assert_eq!(tidied("1,2\n3,4\n5", 0), as_left("1,2\n3,4\n5", 2, 1));
        assert_eq!(tidied("1\r\n\r\n22\r\n", 4), as_left("1\n\n22\n", 3, 0));
        assert_eq!(tidied("123", 4), as_left("123", 0, 7));
    }

    #[test]
    fn what_needs_a_second_look_is_left_alone() {
        for text in [
            "1\r2\n",
            "1\n2\r",
            "\"1\"\n",
            "1\0\n",
            "1234567890123456789012\n",
        ] {
            assert_eq!(tidied(text, 0), None, "{text:?}");
        }
        assert_eq!(tidied("12345\n", 16), None);
    }
}
