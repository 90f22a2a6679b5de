//! The parameters with their relative intervals as bars, and the budget of each variance.

use crate::plot::drawing::ink;
use crate::plot::drawing::marks::WIDTH;
use crate::plot::drawing::marks::{Marks, Side, width_of};
use crate::plot::drawing::picture::{HEAD, Picture};
use crate::quantity::rounding::percent;
use crate::report::Report;
use crate::report::context::{BudgetRow, ParameterRow};

const ROW: f64 = 40.0;
/// Height of the words over the rows.
const COLUMNS: f64 = 24.0;
/// The strips of the parameters: from, to.
const STRIP: (f64, f64) = (470.0, WIDTH - 30.0);
/// The bars of the budget.
const BAR: (f64, f64) = (200.0, WIDTH - 30.0);

/// Every parameter with value, interval and strip.
pub(in crate::plot) fn parameters(report: &Report, origin: &str) -> Picture {
    let percent = percent(report.level);
    let mut marks = Marks::default();
    for (x, word) in [
        (20.0, "parameter"),
        (210.0, "value(standard uncertainty); interval"),
        (STRIP.0, "relative interval: 0.1 %"),
        (tick(1.0) - 10.0, "1 %"),
        (tick(2.0) - 10.0, "10 %"),
        (tick(3.0) - 28.0, "100 %"),
    ] {
        let at = (x, HEAD + 0.5 * COLUMNS);
        marks.word(word, at, 10.0, Side::Left, ink::QUIET);
    }
    for (k, row) in report.parameters.iter().enumerate() {
        let top = HEAD + COLUMNS + ROW * k as f64;
        marks.line(&[(20.0, top), (WIDTH - 20.0, top)], ink::GRID, 0.8, None);
        parameter(&mut marks, row, top);
    }
    let described = report.parameters.iter().map(|p| match &p.si {
        Some(si) => format!("{}: {}, {} ({}).", p.words, si.value, si.interval, p.status),
        None => format!("{}: no value.", p.words),
    });
    Picture {
        name: "parameters".into(),
        title: format!("{}: parameters", report.motor),
        subtitle: format!(
            "{} Bar: half width of the interval at {percent} % over the value.",
            report.verdict.head
        ),
        description: described.collect::<Vec<_>>().join(" "),
        origin: origin.to_owned(),
        height: COLUMNS + ROW * report.parameters.len() as f64,
        marks,
    }
}

fn parameter(marks: &mut Marks, row: &ParameterRow, top: f64) {
    let (upper, lower) = (top + 13.0, top + 28.0);
    let mut word = |text: &str, at, size, ink| marks.word(text, at, size, Side::Left, ink);
    word(row.words, (20.0, upper), 12.0, ink::TEXT);
    let (letter, index) = &row.symbol;
    word(letter, (20.0, lower), 11.0, ink::QUIET);
    let after = 21.0 + width_of(letter, 11.0);
    word(index, (after, lower + 3.0), 8.5, ink::QUIET);
    let status_at = after + width_of(index, 8.5) + 10.0;
    word(row.status, (status_at, lower), 10.0, ink::QUIET);
    let Some(si) = &row.si else {
        let text = "no value: not determined by these captures";
        return word(text, (210.0, upper), 12.0, ink::QUIET);
    };
    word(&si.value, (210.0, upper), 12.0, ink::TEXT);
    let interval = match &row.relative {
        Some(relative) => format!("{}, {relative}", si.interval),
        None => si.interval.clone(),
    };
    word(&interval, (210.0, lower), 10.0, ink::QUIET);
    let Some(bar) = row.bar else { return };
    let middle = top + 14.0;
    marks.rectangle((STRIP.0, middle - 6.0), (STRIP.1, middle + 6.0), ink::FIELD);
    let end = STRIP.0 + (STRIP.1 - STRIP.0) * bar / 100.0;
    marks.rectangle((STRIP.0, middle - 3.0), (end, middle + 3.0), ink::VOLTAGE);
    for x in [1.0, 2.0].map(tick) {
        marks.line(
            &[(x, middle - 6.0), (x, middle + 6.0)],
            ink::QUIET,
            0.8,
            None,
        );
    }
}

/// Place of a power of ten on the strips.
fn tick(decades: f64) -> f64 {
    STRIP.0 + (STRIP.1 - STRIP.0) * decades / 3.0
}

/// Stacked bars: where each uncertainty comes from.
pub(in crate::plot) fn budget(report: &Report, origin: &str) -> Option<Picture> {
    let budget = &report.budget;
    if budget.rows.is_empty() {
        return None;
    }
    // Keys in three columns.
    let key_rows = budget.sources.len().div_ceil(3);
    let keys = 20.0 * key_rows as f64 + 12.0;
    let mut marks = Marks::default();
    for (k, source) in budget.sources.iter().enumerate() {
        let x = 20.0 + 290.0 * (k / key_rows) as f64;
        let y = HEAD + 10.0 + 20.0 * (k % key_rows) as f64;
        let (shade, letter) = ink::SHADES[source.shade.min(7)];
        marks.rectangle((x, y - 7.0), (x + 22.0, y + 7.0), shade);
        let text = source.letter.to_string();
        marks.word(&text, (x + 11.0, y), 10.0, Side::Centre, letter);
        marks.word(&source.name, (x + 29.0, y), 11.0, Side::Left, ink::TEXT);
    }
    for (k, row) in budget.rows.iter().enumerate() {
        stacked(&mut marks, row, HEAD + keys + ROW * k as f64);
    }
    let described = budget.rows.iter();
    let described = described.map(|row| format!("{}: {}.", row.words, row.description));
    Some(Picture {
        name: "budget".into(),
        title: format!("{}: where each uncertainty comes from", report.motor),
        subtitle: "Each bar is the whole variance of one parameter, cut by what causes it.".into(),
        description: described.collect::<Vec<_>>().join(" "),
        origin: origin.to_owned(),
        height: keys + ROW * budget.rows.len() as f64,
        marks,
    })
}

fn stacked(marks: &mut Marks, row: &BudgetRow, top: f64) {
    marks.word(row.words, (20.0, top + 9.0), 12.0, Side::Left, ink::TEXT);
    let at = |share: f64| BAR.0 + (BAR.1 - BAR.0) * share / 100.0;
    for part in &row.segments {
        let (shade, letter) = ink::SHADES[part.shade.min(7)];
        let (from, to) = (at(part.from), at(part.from + part.width));
        marks.rectangle((from, top), (to, top + 18.0), shade);
        marks.line(&[(from, top), (from, top + 18.0)], ink::PAPER, 0.8, None);
        if part.width >= 4.0 {
            let text = part.letter.to_string();
            let middle = (0.5 * (from + to), top + 9.0);
            marks.word(&text, middle, 10.0, Side::Centre, letter);
        }
    }
    marks.word(
        &row.description,
        (BAR.0, top + 27.0),
        9.5,
        Side::Left,
        ink::QUIET,
    );
}
