//! Words known to the program: whether a word is one of them, and which is nearest to a misspelt one.

/// Whether `word` is one of the words of a list, which blanks set apart.
pub fn is_listed(list: &str, word: &str) -> bool {
    list.split_whitespace().any(|listed| listed == word)
}

/// The name among `known` that is most like `found`, whatever the case of its letters; `None` where none is known. Among equals the
/// first.
///
/// Likeness is the larger of two measures: edits with transposition over the length, which finds `gian` near `gain`, and common
/// letters with a common start, which finds `bandwith` near `bandwidth_hz`.
pub fn nearest<'k>(found: &str, known: &[&'k str]) -> Option<&'k str> {
    let found = found.to_lowercase();
    let mut best: Option<(&'k str, f64)> = None;
    for candidate in known {
        let likeness = strsim::normalized_damerau_levenshtein(&found, candidate)
            .max(0.95 * strsim::jaro_winkler(&found, candidate));
        if best.is_none_or(|(_, b)| likeness > b) {
            best = Some((candidate, likeness));
        }
    }
    best.map(|(name, _)| name)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_slip_of_the_finger_finds_its_key() {
        let known = ["gain", "zero", "time_base", "bandwidth_hz", "kind"];
        assert_eq!(nearest("gian", &known), Some("gain"));
        assert_eq!(nearest("bandwith", &known), Some("bandwidth_hz"));
        assert_eq!(nearest("timebase", &known), Some("time_base"));
        assert_eq!(nearest("x", &[]), None);
    }
}
