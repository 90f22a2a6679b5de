//! Names as one line of visible characters.

use std::borrow::Cow;

/// Control characters, line and paragraph separators, and the marks that show nothing or turn the direction of writing, by which one
/// name can be made to look like another (Unicode general categories Cc, Zl, Zp and the common ones of Cf).
pub fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
        )
}

/// The text with every invisible character shown as its code, `\u{a}` for a line feed; borrowed where there is none.
pub fn one_line(text: &str) -> Cow<'_, str> {
    escape(text, is_invisible)
}

/// The text with the characters that `odd` picks shown as their codes.
pub fn escape(text: &str, odd: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&odd) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if odd(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn invisible_characters_are_shown_and_the_rest_is_left() {
        assert!(matches!(one_line("12 µs ± Ω 電"), Cow::Borrowed(_)));
        assert_eq!(
            one_line("a\nb\tc\u{1b}[2J\u{202e}\u{200b}=1"),
            "a\\u{a}b\\u{9}c\\u{1b}[2J\\u{202e}\\u{200b}=1"
        );
    }
}
