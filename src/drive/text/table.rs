//! A sizing as text.

use crate::drive::result::{Absent, Bounded, Entry, Figure, MARK, Row, SizedSection, Sizing};
use crate::drive::section::{Column, Table, Unit};
use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::RPM;
use crate::quantity::{align, wrapped};
use crate::stats::monte_carlo::bound_tolerance;
use std::fmt::Write;

/// Columns of what a number is, the number, its interval and the worst case.
const WIDTHS: [usize; 4] = [35, 11, 21, 10];
/// Most lines of a table.
const MOST_LINES: usize = 24;
/// Letters of a line of a column's head.
const HEAD: usize = 13;

/// Renders a sizing, or those of its sections whose keys are named; ends in a line feed.
pub fn render(sizing: &Sizing, sections: &[&str]) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "{} at {} V", sizing.motor, sizing.supply_v);
    let _ = writeln!(
        text,
        "{} % intervals, Monte Carlo with seed {}: at most {} draws of what is simulated (chance moves a bound by up to {:.0} % of the half width), {} of the rest; worst case: the bound to design for; §: section of docs/drive.md",
        (sizing.level * 1e4).round() / 100.0,
        sizing.seed,
        sizing.draws,
        100.0 * bound_tolerance(sizing.draws, sizing.level),
        sizing
            .sections
            .iter()
            .map(|section| section.draws)
            .max()
            .unwrap_or(sizing.draws),
    );
    for assumption in &sizing.assumptions {
        let _ = writeln!(text, "assumed: {assumption}");
    }
    for warning in &sizing.warnings {
        let _ = writeln!(text, "warning: {warning}");
    }
    if let Some(verdict) = &sizing.profile {
        let _ = writeln!(text, "profile: {}", verdict.text);
    }
    if let Some(words) = sizing.mark_words() {
        let _ = writeln!(text, "{words}");
    }
    for section in &sizing.sections {
        if sections.is_empty() || sections.contains(&section.key) {
            text.push('\n');
            self::section(&mut text, section);
        }
    }
    if sections.contains(&"profile") && !sizing.has_profile() {
        text.push_str("\nnot available, needs --profile FILE: what a move or a duty takes\n");
    }
    text
}

fn section(text: &mut String, section: &SizedSection) {
    let heads = [section.title, "expected", "interval", "worst case"].map(str::to_owned);
    line(text, heads, "§");
    let mut absent: Vec<(&Absent, Vec<&str>)> = Vec::new();
    for row in &section.rows {
        match &row.figure {
            Figure::Known(bounded) => {
                let interval = match spread(bounded) {
                    None => "the same".to_owned(),
                    Some(_) => range(bounded, row.unit),
                };
                let words = format!("  {}", row.words);
                let mark = if row.extrapolated { MARK } else { "" };
                let marked = format!("{}{mark}", figure_text(row));
                line(
                    text,
                    [words, marked, interval, worst_text(row)],
                    row.formula,
                );
            }
            Figure::Absent { absent: why } => {
                match absent.iter_mut().find(|(other, _)| *other == why) {
                    Some((_, rows)) => rows.push(row.words),
                    None => absent.push((why, vec![row.words])),
                }
            }
        }
    }
    for table in &section.tables {
        self::table(text, table);
    }
    for remark in &section.remarks {
        let _ = writeln!(text, "  note: {remark}");
    }
    for row in &section.rows {
        if let Figure::Known(Bounded {
            undefined_share: Some(share),
            ..
        }) = row.figure
            && share > 0.01
        {
            let _ = writeln!(
                text,
                "  note: {} does not exist in {:.1} % of the motors that this file allows; its bounds are of the others",
                row.words,
                100.0 * share
            );
        }
    }
    for caution in &section.cautions {
        let _ = writeln!(text, "  caution: {caution}");
    }
    for (why, rows) in &absent {
        let _ = writeln!(text, "  not available, {}: {}", why.text(), rows.join("; "));
    }
}

/// One row; words too long for their column have a line of their own.
fn line(text: &mut String, cells: [String; 4], formula: &str) {
    let mut out = String::new();
    for (cell, width) in cells.iter().zip(WIDTHS) {
        let length = cell.chars().count();
        if out.is_empty() && length + 2 > width {
            let _ = write!(out, "{cell}\n{:width$}", "");
            continue;
        }
        let gap = width.saturating_sub(length).max(1);
        let _ = write!(out, "{cell}{:gap$}", "");
    }
    out.push_str(formula);
    let _ = writeln!(text, "{}", out.trim_end());
}

/// The expected value of a row; a dash where there is none.
pub(super) fn figure_text(row: &Row) -> String {
    match &row.figure {
        Figure::Known(bounded) => written(bounded.middle, spread(bounded), row.unit),
        Figure::Absent { .. } => "-".to_owned(),
    }
}

/// The bound of a row to design for; a dash where neither hurts.
pub(super) fn worst_text(row: &Row) -> String {
    match &row.figure {
        Figure::Known(bounded) => {
            let worst = bounded.worst;
            worst.map_or("-".to_owned(), |worst| {
                written(worst, spread(bounded), row.unit)
            })
        }
        Figure::Absent { .. } => "-".to_owned(),
    }
}

/// Half of half the interval: what the digits are rounded by. `None` where all draws agree.
fn spread(bounded: &Bounded) -> Option<f64> {
    let spread = 0.25 * (bounded.upper - bounded.lower);
    (spread > 1e-9 * bounded.middle.abs()).then_some(spread)
}

pub(super) fn range(bounded: &Bounded, unit: Unit) -> String {
    let ends = [bounded.lower, bounded.upper].map(|end| written(end, spread(bounded), unit));
    match (ends[0].split_once(' '), ends[1].split_once(' ')) {
        (Some((lower, one)), Some((upper, other))) if one == other => {
            format!("{lower} to {upper} {one}")
        }
        _ => ends.join(" to "),
    }
}

/// A number in its common unit, its digits by the spread, four where there is none.
fn written(si: f64, spread: Option<f64>, unit: Unit) -> String {
    let (factor, scale) = match unit {
        Unit::Share => (0.01, Scale::Plain),
        Unit::Speed => (RPM, Scale::Plain),
        Unit::Celsius | Unit::Kelvin | Unit::AmpereSquaredSecond | Unit::One => (1.0, Scale::Plain),
        _ => (1.0, Scale::Prefix),
    };
    let text = match unit {
        Unit::One => "",
        other => other.symbol(),
    };
    let value = si / factor;
    // More than four digits help nobody at a bench, of a ratio more than three or two decimals.
    let power = 10f64.powf(value.abs().max(1e-300).log10().floor());
    let least = match unit {
        Unit::One => (0.1 * power).max(0.1),
        _ => 0.01 * power,
    };
    let rounded = match spread {
        None if value == 0.0 => return format!("0 {text}").trim().to_owned(),
        None => rounding::round(value, None, scale),
        Some(spread) => {
            let mut rounded = rounding::round(value, Some((spread / factor).max(least)), scale);
            rounded.uncertainty = None;
            rounded
        }
    };
    rounded.with_unit(text).trim().to_owned()
}

fn table(text: &mut String, table: &Table<Entry>) {
    let _ = writeln!(text, "  {} (worst cases, § {})", table.title, table.formula);
    let mut cells: Vec<Vec<String>> = heads(table);
    // A course is thinned; the whole of it is for --json and the pictures.
    let stride = match table.lines.len() {
        few if few <= MOST_LINES => 1,
        many => many.div_ceil(MOST_LINES),
    };
    for line in table.lines.iter().step_by(stride) {
        let cell = |(entry, column): (&Entry, &Column)| match entry {
            Entry::Exact(value) => written(*value, None, column.unit),
            Entry::Figure(Figure::Absent { .. }) => "-".to_owned(),
            Entry::Figure(Figure::Known(bounded)) => {
                let value = bounded.worst.unwrap_or(bounded.middle);
                written(value, spread(bounded), column.unit)
            }
        };
        cells.push(line.iter().zip(&table.columns).map(cell).collect());
    }
    align(text, "  ", &cells);
}

/// The heads of a table, each in as many lines as its words need.
fn heads(table: &Table<Entry>) -> Vec<Vec<String>> {
    let columns: Vec<Vec<String>> = table
        .columns
        .iter()
        .map(|column| {
            let set = wrapped(column.words, HEAD);
            set.lines().map(|line| line.trim().to_owned()).collect()
        })
        .collect();
    let depth = columns.iter().map(Vec::len).max().unwrap_or(0);
    let cell = |column: &Vec<String>, k: usize| column.get(k).cloned().unwrap_or_default();
    (0..depth)
        .map(|k| columns.iter().map(|column| cell(column, k)).collect())
        .collect()
}
