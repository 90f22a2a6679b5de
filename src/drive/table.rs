//! A sizing as text.

use super::result::{Absent, Bounded, Entry, Figure, Row, SizedSection, Sizing, Table};
use super::section::Unit;
use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::RPM;
use std::fmt::Write;

/// Renders a sizing; ends in a line feed.
pub fn render(sizing: &Sizing) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "drive for {} at {} V", sizing.motor, sizing.supply_v);
    let _ = writeln!(
        text,
        "bounds: {} % intervals from {} motors drawn from the covariance (seed {}); worst case: the end of the interval to design for; §: section of docs/drive.md",
        (sizing.level * 1e4).round() / 100.0,
        sizing.draws,
        sizing.seed
    );
    for assumption in &sizing.assumptions {
        let _ = writeln!(text, "taken for granted: {assumption}");
    }
    for warning in &sizing.warnings {
        let _ = writeln!(text, "warning: {warning}");
    }
    for section in &sizing.sections {
        text.push('\n');
        self::section(&mut text, section);
    }
    text
}

fn section(text: &mut String, section: &SizedSection) {
    let _ = writeln!(text, "{}", section.title.to_uppercase());
    let mut cells = vec![
        ["", "middle", "interval", "worst case", "§"]
            .map(str::to_owned)
            .to_vec(),
    ];
    let mut absent: Vec<(&Absent, Vec<&str>)> = Vec::new();
    for row in &section.rows {
        match &row.figure {
            Figure::Known(bounded) => cells.push(known(row, bounded)),
            Figure::Absent { absent: why } => {
                match absent.iter_mut().find(|(other, _)| *other == why) {
                    Some((_, rows)) => rows.push(row.words),
                    None => absent.push((why, vec![row.words])),
                }
            }
        }
    }
    if cells.len() > 1 {
        align(text, &cells);
    }
    for (why, rows) in &absent {
        let _ = writeln!(text, "  not available, {}: {}", why.text(), rows.join("; "));
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
}

fn known(row: &Row, bounded: &Bounded) -> Vec<String> {
    let unit = row.unit;
    let spread = spread(bounded);
    let interval = match spread {
        None => "the same".to_owned(),
        Some(_) => range(bounded, unit),
    };
    vec![
        row.words.to_owned(),
        written(bounded.middle, spread, unit),
        interval,
        bounded
            .worst
            .map_or("-".to_owned(), |worst| written(worst, spread, unit)),
        row.formula.to_owned(),
    ]
}

/// Half of half the interval: what the digits are rounded by. `None` where all draws agree.
fn spread(bounded: &Bounded) -> Option<f64> {
    let spread = 0.25 * (bounded.upper - bounded.lower);
    (spread > 1e-9 * bounded.middle.abs()).then_some(spread)
}

fn range(bounded: &Bounded, unit: Unit) -> String {
    let ends = [bounded.lower, bounded.upper].map(|end| written(end, spread(bounded), unit));
    match (ends[0].split_once(' '), ends[1].split_once(' ')) {
        (Some((lower, one)), Some((upper, other))) if one == other => {
            format!("{lower} to {upper} {one}")
        }
        _ => ends.join(" to "),
    }
}

/// A number in the unit of the trade, its digits by the spread, four where there is none.
fn written(si: f64, spread: Option<f64>, unit: Unit) -> String {
    let (factor, text, scale) = match unit {
        Unit::Share => (0.01, "%", Scale::Plain),
        Unit::Speed => (RPM, "rpm", Scale::Plain),
        Unit::AmpereSquaredSecond => (1.0, "A²·s", Scale::Plain),
        Unit::One => (1.0, "", Scale::Plain),
        other => (1.0, other.si(), Scale::Prefix),
    };
    let value = si / factor;
    // More than four digits help nobody at a bench.
    let least = 10f64.powf(value.abs().max(1e-300).log10().floor() - 2.0);
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

fn table(text: &mut String, table: &Table) {
    let _ = writeln!(
        text,
        "  {} (§ {}); in brackets the worst case",
        table.title, table.formula
    );
    let mut cells: Vec<Vec<String>> = vec![
        table
            .columns
            .iter()
            .map(|column| column.words.to_owned())
            .collect(),
    ];
    for line in &table.lines {
        cells.push(
            line.iter()
                .zip(&table.columns)
                .map(|(entry, column)| match entry {
                    Entry::Exact(value) => written(*value, None, column.unit),
                    Entry::Figure(Figure::Absent { .. }) => "not available".to_owned(),
                    Entry::Figure(Figure::Known(bounded)) => {
                        let spread = spread(bounded);
                        let middle = written(bounded.middle, spread, column.unit);
                        match (bounded.worst, spread) {
                            (Some(worst), Some(_)) => {
                                format!("{middle} ({})", written(worst, spread, column.unit))
                            }
                            _ => middle,
                        }
                    }
                })
                .collect(),
        );
    }
    align(text, &cells);
}

fn align(text: &mut String, cells: &[Vec<String>]) {
    let columns = cells.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns)
        .map(|column| {
            let cells = cells.iter().filter_map(|line| line.get(column));
            cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
        })
        .collect();
    for line in cells {
        let mut written = String::from("  ");
        for (cell, width) in line.iter().zip(&widths) {
            written.push_str(cell);
            written.push_str(&" ".repeat(width - cell.chars().count() + 2));
        }
        text.push_str(written.trim_end());
        text.push('\n');
    }
}
