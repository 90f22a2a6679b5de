//! The encoding of the text, and its way to UTF-8.
//!
//! An encoding from before Unicode is that under which the names hold a known word (time, voltage, current in the language of its country). Else
//! three are distinguished from Western European text (windows-1252), which is the answer where none of them shows: Japanese by lead bytes that Western text hardly has, simplified Chinese by pairs within the plane of its common characters, Cyrillic
//! by whole words of letters above 127.

use crate::capture::wording::LayoutRule;
use encoding_rs::{
    BIG5, CoderResult, Decoder, EUC_JP, EUC_KR, Encoding, GBK, ISO_8859_5, ISO_8859_7, KOI8_R,
    SHIFT_JIS, WINDOWS_1250, WINDOWS_1251, WINDOWS_1254,
};
use std::io::{self, Read};

/// How the text is encoded.
#[derive(Clone, Debug)]
pub struct TextEncoding {
    /// Set where the bytes must be transcoded: they are not ASCII-compatible.
    pub transcode: Option<&'static Encoding>,
    /// Bytes of the byte-order mark.
    pub mark: usize,
    /// Encoding and what shows it; `None` for text as it mostly is.
    pub why: Option<LayoutRule>,
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
    let shown = |encoding, sign| Some(LayoutRule::Encoding { encoding, sign });
    if head.starts_with(b"\xef\xbb\xbf") {
        return plain(3, shown("UTF-8", "a byte-order mark says so"));
    }
    if head.starts_with(b"\xff\xfe") {
        return wide(
            encoding_rs::UTF_16LE,
            2,
            shown("UTF-16 little-endian", "a byte-order mark says so"),
        );
    }
    if head.starts_with(b"\xfe\xff") {
        return wide(
            encoding_rs::UTF_16BE,
            2,
            shown("UTF-16 big-endian", "a byte-order mark says so"),
        );
    }
    if named.is_some() {
        return plain(0, Some(LayoutRule::EncodingGiven));
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
                shown("UTF-16 little-endian", "every second byte is zero"),
            );
        }
        if even > 0.6 && odd < 0.05 {
            return wide(
                encoding_rs::UTF_16BE,
                0,
                shown("UTF-16 big-endian", "every first byte of two is zero"),
            );
        }
    }
    plain(0, None)
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

/// The encoding of text that is no UTF-8; `None` for UTF-8, plain ASCII and Western European text.
pub fn guess_legacy(head: &[u8]) -> Option<&'static Encoding> {
    // A character cut at the end of the head is no fault.
    let fault = std::str::from_utf8(head).err()?;
    fault.error_len()?;
    if let Some(by_words) = by_known_words(head) {
        return Some(by_words);
    }
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

/// Time, voltage and current as exports of those countries name them.
const KNOWN_WORDS: [(&Encoding, &str); 11] = [
    (
        SHIFT_JIS,
        "\u{6642}\u{9593} \u{96fb}\u{5727} \u{96fb}\u{6d41}",
    ),
    (GBK, "\u{65f6}\u{95f4} \u{7535}\u{538b} \u{7535}\u{6d41}"),
    (EUC_KR, "\u{c2dc}\u{ac04} \u{c804}\u{c555} \u{c804}\u{b958}"),
    (EUC_JP, "\u{6642}\u{9593} \u{96fb}\u{5727} \u{96fb}\u{6d41}"),
    (BIG5, "\u{6642}\u{9593} \u{96fb}\u{58d3} \u{96fb}\u{6d41}"),
    (WINDOWS_1251, CYRILLIC),
    (KOI8_R, CYRILLIC),
    (ISO_8859_5, CYRILLIC),
    (
        WINDOWS_1250,
        "\u{10d}as nap\u{11b}t\u{ed} napi\u{119}cie pr\u{105}d id\u{151}",
    ),
    (WINDOWS_1254, "ak\u{131}m"),
    (
        ISO_8859_7,
        "\u{3c7}\u{3c1}\u{3cc}\u{3bd}\u{3bf}\u{3c2} \u{3c4}\u{3ac}\u{3c3}\u{3b7} \u{3c1}\u{3b5}\u{3cd}\u{3bc}\u{3b1}",
    ),
];
const CYRILLIC: &str = "\u{432}\u{440}\u{435}\u{43c}\u{44f} \u{43d}\u{430}\u{43f}\u{440}\u{44f}\u{436}\u{435}\u{43d}\u{438}\u{435} \u{43a}\u{430}\u{43d}\u{430}\u{43b}";

/// The one encoding under which the lines that are no ASCII hold a known word.
fn by_known_words(head: &[u8]) -> Option<&'static Encoding> {
    let foreign = head.split(|b| *b == b'\n').filter(|line| !line.is_ascii());
    let foreign: Vec<u8> = foreign.take(20).collect::<Vec<_>>().join(&b'\n');
    let holds = |(encoding, words): &(&'static Encoding, &str)| {
        let text = encoding
            .decode_without_bom_handling(&foreign)
            .0
            .to_lowercase();
        words.split(' ').any(|word| text.contains(word))
    };
    let mut found = KNOWN_WORDS.iter().filter(|known| holds(known));
    let (one, _) = found.next()?;
    found.next().is_none().then_some(*one)
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
            ("\u{c2dc}\u{ac04}(s),\u{c804}\u{c555}(V)", Some(EUC_KR)),
            ("\u{6642}\u{9593}(s),\u{96fb}\u{5727}(V)", Some(EUC_JP)),
            ("\u{6642}\u{9593}(s),\u{96fb}\u{58d3}(V)", Some(BIG5)),
            (
                "\u{412}\u{440}\u{435}\u{43c}\u{44f} (\u{441})",
                Some(KOI8_R),
            ),
            ("Czas (s),Napi\u{119}cie (V)", Some(WINDOWS_1250)),
            ("S\u{fc}re (s),Ak\u{131}m (A)", Some(WINDOWS_1254)),
            (
                "\u{3a7}\u{3c1}\u{3cc}\u{3bd}\u{3bf}\u{3c2} (s)",
                Some(ISO_8859_7),
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
