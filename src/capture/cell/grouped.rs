//! Numbers whose digits stand in groups of three: `1,234.5`, `1.234.567,8`, `12 000`, `12'000`.

/// A grouped number, where it can be read in one way only; `None` for everything else.
///
/// A single group parted by the other decimal mark (`1,234` with a decimal point) could be a fraction, and is none here. Blanks
/// (no-break and thin ones too) and apostrophes part nothing else (ISO 80000-1, section 7.3.1 has the small gap).
pub(super) fn grouped(cell: &[u8], decimal: u8) -> Option<f64> {
    if cell.len() > super::LONGEST_NUMBER {
        return None;
    }
    let text = std::str::from_utf8(cell).ok()?;
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    let other = if decimal == b'.' { ',' } else { '.' };
    let (whole, part) = match unsigned.split_once(decimal as char) {
        Some((whole, part)) => (whole, Some(part)),
        None => (unsigned, None),
    };
    let is_mark = |c: char| {
        c == other
            || matches!(
                c,
                ' ' | '\'' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2019}'
            )
    };
    let mark = whole.chars().find(|&c| is_mark(c))?;
    let groups: Vec<&str> = whole.split(mark).collect();
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let (first, others) = groups.split_first()?;
    let regular = digits(first)
        && first.len() <= 3
        && !first.starts_with('0')
        && others.iter().all(|g| g.len() == 3 && digits(g))
        && part.is_none_or(|p| p.bytes().all(|b| b.is_ascii_digit()));
    let certain = mark != other || part.is_some() || others.len() > 1;
    if !(regular && certain) {
        return None;
    }
    let sign = if text.starts_with('-') { "-" } else { "" };
    format!("{sign}{}.{}", groups.concat(), part.unwrap_or("0"))
        .parse()
        .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_read_where_they_can_mean_one_thing_only() {
        for (text, decimal, value) in [
            ("1,234.5", b'.', Some(1234.5)),
            ("-12.000,0", b',', Some(-12000.0)),
            ("1,234,567", b'.', Some(1_234_567.0)),
            ("12 000", b'.', Some(12000.0)),
            ("12\u{a0}000,25", b',', Some(12000.25)),
            ("1'000", b'.', Some(1000.0)),
            ("1,234", b'.', None),
            ("1.234", b',', None),
            ("0,123.4", b'.', None),
            ("12,34.5", b'.', None),
            ("1 23", b'.', None),
        ] {
            assert_eq!(grouped(text.as_bytes(), decimal), value, "{text}");
        }
    }
}
