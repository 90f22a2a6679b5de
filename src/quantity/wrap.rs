//! Text set into lines of at most a width.

/// Furthest column at which the continuation of a line with a label hangs.
const DEEPEST: usize = 34;

/// Breaks every line that is longer than `width` columns between words. What continues a line hangs under its text: behind a label
/// that two or more spaces set off (`trigger   single shot, ...`), else two columns further in than the line.
///
/// A number and its unit, the parts of `5.1 ± 0.2`, and both ends of `2.5 % → 1.0 %` and `10 mV to 2 V` stay together. A word longer than the width has a line of its own and is
/// not broken: it may be a path.
pub fn wrapped(text: &str, width: usize) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 16);
    for line in text.split_inclusive('\n') {
        let (body, end) = match line.strip_suffix('\n') {
            Some(body) => (body, "\n"),
            None => (line, ""),
        };
        if columns(body) <= width {
            out.push_str(body);
        } else {
            long(&mut out, body, width);
        }
        out.push_str(end);
    }
    out
}

fn columns(text: &str) -> usize {
    text.chars().count()
}

fn long(out: &mut String, body: &str, width: usize) {
    let hang = hang(body).min(width / 2);
    let (mut column, mut fresh) = (0, true);
    for piece in pieces(body) {
        // Of what parts two words, the spaces before it.
        let word = piece.trim_start_matches(' ');
        let gap = piece.len() - word.len();
        if fresh || column + gap + columns(word) <= width {
            out.push_str(piece);
            column += columns(piece);
        } else {
            out.push('\n');
            out.push_str(&" ".repeat(hang));
            out.push_str(word);
            column = hang + columns(word);
        }
        fresh = false;
    }
}

/// Columns by which the continuation of a line is set in.
fn hang(body: &str) -> usize {
    let indent = body.len() - body.trim_start_matches(' ').len();
    let text = &body[indent..];
    if let Some(at) = text.find("  ") {
        let rest = text[at..].trim_start_matches(' ');
        let label = indent + columns(&text[..text.len() - rest.len()]);
        if label <= DEEPEST && !rest.is_empty() {
            return label;
        }
    }
    indent + 2
}

/// The words with the spaces before them; a number and what belongs to it are one piece.
fn pieces(body: &str) -> Vec<&str> {
    let mut pieces: Vec<(usize, usize)> = Vec::new();
    let mut at = 0;
    while at < body.len() {
        let word = at + body[at..].find(|c| c != ' ').unwrap_or(body.len() - at);
        let end = word + body[word..].find(' ').unwrap_or(body.len() - word);
        match pieces.last_mut() {
            Some((first, last))
                if word - at == 1 && belong(&body[*first..*last], &body[word..end]) =>
            {
                *last = end;
            }
            _ => pieces.push((at, end)),
        }
        at = end;
    }
    pieces.iter().map(|&(from, to)| &body[from..to]).collect()
}

/// Whether a word continues the number that ends the text before it.
fn belong(before: &str, word: &str) -> bool {
    const MARKS: [&str; 5] = ["±", "×", "§", "→", "÷"];
    let last = before.rsplit(' ').next().unwrap_or_default();
    if MARKS.contains(&last.trim_start_matches('(')) || MARKS[..2].contains(&word) {
        return true;
    }
    let begins = |word: &str| {
        let number = word.trim_start_matches(['(', '±', '-', '+']);
        number.starts_with(|c: char| c.is_ascii_digit())
    };
    let ended = |word: &str| word.ends_with([',', ';', ':', '.']);
    let numbered = matches!(last, "column" | "line" | "cell" | "row" | "section");
    if numbered && begins(word) || last.starts_with("--") && columns(word) <= 10 {
        return true;
    }
    // The far end of a range, and of a change.
    let ranges = before.split(' ').any(begins) && !ended(last);
    if columns(before) < 24 && ranges && matches!(word, "to" | "→") {
        return true;
    }
    if columns(before) < 28 && ranges && last == "to" && (begins(word) || word == "±") {
        return true;
    }
    begins(last)
        && !ended(last)
        && columns(word) <= 10
        && !begins(word.trim_start_matches('('))
        && !word.starts_with('(')
        && columns(before) < 30
}

/// Cells in columns of these widths, two blanks or more behind each.
pub(crate) fn in_columns(cells: &[impl AsRef<str>], widths: &[usize]) -> String {
    let padded = cells.iter().zip(widths).map(|(cell, width)| {
        let cell = cell.as_ref();
        let gap = width.saturating_sub(cell.chars().count()).max(2);
        format!("{cell}{:gap$}", "")
    });
    padded.collect()
}

/// Cells under each other, two blanks between columns, each line behind `indent`.
pub(crate) fn align(text: &mut String, indent: &str, cells: &[impl AsRef<[String]>]) {
    let lines = || cells.iter().map(AsRef::as_ref);
    let columns = lines().map(<[String]>::len).max().unwrap_or(0);
    let widest = |c: usize| lines().filter_map(move |line| Some(line.get(c)?.chars().count()));
    let widths: Vec<usize> = (0..columns)
        .map(|c| 2 + widest(c).max().unwrap_or(0))
        .collect();
    for line in lines() {
        let line = format!("{indent}{}", in_columns(line, &widths));
        text.push_str(line.trim_end());
        text.push('\n');
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_long_line_is_broken_between_words_and_hangs_under_its_text() {
        let text = "short\n  warning: CH1 clips at 37.3 V for 12 samples\n     trigger  single shot at 0.75 A rising\n";
        assert_eq!(
            wrapped(text, 28),
            "short\n  warning: CH1 clips at\n    37.3 V for 12 samples\n     trigger  single shot at\n              0.75 A rising\n"
        );
    }

    #[test]
    fn a_number_keeps_its_unit_and_its_uncertainty() {
        assert_eq!(
            wrapped("a value of 5.12 ± 0.21 mH here", 20),
            "a value of\n  5.12 ± 0.21 mH\n  here"
        );
        // Both ends of a change and of a range, with what marks them.
        assert_eq!(
            wrapped(
                "known (± 2.3 % to ± 0.2 %): K ± 2.5 % → 1.0 %, +8.9 % away",
                24
            ),
            "known\n  (± 2.3 % to ± 0.2 %):\n  K ± 2.5 % → 1.0 %,\n  +8.9 % away"
        );
    }

    proptest! {
        #[test]
        fn no_word_is_lost_and_only_single_words_are_longer(text in "[a-z0-9 ±µ]{0,200}", width in 20usize..60) {
            let out = wrapped(&text, width);
            let words = |t: &str| t.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
            prop_assert_eq!(words(&out), words(&text));
            for line in out.lines() {
                prop_assert!(line.chars().count() <= width || pieces(line.trim()).len() == 1, "{line:?}");
            }
        }
    }
}
