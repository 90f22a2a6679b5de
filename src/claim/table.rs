//! A judgement as text.

use super::conformity::{Rule, Verdict};
use super::consistency::{Relation, Standing};
use super::entry::Entry;
use super::finding::{Finding, Judgement};
use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::{self, Unit};
use std::fmt::Write;

/// Renders a judgement; ends in a line feed.
pub fn render(judgement: &Judgement) -> String {
    let mut text = String::new();
    let sheet = judgement.sheet.as_deref().unwrap_or("the sheet");
    let _ = write!(text, "{sheet} held against {}", judgement.motor);
    let mut conditions = vec![format!("{} °C", judgement.reference_temperature_c)];
    if let Some(voltage) = judgement.nominal_voltage_v {
        conditions.insert(0, format!("{voltage} V"));
    }
    let _ = writeln!(text, ", at {}", conditions.join(" and "));
    let _ = match judgement.rule {
        Rule::Guarded(risk) => writeln!(
            text,
            "rule: guard bands on both sides, risk of a wrong verdict at most {} % each (JCGM 106:2012, 8.3)",
            percent(risk)
        ),
        Rule::Simple => writeln!(
            text,
            "rule: simple acceptance, no guard band; near a limit up to one verdict in two is wrong (JCGM 106:2012, 8.2)"
        ),
    };
    for assumption in &judgement.assumptions {
        let _ = writeln!(text, "taken for granted: {assumption}");
    }
    text.push('\n');
    consistency(&mut text, judgement);
    let rows: Vec<[String; 5]> = judgement.findings.iter().map(cells).collect();
    let heads = [
        "entry",
        "the sheet",
        "the motor",
        "conforms with",
        "verdict",
    ]
    .map(str::to_owned);
    let widths: Vec<usize> = (0..5)
        .map(|column| {
            let cells = rows
                .iter()
                .chain([&heads])
                .map(|row| row[column].chars().count());
            cells.max().unwrap_or(0)
        })
        .collect();
    for (place, row) in std::iter::once(&heads).chain(&rows).enumerate() {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(cell);
            line.push_str(&" ".repeat(width - cell.chars().count() + 2));
        }
        text.push_str(line.trim_end());
        text.push('\n');
        if place > 0 {
            under(&mut text, &judgement.findings[place - 1]);
        }
    }
    let _ = writeln!(
        text,
        "\n{} agree, {} disagree, {} cannot be told yet, {} not judged",
        judgement.count(Verdict::Agrees),
        judgement.count(Verdict::Disagrees),
        judgement.count(Verdict::CannotTellYet),
        judgement
            .findings
            .iter()
            .filter(|finding| finding.verdict.is_none())
            .count()
    );
    text
}

fn percent(share: f64) -> f64 {
    (share * 1e5).round() / 1e3
}

fn consistency(text: &mut String, judgement: &Judgement) {
    let consistency = &judgement.consistency;
    if consistency.relations.is_empty() {
        text.push_str("The sheet prints too little to be tested against itself.\n\n");
        return;
    }
    let odd: Vec<&Relation> = consistency
        .relations
        .iter()
        .filter(|relation| relation.standing != Standing::Consistent)
        .collect();
    if odd.is_empty() {
        let count = consistency.relations.len();
        let _ = writeln!(
            text,
            "The sheet agrees with itself in all {count} relations tried.\n"
        );
        return;
    }
    text.push_str("The sheet against itself:\n");
    for relation in odd {
        let gap = 100.0 * (relation.ratio - 1.0);
        let how = match relation.standing {
            Standing::Inconsistent => "cannot be met, even within the printed tolerances",
            _ => "is met only by using up the printed tolerances",
        };
        let _ = writeln!(
            text,
            "  {}: {how}; the left side is {gap:+.1} % off ({:.0} % allowed for what the relation neglects)",
            relation.formula,
            100.0 * relation.allowance
        );
    }
    if !consistency.suspects.is_empty() {
        let names: Vec<String> = consistency
            .suspects
            .iter()
            .map(|entry| entry.words())
            .collect();
        let _ = writeln!(
            text,
            "  entries in more failing than met relations: {}; ask the vendor about them first",
            names.join(", ")
        );
    }
    text.push('\n');
}

fn sheet_unit(entry: Entry, text: &str) -> &'static Unit {
    units::find(entry.quantity(), text).unwrap_or_else(|_| units::si(entry.quantity()))
}

fn cells(finding: &Finding) -> [String; 5] {
    let unit = sheet_unit(finding.entry, finding.unit);
    let motor = match (finding.predicted, finding.standard_uncertainty) {
        (Some(predicted), Some(uncertainty)) => rounding::write(
            unit.from_si(predicted),
            Some(unit.uncertainty_from_si(predicted, uncertainty)),
            unit.text,
            Scale::Plain,
        ),
        _ => "-".to_owned(),
    };
    let probability = finding
        .conformance_probability
        .map_or("-".to_owned(), probability_text);
    [
        finding.entry.words(),
        finding.printed.clone(),
        motor,
        probability,
        finding
            .verdict
            .map_or("not judged", Verdict::words)
            .to_owned(),
    ]
}

/// Never rounds to a certainty that is not there.
fn probability_text(probability: f64) -> String {
    if probability >= 0.9995 {
        "> 99.9 %".to_owned()
    } else if probability < 0.0005 {
        "< 0.1 %".to_owned()
    } else {
        format!("{:.1} %", 100.0 * probability)
    }
}

fn under(text: &mut String, finding: &Finding) {
    let unit = sheet_unit(finding.entry, finding.unit);
    if let (Some(needed), Some(predicted), Some(uncertainty)) = (
        finding.needed_standard_uncertainty,
        finding.predicted,
        finding.standard_uncertainty,
    ) {
        let digits = |si: f64| {
            let number = unit.uncertainty_from_si(predicted, si);
            rounding::round(number, Some(number), Scale::Plain).value
        };
        let _ = writeln!(
            text,
            "    a standard uncertainty of {} {} would settle it at this prediction; it is {} {} now",
            digits(needed),
            unit.text,
            digits(uncertainty),
            unit.text
        );
    }
    if let Some(remark) = &finding.remark {
        let _ = writeln!(text, "    {remark}");
    }
}
