//! What the studies of the detectors share: counts, their table and its place in docs/detectors.md.

use std::fmt::Write;
use testbench::stats::binomial;

/// Found in spoiled captures or benches, and cries over sound ones.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    pub spoiled: u64,
    pub found: u64,
    pub sound: u64,
    pub cries: u64,
}

/// Mistake, size, detector.
pub type Row = [&'static str; 3];

/// The table in Markdown, a line a mistake.
pub fn rows_of(rows: &[Row], tallies: &[Tally]) -> String {
    let mut text = String::from(
        "| mistake | size | detector | found | of | rate | false alarms | of | rate |\n| --- | --- | --- | ---: | ---: | --- | ---: | ---: | --- |\n",
    );
    let rate = |hits: u64, of: u64| {
        if of == 0 {
            return "none tried".to_owned();
        }
        let (low, high) = binomial::clopper_pearson(hits, of, 0.95).expect("counts");
        format!(
            "{:.1} % ({:.1} to {:.1})",
            100.0 * hits as f64 / of as f64,
            100.0 * low,
            100.0 * high
        )
    };
    for (row, t) in rows.iter().zip(tallies) {
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} |",
            row[0],
            row[1],
            row[2],
            t.found,
            t.spoiled,
            rate(t.found, t.spoiled),
            t.cries,
            t.sound,
            rate(t.cries, t.sound)
        );
    }
    text
}

/// Puts a text between `<!-- mark -->` and `<!-- end of mark -->` of the page that `DETECTORS_PAGE` names, where it is set.
pub fn put_table(mark: &str, text: &str) {
    let Ok(path) = std::env::var("DETECTORS_PAGE") else {
        return;
    };
    let (begin, end) = (
        format!("<!-- {mark} -->\n"),
        format!("<!-- end of {mark} -->"),
    );
    let before = std::fs::read_to_string(&path).expect("the page is there");
    let (head, rest) = before
        .split_once(&begin)
        .expect("the mark before the table");
    let (_, tail) = rest.split_once(&end).expect("the mark after the table");
    std::fs::write(&path, format!("{head}{begin}{text}{end}{tail}")).expect("the page is written");
}
