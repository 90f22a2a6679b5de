//! Which encoding from before Unicode the names of a file are written in, judged by its bytes above 127.
//!
//! Three cases are told from Western European text (windows-1252), which is the answer where none of them shows: Japanese by lead
//! bytes that Western text hardly has, simplified Chinese by pairs within the plane of its common characters, Cyrillic by whole
//! words of letters above 127.

use encoding_rs::{Encoding, GBK, SHIFT_JIS, WINDOWS_1251};

/// The encoding of text that is no UTF-8; `None` for UTF-8, plain ASCII and Western European text.
pub fn guess_legacy(head: &[u8]) -> Option<&'static Encoding> {
    // A character cut at the end of the head is no fault.
    let fault = std::str::from_utf8(head).err()?;
    fault.error_len()?;
    let runs: Vec<&[u8]> = head
        .split(|b| b.is_ascii())
        .filter(|run| !run.is_empty())
        .collect();
    if is_japanese(head) {
        return Some(SHIFT_JIS);
    }
    let high = runs.iter().map(|run| run.len()).sum::<usize>();
    let late = runs
        .iter()
        .flat_map(|run| run.iter())
        .filter(|b| **b >= 0xe0)
        .count();
    let words = runs.iter().any(|run| run.len() >= 3);
    if is_chinese(&runs) && 2 * late <= high {
        Some(GBK)
    } else if words && runs.iter().all(|run| run.iter().all(|b| is_cyrillic(*b))) {
        Some(WINDOWS_1251)
    } else {
        None
    }
}

/// Lead bytes of kana and the common kanji (JIS X 0208 rows in Shift_JIS), each with a valid second byte.
fn is_japanese(head: &[u8]) -> bool {
    let mut characters = 0;
    let mut at = 0;
    while let Some(&lead) = head.get(at) {
        match (lead, head.get(at + 1)) {
            (0..=0x7f, _) => at += 1,
            (0x81..=0x9f | 0xe0..=0xea, Some(0x40..=0x7e | 0x80..=0xfc)) => {
                characters += usize::from(lead <= 0x9f);
                at += 2;
            }
            // Half-width kana.
            (0xa1..=0xdf, _) => at += 1,
            (0x80.., None) => at += 1,
            _ => return false,
        }
    }
    characters >= 2
}

/// Pairs of bytes of the common characters of GB 2312 (rows 16 to 55) and its signs (rows 1 to 9).
fn is_chinese(runs: &[&[u8]]) -> bool {
    let common = |pair: &[u8]| matches!(pair, [0xb0..=0xd7 | 0xa1..=0xa9, 0xa1..=0xfe]);
    runs.iter().any(|run| run.len() >= 4)
        && runs
            .iter()
            .all(|run| run.len() % 2 == 0 && run.chunks(2).all(common))
}

/// Letters of windows-1251, and the signs that stand beside them in exports.
fn is_cyrillic(byte: u8) -> bool {
    matches!(byte, 0xc0..=0xff | 0xa8 | 0xb8 | 0xb9 | 0xb0 | 0xb5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_in_the_encoding_they_were_written_in() {
        for (text, encoding) in [
            ("\u{65f6}\u{95f4}(s),\u{901a}\u{9053}1(V)", Some(GBK)),
            (
                "\u{6642}\u{9593}[s],\u{96fb}\u{5727}[V],\u{96fb}\u{6d41}[A]",
                Some(SHIFT_JIS),
            ),
            (
                "\u{412}\u{440}\u{435}\u{43c}\u{44f};\u{41a}\u{430}\u{43d}\u{430}\u{43b} A;(\u{43c}\u{441})",
                Some(WINDOWS_1251),
            ),
        ] {
            let bytes = encoding
                .map(|e| e.encode(text).0.into_owned())
                .unwrap_or_default();
            let found = guess_legacy(&bytes);
            assert_eq!(
                found.map(Encoding::name),
                encoding.map(Encoding::name),
                "{text}"
            );
        }
        for western in [
            "Zeit (\u{b5}s);Gr\u{f6}\u{df}e (V)",
            "temp\u{e9}rature (\u{b0}C)",
            "\u{201c}A\u{201d} (V)",
        ] {
            let bytes = encoding_rs::WINDOWS_1252.encode(western).0.into_owned();
            assert_eq!(guess_legacy(&bytes), None, "{western}");
        }
        assert_eq!(guess_legacy("\u{b5}s".as_bytes()), None);
    }
}
