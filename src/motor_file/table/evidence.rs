//! The table of readings beside the model, and the line of the result.

use crate::motor_file::{Agreement, Confrontation, MotorFile, ResultState};
use crate::quantity::rounding::{self, Scale};
use std::fmt::Write;

/// Width of the column of the item, and least widths of those of the stated value and of what the rest of the evidence gives for it.
const WIDTHS: [usize; 3] = [33, 16, 15];

/// Every item as a table shows it: name, stated value, the model's, and whether they agree. Captures that agree share a row.
pub fn evidence_rows(file: &MotorFile) -> Vec<[String; 4]> {
    let (others, captures) = parted(file);
    let mut rows: Vec<_> = others.into_iter().map(cells).collect();
    if let Some((name, verdict)) = captures {
        rows.push([name, String::new(), String::new(), verdict.to_owned()]);
    }
    rows
}

/// The items but for captures that agree, and these together with their verdict.
fn parted(file: &MotorFile) -> (Vec<&Confrontation>, Option<(String, &'static str)>) {
    let agrees = |c: &&Confrontation| c.kind == "capture" && c.agreement == Agreement::Agrees;
    let (captures, others): (Vec<_>, Vec<_>) = file.confrontations.iter().partition(agrees);
    let names: Vec<&str> = captures
        .iter()
        .map(|c| c.item.trim_start_matches("capture "))
        .collect();
    let together = match names.as_slice() {
        [] => None,
        [one] => Some((format!("capture  {one}"), "agrees")),
        several => Some((format!("captures  {}", several.join(", ")), "agree")),
    };
    (others, together)
}

fn cells(item: &Confrontation) -> [String; 4] {
    let number = |n: Option<f64>| n.map_or("-".to_owned(), |n| written(n, None, item));
    [
        item.item.clone(),
        number(item.stated),
        number(item.model),
        verdict(item),
    ]
}

/// Every item with its stated value, what the others predict of it with the standard uncertainty of the difference, and whether they agree;
/// captures that agree share a line. Empty without any item.
pub fn evidence(file: &MotorFile) -> String {
    if file.confrontations.is_empty() {
        return String::new();
    }
    let mut text = String::new();
    let (others, captures) = parted(file);
    let mut lines = Vec::new();
    if !others.is_empty() {
        let heads = ["evidence", "stated", "from the rest"].map(str::to_owned);
        lines.push((heads, String::new()));
    }
    for (item, of_captures) in gathered(&others) {
        let [mut name, stated, _, mut verdict] = cells(item);
        if let Some((family, count)) = of_captures {
            name = format!("{family} (worst of {count})");
            verdict = "agree".to_owned();
        }
        let band = item.standard_uncertainty;
        let model = item.model;
        let mut model = model.map_or("-".to_owned(), |n| written(n, band, item));
        // The unit stands beside the first number, where both have the same.
        if let Some((_, unit)) = stated.split_once(' ')
            && let Some(short) = model.strip_suffix(unit).and_then(|m| m.strip_suffix(' '))
        {
            model = short.to_owned();
        }
        let line = ([name, stated, model], verdict);
        // The segments of several captures.
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    let [names, ..] = WIDTHS;
    let widths: [usize; 3] = std::array::from_fn(|k| {
        let longest = lines.iter().map(|(cells, _)| cells[k].chars().count() + 2);
        longest.fold(WIDTHS[k], usize::max)
    });
    for (cells, verdict) in lines {
        let mut out = String::new();
        // A longer name has a line of its own.
        if cells[0].chars().count() + 2 > names {
            let _ = write!(out, "{}\n{:names$}", cells[0], "");
        } else {
            let _ = write!(out, "{:names$}", cells[0]);
        }
        for (cell, width) in cells.iter().zip(widths).skip(1) {
            let _ = write!(out, "{cell:width$}");
        }
        let _ = writeln!(text, "{}", (out + &verdict).trim_end());
    }
    if let Some((names, verdict)) = captures {
        let _ = writeln!(text, "{names} {verdict}");
    }
    text
}

/// Items of one kind that agree in more captures than this share a row: that of the worst.
const MOST_ROWS: usize = 3;

/// The items that have a row, in order; with kind and number where one is the worst of several captures.
fn gathered<'a>(items: &[&'a Confrontation]) -> Vec<(&'a Confrontation, Option<(&'a str, usize)>)> {
    let family = |item: &'a Confrontation| {
        let (family, capture) = item.item.split_once(" (")?;
        (item.agreement == Agreement::Agrees && capture.ends_with(')')).then_some(family)
    };
    let size = |item: &Confrontation| item.deviation.map_or(0.0, f64::abs);
    let mut shown: Vec<&str> = Vec::new();
    let mut rows = Vec::new();
    for &item in items {
        let kin = || {
            items
                .iter()
                .copied()
                .filter(|other| family(other) == family(item))
        };
        match family(item) {
            Some(name) if kin().count() > MOST_ROWS => {
                if !shown.contains(&name) {
                    shown.push(name);
                    let worst = kin().max_by(|a, b| size(a).total_cmp(&size(b)));
                    rows.push((worst.unwrap_or(item), Some((name, kin().count()))));
                }
            }
            _ => rows.push((item, None)),
        }
    }
    rows
}

fn verdict(item: &Confrontation) -> String {
    let word = match item.agreement {
        Agreement::NothingToCompare => return "-".to_owned(),
        Agreement::Agrees => "agrees",
        Agreement::Doubtful => "doubtful",
        Agreement::InConflict => "CONFLICT",
    };
    match item.deviation {
        Some(deviation) if item.agreement != Agreement::Agrees => {
            format!("{word} {:.1} σ", deviation.abs())
        }
        _ => word.to_owned(),
    }
}

/// A number in the unit that the reader's instruments show.
fn written(value: f64, band: Option<f64>, item: &Confrontation) -> String {
    let (factor, unit, scale) = match item.unit.as_str() {
        "rad/s" => (30.0 / std::f64::consts::PI, "rpm", Scale::Plain),
        "V.s/rad" => (1e3, "mV·s/rad", Scale::Plain),
        "kg.m2" => (1e7, "g·cm²", Scale::Plain),
        "N.m" => (1e3, "mN·m", Scale::Plain),
        "Ohm" => (1.0, "Ω", Scale::Prefix),
        "1" if item.kind == "segment_count" => return format!("{value:.0}"),
        "1" => (100.0, "%", Scale::Plain),
        other => (1.0, other, Scale::Prefix),
    };
    // Both numbers of a line show the same digits.
    let uncertainty = item.standard_uncertainty.map(|u| u * factor);
    let mut rounded = rounding::round(value * factor, uncertainty, scale);
    if band.is_none() {
        rounded.uncertainty = None;
    }
    rounded.with_unit(unit)
}

/// Most doubtful items that the last line names.
const NAMED: usize = 2;

/// `result: ...`, the last line of a result: what is in doubt is named there, too.
pub fn result_line(file: &MotorFile) -> String {
    let state = file.state();
    let items = file.doubtful();
    match (&state, items.as_slice()) {
        (ResultState::Ok, [_, ..]) if items.len() > NAMED => {
            format!("result: OK, {} items doubtful\n", items.len())
        }
        (ResultState::Ok, [_, ..]) => format!("result: OK, doubtful: {}\n", items.join(", ")),
        _ => format!("result: {}\n", state.line()),
    }
}
