//! Words known to the program: whether a word is one of them, and which is nearest to a misspelt one.

/// Whether `word` is one of the words of a list, which blanks set apart.
pub fn is_listed(list: &str, word: &str) -> bool {
    list.split_whitespace().any(|listed| listed == word)
}

/// Likeness below which a name is another word, not a misspelt one.
const LEAST: f64 = 0.6;

/// The name among `known` that is most like `found`, whatever the case of its letters; `None` where none is much like it. Among equals the
/// first.
///
/// A word of four letters or more that is part of a name means that name: `scope` is `oscilloscope`.
/// Likeness is the larger of two measures: edits with transposition over the length, which finds `gian` near `gain`, and common
/// letters with a common start, which finds `bandwith` near `bandwidth_hz`.
pub fn nearest<'k>(found: &str, known: &[&'k str]) -> Option<&'k str> {
    let found = found.to_lowercase();
    let mut best: Option<(&'k str, f64)> = None;
    // Of one or two letters nearly every long name holds them.
    let few = found.chars().count() < 3;
    let near_in_length = |name: &&&str| !few || name.chars().count() <= 4;
    for candidate in known.iter().filter(near_in_length) {
        let likeness = strsim::normalized_damerau_levenshtein(&found, candidate)
            .max(0.95 * strsim::jaro_winkler(&found, candidate))
            .max(match found.len() >= 4 && candidate.contains(&found) {
                true => 0.8,
                false => 0.0,
            });
        if best.is_none_or(|(_, b)| likeness > b) {
            best = Some((candidate, likeness));
        }
    }
    best.filter(|best| best.1 >= LEAST).map(|(name, _)| name)
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
        assert_eq!(nearest("f", &["c", "half_width_k", "full_scale_k"]), None);
        let known = ["oscilloscope", "voltage-probe", "meter", "tachometer"];
        assert_eq!(nearest("scope", &known), Some("oscilloscope"));
        assert_eq!(
            nearest("graphite", &["carbon", "metal-carbon", "metal"]),
            None
        );
    }
}
