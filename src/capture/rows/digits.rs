//! A number read from bytes that go on behind it, as instruments print it; anything else is left to [`super::cell`].

/// Powers of ten that a double holds exactly.
pub const EXACT: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];
/// Largest whole number up to which every one is a double.
const WHOLE: u64 = 1 << 53;

/// A number and the bytes it took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Printed {
    pub value: f64,
    /// All digits before the exponent, as one whole number.
    pub digits: u64,
    /// Power of ten by which `digits` is to be multiplied.
    pub power: i32,
    pub negative: bool,
    pub length: usize,
}

impl Printed {
    /// The digits with their sign; `None` for a negative zero.
    pub fn mark(&self) -> Option<i64> {
        let mark = self.digits as i64;
        match (self.negative, mark) {
            (false, _) => Some(mark),
            (true, 0) => None,
            (true, _) => Some(-mark),
        }
    }
}

/// Reads `[+-]digits[mark digits][e[+-]digits]` from the beginning of `text`.
///
/// The value is the double nearest to what is printed: with at most 2^53 in all digits and a power of ten up to 22 either
/// way, it is one multiplication or division of two exact doubles (Clinger, Proc. PLDI 1990, 92-101). `None` where it is
/// not that simple.
#[inline]
pub fn printed(text: &[u8], decimal: u8) -> Option<Printed> {
    let (negative, mut rest) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        rest => (false, rest),
    };
    let mut digits = 0u64;
    let before = rest.len();
    digits_of(&mut digits, &mut rest);
    let mut count = before - rest.len();
    let mut power = 0i32;
    if let [mark, behind @ ..] = rest
        && *mark == decimal
    {
        rest = behind;
        let before = rest.len();
        while let Some((eight, behind)) = rest.split_first_chunk::<8>()
            && let Some(eight) = eight_digits(*eight)
        {
            digits = digits.wrapping_mul(100_000_000).wrapping_add(eight);
            rest = behind;
        }
        digits_of(&mut digits, &mut rest);
        let places = before - rest.len();
        count += places;
        power = -(places as i32);
    }
    // Up to 19 digits the whole number has not run over.
    if count == 0 || count > 19 || digits > WHOLE {
        return None;
    }
    if let [b'e' | b'E', behind @ ..] = rest {
        let (down, behind) = match behind {
            [b'-', behind @ ..] => (true, behind),
            [b'+', behind @ ..] => (false, behind),
            behind => (false, behind),
        };
        rest = behind;
        let mut exponent = 0u64;
        digits_of(&mut exponent, &mut rest);
        let places = behind.len() - rest.len();
        if places == 0 || places > 4 {
            return None;
        }
        let exponent = exponent as i32;
        power += if down { -exponent } else { exponent };
    }
    let whole = digits as f64;
    let size = match power {
        0..=22 => whole * EXACT[power as usize],
        -22..=-1 => whole / EXACT[-power as usize],
        _ => return None,
    };
    Some(Printed {
        value: if negative { -size } else { size },
        digits,
        power,
        negative,
        length: text.len() - rest.len(),
    })
}

/// Takes the digits at the beginning of `rest` into `whole`.
#[inline]
fn digits_of(whole: &mut u64, rest: &mut &[u8]) {
    while let [byte, behind @ ..] = *rest {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        *whole = whole.wrapping_mul(10).wrapping_add(u64::from(digit));
        *rest = behind;
    }
}

/// Eight digits at once, by the arithmetic on eight bytes that Lemire describes (Softw. Pract. Exp. 51 (2021) 1700-1727).
#[inline]
fn eight_digits(bytes: [u8; 8]) -> Option<u64> {
    let word = u64::from_le_bytes(bytes);
    let above = word.wrapping_add(0x4646_4646_4646_4646);
    let below = word.wrapping_sub(0x3030_3030_3030_3030);
    if (above | below) & 0x8080_8080_8080_8080 != 0 {
        return None;
    }
    let pairs = below.wrapping_mul(10).wrapping_add(below >> 8);
    let low = (pairs & 0x0000_00ff_0000_00ff).wrapping_mul(0x000f_4240_0000_0064);
    let high = ((pairs >> 16) & 0x0000_00ff_0000_00ff).wrapping_mul(0x0000_2710_0000_0001);
    Some(low.wrapping_add(high) >> 32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_instruments_print() {
        for (text, decimal, value, digits, length) in [
            ("12,5", b'.', 12.0, 12, 2),
            ("-0.050000000,7", b'.', -0.05, 50_000_000, 12),
            ("7.81250000e-03\n", b'.', 0.0078125, 781_250_000, 14),
            ("+1,5E+2;", b',', 150.0, 15, 7),
            (".5\n", b'.', 0.5, 5, 2),
            ("5.\n", b'.', 5.0, 5, 2),
        ] {
            let found = printed(text.as_bytes(), decimal).unwrap();
            assert_eq!(
                (found.value, found.digits, found.length),
                (value, digits, length),
                "{text}"
            );
        }
        for text in [
            "",
            "-",
            ".",
            "e5",
            "1e",
            "1e+",
            "1e23",
            "123456789012345678901",
            "x",
            " 1",
        ] {
            assert_eq!(printed(text.as_bytes(), b'.'), None, "{text}");
        }
        assert!(printed(b"-0.0", b'.').unwrap().value.is_sign_negative());
    }

    proptest! {
        #[test]
        fn the_same_double_to_the_last_bit_as_the_general_parser(
            sign in "[+-]?",
            whole in "[0-9]{0,12}",
            part in "(\\.[0-9]{0,18})?",
            exponent in "([eE][+-]?[0-9]{1,3})?",
            behind in "[,;\n]?",
        ) {
            let number = format!("{sign}{whole}{part}{exponent}");
            let text = format!("{number}{behind}");
            if let Some(found) = printed(text.as_bytes(), b'.') {
                prop_assert_eq!(found.length, number.len());
                let plain: f64 = fast_float2::parse(&number).unwrap();
                prop_assert_eq!(found.value.to_bits(), plain.to_bits());
            }
        }
    }
}
