//! Cells printed alike, as an instrument prints a column: one look at sixteen bytes gives the number.
//!
//! [`Alike::of`] keeps where digits, decimal mark, exponent and end of one cell stand. [`Alike::read`] reads a further cell that
//! has them in the same places, a minus sign apart, and gives `None` for any other. One shuffle brings the digits together;
//! they are summed in pairs, fours and eights (the arithmetic on eight bytes that Lemire describes, Softw. Pract. Exp. 51 (2021)
//! 1700-1727, on sixteen lanes). Only processors of the x86 family with AVX2 have the way in; others read every cell
//! with [`printed`](super::digits::printed), which gives the same numbers.

#[cfg(target_arch = "x86_64")]
use super::digits::{EXACT, Printed};

/// Bytes of one look.
const LANES: usize = 16;
/// Most digits beside those of the exponent: lanes before the four that the exponent has.
const DIGITS: usize = 12;

/// Where everything stands in a cell, counted from behind its minus sign.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alike {
    /// Byte that each lane takes its digit from; the highest bit where it takes none.
    from: [u8; LANES],
    /// `0` in the lanes that take a digit.
    zeros: [u8; LANES],
    /// Decimal mark, letter of the exponent and end of the cell, in the bytes that `told` marks.
    marks: [u8; LANES],
    told: [u8; LANES],
    /// Digits behind the decimal mark.
    places: i32,
    /// Byte of the sign of the exponent, where there is one.
    sign_at: Option<usize>,
    /// Bytes up to the end of the cell.
    length: usize,
    /// Bytes of the end: delimiter, or line end.
    end: usize,
}

impl Alike {
    /// From a cell at the beginning of `text` that ends in `end`. `None` where it is no plain number or takes more than
    /// sixteen bytes, its end included.
    pub fn of(text: &[u8], decimal: u8, end: &[u8]) -> Option<Alike> {
        let text = text.strip_prefix(b"-").unwrap_or(text);
        let digits = |at: usize| {
            let rest = text.get(at..).unwrap_or_default();
            rest.iter().take_while(|b| b.is_ascii_digit()).count()
        };
        let whole = digits(0);
        let mark = text.get(whole) == Some(&decimal);
        let places = if mark { digits(whole + 1) } else { 0 };
        let count = whole + places;
        let mut length = count + usize::from(mark);
        let sign_at = match text.get(length) {
            Some(b'e' | b'E') if digits(length + 2) == 2 => Some(length + 1),
            Some(b'e' | b'E') => return None,
            _ => None,
        };
        if sign_at.is_some() {
            length += 4;
        }
        let ended = text.get(length..).is_some_and(|t| t.starts_with(end));
        if whole == 0 || count > DIGITS || length + end.len() > LANES || !ended {
            return None;
        }
        let mut alike = Alike {
            from: [0x80; LANES],
            zeros: [0; LANES],
            marks: [0; LANES],
            told: [0; LANES],
            places: places as i32,
            sign_at,
            length,
            end: end.len(),
        };
        let mut digit = |lane: usize, at: usize| {
            alike.from[lane] = at as u8;
            alike.zeros[lane] = b'0';
        };
        for k in 0..count {
            digit(DIGITS - count + k, k + usize::from(k >= whole));
        }
        if let Some(sign) = sign_at {
            digit(LANES - 2, sign + 1);
            digit(LANES - 1, sign + 2);
        }
        let mut tell = |at: usize, byte: u8| {
            alike.marks[at] = byte;
            alike.told[at] = 0xff;
        };
        if mark {
            tell(whole, decimal);
        }
        if let Some(sign) = sign_at {
            tell(sign - 1, text[sign - 1]);
        }
        for (k, byte) in end.iter().enumerate() {
            tell(length + k, *byte);
        }
        Some(alike)
    }

    /// Bytes of what ends the cell.
    pub fn end(&self) -> usize {
        self.end
    }

    /// The number at the beginning of `text`, its value as [`printed`](super::digits::printed) gives it. `None` where the
    /// cell is not like this one, or `text` is too short to be looked at.
    #[cfg(target_arch = "x86_64")]
    #[target_feature(enable = "avx2")]
    #[inline]
    pub fn read(&self, text: &[u8]) -> Option<Printed> {
        use std::arch::x86_64::*;
        let lanes = |bytes: &[u8; LANES]| {
            let all = u128::from_le_bytes(*bytes);
            _mm_set_epi64x((all >> 64) as i64, all as i64)
        };
        let look: &[u8; LANES + 1] = text.first_chunk()?;
        let negative = look[0] == b'-';
        let at = usize::from(negative);
        let cell: &[u8; LANES] = look[at..].first_chunk()?;
        let bytes = lanes(cell);
        let digits = _mm_sub_epi8(
            _mm_shuffle_epi8(bytes, lanes(&self.from)),
            lanes(&self.zeros),
        );
        // A byte below `0` has run over and is large.
        let are_digits = _mm_cmpeq_epi8(_mm_min_epu8(digits, _mm_set1_epi8(9)), digits);
        let marks = _mm_and_si128(bytes, lanes(&self.told));
        let are_marks = _mm_cmpeq_epi8(marks, lanes(&self.marks));
        if _mm_movemask_epi8(_mm_and_si128(are_digits, are_marks)) != 0xffff {
            return None;
        }
        let pairs = _mm_maddubs_epi16(digits, _mm_set1_epi16(0x01_0a));
        let fours = _mm_madd_epi16(pairs, _mm_set1_epi32(0x0001_0064));
        let fours = _mm_packus_epi32(fours, fours);
        let eights = _mm_madd_epi16(fours, _mm_set_epi32(0, 0, 1, 0x0001_2710));
        let sums = _mm_cvtsi128_si64(eights) as u64;
        // Twelve digits: a double holds every such number.
        let digits = (sums & 0xffff_ffff) * 10_000 + (sums >> 32);
        let mut power = -self.places;
        if let Some(sign_at) = self.sign_at {
            let exponent = _mm_extract_epi16::<3>(fours);
            power += match cell.get(sign_at) {
                Some(b'+') => exponent,
                Some(b'-') => -exponent,
                _ => return None,
            };
        }
        let whole = digits as i64 as f64;
        let size = match EXACT.get(power.unsigned_abs() as usize) {
            Some(ten) if power <= 0 => whole / ten,
            Some(ten) => whole * ten,
            None => return None,
        };
        Some(Printed {
            value: f64::from_bits(size.to_bits() | u64::from(negative) << 63),
            digits,
            power,
            negative,
            length: at + self.length,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::digits::printed;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_too_long_or_no_plain_number_is_left_alone() {
        for (text, end) in [
            ("", ","),
            ("-,", ","),
            (".5,", ","),
            ("+1.5,", ","),
            (" 1.5,", ","),
            ("1.5", ","),
            ("1.5\r\n", "\n"),
            ("1.5e3,", ","),
            ("1.5e+003,", ","),
            ("1.5e,", ","),
            ("1.234567890123,", ","),
            ("1.23456789e+01\r\n1", "\r\n\t"),
            ("12.34567890e+01\r\n", "\r\n"),
        ] {
            assert_eq!(
                Alike::of(text.as_bytes(), b'.', end.as_bytes()),
                None,
                "{text:?}"
            );
        }
        assert!(Alike::of(b"-1.23456789e+01\r\n", b'.', b"\r\n").is_some());
    }

    /// Bits of the value, digits, power, sign, length.
    type Told = (u64, u64, i32, bool, usize);

    /// As [`Alike::read`], where this processor can.
    fn read(alike: &Alike, text: &str) -> Option<Option<Told>> {
        #[cfg(target_arch = "x86_64")]
        if std::arch::is_x86_feature_detected!("avx2") {
            // SAFETY: the processor has the instructions, as was just asked.
            #[allow(unsafe_code)]
            let found = unsafe { alike.read(text.as_bytes()) };
            return Some(
                found.map(|p| (p.value.to_bits(), p.digits, p.power, p.negative, p.length)),
            );
        }
        let _ = (alike, text);
        None
    }

    proptest! {
        #[test]
        fn a_cell_alike_gives_the_same_bits_and_any_other_none(
            whole in "[0-9]{1,4}",
            part in "(\\.[0-9]{0,9})?",
            exponent in "([eE][+-][0-9]{2})?",
            sign in "-?",
            end in prop::sample::select(vec![",", ";", "\n", "\r\n"]),
            swaps in prop::collection::vec((0usize..20, prop::sample::select(b"0123456789.,;+-eE \r\n\0\x2f\x3a)/x".to_vec())), 0..4),
        ) {
            let cell = format!("{whole}{part}{exponent}{end}");
            let Some(alike) = Alike::of(cell.as_bytes(), b'.', end.as_bytes()) else {
                prop_assert!(cell.len() > LANES || whole.len() + part.len() > DIGITS);
                return Ok(());
            };
            prop_assert_eq!(alike.end(), end.len());
            // Another cell of the same build, some of its bytes spoilt.
            let mut other: Vec<u8> = cell.bytes().map(|b| if b.is_ascii_digit() { b'0' + (b * 7 + 3) % 10 } else { b }).collect();
            for (at, byte) in swaps {
                if let Some(place) = other.get_mut(at) {
                    *place = byte;
                }
            }
            let text = format!("{sign}{}0123456789abcdefgh", String::from_utf8(other).unwrap());
            let plain = printed(text.as_bytes(), b'.').filter(|p| text[p.length..].starts_with(end));
            let same_build = Alike::of(text.as_bytes(), b'.', end.as_bytes()).is_some_and(|a| {
                // The letter of the exponent may be written either way.
                a == alike
            });
            // An exponent that lost its sign is none of this build: it is left to the plain reader, whatever that makes of it.
            let after = text.find(['e', 'E']).and_then(|at| text.as_bytes().get(at + 1));
            let signless = !exponent.is_empty() && !matches!(after, Some(b'+' | b'-'));
            let plain = plain.filter(|_| same_build && !signless).map(|p| (p.value.to_bits(), p.digits, p.power, p.negative, p.length));
            if let Some(found) = read(&alike, &text) {
                prop_assert_eq!(found, plain, "{}", text);
            }
        }
    }
}
