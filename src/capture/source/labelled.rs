//! Rows whose numbers carry their names (`u:12.05,i:0.09`, `t=0.1; u=12.05`, one JSON object a line), that stand in brackets (`[0.1, 12.05]`), or behind an arrow
//! (`09:26:53.500 -> 12.05,0.09`), as terminals of microcontrollers log them: rewritten as plain rows, line by line.

use crate::capture::cell::{self, Cell, clock};
use std::io::{self, BufRead, Read};

/// Fewest such lines from which they are the rows of the file.
const FEWEST_LINES: usize = 3;
const LONGEST_LABEL: usize = 32;
const ARROW: &str = " -> ";

/// How the rows of a file carry their names.
#[derive(Clone, Debug, PartialEq)]
pub struct RowLabels {
    delimiter: char,
    arrow: bool,
    /// One name a cell; empty where a cell has none.
    pub names: Vec<String>,
}

impl RowLabels {
    /// Looks for labelled rows in the first bytes of a file.
    pub fn find(text: &[u8]) -> Option<RowLabels> {
        let whole = memchr::memrchr(b'\n', text)?;
        let text = std::str::from_utf8(&text[..whole]).ok()?;
        let lines: Vec<&str> = text.lines().filter(|l| !l.trim().is_empty()).collect();
        let middle = lines.get(lines.len() / 2)?;
        [',', ';', '\t', ' '].into_iter().find_map(|delimiter| {
            let labels = RowLabels::of_line(middle, delimiter)?;
            let fits = |line: &&&str| RowLabels::of_line(line, delimiter).as_ref() == Some(&labels);
            let count = lines.iter().filter(fits).count();
            (count >= FEWEST_LINES && count * 5 >= lines.len() * 4).then_some(labels)
        })
    }

    fn of_line(line: &str, delimiter: char) -> Option<RowLabels> {
        let arrow = arrow(line);
        let cells = cells(line, delimiter, arrow);
        let parts: Vec<(&str, &str)> = cells.iter().map(|c| label_and_value(c)).collect();
        let is_value = |text: &str| {
            let is = |decimal| !matches!(cell::parse(text.as_bytes(), decimal), Cell::Text);
            is(b'.') || is(b',') || clock::parse(text.as_bytes()).is_some()
        };
        let labelled = parts.iter().filter(|(label, _)| !label.is_empty()).count();
        let bracketed = parts.len() > 1 && is_bracketed(line);
        let wrapped = cells.iter().all(|c| unwrapped(c).is_some());
        let numbers = parts.iter().all(|(_, value)| is_value(value));
        // Without names an arrow alone parts the clock from the numbers.
        let enough = match arrow {
            true => parts.len() > 1,
            false => wrapped || bracketed || labelled > 0 && labelled + 1 >= parts.len(),
        };
        (numbers && enough).then(|| RowLabels {
            delimiter,
            arrow,
            names: parts.iter().map(|(label, _)| label.to_string()).collect(),
        })
    }

    /// The values of a line alone; `None` for a line of another shape.
    fn plain(&self, line: &str) -> Option<String> {
        let cells = cells(line, self.delimiter, self.arrow);
        let parts = cells.iter().map(|c| label_and_value(c));
        let fits = cells.len() == self.names.len()
            && parts
                .clone()
                .zip(&self.names)
                .all(|((label, _), name)| label == name);
        let values: Vec<&str> = parts.map(|(_, value)| value).collect();
        fits.then(|| values.join(&self.delimiter.to_string()))
    }
}

/// True where an arrow stands behind a clock time.
fn arrow(line: &str) -> bool {
    line.split_once(ARROW)
        .is_some_and(|(before, _)| clock::parse(before.trim().as_bytes()).is_some())
}

/// True for a row in brackets: `[1, 2]`, `(1; 2),`.
fn is_bracketed(line: &str) -> bool {
    let line = line.trim().trim_end_matches([',', ';']);
    line.starts_with(['[', '(', '{']) && line.ends_with([']', ')', '}'])
}

/// Cells of a line without the brackets around it.
fn cells(line: &str, delimiter: char, arrow: bool) -> Vec<String> {
    let line = line.trim().trim_end_matches(',');
    // The last name of a header may end in a unit in brackets.
    let line = match line.starts_with(['[', '(', '{']) {
        true => line.trim_matches(['[', ']', '{', '}', '(', ')']).trim(),
        false => line,
    };
    let mut line = match arrow {
        true => line.replacen(ARROW, &delimiter.to_string(), 1),
        false => line.to_string(),
    };
    if delimiter == ' ' {
        line = line
            .replace(": ", ":")
            .replace("= ", "=")
            .replace(" =", "=");
    }
    let cells = line.split(delimiter).map(|c| c.trim().to_string());
    cells
        .filter(|c| delimiter != ' ' || !c.is_empty())
        .collect()
}

/// What makes a spreadsheet take a cell as text: `="12.05"`, `'12.05'`.
fn unwrapped(cell: &str) -> Option<&str> {
    let formula = || cell.strip_prefix("=\"")?.strip_suffix('"');
    let quoted = || cell.strip_prefix('\'')?.strip_suffix('\'');
    formula().or_else(quoted)
}

/// `u:12.05` as `u` and `12.05`; an empty label where the cell has none.
fn label_and_value(cell: &str) -> (&str, &str) {
    if let Some(inner) = unwrapped(cell) {
        return ("", inner);
    }
    let Some((label, value)) = cell.split_once([':', '=']) else {
        return ("", cell);
    };
    let label = label.trim().trim_matches(['"', '\'']).trim();
    let is_label =
        label.chars().next().is_some_and(char::is_alphabetic) && label.len() <= LONGEST_LABEL;
    match is_label {
        true => (label, value.trim().trim_matches('"')),
        false => ("", cell),
    }
}

/// A reader of labelled rows as plain rows; lines of another shape pass as they are.
pub struct Unlabelling<R> {
    inner: R,
    labels: RowLabels,
    /// Longest line rewritten, bytes; what is longer passes in pieces, for the reader of lines to refuse.
    longest: u64,
    held: Vec<u8>,
    taken: usize,
}

impl<R: BufRead> Unlabelling<R> {
    pub fn new(inner: R, labels: RowLabels, longest: usize) -> Unlabelling<R> {
        Unlabelling {
            inner,
            labels,
            longest: (longest as u64).saturating_add(1),
            held: Vec::new(),
            taken: 0,
        }
    }

    fn next_line(&mut self) -> io::Result<()> {
        self.held.clear();
        self.taken = 0;
        let mut piece = self.inner.by_ref().take(self.longest);
        piece.read_until(b'\n', &mut self.held)?;
        let plain = std::str::from_utf8(&self.held)
            .ok()
            .filter(|line| line.ends_with('\n'))
            .and_then(|line| self.labels.plain(line));
        if let Some(plain) = plain {
            self.held = plain.into_bytes();
            self.held.push(b'\n');
        }
        Ok(())
    }
}

impl<R: BufRead> Read for Unlabelling<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.taken == self.held.len() {
            self.next_line()?;
        }
        let count = buffer.len().min(self.held.len() - self.taken);
        buffer[..count].copy_from_slice(&self.held[self.taken..self.taken + count]);
        self.taken += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labelled_rows_become_plain_rows_line_by_line() {
        for (text, names, plain) in [
            (
                "u:1.5,i:0.1\nu:2,i:0.2\nu:3,i:0.3\n",
                "u i",
                "1.5,0.1\n2,0.2\n3,0.3\n",
            ),
            (
                "{\"t\": 0.1, \"u\": 2}\n{\"t\": 0.2, \"u\": 2}\n{\"t\": 0.3, \"u\": 2}\n",
                "t u",
                "0.1,2\n0.2,2\n0.3,2\n",
            ),
            (
                "09:26:53.5 -> 1,2\nstart\n09:26:53.6 -> 1,2\n09:26:53.7 -> 1,2\n09:26:53.8 -> 1,2\n",
                "  ",
                "09:26:53.5,1,2\nstart\n09:26:53.6,1,2\n09:26:53.7,1,2\n09:26:53.8,1,2\n",
            ),
            (
                "a,b\n=\"1\",=\"2\"\n=\"3\",=\"4\"\n=\"5\",=\"6\"\n=\"7\",=\"8\"\n",
                " ",
                "a,b\n1,2\n3,4\n5,6\n7,8\n",
            ),
            (
                "t, u\n[0.1, 2]\n[0.2, 2],\n[0.3, 2]\n[0.4, 2]\n",
                " ",
                "t,u\n0.1,2\n0.2,2\n0.3,2\n0.4,2\n",
            ),
            (
                "n: 5 u= 2\nn: 6 u= 2\nn: 7 u= 2\n",
                "n u",
                "5 2\n6 2\n7 2\n",
            ),
        ] {
            let labels = RowLabels::find(text.as_bytes()).unwrap_or_else(|| panic!("{text}"));
            assert_eq!(labels.names.join(" "), names);
            let mut out = String::new();
            Unlabelling::new(text.as_bytes(), labels, 100)
                .read_to_string(&mut out)
                .expect("text");
            assert_eq!(out, plain);
        }
        for text in [
            "a,b\n1,2\n3,4\n5,6\n",
            "12:00:01,1\n12:00:02,2\n12:00:03,3\n",
            "Rate: 5\nPoints: 6\nStart: 7\n",
        ] {
            assert_eq!(RowLabels::find(text.as_bytes()), None, "{text}");
        }
    }
}
