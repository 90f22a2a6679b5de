//! The table of readings beside the model, and the line of the result.

use crate::motor_file::{Agreement, Confrontation, MotorFile};
use crate::quantity::rounding::{self, Scale};
use std::fmt::Write;

/// Columns of the item, the stated value and the model's.
const WIDTHS: [usize; 3] = [32, 16, 16];
/// Columns of a line.
const COLUMNS: usize = 80;

/// One item as a table shows it: name, stated value, the model's, and whether they agree.
pub fn evidence_cells(item: &Confrontation) -> [String; 4] {
    let number = |n: Option<f64>| n.map_or("-".to_owned(), |n| written(n, item));
    [
        item.item.clone(),
        number(item.stated),
        number(item.model),
        verdict(item),
    ]
}

/// Every item with its stated value, the model's and whether they agree; captures that agree share a line. Empty without any item.
pub fn evidence(file: &MotorFile) -> String {
    if file.confrontations.is_empty() {
        return String::new();
    }
    let mut text = String::new();
    line(
        &mut text,
        ["evidence", "your value", "the model"].map(str::to_owned),
        "agrees?",
    );
    let agrees = |c: &&Confrontation| c.kind == "capture" && c.agreement == Agreement::Agrees;
    for item in file.confrontations.iter().filter(|c| !agrees(c)) {
        let [name, stated, model, verdict] = evidence_cells(item);
        line(&mut text, [name, stated, model], &verdict);
    }
    let captures: Vec<&str> = file
        .confrontations
        .iter()
        .filter(agrees)
        .map(|c| c.item.trim_start_matches("capture "))
        .collect();
    if !captures.is_empty() {
        let head = format!("captures {}", captures.join(", "));
        let room = COLUMNS - 8;
        for (number, part) in wrapped(&head, room).into_iter().enumerate() {
            let agrees = if number == 0 { "agree" } else { "" };
            let gap = " ".repeat((room - 7).saturating_sub(part.chars().count()));
            let _ = writeln!(text, "{}", format!("{part}{gap} {agrees}").trim_end());
        }
    }
    text
}

fn verdict(item: &Confrontation) -> String {
    let yes_no = match item.agreement {
        Agreement::NothingToCompare => return "-".to_owned(),
        Agreement::Agrees => "yes",
        Agreement::Doubtful => "doubtful",
        Agreement::InConflict => "NO",
    };
    match item.deviation {
        Some(deviation) if item.agreement != Agreement::Agrees => {
            format!("{yes_no} {:.1} σ", deviation.abs())
        }
        _ => yes_no.to_owned(),
    }
}

/// A number in the unit that the reader's instruments show.
fn written(value: f64, item: &Confrontation) -> String {
    let (factor, unit, scale) = match item.unit.as_str() {
        "rad/s" => (30.0 / std::f64::consts::PI, "rpm", Scale::Plain),
        "V.s/rad" => (1e3, "mV·s/rad", Scale::Plain),
        "kg.m2" => (1e7, "g·cm²", Scale::Plain),
        "N.m" => (1e3, "mN·m", Scale::Plain),
        "Ohm" => (1.0, "Ω", Scale::Prefix),
        "1" if item.kind == "segment_count" => return format!("{value:.0}"),
        "1" => return format!("{:+.1} %", 100.0 * value),
        other => (1.0, other, Scale::Prefix),
    };
    let uncertainty = item.standard_uncertainty.map(|u| u * factor);
    let mut rounded = rounding::round(value * factor, uncertainty, scale);
    rounded.uncertainty = None;
    rounded.with_unit(unit)
}

fn line(text: &mut String, cells: [String; 3], verdict: &str) {
    let mut out = String::new();
    for (cell, width) in cells.iter().zip(WIDTHS) {
        let gap = width.saturating_sub(cell.chars().count()).max(1);
        out.push_str(cell);
        out.push_str(&" ".repeat(gap));
    }
    out.push_str(verdict);
    let _ = writeln!(text, "{}", out.trim_end());
}

/// Words put into lines of at most `room` columns.
fn wrapped(text: &str, room: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split(' ') {
        let fits = lines
            .last()
            .is_some_and(|l| l.is_empty() || l.chars().count() + word.chars().count() < room - 8);
        if !fits {
            lines.push("  ".to_owned());
        }
        if let Some(last) = lines.last_mut() {
            if !last.trim().is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}

/// `result: ...`, the last line of a result.
pub fn result_line(file: &MotorFile) -> String {
    let text = format!("result: {}", file.state().line());
    wrapped(&text, COLUMNS).join("\n") + "\n"
}
