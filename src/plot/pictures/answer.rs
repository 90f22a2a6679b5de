//! The parameters with their intervals against the usual magnitude, and the budget of each variance.

use crate::plot::drawing::ink;
use crate::plot::drawing::picture::{HEAD, Picture, WIDTH, shown};
use crate::plot::drawing::surface::{Side, Surface};
use crate::plot::error::PlotError;
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
pub(in crate::plot) fn parameters<'a>(report: &'a Report, origin: &str) -> Picture<'a> {
    let percent = (report.level * 1000.0).round() / 10.0;
    Picture {
        name: "parameters".into(),
        title: shown(&format!("{}: parameters", report.motor)),
        subtitle: format!(
            "{} Dark bar: interval at {percent} %. Pale field: usual magnitude. A tick at each power of ten.",
            report.verdict.head
        ),
        description: report
            .parameters
            .iter()
            .map(|p| match &p.si {
                Some(si) => format!("{}: {}, {} ({}).", p.words, si.value, si.interval, p.status),
                None => format!("{}: no value.", p.words),
            })
            .collect::<Vec<_>>()
            .join(" "),
        origin: origin.to_owned(),
        height: COLUMNS + ROW * report.parameters.len() as f64,
        paint: Box::new(move |surface| {
            let head = HEAD + 0.5 * COLUMNS;
            for (x, word) in [
                (20.0, "parameter"),
                (210.0, "value(standard uncertainty); interval"),
                (STRIP.0, "against the usual magnitude"),
            ] {
                surface.word(word, (x, head), 10.0, Side::Left, ink::QUIET)?;
            }
            for (k, row) in report.parameters.iter().enumerate() {
                let top = HEAD + COLUMNS + ROW * k as f64;
                surface.line(&[(20.0, top), (WIDTH - 20.0, top)], ink::GRID, 0.8, None)?;
                parameter(surface, row, top)?;
            }
            Ok(())
        }),
    }
}

fn parameter(surface: &mut dyn Surface, row: &ParameterRow, top: f64) -> Result<(), PlotError> {
    let (upper, lower) = (top + 13.0, top + 28.0);
    surface.word(row.words, (20.0, upper), 12.0, Side::Left, ink::TEXT)?;
    let (letter, index) = &row.symbol;
    surface.word(letter, (20.0, lower), 11.0, Side::Left, ink::QUIET)?;
    let after = 21.0 + surface.width_of(letter, 11.0);
    surface.word(index, (after, lower + 3.0), 8.5, Side::Left, ink::QUIET)?;
    let status_at = after + surface.width_of(index, 8.5) + 10.0;
    surface.word(row.status, (status_at, lower), 10.0, Side::Left, ink::QUIET)?;
    let Some(si) = &row.si else {
        let words = "no value: not determined by these captures";
        return surface.word(words, (210.0, upper), 12.0, Side::Left, ink::QUIET);
    };
    surface.word(&si.value, (210.0, upper), 12.0, Side::Left, ink::TEXT)?;
    let interval = match &row.relative {
        Some(relative) => format!("{}, {relative}", si.interval),
        None => si.interval.clone(),
    };
    surface.word(&interval, (210.0, lower), 10.0, Side::Left, ink::QUIET)?;
    let Some(bar) = &row.bar else { return Ok(()) };
    let at = |share: f64| STRIP.0 + (STRIP.1 - STRIP.0) * share / 100.0;
    let middle = top + 14.0;
    surface.rectangle(
        (at(bar.usual.0), middle - 6.0),
        (at(bar.usual.1), middle + 6.0),
        ink::FIELD,
    )?;
    for tick in &bar.ticks {
        surface.line(
            &[(at(*tick), middle + 3.0), (at(*tick), middle + 6.0)],
            ink::QUIET,
            0.8,
            None,
        )?;
    }
    surface.rectangle(
        (at(bar.lower), middle - 3.0),
        (at(bar.lower + bar.width), middle + 3.0),
        ink::VOLTAGE,
    )?;
    surface.line(
        &[(at(bar.value), middle - 9.0), (at(bar.value), middle + 9.0)],
        ink::TEXT,
        1.5,
        None,
    )?;
    let words = match bar.outside {
        Some(side) => format!("usual: {}; this one lies {side} the strip", bar.usual_words),
        None => format!("usual: {}", bar.usual_words),
    };
    surface.word(&words, (STRIP.0, top + 31.0), 9.0, Side::Left, ink::QUIET)
}

/// Stacked bars: where each uncertainty comes from.
pub(in crate::plot) fn budget<'a>(report: &'a Report, origin: &str) -> Option<Picture<'a>> {
    let budget = &report.budget;
    if budget.rows.is_empty() {
        return None;
    }
    // Keys in three columns.
    let key_rows = budget.sources.len().div_ceil(3);
    let keys = 20.0 * key_rows as f64 + 12.0;
    Some(Picture {
        name: "budget".into(),
        title: shown(&format!(
            "{}: where each uncertainty comes from",
            report.motor
        )),
        subtitle: "Each bar is the whole variance of one parameter, cut by what causes it.".into(),
        description: budget
            .rows
            .iter()
            .map(|row| format!("{}: {}.", row.words, row.description))
            .collect::<Vec<_>>()
            .join(" "),
        origin: origin.to_owned(),
        height: keys + ROW * budget.rows.len() as f64,
        paint: Box::new(move |surface| {
            for (k, source) in budget.sources.iter().enumerate() {
                let x = 20.0 + 290.0 * (k / key_rows) as f64;
                let y = HEAD + 10.0 + 20.0 * (k % key_rows) as f64;
                let (shade, letter) = ink::SHADES[source.shade.min(7)];
                surface.rectangle((x, y - 7.0), (x + 22.0, y + 7.0), shade)?;
                let text = source.letter.to_string();
                surface.word(&text, (x + 11.0, y), 10.0, Side::Centre, letter)?;
                surface.word(
                    &shown(&source.name),
                    (x + 29.0, y),
                    11.0,
                    Side::Left,
                    ink::TEXT,
                )?;
            }
            for (k, row) in budget.rows.iter().enumerate() {
                stacked(surface, row, HEAD + keys + ROW * k as f64)?;
            }
            Ok(())
        }),
    })
}

fn stacked(surface: &mut dyn Surface, row: &BudgetRow, top: f64) -> Result<(), PlotError> {
    surface.word(row.words, (20.0, top + 9.0), 12.0, Side::Left, ink::TEXT)?;
    let at = |share: f64| BAR.0 + (BAR.1 - BAR.0) * share / 100.0;
    for part in &row.segments {
        let (shade, letter) = ink::SHADES[part.shade.min(7)];
        let (from, to) = (at(part.from), at(part.from + part.width));
        surface.rectangle((from, top), (to, top + 18.0), shade)?;
        surface.line(&[(from, top), (from, top + 18.0)], ink::PAPER, 0.8, None)?;
        if part.width >= 4.0 {
            let text = part.letter.to_string();
            let middle = (0.5 * (from + to), top + 9.0);
            surface.word(&text, middle, 10.0, Side::Centre, letter)?;
        }
    }
    let words = shown(&row.description);
    surface.word(&words, (BAR.0, top + 27.0), 9.5, Side::Left, ink::QUIET)
}
